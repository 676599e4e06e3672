package verdict

import "slices"

// Looks at a neighbour that cost little and tell most of those that are hopeless.

// How far below the best, in log units, a neighbour is looked at no closer than roughly. That
// rather flatters it where a hold is told of, and there are many; the best are scored anew
// before anything is told. And by how much it may do one an injustice under pulses.
const (
	roughWithin     = 12.0
	roughByHeadings = 8.0
	roughInjustice  = 15.0
)

// Bounds on the glance that tells hopeless neighbours.
const (
	glanceCells = 3   // offset cells looked at
	glanceWorth = 0.4 // of all places, at most, or it saves nothing
	glanceSlack = 7   // log units that other cells may make good
	roughSlack  = 12  // and what taking the placement for a Gaussian may hide
)

// hopeless takes a glance at the node's likeliest offset cells alone and tells
// whether a neighbour falls too far behind there to be worth a full score. It goes
// on from what work.tot holds already for some parts, with so much that the others
// may gain.
func (e *engine) hopeless(n *node, h *hypothesis, sc *scales, in parts, work *workspace, hope float64) bool {
	if n.glance == nil {
		n.glance, n.rough = e.glanceFor(n), make([][]float64, len(e.factors))
	}
	nodes := len(sc.s)
	worth := true
	for p := range e.phones {
		g := &n.glance[p]
		if !in[p].large() {
			return false
		}
		worth = worth && float64(len(g.places)) < glanceWorth*float64(len(in[p].places))
		work.few[p] = g.pickFrom(work.few[p][:0], &in[p], work.tot[p], nodes)
		work.before[p] = g.pick(work.before[p][:0], n.tot[p], nodes)
	}
	limit := e.best - e.bail - (n.log - e.totalOver(n.glance.cells, work.before, sc)) - h.logPrior + n.hyp.logPrior - e.direct(h) + e.direct(n.hyp)
	if e.roughlyHopeless(n, h, sc, work, limit-roughSlack, hope) {
		return true
	}
	if !worth {
		return false
	}
	limit -= glanceSlack
	for i, o := range work.left {
		fr := e.factors[o.factor].frame()
		g := &n.glance[fr.src]
		field := work.changed(e.fieldOf(n, o.factor), g, fr, n.at, h.at())
		out := slices.Grow(work.out[:0], len(g.index)*nodes)[:len(g.index)*nodes]
		e.factors[o.factor].like(out, h.at(), field, &g.view, &n.bg[o.factor], sc)
		work.out = out
		exchangeIn(g, work.few[fr.src], out, n.said[o.factor].log, nodes)
		hope -= o.hope
		if (i < 4 || i == len(work.left)-1) && e.totalOver(n.glance.cells, work.few, sc)+hope < limit {
			return true
		}
	}
	return false
}

// roughlyHopeless is hopeless by the middles of the glance's cells alone, for a
// node's and a neighbour's likelihoods taken equally roughly. It tells what falls
// far behind at a small part of the cost.
func (e *engine) roughlyHopeless(n *node, h *hypothesis, sc *scales, work *workspace, limit, hope float64) bool {
	for p := range work.few {
		work.rough[p] = append(work.rough[p][:0], work.few[p]...)
	}
	for _, o := range work.left {
		f, ok := e.factors[o.factor].(roughFactor)
		if !ok {
			return false
		}
		src := f.frame().src
		cells := n.glance[src].cells
		exchange(work.rough[src], e.roughOf(f, o.factor, n, h, sc, cells, work), e.roughOfNode(n.rough, f, o.factor, n, sc, cells, work))
		hope -= o.hope
		if e.totalOver(n.glance.cells, work.rough, sc)+hope < limit {
			return true
		}
	}
	return false
}

// toldRoughly tells whether all of these can be.
func (e *engine) toldRoughly(list []affectedFactor) bool {
	for i := range list {
		if _, ok := e.factors[list[i].factor].(roughFactor); !ok {
			return false
		}
	}
	return true
}

// roughly is a neighbour's likelihood by the middles of a part's cells alone, the node's
// taken equally roughly, at a small part of the cost of summing over the placement. By
// headings it comes within half a log unit of that; by holds it lies up to ten above, where
// another side of the coil would have to explain what was read, and seldom more than two
// below. It goes on from work.tot.
func (e *engine) roughly(n *node, h *hypothesis, sc *scales, in parts, work *workspace) float64 {
	if n.roughly == nil {
		n.roughly = make([][]float64, len(e.factors))
	}
	for p := range work.tot {
		work.rough[p] = append(work.rough[p][:0], work.tot[p]...)
	}
	for _, o := range work.left {
		f := e.factors[o.factor].(roughFactor)
		src := f.frame().src
		cells := in[src].cells
		was := e.roughOfNode(n.roughly, f, o.factor, n, sc, cells, work)
		if !o.keep {
			exchange(work.rough[src], e.roughOf(f, o.factor, n, h, sc, cells, work), was)
			continue
		}
		o.key.rest.mix(roughKey)
		s := e.known.find(o.key)
		if s == nil {
			s = newSaid(e.roughOf(f, o.factor, n, h, sc, cells, work))
			e.known.keep(o.key, s)
		}
		exchange(work.rough[src], s.log, was)
	}
	return e.totalOver(in.cells, work.rough, sc)
}

// roughKey tells what a factor says roughly from what it says.
const roughKey = -1.0

// exchange puts what is said now in the place of what was.
func exchange[Now, Was float32 | float64](sum []float64, now []Now, was []Was) {
	for q, v := range now {
		sum[q] += float64(v) - float64(was[q])
	}
}

// roughOfNode is what a factor roughly says of a node at the middles of cells, worked out
// once.
func (e *engine) roughOfNode(known [][]float64, f roughFactor, factor int, n *node, sc *scales, cells []int, work *workspace) []float64 {
	if known[factor] == nil {
		ph, field := e.phones[f.frame().src], e.fieldOf(n, factor)
		work.middles = work.middles[:0]
		for _, c := range cells {
			work.middles = append(work.middles, field[ph.slot[ph.middle(c)]])
		}
		known[factor] = make([]float64, len(cells)*len(sc.s))
		f.roughly(known[factor], work.middles, &n.bg[factor], sc)
	}
	return known[factor]
}

// roughOf is the same of a neighbour; it stands in the workspace until the next is asked for.
func (e *engine) roughOf(f roughFactor, factor int, n *node, h *hypothesis, sc *scales, cells []int, work *workspace) []float64 {
	fr := f.frame()
	ph, field := e.phones[fr.src], e.fieldOf(n, factor)
	work.change.set(fr.cols, n.at, h.at(), work.share, affectUT/8)
	work.middles = work.middles[:0]
	for _, c := range cells {
		k := ph.middle(c)
		work.middles = append(work.middles, work.change.at(field[ph.slot[k]], fr.cols, k))
	}
	work.out = sized(work.out, len(cells)*len(sc.s))
	f.roughly(work.out, work.middles, &n.bg[factor], sc)
	return work.out
}
