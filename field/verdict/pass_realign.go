package verdict

import (
	"math"
	"slices"

	"polewise/layout"
)

// A pass is aligned before anything is known of the pad. Explanations found later are aligned to as
// well, so that each is judged by how well it fits at its best.

// Bounds on how often passes are aligned anew to what was found.
const (
	realignments = 3
	realignBest  = 6
	realignNear  = 9.0 // log units behind the best
)

// realign aligns the passes to the best hypotheses found. It reports whether that added anything.
func (e *engine) realign() bool {
	if len(e.ev.passes) == 0 {
		return false
	}
	added := false
	top := append(e.ranked(), &scored{hyp: e.m.planned, log: e.best})
	for i, s := range top {
		if s.log < e.best-realignNear || i >= realignBest && s.hyp != e.m.planned {
			continue
		}
		for k := range e.ev.passes {
			if e.ev.passes[k].aligner.anchor(s.hyp.ampTurns(), false) {
				added = true
			}
		}
	}
	for _, s := range top {
		if s.base && e.anchorShort(s) {
			added = true
		}
	}
	added = e.anchorBeside(top[0].hyp) || added
	return e.anchorRows(top[0].hyp) || added
}

// rebase begins the search anew from the best that was found, with passes understood as they are by
// now. What explained nothing new before, and has not gained since, is no base.
func (e *engine) rebase() {
	found := e.ranked()
	e.seen, e.first, e.best = map[uint64]*scored{}, nil, math.Inf(-1)
	for _, f := range e.factors {
		if p, ok := f.(*passFactor); ok {
			p.learn()
		}
	}
	behind := 0.0 // the best of then, by what it is now
	for i, s := range found[:min(len(found), realignBest)] {
		c := e.put(s.hyp, math.Inf(-1))
		e.score(c)
		if i == 0 {
			behind = c.log - s.log
		}
		c.gain = s.gain + c.log - s.log - behind
		c.base = s.base || c.gain >= tellingGain
	}
}

// anchorShort aligns to a hypothesis the one pass that speaks most against it, if without that
// pass it would be among the best: the pass may have been aligned to its rivals alone. It reports
// whether that added anything.
func (e *engine) anchorShort(s *scored) bool {
	n := e.evaluate(&scored{hyp: s.hyp})
	worst := -1
	for i, f := range e.factors {
		if _, ok := f.(*passFactor); ok && (worst < 0 || n.short[i] > n.short[worst]) {
			worst = i
		}
	}
	if worst < 0 || n.log+n.short[worst] < e.best-realignNear {
		return false
	}
	return e.factors[worst].(*passFactor).aligner.anchor(n.ampTurns, false)
}

// Log units that the passes over a coil must say for a fault of it, and the passes beside it
// against it, for those beside to be aligned to it.
const ownSays, besideSays = 1.0, 3.0

// anchorBeside aligns passes to faults of coils that they go near, but not over, where the passes
// over the coil speak for the fault and these against it. They may only do so since they were
// aligned with the coil as planned. It reports whether that added anything.
func (e *engine) anchorBeside(h *hypothesis) bool {
	n := e.evaluate(&scored{hyp: h})
	type passThere struct {
		*passFactor
		sum  int     // where in its sums the sensor's likeliest place stands
		said float64 // what the pass says of h there
	}
	var passes []passThere
	for k, f := range e.factors {
		if p, ok := f.(*passFactor); ok {
			c, m := e.likeliest(n, p.frame().src)
			nodes := len(n.sc.s)
			passes = append(passes, passThere{p, p.sides[p.ph.cells[c]]*nodes + m, n.said[k].at(c*nodes + m)})
		}
	}
	added := false
	for i := range e.singles {
		s := &e.singles[i]
		j := e.m.plan.CoilIndex(s.ID)
		if j < 0 || s.Kind != layout.CoilReversed && s.Kind != layout.CoilShorted {
			continue
		}
		o := h.with(*s)
		if o == nil {
			continue
		}
		own, beside := 0.0, 0.0
		var against []passThere
		for _, p := range passes {
			if !slices.Contains(p.near, int32(j)) {
				continue
			}
			gain := p.sums(o.ampTurns(), &n.sc).at(p.sum) - p.said
			switch {
			case slices.Contains(p.coils, j):
				own += gain
			case gain < 0:
				beside += gain
				against = append(against, p)
			}
		}
		if own < ownSays || beside > -besideSays {
			continue
		}
		for _, p := range against {
			added = p.aligner.anchor(o.ampTurns(), false) || added
		}
	}
	e.slim(n)
	return added
}

// anchorRows aligns every pass that nothing fits well to a hypothesis without its faults of the
// coils of that row, and with each of these coils turned besides: what was found of them may only
// be the best that a wrong alignment leaves. It reports whether that added anything.
func (e *engine) anchorRows(h *hypothesis) bool {
	added := false
	for _, f := range e.factors {
		p, ok := f.(*passFactor)
		if !ok {
			continue
		}
		if best := p.best(); best == nil || best.lack < poorLack {
			continue
		}
		inRow := func(id string) bool { return slices.Contains(p.coils, e.m.plan.CoilIndex(id)) }
		base := newHypothesis(e.m, slices.DeleteFunc(slices.Clone(h.faults), func(f layout.Fault) bool { return inRow(f.ID) }), 0)
		if base == nil {
			continue
		}
		added = p.aligner.anchor(base.ampTurns(), false) || added
		for _, s := range e.singles {
			if s.Kind != layout.CoilReversed || !inRow(s.ID) {
				continue
			}
			if o := base.with(s); o != nil {
				added = p.aligner.anchor(o.ampTurns(), true) || added
			}
		}
	}
	return added
}

// poorLack is by how many log units the best way to understand a pass must fall short of samples
// that fit, for the pass to be aligned to more than the best hypotheses.
const poorLack = 0
