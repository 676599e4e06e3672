package verdict

import (
	"math"
	"slices"

	"polewise/layout"
)

// Hypotheses that a search begins from lie far apart: one fault at a time does not lead from
// one to the other, nor past what looks hopeless alone.

// bases are the hypotheses a search starts from: far apart, so that a phone
// whose sensor place is unknown is not settled by the first guess.
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

// begins takes hypotheses for ones to begin from too; nil are none.
func (e *engine) begins(list []*hypothesis) {
	for _, h := range list {
		if h != nil && !e.met(h) {
			c := e.put(h, math.Inf(-1))
			c.base = true
			e.score(c)
		}
	}
}

// pairBases adds to the best beginnings each fault that changes many coils, and to the plan
// and the best of them each pair of strings in series, with backgrounds of their own.
// Against the background of one alone the two together look hopeless where readings do not
// tell the background: a string without current then passes for a phone that re-zeroed
// itself.
func (e *engine) pairBases(first []*scored) {
	slices.SortStableFunc(first, byLog)
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

// adopt takes nodes scored elsewhere for ones to begin from too.
func (e *engine) adopt(nodes []*node) {
	for _, n := range nodes {
		if old := e.seen[n.hyp.key]; old == nil || !old.own {
			n.base = true
			e.seen[n.hyp.key] = n.scored
		}
	}
	e.best = e.highest()
}

// joins are a hypothesis with two strings in series, so many at most.
func (e *engine) joins(beside *hypothesis, most int) (out []*hypothesis) {
	for _, s := range e.singles {
		if s.kind == layout.StringsInSeries && len(out) < most {
			if h := beside.with(s); h != nil {
				out = append(out, h)
			}
		}
	}
	return out
}

// Bounds on the strings in series that are thought of so, beside nothing else and beside the
// best beginning.
const (
	mostJoins   = 45
	joinsBeside = 15
)

// pairsOf is how many beginnings are paired.
const pairsOf = 2

// pairs are the likeliest explanations by two faults of whole strings, groups or the
// pad, or strings in series: either alone may look hopeless with the sensor where it is.
func (e *engine) pairs() []*node {
	var list []*node
	of := map[*node]single{}
	joins := 0
	for _, s := range e.singles {
		if s.kind == layout.StringsInSeries {
			joins++
		}
		if !s.changesMany() && (s.kind != layout.StringsInSeries || joins > mostJoins) {
			continue
		}
		if h := e.m.planned.with(s); h != nil {
			n := e.bare(h)
			of[n] = s
			list = append(list, n)
		}
	}
	slices.SortStableFunc(list, nodesByLog)
	var likely []single
	for _, n := range list[:min(len(list), pairedFaults)] {
		likely = append(likely, of[n])
	}
	return e.pairUp(likely)
}

// pairUp are the likeliest of all pairs of some faults.
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
	slices.SortStableFunc(out, nodesByLog)
	return out[:min(len(out), pairClimbs)]
}

// Bounds on pairs: the faults that are paired, and the pairs that are told.
const (
	pairedFaults = 24
	pairClimbs   = 4
)

// allPairs are the best of all pairs of faults, where the pad is so small that they are
// few: two coils of one string may be shorted, and either alone explain less than nothing.
func (e *engine) allPairs() []*node {
	var singles []single
	for _, s := range e.singles {
		if s.kind != layout.TurnsShorted {
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
