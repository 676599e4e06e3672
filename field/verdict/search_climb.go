package verdict

import (
	"math"
	"slices"

	"polewise/layout"
)

// A climb goes by the fault that explains most, one after the other, from each beginning.

// maxClimbs bounds the bases that are climbed from, the best first: in a pad of
// many strings one more that is turned or open is found on the way from the plan.
const maxClimbs = 12

// tellingFault is what finding one fault explains, in log units, where none has been
// found yet.
const tellingFault = 25.0

// climb improves the bases fault by fault and returns all nodes on the way, and the
// bases. A base is left alone when faults as telling as the most telling one seen
// would not bring it near the best, or when all it does is come nearer to what was
// found from a far better one.
func (e *engine) climb() (nodes, bases []*node) {
	work := e.newWorkspace()
	visited := map[uint64]bool{}
	begin := e.bases()
	if e.settles() {
		begin = append(begin, e.joins(e.m.planned, mostJoins)...)
	}
	for _, h := range begin {
		bases = append(bases, e.bare(h))
	}
	if e.ratio {
		e.narrowEarths(bases)
	}
	slices.SortStableFunc(bases, nodesByLog)
	best, from, most := bases[0], bases[0], tellingFault
	up := func(n *node) {
		base := n
		for left := maxFaults; left > 0; left-- {
			if n.log > best.log {
				best, from = n, base
			}
			if visited[n.hyp.key] || n.log+float64(left)*most < best.log-coarseWithin {
				break
			}
			visited[n.hyp.key] = true
			if n.said == nil {
				n = e.evaluate(n.scored)
			}
			nodes = append(nodes, n)
			e.best = n.log
			var top *hypothesis
			topLog := n.log
			for _, s := range e.singles {
				switch s.kind {
				case layout.CoilReversed, layout.StringReversed, layout.StringOpen, layout.CoilShorted:
				case layout.StringsInSeries:
					if len(n.hyp.faults) > 0 {
						continue // among the faults of the plan, and found beside others later
					}
				default:
					continue
				}
				if h := n.hyp.with(s); h != nil {
					if l := e.child(n, h, work); l > topLog {
						top, topLog, e.best = h, l, l
					}
				}
			}
			if top == nil {
				break
			}
			was := n
			e.slim(n)
			n = e.evaluate(&scored{hyp: top})
			most = math.Max(most, n.log-was.log)
			if base.log < from.log-coarseWithin && n.log < best.log-coarseWithin && apart(n.at, best.at) < apart(was.at, best.at) {
				break
			}
		}
		e.slim(n)
	}
	for _, n := range bases[:min(len(bases), maxClimbs)] {
		up(n)
	}
	if e.astray(best) {
		for _, n := range e.pairs() {
			up(n)
		}
	}
	return nodes, bases
}

// astray tells whether the likeliest explanation found explains the readings so badly
// that another is to be looked for, with the sensor elsewhere.
func (e *engine) astray(n *node) bool {
	return n.misfit() > math.Max(leastAstray, astrayShare*float64(len(e.factors)))
}

// What readings may be short of, in log units, all together and each.
const (
	leastAstray = 8
	astrayShare = 1.0
)

// apart is how far two hypotheses' ampere-turns differ, all told.
func apart(a, b []float64) (sum float64) {
	for j := range a {
		sum += math.Abs(a[j] - b[j])
	}
	return sum
}

// dubious tells whether the best explanation found is one that a search may have been
// led to by patching up a wrong beginning: of many faults, or one that explains the readings
// badly.
func (e *engine) dubious() bool {
	n := e.bestAnew()
	return n != nil && (len(n.hyp.faults) >= manyFaults || e.astray(n))
}

// manyFaults at once are rare.
const manyFaults = 3

// climbAnew goes from each beginning by the fault that explains most, and from there by the
// next, whatever was found elsewhere: beside a pad that was patched up coil by coil the
// half of what is wrong looks hopeless.
func (e *engine) climbAnew() {
	was := e.bail
	e.bail = climbBail
	nodes, _ := e.climb()
	e.bail = was
	e.adopt(append(nodes, e.allPairs()...))
}

// bestAnew is the best hypothesis seen with backgrounds of its own; nil where there is none.
func (e *engine) bestAnew() *node {
	all := e.ranked()
	if len(all) == 0 {
		return nil
	}
	return e.bare(all[0].hyp)
}
