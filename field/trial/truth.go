package trial

import (
	"math"

	"polewise/field/verdict"
	"polewise/layout"
)

// Truth is what a case was made from.
type Truth struct {
	Seed      uint64      `json:"seed"`
	Condition string      `json:"condition"`
	Faults    []string    `json:"faults"`
	Coils     []CoilTruth `json:"coils"`
	// OffsetMM is where the sensor really sat, phone frame.
	OffsetMM [2]float64 `json:"offset_mm"`
	// Nuisances is a line for each thing done to the readings, for people.
	Nuisances []string `json:"nuisances"`
	// Mild: the only fault leaves every coil above 80 percent; outcome
	// and cause are then not scored.
	Mild bool `json:"mild,omitempty"`
}

// CoilTruth is what is so of one coil.
type CoilTruth struct {
	ID    string        `json:"id"`
	State verdict.State `json:"state"`
	// Own is the share of its turns that work, Current its current as a share
	// of the planned one, signed so that negative faces the wrong way.
	Own     float64 `json:"own"`
	Current float64 `json:"current"`
	// PlannedUT and RealUT are along z over the centre at sensor height.
	PlannedUT float64         `json:"planned_uT"`
	RealUT    float64         `json:"real_uT"`
	Allowed   []verdict.State `json:"allowed"`
}

// Shares of working turns between which a coil may be called weak or as
// planned, whichever; and the share of planned current below which it may be
// called dead whatever the reason.
const (
	surelyWeak, surelyWell = 0.80, 0.90
	starvedBelow           = 0.15
	weakField              = 0.85 // of the planned field; the contract's line
)

// stateOf says what a coil is: own is the share of working turns, current the
// signed share of planned current in them.
func stateOf(own, current float64) (is verdict.State, allowed []verdict.State) {
	facing := verdict.StateAsPlanned
	if current < 0 {
		facing = verdict.StateReversed
	}
	if own == 0 || math.Abs(current) < 1e-6 {
		return verdict.StateDead, []verdict.State{verdict.StateDead}
	}
	switch {
	case facing == verdict.StateReversed && own < surelyWell:
		is, allowed = facing, []verdict.State{facing, verdict.StateWeak}
	case own < surelyWeak:
		is, allowed = verdict.StateWeak, []verdict.State{verdict.StateWeak}
	case own < surelyWell:
		is, allowed = verdict.StateAsPlanned, []verdict.State{verdict.StateAsPlanned, verdict.StateWeak}
		if own < 0.85 {
			is = verdict.StateWeak
		}
	default:
		is, allowed = facing, []verdict.State{facing}
	}
	if math.Abs(current) < starvedBelow {
		allowed = append(allowed, verdict.StateDead)
	}
	if is == verdict.StateWeak && own*current >= weakField {
		allowed = append(allowed, verdict.StateAsPlanned)
	}
	return is, allowed
}

func (p *pad) truth(a ailment) (Truth, error) {
	var t Truth
	for _, f := range a.faults {
		t.Faults = append(t.Faults, f.Text())
	}
	w, err := p.build(nil, a.real(p))
	if err != nil {
		return t, err
	}
	planned, err := p.build(nil, nil)
	if err != nil {
		return t, err
	}
	is, should := w.drive(), planned.drive()
	t.Mild = len(a.faults) > 0
	for _, f := range a.faults {
		if f.Kind != layout.TurnsShorted || f.Lost > 1-surelyWeak {
			t.Mild = false
		}
	}
	for j := range p.coils {
		c := &p.coils[j]
		own := is.share[j]
		if w.shorted[j] {
			own = 0
		}
		over := vec{c.x, c.y, p.sensorHeight(j)}
		ct := CoilTruth{ID: c.id, Own: own, Current: is.amps[j] / should.amps[j],
			PlannedUT: p.field(should.amps, should.share, over)[2], RealUT: p.field(is.amps, is.share, over)[2]}
		ct.State, ct.Allowed = stateOf(own, ct.Current)
		t.Coils = append(t.Coils, ct)
	}
	return t, nil
}
