package verdict

import (
	"cmp"
	"slices"
)

const (
	maxCauses  = 6
	leastCause = 0.004 // causes less likely than this are not told
)

// causes merges hypotheses that name the same faults and words them.
func (e *engine) causes(list []*scored, weights []float64) []Cause {
	type merged struct {
		hyp *hypothesis
		p   float64
	}
	var order []*merged
	byName := map[string]*merged{}
	for i, s := range list {
		if len(s.hyp.faults) == 0 {
			continue
		}
		name := nameOfFaults(s.hyp.faults)
		m, ok := byName[name]
		if !ok {
			m = &merged{hyp: s.hyp}
			byName[name] = m
			order = append(order, m)
		}
		m.p += weights[i]
	}
	slices.SortStableFunc(order, func(a, b *merged) int { return cmp.Compare(b.p, a.p) })
	out := []Cause{}
	for _, m := range order {
		if len(out) == maxCauses || m.p < leastCause {
			break
		}
		mend := mendFor(e.m.plan, m.hyp.faults)
		out = append(out, Cause{P: round(m.p, 6), Faults: m.hyp.faults, Mend: mend, Say: say(e.m.plan, m.hyp, mend)})
	}
	return out
}
