// Package verdict decides which coils of a pad face as planned, which do not,
// and why, from readings and from the field the plan predicts.
//
// Where what is:
//
//	all that was read, put together           evidence.go; settings.go (the supply), after.go (before a mend)
//	a hold, a heading, faces by hand, ohms    hold.go with hold_factor.go, bearing.go, faces.go, ohms.go
//	a pass                                    pass.go with pass_*.go
//	which faults there may be, how likely     singles.go, priors.go
//	what a set of faults does to the coils    hypothesis.go
//	which way a phone points, where it sits   frames.go, place.go, sensor_place.go, locate.go
//	the field at those places                 columns.go, change.go
//	how well a hypothesis fits                model.go (laid out), engine.go; background.go, scales.go, earths.go
//	what is kept for the next one             known.go, by the names of key.go
//	how well one fits that is near it         neighbour.go, glance.go
//	which hypotheses are looked at            search.go with search_*.go
//	what is claimed, and what is not          conclude.go; odd.go, misread.go, told_amps.go, wrongcoil.go
//	faults that come to the same              simplify.go, causes.go
//	what to mend, in which words, and why     mend.go, say.go, why.go, account.go
//	what to read next                         next.go, next_weigh.go, next_needle.go
//	arithmetic                                sym3.go, exp.go
//
// What a phone's samples say of each hold is worked out before, in package readings. How it
// all goes together is told in DEVELOPERS.md.
//
// Lengths are metres in the pad's frame, and fields microtesla, as phones tell them; the sign
// rule is that of package field.
package verdict

import "polewise/layout"

// Outcome is the verdict on the whole pad.
type Outcome string

// Outcomes. Every coil facing right with the wiring wrong is a Fault.
const (
	AsPlanned Outcome = "as-planned"
	Fault     Outcome = "fault"
	Undecided Outcome = "undecided"
)

// State is what is claimed of one coil.
type State string

// States. All but StateUndecided are claims with a probability of at least
// MinClaim.
const (
	StateAsPlanned State = "as-planned"
	StateReversed  State = "reversed"
	StateDead      State = "dead"
	StateWeak      State = "weak"
	StateUndecided State = "undecided"
)

// MinClaim is the least probability at which anything is claimed.
const MinClaim = 0.99

// Verdict is what is known of a pad. Its JSON form is part of the contract.
type Verdict struct {
	Outcome Outcome  `json:"outcome"`
	Coils   []Coil   `json:"coils"`
	Causes  []Cause  `json:"causes"`
	Next    *Next    `json:"next,omitempty"`
	Notes   []string `json:"notes"`
}

// Coil is the claim for one coil. Expected and Measured are along z in the pad
// frame, in microtesla, at the place where the sensor is believed to lie;
// Measured is nil where no hold and no hand meter read it.
type Coil struct {
	ID         string            `json:"id"`
	State      State             `json:"state"`
	P          map[State]float64 `json:"p"`
	ExpectedUT float64           `json:"expected_uT"`
	MeasuredUT *float64          `json:"measured_uT"`
	Used       int               `json:"used"` // readings of this coil's field
	starved    bool              // too little current through it to be told how it faces
}

// Cause is one explanation, the likeliest first.
type Cause struct {
	P      float64        `json:"p"`
	Faults []layout.Fault `json:"faults"`
	Mend   []Mend         `json:"mend"`
	Say    string         `json:"say"`
}

// Act is something a person can do to a pad.
type Act string

// Acts.
const (
	Flip        Act = "flip" // turn an untaped coil over, or swap its two leads
	SwapString  Act = "swap-string"
	SwapPad     Act = "swap-pad"
	Rejoin      Act = "rejoin"
	RemakeJoint Act = "remake-joint"
	Replace     Act = "replace"
)

// Mend is one step of putting a pad right.
type Mend struct {
	Do Act    `json:"do"`
	ID string `json:"id,omitempty"`
}

// Next is the reading expected to remove most doubt.
type Next struct {
	At      string    `json:"at"`
	Route   string    `json:"route,omitempty"`
	Across  string    `json:"across,omitempty"` // string:ID, group:ID or pad, where that is to be measured and not the coil
	TopDeg  *float64  `json:"top_deg,omitempty"`
	ShiftMM []float64 `json:"shift_mm,omitempty"`
	Why     string    `json:"why"`
}
