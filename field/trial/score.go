package trial

import (
	"fmt"
	"slices"
	"time"

	"polewise/field/verdict"
	"polewise/layout"
)

// Judge is whoever is on trial: it gives a verdict on a plan and a capture,
// both as text.
type Judge func(planTOML, capture []byte) (*verdict.Verdict, error)

// Score counts what a judge got right over some cases.
type Score struct {
	Pads, Coils int
	WrongClaims int // a claim that may not be made of that coil
	WrongAsPlanned,
	Undecided int
	FaultyPads, CauseRight int
	SoundPads, FalseAlarms int
	WrongSound             int // faulty pads whose outcome is as planned
	PadsOpen               int // outcome undecided
	PlainWrong             int // coils the plain method gets wrong
	PlainCoils             int
	Time, Longest          time.Duration
	Calibration            [2]Calibrated // stated p of a claim 0.99 to 0.999, and above
	Failures               []Failure
}

// Calibrated is how often claims were right that were stated with some p.
type Calibrated struct {
	Claims, Right int
	Stated        float64 // sum of the stated p
}

// Failure is a case that did not go as it should.
type Failure struct {
	Condition string
	Seed      uint64
	What      []string
	Severe    bool // a wrong claim or outcome, not only doubt or another cause
}

// Result is how one case went.
type Result struct {
	Wrong, WrongAsPlanned, Undecided int
	CauseRight, FalseAlarm           bool
	WrongSound, Open                 bool
	Took                             time.Duration
	What                             []string
}

// Put asks a judge about a case and scores the answer.
func (c *Case) Put(judge Judge, into *Score) (Result, error) {
	began := time.Now()
	v, err := judge(c.PlanTOML, c.Capture)
	took := time.Since(began)
	if err != nil {
		return Result{}, fmt.Errorf("condition %s, seed %d: %w", c.Condition.Name, c.Truth.Seed, err)
	}
	return c.score(v, took, into)
}

// score scores an answer.
func (c *Case) score(v *verdict.Verdict, took time.Duration, into *Score) (Result, error) {
	res := Result{Took: took}
	if len(v.Coils) != len(c.Truth.Coils) {
		return res, fmt.Errorf("condition %s, seed %d: the verdict has %d coils, the pad %d", c.Condition.Name, c.Truth.Seed, len(v.Coils), len(c.Truth.Coils))
	}
	say := func(format string, args ...any) { res.What = append(res.What, fmt.Sprintf(format, args...)) }
	sound := len(c.Truth.Faults) == 0
	for _, t := range c.Truth.Coils {
		k := slices.IndexFunc(v.Coils, func(x verdict.Coil) bool { return x.ID == t.ID })
		if k < 0 {
			return res, fmt.Errorf("condition %s, seed %d: the verdict has no coil %s", c.Condition.Name, c.Truth.Seed, t.ID)
		}
		got := v.Coils[k]
		if got.State == verdict.StateUndecided {
			res.Undecided++
			continue
		}
		right := slices.Contains(t.Allowed, got.State)
		bin := 0
		if got.P[got.State] >= 0.999 {
			bin = 1
		}
		into.Calibration[bin].Claims++
		into.Calibration[bin].Stated += got.P[got.State]
		if right {
			into.Calibration[bin].Right++
		} else {
			res.Wrong++
			say("%s claimed %s (p %.5f), is %s (own %.2f, current %.2f, planned %.0f uT, real %.0f uT)", t.ID, got.State, got.P[got.State], t.State, t.Own, t.Current, t.PlannedUT, t.RealUT)
			if got.State == verdict.StateAsPlanned {
				res.WrongAsPlanned++
			}
		}
		if sound && got.State != verdict.StateAsPlanned {
			res.FalseAlarm = true
		}
	}
	var first []layout.Fault
	if len(v.Causes) > 0 {
		first = v.Causes[0].Faults
	}
	res.Open = v.Outcome == verdict.Undecided
	switch {
	case sound:
		res.CauseRight = len(first) == 0
		res.FalseAlarm = res.FalseAlarm || v.Outcome == verdict.Fault
		if res.FalseAlarm {
			say("a sound pad: outcome %s, first cause %s", v.Outcome, texts(first))
		}
	case !c.Truth.Mild:
		res.CauseRight = len(v.Causes) > 0 && c.explains(first)
		if !res.CauseRight {
			say("first cause %s, is %v", texts(first), c.Truth.Faults)
		}
		if v.Outcome == verdict.AsPlanned {
			res.WrongSound = true
			say("outcome as planned with %v", c.Truth.Faults)
		}
	}
	if res.Undecided > 0 {
		say("%d of %d coils undecided", res.Undecided, len(c.Truth.Coils))
	}
	c.count(res, into)
	return res, nil
}

func (c *Case) count(res Result, into *Score) {
	add := func(to *int, yes bool) {
		if yes {
			*to++
		}
	}
	into.Pads++
	into.Coils += len(c.Truth.Coils)
	into.WrongClaims += res.Wrong
	into.WrongAsPlanned += res.WrongAsPlanned
	into.Undecided += res.Undecided
	add(&into.PadsOpen, res.Open)
	add(&into.WrongSound, res.WrongSound)
	add(&into.FalseAlarms, res.FalseAlarm)
	if len(c.Truth.Faults) == 0 {
		into.SoundPads++
	} else if !c.Truth.Mild {
		into.FaultyPads++
		add(&into.CauseRight, res.CauseRight)
	}
	wrong, of := c.plain()
	into.PlainWrong += wrong
	into.PlainCoils += of
	into.Time += res.Took
	into.Longest = max(into.Longest, res.Took)
	if len(res.What) > 0 {
		into.Failures = append(into.Failures, Failure{c.Condition.Name, c.Truth.Seed, res.What, res.Wrong > 0 || res.WrongSound || res.FalseAlarm})
	}
}

func texts(faults []layout.Fault) string {
	var out []string
	for _, f := range faults {
		out = append(out, f.Text())
	}
	return fmt.Sprint(out)
}

// explains tells whether faults are those built in, or cannot be told from them
// by any reading taken. Shares of shorted turns are taken from the truth where
// the same coil is named. Faults that make no network explain nothing.
func (c *Case) explains(claimed []layout.Fault) bool {
	claimed = slices.Clone(claimed)
	for i, f := range claimed {
		for _, g := range c.session.ill.faults {
			if f.Kind == layout.TurnsShorted && g.Kind == f.Kind && g.ID == f.ID {
				claimed[i].Lost = g.Lost
			}
		}
	}
	is, err := c.pad.effect(c.session.ill.real(c.pad), c.session.across)
	if err != nil {
		panic("trial: the faults built in make no network: " + err.Error())
	}
	said, err := c.pad.effect(claimed, c.session.across)
	return err == nil && is.like(said)
}
