package verdict

import (
	"math"
	"slices"

	"polewise/layout"
)

// The hypotheses that a search begins from. They lie far apart: adding one fault at a time does not
// lead from one to the other, nor past one that looks hopeless alone.

// bases are the plan, and the plan with each of the faults that change many coils. So a phone
// whose sensor sits nobody knows where is not settled by the first guess.
func (e *engine) bases() []*hypothesis {
	out := []*hypothesis{newHypothesis(e.m, nil, 0)}
	for _, s := range e.singles {
		if !s.changesMany() {
			continue
		}
		if h := out[0].with(s); h != nil {
			out = append(out, h)
		}
	}
	return out
}

// begins scores hypotheses as bases too, those that were not met yet; nil are none.
func (e *engine) begins(list []*hypothesis) {
	for _, h := range list {
		if h != nil && !e.met(h) {
			c := e.put(h, math.Inf(-1))
			c.base = true
			e.score(c)
		}
	}
}

// pairBases makes bases of pairs, for where readings do not tell the background: each of the best
// bases with each fault that changes many coils, and the plan and the best base with each pair
// of strings in series. With the background of one fault alone the two together look hopeless,
// as a string without current then passes for a phone that re-zeroed itself.
func (e *engine) pairBases(first []*scored) {
	slices.SortStableFunc(first, likelierFirst)
	var list []*hypothesis
	for _, s := range e.singles {
		if s.changesMany() {
			for _, b := range first[:min(len(first), pairsOf)] {
				list = append(list, b.hyp.with(s))
			}
		}
	}
	if !e.wide() { // else the coarse look had them
		list = append(list, e.joins(e.m.planned, mostJoins)...)
		if len(first) > 0 && len(first[0].hyp.faults) > 0 {
			list = append(list, e.joins(first[0].hyp, joinsBeside)...)
		}
	}
	e.begins(list)
}

// adopt takes nodes scored by a climb for bases too.
func (e *engine) adopt(nodes []*node) {
	for _, n := range nodes {
		if old := e.seen[n.hyp.key]; old == nil || !old.ownBackgrounds {
			n.base = true
			e.seen[n.hyp.key] = n.scored
		}
	}
	e.best = e.highest()
}

// joins are a hypothesis with each pair of strings in series, so many at most.
func (e *engine) joins(beside *hypothesis, most int) (out []*hypothesis) {
	for _, s := range e.singles {
		if s.Kind == layout.StringsInSeries && len(out) < most {
			if h := beside.with(s); h != nil {
				out = append(out, h)
			}
		}
	}
	return out
}

// Bounds on pairBases.
const (
	mostJoins   = 45 // pairs of strings in series, beside nothing else,
	joinsBeside = 15 // and beside the best base
	pairsOf     = 2  // bases that other faults are added to
)

// pairs are the likeliest explanations by two faults that change many coils, strings in series
// among them. Either fault alone may look hopeless with the sensor where it is.
func (e *engine) pairs() []*node {
	var list []*node
	of := map[*node]single{}
	joins := 0
	for _, s := range e.singles {
		if s.Kind == layout.StringsInSeries {
			joins++
		}
		if !s.changesMany() && (s.Kind != layout.StringsInSeries || joins > mostJoins) {
			continue
		}
		if h := e.m.planned.with(s); h != nil {
			n := e.bare(h)
			of[n] = s
			list = append(list, n)
		}
	}
	slices.SortStableFunc(list, likelierNode)
	var likely []single
	for _, n := range list[:min(len(list), pairedFaults)] {
		likely = append(likely, of[n])
	}
	return e.pairUp(likely)
}

// pairUp is the likeliest few of all pairs of some faults.
func (e *engine) pairUp(of []single) (out []*node) {
	for i, s := range of {
		h := e.m.planned.with(s)
		if h == nil {
			continue
		}
		for _, o := range of[:i] {
			if pair := h.with(o); pair != nil {
				out = append(out, e.bare(pair))
			}
		}
	}
	slices.SortStableFunc(out, likelierNode)
	return out[:min(len(out), pairClimbs)]
}

// Bounds on pairs: the faults that are paired, and the pairs that are climbed from.
const (
	pairedFaults = 24
	pairClimbs   = 4
)

// allPairs is the likeliest few of all pairs of faults, where the pad is so small that there are
// not many; else none. Two coils of one string may be shorted, and either fault alone explain less
// than nothing.
func (e *engine) allPairs() []*node {
	var singles []single
	for _, s := range e.singles {
		if s.Kind != layout.TurnsShorted {
			singles = append(singles, s)
		}
	}
	if len(singles)*(len(singles)-1)/2 > mostPairs {
		return nil
	}
	return e.pairUp(singles)
}

// mostPairs bounds the pairs looked at.
const mostPairs = 800
