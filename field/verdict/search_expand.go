package verdict

import (
	"math"
	"slices"

	"polewise/field/readings"
	"polewise/layout"
)

// Neighbours of a hypothesis are those with one fault more, and those with another fault
// in the place of one.

// expand scores a hypothesis with every single fault added.
func (e *engine) expand(s *scored, work *workspace) *node {
	n := e.evaluate(s)
	e.best = math.Max(e.best, n.log)
	first := e.first == nil
	if first {
		e.first = e.newFirst(n)
	}
	changed, flows := e.changedFrom(n), e.first.flows(n)
	var fresh []*scored
	keep := func(h *hypothesis, l, gain float64) {
		c := e.put(h, l)
		c.gain = gain
		c.hyp.letGo()
		fresh = append(fresh, c)
		e.best = math.Max(e.best, l)
	}
	more := together(len(n.hyp.faults)+1) - together(len(n.hyp.faults))
	for i := range e.singles {
		f := &e.singles[i]
		logP := f.logP + more
		apart := !first && e.first.apart(i, changed, flows)
		// Far from what distinguishes this hypothesis from the first one a fault
		// gains or loses what it did there.
		if apart && (math.IsInf(e.first.gain[i], -1) || n.log+e.first.gain[i]+logP < e.best-e.bail || n.log < e.best-nearBest) {
			continue
		}
		h := n.hyp.with(*f)
		if h == nil || e.met(h) {
			continue
		}
		l := n.log + e.first.gain[i] + logP
		// By headings hardly anything is hopeless. A coil that lost turns or went into another
		// string, for which nothing spoke at first, and which would hardly count beside an
		// explanation that is not among the best, is taken to lose what it did, and to gain
		// nothing.
		taken := e.ratio && !first && (f.kind == layout.TurnsShorted || f.kind == layout.CoilInWrongString) && n.log < e.best-nearBest && e.first.gain[i] < tellingGain && l < e.best-hardly && !math.IsInf(l, -1)
		switch {
		case taken:
			l -= math.Max(0, e.first.gain[i])
		case !apart:
			l = e.child(n, h, work)
		}
		if first {
			e.first.gain[i] = l - n.log - logP
			e.first.touched[i] = newBitset(len(e.factors), work.order)
		}
		if math.IsInf(l, -1) {
			e.seen[h.key] = nil // known, and not worth keeping
			continue
		}
		keep(h, l, l-n.log-logP)
	}
	for i := range n.hyp.faults {
		for _, h := range e.instead(n.hyp, i) {
			if e.met(h) {
				continue
			}
			// Against this one's backgrounds it may look hopeless and yet be right:
			// then it is not kept, but not known for hopeless either.
			if l := e.child(n, h, work); !math.IsInf(l, -1) {
				keep(h, l, l-h.logPrior-(n.log-n.hyp.logPrior)+s.gain)
			}
		}
	}
	e.refine(fresh)
	e.refineHidden(n, fresh)
	return n
}

// met tells whether a hypothesis was scored before; where it is likelier by
// itself than the equal one, it takes its place.
func (e *engine) met(h *hypothesis) bool {
	old, ok := e.seen[h.key]
	if old != nil && h.logPrior > old.hyp.logPrior {
		e.put(h, old.log)
	}
	return ok
}

// instead lists a hypothesis with one of its faults exchanged for another at the
// same coil, or for another of strings and pad: what the search came to by way of
// the one may be the other all the time.
func (e *engine) instead(h *hypothesis, fault int) (out []*hypothesis) {
	f := h.faults[fault]
	ofCoil := f.ID != "" && e.m.plan.CoilIndex(f.ID) >= 0
	var rest *hypothesis
	for i := range e.singles {
		s := &e.singles[i]
		if atCoil := e.m.plan.CoilIndex(s.fault.ID) >= 0; atCoil != ofCoil || atCoil && s.fault.ID != f.ID {
			continue
		}
		if rest == nil {
			fewer := slices.Delete(slices.Clone(h.faults), fault, fault+1)
			if rest = newHypothesis(e.m, fewer, e.priorOf(fewer...)); rest == nil {
				return nil
			}
		}
		if o := rest.with(*s); o != nil && o.key != h.key {
			out = append(out, o)
		}
	}
	return out
}

// nearBest is how near the best a hypothesis must come for faults far away from
// its own to be added to it as well, and for any where one that differs in degree
// alone was grown from.
const nearBest = 1.5

// hardly is how far below the best, in log units, an explanation by headings counts for
// so little that it need not be scored.
const hardly = 6.5

// firstExpansion keeps what each single fault gained when added to the
// hypothesis expanded first. A fault whose readings are none of those that
// another hypothesis changes gains the same there, and need not be scored again:
// that is what keeps large pads cheap.
type firstExpansion struct {
	n       *node
	gain    []float64 // log likelihood gained; NaN where the fault made no sense
	touched []bitset  // factors that the fault reaches
	turns   [][]int   // coils that a fault of reversal turns; nil for other faults
}

func (e *engine) newFirst(n *node) *firstExpansion {
	f := &firstExpansion{n: n, gain: make([]float64, len(e.singles)), touched: make([]bitset, len(e.singles)), turns: make([][]int, len(e.singles))}
	for i := range e.singles {
		f.turns[i] = flips(e.m.plan, &e.singles[i].fault)
	}
	return f
}

// apart tells whether a fault reaches none of the changed factors, and reaches the
// same ones as in the hypothesis expanded first. A reversal does where the coils it
// turns carry about the same current; what changes currents may reach any string, and
// does where all coils do.
func (f *firstExpansion) apart(single int, changed bitset, flows []bool) bool {
	if changed == nil || f.touched[single] == nil || f.touched[single].meets(changed) {
		return false
	}
	if f.turns[single] == nil {
		return !slices.Contains(flows, false)
	}
	for _, j := range f.turns[single] {
		if !flows[j] {
			return false
		}
	}
	return true
}

// flows tells of each coil whether it carries about the same current in a node as in
// the one expanded first, either way round.
func (f *firstExpansion) flows(n *node) []bool {
	out := make([]bool, len(n.at))
	for j, amps := range n.hyp.cur().CoilAmps {
		was := math.Abs(f.n.hyp.cur().CoilAmps[j])
		out[j] = math.Abs(math.Abs(amps)-was) <= flowsAlike*was
	}
	return out
}

// flowsAlike is by which share of itself a current may differ.
const flowsAlike = 0.2

// changedFrom lists the factors in which a node differs from the one expanded
// first; nil where the two cannot be compared.
func (e *engine) changedFrom(n *node) bitset {
	if e.first.n == n || !n.sc.equal(&e.first.n.sc) || len(e.ev.ohms) > 0 || len(e.ev.faces) > 0 {
		return nil
	}
	work := e.newWorkspace()
	e.affected(e.first.n, n.at, true, work)
	return newBitset(len(e.factors), work.order)
}

// bitset is a set of factor numbers.
type bitset []uint64

func newBitset(size int, list []affectedFactor) bitset {
	b := make(bitset, (size+63)/64)
	for _, a := range list {
		b[a.factor/64] |= 1 << (a.factor % 64)
	}
	return b
}

func (b bitset) meets(o bitset) bool {
	for i := range b {
		if b[i]&o[i] != 0 {
			return true
		}
	}
	return false
}

// refine scores the best few of a node's neighbours anew with backgrounds of
// their own: seen against their parent's they may look far worse than they are. Once
// something explains the readings, those far behind are left as they are seen.
func (e *engine) refine(fresh []*scored) {
	if !e.settles() {
		return
	}
	slices.SortStableFunc(fresh, byLog)
	for _, s := range fresh[:min(len(fresh), refineBest)] {
		if math.IsInf(s.log, -1) || !e.puzzled() && s.log < e.best-refineWithin {
			return
		}
		e.score(s)
	}
}

// refineWithin is how far that is, in log units.
const refineWithin = 10

// refineHidden scores anew what turns or kills a coil over which a node has the phone re-zero
// itself: the background fitted to such a coil makes the fault that it hides look hopeless.
func (e *engine) refineHidden(n *node, fresh []*scored) {
	if !e.settles() || len(n.hyp.faults) > 1 {
		return
	}
	hidden := e.coilsOffGround(n)
	for _, s := range fresh {
		if s.own || len(s.hyp.faults) != len(n.hyp.faults)+1 || math.IsInf(s.log, -1) {
			continue
		}
		if slices.ContainsFunc(s.hyp.faults, func(f layout.Fault) bool {
			return (f.Kind == layout.CoilReversed || f.Kind == layout.CoilShorted) && hidden[e.m.plan.CoilIndex(f.ID)]
		}) {
			e.score(s)
		}
	}
}

// offGround is how far the background of a hold lies from the middle of its group's, uT on
// any axis, for the phone to have re-zeroed itself rather than steel to have drawn it aside.
const offGround = 2 * driftSD

// coilsOffGround are the coils over which a node has the background so far off.
func (e *engine) coilsOffGround(n *node) map[int]bool {
	of := make([][3][]float64, len(e.groups))
	for i, f := range e.factors {
		g := f.frame().group
		for a, b := range n.bg[i].b {
			of[g][a] = append(of[g][a], b)
		}
	}
	middles := make([][3]float64, len(of))
	for g := range of {
		for a, list := range of[g] {
			middles[g][a] = readings.Median(list)
		}
	}
	out := map[int]bool{}
	for i, f := range e.factors {
		h, ok := f.(*holdFactor)
		if !ok || h.toggled {
			continue
		}
		for a, m := range middles[h.frame_.group] {
			if math.Abs(n.bg[i].b[a]-m) > offGround {
				out[h.coil] = true
			}
		}
	}
	return out
}
