package verdict

import (
	"maps"
	"math"
	"slices"
)

// Where nobody knows in which place of the phone the sensor sits, a coarse look at all places comes
// first. It goes by a coarser grid and by the faults that change most, and leaves in play the
// cells where the sensor may be.

// wide tells whether any phone's sensor may be in so many cells that a coarse look is worth it.
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

// narrow is the coarse look. It leaves the cells in play where any good hypothesis has the sensor,
// records those hypotheses to be grown from, and notes which bases are not worth beginning from.
func (e *engine) narrow() {
	c := e.m.newEngine(e.ev.forCoarseLook(), coarseCells)
	c.giveUp = climbGiveUp
	nodes, bases := c.climb()
	e.earths = c.earths
	best := likeliestOf(nodes)
	e.leave(c.likelyCells(nodes, e))
	for _, n := range nodes {
		if n.log > best-coarseWithin {
			e.put(n.hyp, math.Inf(-1)).gain = math.Inf(1)
		}
	}
	if e.onlyBearings {
		e.coarse = c
	}
	if len(c.factors) > coarseKept {
		e.m.forgetCoarse()
		c.dropRows()
	}
	e.hopelessBases = map[uint64]bool{}
	for _, n := range bases {
		if n.log < best-coarseWithin-baseWithin {
			e.hopelessBases[n.hyp.key] = true
		}
	}
}

// enoughBearings is how many holds by compass a coarse look goes by: a few dozen tell where the
// sensor sits, and all those of a big pad would take seconds.
const enoughBearings = 100

// forCoarseLook is the evidence with as many holds by compass as are enough, taken all over the
// pad; all of it where there are hardly more.
func (ev *evidence) forCoarseLook() *evidence {
	if len(ev.bearings) < 3*enoughBearings/2 || !ev.onlyBearings() {
		return ev
	}
	few := *ev
	few.bearings = nil
	for k := range enoughBearings {
		few.bearings = append(few.bearings, ev.bearings[k*len(ev.bearings)/enoughBearings])
	}
	return &few
}

// likelyCells are, for each phone, the cells of a finer engine in which any of the likeliest
// nodes puts the sensor.
func (e *engine) likelyCells(nodes []*node, fine *engine) []map[int]bool {
	best := likeliestOf(nodes)
	out := make([]map[int]bool, len(e.phones))
	for p, ph := range e.phones {
		out[p] = map[int]bool{}
		for _, n := range nodes {
			if n.log < best-coarseWithin {
				continue
			}
			cellLog := e.cellLogs(n, p)
			top := slices.Max(cellLog)
			for i, cell := range ph.cells {
				if cellLog[i]-top+n.log > best-coarseWithin {
					fine.phones[p].near(ph.offset(ph.middle(cell)), 0.8*ph.step, out[p])
				}
			}
		}
	}
	return out
}

// leave leaves only some cells of each phone in play; of a phone without any, all.
func (e *engine) leave(in []map[int]bool) {
	for p, ph := range e.phones {
		if len(in[p]) > 0 {
			cells := slices.Sorted(maps.Keys(in[p]))
			ph.view = e.m.views.of(p, ph, 0, cells, cells, func(int) bool { return true })
		}
	}
}

// likeliestOf is the log posterior of the likeliest of some nodes.
func likeliestOf(nodes []*node) float64 {
	best := math.Inf(-1)
	for _, n := range nodes {
		best = math.Max(best, n.log)
	}
	return best
}
