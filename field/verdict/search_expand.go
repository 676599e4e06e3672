package verdict

import (
	"math"
	"slices"

	"polewise/field/readings"
	"polewise/layout"
)

// Neighbours of a hypothesis are those with one fault more, and those with another fault
// in the place of one.

// expand grows from a hypothesis: it scores it with every single fault added, and with another
// fault in the place of each of its own, and records what is not hopeless. It returns its node.
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
	more := together(len(n.hyp.faults)+1) - together(len(n.hyp.faults)) // in the prior, besides the fault's own
	for i := range e.singles {
		f := &e.singles[i]
		logP := f.logP + more
		// A fault that reaches none of the readings in which this hypothesis differs from the first
		// one gains here what it gained there.
		apart := !first && e.first.apart(i, changed, flows)
		if apart && (math.IsInf(e.first.gain[i], -1) || n.log+e.first.gain[i]+logP < e.best-e.giveUp || n.log < e.best-nearBest) {
			continue
		}
		h := n.hyp.with(*f)
		if h == nil || e.met(h) {
			continue
		}
		l := n.log + e.first.gain[i] + logP
		switch {
		case !first && e.notWorthScoring(n, f, e.first.gain[i], l):
			l -= math.Max(0, e.first.gain[i]) // it is taken to lose what it lost there, and to gain nothing
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

// notWorthScoring tells whether a fault beside a node need not be scored, given what it gained
// beside the first one and what it would come to here. By headings hardly anything is hopeless,
// and most of the work would go into coils that lost turns or went into another string, for
// which nothing spoke at first, beside explanations that are not among the best.
func (e *engine) notWorthScoring(n *node, f *single, gain, log float64) bool {
	return e.onlyBearings && (f.Kind == layout.TurnsShorted || f.Kind == layout.CoilInWrongString) &&
		n.log < e.best-nearBest && gain < tellingGain && log < e.best-hardly && !math.IsInf(log, -1)
}

// met tells whether an equal hypothesis was scored before. It takes that one's place if its
// faults are likelier before any reading.
func (e *engine) met(h *hypothesis) bool {
	old, ok := e.seen[h.key]
	if old != nil && h.logPrior > old.hyp.logPrior {
		e.put(h, old.log)
	}
	return ok
}

// instead lists a hypothesis with one of its faults exchanged: one of a coil for another of the
// same coil, one of strings, groups or the pad for another of these. The search may have come by
// way of the one to what is really the other.
func (e *engine) instead(h *hypothesis, fault int) (out []*hypothesis) {
	f := h.faults[fault]
	ofCoil := f.ID != "" && e.m.plan.CoilIndex(f.ID) >= 0
	var rest *hypothesis
	for i := range e.singles {
		s := &e.singles[i]
		if atCoil := e.m.plan.CoilIndex(s.ID) >= 0; atCoil != ofCoil || atCoil && s.ID != f.ID {
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

// nearBest is how near the best, in log units, a hypothesis must come for faults far away from
// its own to be added to it as well; and for any to be, where one that differs from it in degree
// alone was grown from.
const nearBest = 1.5

// hardly is how many log units below the best an explanation by headings counts for so little
// that it need not be scored.
const hardly = 6.5

// firstExpansion keeps what each single fault gained when added to the hypothesis expanded
// first. A fault that reaches none of the readings in which another hypothesis differs from
// that one gains the same there, and need not be scored again. That keeps large pads cheap.
type firstExpansion struct {
	n       *node
	gain    []float64 // log likelihood gained; -Inf where the fault was given up
	touched []bitset  // the factors that the fault reaches; nil where it was not scored
	turns   [][]int   // the coils that a fault of reversal turns; nil for other faults
}

// newFirst makes room for what the single faults gain beside a node.
func (e *engine) newFirst(n *node) *firstExpansion {
	f := &firstExpansion{n: n, gain: make([]float64, len(e.singles)), touched: make([]bitset, len(e.singles)), turns: make([][]int, len(e.singles))}
	for i := range e.singles {
		f.turns[i] = flips(e.m.plan, &e.singles[i].Fault)
	}
	return f
}

// apart tells whether a fault does beside another hypothesis what it did beside the first: it
// reaches none of the factors changed between the two, and the currents are alike. For a reversal
// those of the coils it turns are enough. Other faults may change the current of any string, and
// all must be alike.
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

// flows tells of each coil whether it carries about as much current in a node as in the one
// expanded first, whichever way round.
func (f *firstExpansion) flows(n *node) []bool {
	out := make([]bool, len(n.ampTurns))
	for j, amps := range n.hyp.currents().CoilAmps {
		was := math.Abs(f.n.hyp.currents().CoilAmps[j])
		out[j] = math.Abs(math.Abs(amps)-was) <= flowsAlike*was
	}
	return out
}

// flowsAlike is the share of itself that a current may differ by.
const flowsAlike = 0.2

// changedFrom is the factors in which a node differs from the one expanded first; nil where the
// two cannot be compared.
func (e *engine) changedFrom(n *node) bitset {
	if e.first.n == n || !n.sc.equal(&e.first.n.sc) || len(e.ev.ohms) > 0 || len(e.ev.faces) > 0 {
		return nil
	}
	work := e.newWorkspace()
	e.affected(e.first.n, n.ampTurns, true, work)
	return newBitset(len(e.factors), work.order)
}

// bitset is a set of factor numbers.
type bitset []uint64

// newBitset is the set of the factors listed, of so many that there are.
func newBitset(size int, list []affectedFactor) bitset {
	b := make(bitset, (size+63)/64)
	for _, a := range list {
		b[a.factor/64] |= 1 << (a.factor % 64)
	}
	return b
}

// meets tells whether two sets have a factor in common.
func (b bitset) meets(o bitset) bool {
	for i := range b {
		if b[i]&o[i] != 0 {
			return true
		}
	}
	return false
}

// refine scores the best few of a node's fresh neighbours anew, with backgrounds of their own: with
// the node's they may look far worse than they are. Once something explains the readings, those
// far behind are left as they are.
func (e *engine) refine(fresh []*scored) {
	if !e.fitsBackgrounds() {
		return
	}
	slices.SortStableFunc(fresh, likelierFirst)
	for _, s := range fresh[:min(len(fresh), refineBest)] {
		if math.IsInf(s.log, -1) || !e.puzzled() && s.log < e.best-refineWithin {
			return
		}
		e.score(s)
	}
}

// Bounds on what is scored anew so.
const (
	refineBest   = 8
	refineWithin = 10 // log units of the best
)

// refineHidden scores anew, with backgrounds of their own, the fresh neighbours that turn or kill a
// coil over which the node has the phone re-zero itself. The background fitted to that hold may
// hide such a fault, and make it look hopeless.
func (e *engine) refineHidden(n *node, fresh []*scored) {
	if !e.fitsBackgrounds() || len(n.hyp.faults) > 1 {
		return
	}
	hidden := e.coilsOffGround(n)
	for _, s := range fresh {
		if s.ownBackgrounds || len(s.hyp.faults) != len(n.hyp.faults)+1 || math.IsInf(s.log, -1) {
			continue
		}
		if slices.ContainsFunc(s.hyp.faults, func(f layout.Fault) bool {
			return (f.Kind == layout.CoilReversed || f.Kind == layout.CoilShorted) && hidden[e.m.plan.CoilIndex(f.ID)]
		}) {
			e.score(s)
		}
	}
}

// offGround is how far the background of a hold must lie from the middle of its group's, uT on any
// axis, for the phone to have re-zeroed itself. Less may be steel nearby.
const offGround = 2 * driftSD

// coilsOffGround are the coils over which a node has a hold's background that far off.
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
		for a, m := range middles[h.fr.group] {
			if math.Abs(n.bg[i].b[a]-m) > offGround {
				out[h.coil] = true
			}
		}
	}
	return out
}
