package trial

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"polewise/field/verdict"
	"polewise/layout"
)

// Case is one pad with something wrong or nothing, and what was read over it.
type Case struct {
	PlanTOML []byte
	Capture  []byte
	Truth    Truth

	pad     *pad
	ailment ailment
	across  []string
}

// Make draws the case of a condition and a seed.
func Make(c Condition, seed uint64) (*Case, error) {
	r := newRandom(seed, "case")
	p := makePad(r)
	ill := makeAilment(newRandom(seed, "ailment"), p)
	s, err := newSession(newRandom(seed, c.Name), p, ill)
	if err != nil {
		return nil, fmt.Errorf("seed %d: %w", seed, err)
	}
	c.record(s)
	t, err := p.truth(ill)
	if err != nil {
		return nil, fmt.Errorf("seed %d: %w", seed, err)
	}
	t.Seed, t.Condition, t.Nuisances = seed, c.Name, s.notes
	t.OffsetMM = [2]float64{s.phone.offset[0] * 1e3, s.phone.offset[1] * 1e3}
	return &Case{PlanTOML: p.toml(), Capture: s.capture(), Truth: t, pad: p, ailment: ill, across: s.across}, nil
}

// Judge is whoever is on trial.
type Judge func(planTOML, capture []byte) (*verdict.Verdict, error)

// Score counts how a judge did under one condition.
type Score struct {
	Cases, Coils                           int
	Wrong, Undecided                       int
	WrongOutcome, FalseAlarms              int
	CausesScored, CausesRight              int
	Claims, ClaimsRight, Surer, SurerRight int // stated p of 0.99 to 0.999, and above
	Plain, PlainWrong                      int // claims by the sign alone
	Time                                   time.Duration
	Worst                                  []string // seeds with wrong claims or outcomes
}

// Run tries a judge on a row of seeds.
func Run(j Judge, c Condition, first, count uint64) (Score, error) {
	var s Score
	for seed := first; seed < first+count; seed++ {
		k, err := Make(c, seed)
		if err != nil {
			return s, err
		}
		began := time.Now()
		v, err := j(k.PlanTOML, k.Capture)
		s.Time += time.Since(began)
		if err != nil {
			return s, fmt.Errorf("%s, seed %d: %w", c.Name, seed, err)
		}
		if err := s.add(k, v); err != nil {
			return s, err
		}
		s.plain(k)
	}
	return s, nil
}

// add scores one verdict.
func (s *Score) add(k *Case, v *verdict.Verdict) error {
	s.Cases++
	sound := len(k.Truth.Faults) == 0
	alarm := false
	for j, c := range v.Coils {
		truth := k.Truth.Coils[j]
		s.Coils++
		if c.State == verdict.StateUndecided {
			s.Undecided++
			continue
		}
		right := slices.Contains(truth.Allowed, c.State)
		if !right {
			s.Wrong++
			s.Worst = append(s.Worst, fmt.Sprintf("seed %d: %s called %s (p %.4f), is %s, faults %v", k.Truth.Seed, c.ID, c.State, c.P[c.State], truth.State, k.Truth.Faults))
		}
		if sound && c.State != verdict.StateAsPlanned {
			alarm = true
		}
		if c.P[c.State] > 0.999 {
			s.Surer++
			if right {
				s.SurerRight++
			}
		} else {
			s.Claims++
			if right {
				s.ClaimsRight++
			}
		}
	}
	if k.Truth.Mild {
		return nil
	}
	if sound && v.Outcome == verdict.Fault || !sound && v.Outcome == verdict.AsPlanned {
		s.WrongOutcome++
		s.Worst = append(s.Worst, fmt.Sprintf("seed %d: outcome %s, faults %v", k.Truth.Seed, v.Outcome, k.Truth.Faults))
	}
	if alarm || sound && v.Outcome == verdict.Fault {
		s.FalseAlarms++
	}
	if sound {
		return nil
	}
	s.CausesScored++
	right, err := k.rightCause(v)
	if right {
		s.CausesRight++
	}
	return err
}

// rightCause tells whether the first cause is the one built in, or one that no
// reading could tell from it.
func (k *Case) rightCause(v *verdict.Verdict) (bool, error) {
	if len(v.Causes) == 0 {
		return false, nil
	}
	named := v.Causes[0].Faults
	if len(named) != len(k.ailment.faults) {
		// Fewer or more may still come to the same.
		return k.sameEffect(named)
	}
	all := true
	for _, f := range k.ailment.faults {
		all = all && slices.ContainsFunc(named, func(n layout.Fault) bool {
			if n.Kind != f.Kind || n.ID != f.ID || n.String != f.String || len(n.IDs) != len(f.IDs) {
				return false
			}
			for _, id := range f.IDs {
				if !slices.Contains(n.IDs, id) {
					return false
				}
			}
			return true
		})
	}
	if all {
		return true, nil
	}
	return k.sameEffect(named)
}

func (k *Case) sameEffect(named []layout.Fault) (bool, error) {
	real, err := k.pad.effect(k.ailment.real(k.pad), k.across)
	if err != nil {
		return false, err
	}
	said, err := k.pad.effect(named, k.across)
	if err != nil {
		return false, nil // named faults that make no network are not right
	}
	return real.like(said), nil
}

// plain is what the plain method would have said: the sign of the drive-on
// reading less the drive-off one, along z, over each coil.
func (s *Score) plain(k *Case) {
	for j, z := range signs(k.Capture, k.pad) {
		if z == 0 {
			continue
		}
		s.Plain++
		state := verdict.StateAsPlanned
		if z*k.pad.coils[j].north() < 0 {
			state = verdict.StateReversed
		}
		if !slices.Contains(k.Truth.Coils[j].Allowed, state) {
			s.PlainWrong++
		}
	}
}

// signs returns, per coil, the mean z with the drive on less that with it off
// (in the hold, or else in the last rest), 0 where nothing tells.
func signs(capture []byte, p *pad) []float64 {
	type mean struct {
		sum float64
		n   int
	}
	out := make([]float64, len(p.coils))
	var rest mean
	var on, off []mean
	on, off = make([]mean, len(p.coils)), make([]mean, len(p.coils))
	coil, state := -1, ""
	for _, raw := range splitLines(capture) {
		var l struct {
			Type  string
			At    string
			State string
			UT    [3]float64 `json:"uT"`
		}
		if json.Unmarshal(raw, &l) != nil {
			continue // a reading by hand has a single number
		}
		switch l.Type {
		case "drive":
			state = l.State
		case "hold":
			coil = p.coilIndex(l.At)
		case "lift":
			coil = -1
		case "b":
			switch {
			case coil >= 0 && state == "off":
				off[coil].sum, off[coil].n = off[coil].sum+l.UT[2], off[coil].n+1
			case coil >= 0:
				on[coil].sum, on[coil].n = on[coil].sum+l.UT[2], on[coil].n+1
			case state == "off":
				rest.sum, rest.n = rest.sum+l.UT[2], rest.n+1
			}
		}
	}
	for j := range out {
		if on[j].n == 0 {
			continue
		}
		base := off[j]
		if base.n == 0 {
			base = rest
		}
		if base.n > 0 {
			out[j] = on[j].sum/float64(on[j].n) - base.sum/float64(base.n)
		}
	}
	return out
}

func splitLines(b []byte) [][]byte {
	var out [][]byte
	for len(b) > 0 {
		i := slices.Index(b, '\n')
		if i < 0 {
			i = len(b) - 1
		}
		out = append(out, b[:i+1])
		b = b[i+1:]
	}
	return out
}
