package verdict

import (
	"math"
	"slices"

	"polewise/layout"
)

// A climb adds the one fault that explains most, then the next such, from each base.

// maxClimbs bounds the bases that are climbed from, the best first: in a pad of
// many strings one more that is turned or open is found on the way from the plan.
const maxClimbs = 12

// tellingFault is what one fault is taken to explain, in log units, before any has been found.
const tellingFault = 25.0

// climber climbs from one base after the other.
type climber struct {
	*engine
	work             *workspace
	nodes            []*node         // all on the ways climbed
	visited          map[uint64]bool // by hypothesis.key
	leader, leadBase *node           // the best node on any way, and the base of that way
	mostGained       float64         // by any one fault
}

// climb improves the bases fault by fault and returns all nodes on the way, and the bases.
func (e *engine) climb() (nodes, bases []*node) {
	begin := e.bases()
	if e.fitsBackgrounds() {
		begin = append(begin, e.joins(e.m.planned, mostJoins)...)
	}
	for _, h := range begin {
		bases = append(bases, e.bare(h))
	}
	if e.onlyBearings {
		e.narrowEarths(bases)
	}
	slices.SortStableFunc(bases, likelierNode)
	c := climber{engine: e, work: e.newWorkspace(), visited: map[uint64]bool{}, leader: bases[0], leadBase: bases[0], mostGained: tellingFault}
	for _, n := range bases[:min(len(bases), maxClimbs)] {
		c.up(n)
	}
	if e.astray(c.leader) {
		for _, n := range e.pairs() {
			c.up(n)
		}
	}
	return c.nodes, bases
}

// up climbs from a base. It leaves off where faults as telling as the most telling one seen would
// not bring the base near the best, or where all it does is come nearer to what was found from a
// far better base.
func (c *climber) up(base *node) {
	n := base
	defer func() { c.slim(n) }()
	for left := maxFaults; left > 0; left-- {
		if n.log > c.leader.log {
			c.leader, c.leadBase = n, base
		}
		if c.visited[n.hyp.key] || n.log+float64(left)*c.mostGained < c.leader.log-coarseWithin {
			return
		}
		c.visited[n.hyp.key] = true
		if n.said == nil {
			n = c.evaluate(n.scored)
		}
		c.nodes = append(c.nodes, n)
		top := c.bestChild(n)
		if top == nil {
			return
		}
		was := n
		c.slim(n)
		n = c.evaluate(&scored{hyp: top})
		c.mostGained = math.Max(c.mostGained, n.log-was.log)
		if base.log < c.leadBase.log-coarseWithin && n.log < c.leader.log-coarseWithin && apart(n.ampTurns, c.leader.ampTurns) < apart(was.ampTurns, c.leader.ampTurns) {
			return
		}
	}
}

// bestChild is the best hypothesis with one fault more than a node, of the kinds that change most;
// nil where none is better than the node.
func (c *climber) bestChild(n *node) (top *hypothesis) {
	c.engine.best = n.log
	for _, s := range c.singles {
		switch s.Kind {
		case layout.CoilReversed, layout.StringReversed, layout.StringOpen, layout.CoilShorted:
		case layout.StringsInSeries:
			if len(n.hyp.faults) > 0 {
				continue // among the faults of the plan, and found beside others later
			}
		default:
			continue
		}
		if h := n.hyp.with(s); h != nil {
			if l := c.child(n, h, c.work); l > c.engine.best {
				top, c.engine.best = h, l
			}
		}
	}
	return top
}

// astray tells whether a node, the likeliest found, explains the readings so badly that another
// is to be looked for, with the sensor elsewhere.
func (e *engine) astray(n *node) bool {
	return n.misfit() > math.Max(leastAstray, astrayShare*float64(len(e.factors)))
}

// What readings may fall short by, in log units, before that is so: so much all together, and so
// much for each.
const (
	leastAstray = 8
	astrayShare = 1.0
)

// apart is the sum of how far the ampere-turns of each coil differ.
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
	n := e.bestNode()
	return n != nil && (len(n.hyp.faults) >= manyFaults || e.astray(n))
}

// manyFaults are so many that they are rarely right.
const manyFaults = 3

// climbAnew climbs from each base once more, whatever was found elsewhere: beside a pad that was
// patched up coil by coil, half of what really is wrong looks hopeless.
func (e *engine) climbAnew() {
	was := e.giveUp
	e.giveUp = climbGiveUp
	nodes, _ := e.climb()
	e.giveUp = was
	e.adopt(append(nodes, e.allPairs()...))
}

// bestNode is the best hypothesis seen, with backgrounds of its own; nil where there is none.
func (e *engine) bestNode() *node {
	all := e.ranked()
	if len(all) == 0 {
		return nil
	}
	return e.bare(all[0].hyp)
}
