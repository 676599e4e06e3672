package verdict

import (
	"maps"
	"math"
	"slices"

	"polewise/layout"
)

// Where in the phone the sensor sits is looked for coarsely first: over few places far
// apart, from beginnings that lie far apart too.

// wide tells whether any phone's sensor may be in so many places that a coarse
// look first is worth it.
func (e *engine) wide() bool {
	for _, ph := range e.phones {
		if ph.offsets() > fewCells {
			return true
		}
	}
	return false
}

// fewCells are the most that a sensor whose place was told may be in.
const fewCells = 40

// narrow looks over all sensor places coarsely with the faults that change most,
// keeps the cells where any good hypothesis puts the sensor, and notes those
// hypotheses as places to begin; and which bases are not worth beginning from.
func (e *engine) narrow() {
	c := e.m.newEngine(e.ev, coarseCells)
	c.bail = climbBail
	nodes, bases := c.climb()
	e.earths = c.earths
	best := math.Inf(-1)
	for _, n := range nodes {
		best = math.Max(best, n.log)
	}
	for p, ph := range c.phones {
		fine := e.phones[p]
		keep := map[int]bool{}
		for _, n := range nodes {
			if n.log < best-coarseWithin {
				continue
			}
			cellLog := c.cellLogs(n, p)
			top := slices.Max(cellLog)
			for i, cell := range ph.cells {
				if cellLog[i]-top+n.log > best-coarseWithin {
					fine.near(ph.offset(ph.middle(cell)), 0.8*ph.step, keep)
				}
			}
		}
		if len(keep) > 0 {
			cells := slices.Sorted(maps.Keys(keep))
			fine.view = e.m.views.of(p, fine, 0, cells, cells, func(int) bool { return true })
		}
	}
	for _, n := range nodes {
		if n.log > best-coarseWithin {
			e.put(n.hyp, math.Inf(-1)).gain = math.Inf(1)
		}
	}
	if len(c.factors) > coarseKept {
		e.m.forget(coarseCells)
	}
	e.idle = map[uint64]bool{}
	for _, n := range bases {
		if n.log < best-coarseWithin-baseWithin {
			e.idle[n.hyp.key] = true
		}
	}
}

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
		n := e.evaluate(&scored{hyp: h})
		e.slim(n)
		bases = append(bases, n)
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
				if h := n.hyp.with(e.m.plan, s); h != nil {
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

// pairs are the likeliest explanations by two faults of whole strings, groups or the
// pad, or strings in series: either alone may look hopeless with the sensor where it is.
func (e *engine) pairs() []*node {
	scoredAs := func(h *hypothesis) *node {
		n := e.evaluate(&scored{hyp: h})
		e.slim(n)
		return n
	}
	var list, out []*node
	of := map[*node]single{}
	joins := 0
	for _, s := range e.singles {
		if s.kind == layout.StringsInSeries {
			joins++
		}
		if !s.changesMany() && (s.kind != layout.StringsInSeries || joins > mostJoins) {
			continue
		}
		if h := e.m.planned.with(e.m.plan, s); h != nil {
			n := scoredAs(h)
			of[n] = s
			list = append(list, n)
		}
	}
	best := func(list []*node, most int) []*node {
		slices.SortStableFunc(list, nodesByLog)
		return list[:min(len(list), most)]
	}
	list = best(list, pairedFaults)
	for i, n := range list {
		for _, o := range list[:i] {
			if h := n.hyp.with(e.m.plan, of[o]); h != nil {
				out = append(out, scoredAs(h))
			}
		}
	}
	return best(out, pairClimbs)
}

// Bounds on pairs: the faults that are paired, and the pairs that are told.
const (
	pairedFaults = 24
	pairClimbs   = 4
)

// apart is how far two hypotheses' ampere-turns differ, all told.
func apart(a, b []float64) (sum float64) {
	for j := range a {
		sum += math.Abs(a[j] - b[j])
	}
	return sum
}
