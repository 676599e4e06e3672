package verdict

import (
	"math"
	"slices"
)

// Looks at a neighbour that cost little, and show that most are hopeless. Two things make them
// cheap: few cells (a glance), and the placement of the mark taken for one Gaussian about the
// middle of each cell instead of being summed over (roughly).

// Bounds on the rough look, log units. It rather flatters a neighbour where holds tell of it; the best
// are scored anew before anything is told.
const (
	roughWithin     = 12.0 // below the best: such a neighbour is looked at no closer
	roughByHeadings = 8.0  // the same by headings
	roughInjustice  = 15.0 // that it may do a neighbour under pulses
)

// Bounds on the glance.
const (
	glanceCells = 3   // offset cells looked at
	glanceWorth = 0.4 // of all places, at most, or it saves nothing
	glanceSlack = 7   // log units that other cells may make good,
	roughSlack  = 12  // and that taking the placement for a Gaussian may hide
)

// look is the log posterior of a neighbour by the looks that cost little, where they are enough:
// it is hopeless (-Inf), or so far behind that it need not be known any closer.
func (e *engine) look(nb *neighbour) (log float64, enough bool) {
	roughly := nb.sameScales && !nb.moves && e.res.margin > 0 && e.toldRoughly(nb.left)
	// A glance looks at where the node has the sensor. In the coarse look, where much of the pad
	// changes, the sensor may turn out to sit elsewhere, and a glance tells nothing. By headings
	// hardly anything is hopeless.
	glance := nb.sameScales && !(nb.moves && e.res == coarseCells) && !(roughly && e.onlyBearings)
	if len(nb.left) > 0 && glance && e.hopeless(nb) {
		return math.Inf(-1), true
	}
	if !roughly {
		return 0, false
	}
	within := roughWithin
	if e.onlyBearings {
		within = roughByHeadings
	}
	// Under pulses what the rough look has a little below what is kept is looked at closely, since
	// it would be lost for good.
	injustice := 0.0
	if e.pulsed {
		injustice = roughInjustice
	}
	switch log = e.roughly(nb) + nb.base; {
	case !e.onlyBearings && log < e.best-e.giveUp-injustice:
		return math.Inf(-1), true
	case log < e.best-within && (e.onlyBearings || log >= e.best-e.giveUp):
		return log, true
	}
	return 0, false
}

// hopeless takes a glance at the node's likeliest offset cells alone, first roughly, and tells
// whether a neighbour falls too far behind there to be worth a full score. It goes on from the
// readings summed in tot, given how much the others may gain.
func (e *engine) hopeless(nb *neighbour) bool {
	n, h := nb.node, nb.hyp
	if n.glance == nil {
		n.glance, n.roughAtGlance = e.glanceFor(n), make([][]float64, len(e.factors))
	}
	nodes := len(nb.sc.s)
	worth := true
	for p := range e.phones {
		g := &n.glance[p]
		if !nb.in[p].large() {
			return false
		}
		worth = worth && float64(len(g.places)) < glanceWorth*float64(len(nb.in[p].places))
		nb.few[p] = g.pickFrom(nb.few[p][:0], &nb.in[p], nb.tot[p], nodes)
		nb.before[p] = g.pick(nb.before[p][:0], n.tot[p], nodes)
	}
	limit := e.best - e.giveUp - (n.log - e.totalOver(n.glance.cells, nb.before, &nb.sc)) - h.logPrior + n.hyp.logPrior - e.direct(h) + e.direct(n.hyp)
	if e.roughlyHopeless(nb, limit-roughSlack) {
		return true
	}
	if !worth {
		return false
	}
	limit -= glanceSlack
	hope := nb.hope
	for i, o := range nb.left {
		fr := e.factors[o.factor].frame()
		g := &n.glance[fr.src]
		field := nb.changed(e.fieldOf(n, o.factor), g, fr, n.ampTurns, h.ampTurns())
		nb.out = slices.Grow(nb.out[:0], len(g.index)*nodes)[:len(g.index)*nodes]
		e.factors[o.factor].like(nb.out, h.ampTurns(), field, &g.view, &n.bg[o.factor], &nb.sc)
		exchangeIn(g, nb.few[fr.src], nb.out, n.said[o.factor].log, nodes)
		hope -= o.hope
		if (i < 4 || i == len(nb.left)-1) && e.totalOver(n.glance.cells, nb.few, &nb.sc)+hope < limit {
			return true
		}
	}
	return false
}

// roughlyHopeless is hopeless by the middles of the glance's cells alone: what the readings say of
// the neighbour is held against what they say of the node taken just as roughly.
func (e *engine) roughlyHopeless(nb *neighbour, limit float64) bool {
	n, hope := nb.node, nb.hope
	for p := range nb.few {
		nb.rough[p] = append(nb.rough[p][:0], nb.few[p]...)
	}
	for _, o := range nb.left {
		f, ok := e.factors[o.factor].(roughFactor)
		if !ok {
			return false
		}
		src := f.frame().src
		cells := n.glance[src].cells
		exchange(nb.rough[src], e.roughOf(f, o.factor, nb, cells), e.roughOfNode(n.roughAtGlance, f, o.factor, nb, cells))
		hope -= o.hope
		if e.totalOver(n.glance.cells, nb.rough, &nb.sc)+hope < limit {
			return true
		}
	}
	return false
}

// toldRoughly tells whether all of these factors can tell roughly what they say.
func (e *engine) toldRoughly(list []affectedFactor) bool {
	for i := range list {
		if _, ok := e.factors[list[i].factor].(roughFactor); !ok {
			return false
		}
	}
	return true
}

// roughly is a neighbour's log likelihood by the middles of its cells alone, held against the
// node's taken just as roughly. It goes on from tot. By headings it comes within half a log unit
// of what summing over the placement gives. By holds it lies up to ten above, where another side
// of the coil would have to explain what was read, and seldom more than two below.
func (e *engine) roughly(nb *neighbour) float64 {
	n := nb.node
	if n.roughAtLikely == nil {
		n.roughAtLikely = make([][]float64, len(e.factors))
	}
	for p := range nb.tot {
		nb.rough[p] = append(nb.rough[p][:0], nb.tot[p]...)
	}
	for _, o := range nb.left {
		f := e.factors[o.factor].(roughFactor)
		src := f.frame().src
		cells := nb.in[src].cells
		was := e.roughOfNode(n.roughAtLikely, f, o.factor, nb, cells)
		if !o.keep {
			exchange(nb.rough[src], e.roughOf(f, o.factor, nb, cells), was)
			continue
		}
		o.key.rest.mix(roughKey)
		s := e.known.find(o.key)
		if s == nil {
			s = newSaid(e.roughOf(f, o.factor, nb, cells))
			e.known.keep(o.key, s)
		}
		exchange(nb.rough[src], s.log, was)
	}
	return e.totalOver(nb.in.cells, nb.rough, &nb.sc)
}

// roughKey tells the name of what a factor roughly says from that of what it says.
const roughKey = -1.0

// exchange puts what a factor says now in the place of what it said before.
func exchange[Now, Was float32 | float64](sum []float64, now []Now, was []Was) {
	for q, v := range now {
		sum[q] += float64(v) - float64(was[q])
	}
}

// roughOfNode is what a factor roughly says of the node at the middles of cells, worked out once
// and kept in known.
func (e *engine) roughOfNode(known [][]float64, f roughFactor, factor int, nb *neighbour, cells []int) []float64 {
	if known[factor] == nil {
		ph, field := e.phones[f.frame().src], e.fieldOf(nb.node, factor)
		nb.middles = nb.middles[:0]
		for _, c := range cells {
			nb.middles = append(nb.middles, field[ph.slot[ph.middle(c)]])
		}
		known[factor] = make([]float64, len(cells)*len(nb.sc.s))
		f.roughly(known[factor], nb.middles, &nb.node.bg[factor], &nb.sc)
	}
	return known[factor]
}

// roughOf is the same of the neighbour. It stands in the workspace until the next is asked for.
func (e *engine) roughOf(f roughFactor, factor int, nb *neighbour, cells []int) []float64 {
	fr := f.frame()
	ph, field := e.phones[fr.src], e.fieldOf(nb.node, factor)
	nb.change.set(fr.cols, nb.node.ampTurns, nb.hyp.ampTurns(), nb.share, affectUT/8)
	nb.middles = nb.middles[:0]
	for _, c := range cells {
		k := ph.middle(c)
		nb.middles = append(nb.middles, nb.change.at(field[ph.slot[k]], fr.cols, k))
	}
	nb.out = sized(nb.out, len(cells)*len(nb.sc.s))
	f.roughly(nb.out, nb.middles, &nb.node.bg[factor], &nb.sc)
	return nb.out
}
