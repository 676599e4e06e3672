package verdict

import (
	"cmp"
	"math"
	"slices"
)

// affectUT is the smallest change of field that makes a reading worth scoring
// anew, and the smallest in standard deviations of what the reading leaves open.
const (
	affectUT = 1.5
	affectSD = 0.12
)

// bail is how far below the best a hypothesis may fall before its remaining
// readings are not looked at any more.
const bail = 15

// child scores a neighbour of a node. Only readings that the change reaches are
// scored anew, and only where the node's sensor may be: first those that are known
// from another hypothesis, then the others, the nearest first. A neighbour that falls
// hopelessly behind is given up with -Inf.
func (e *engine) child(n *node, h *hypothesis, work *workspace) float64 {
	e.m.checkHalt()
	sc := e.scalesFor(h)
	sameScales := sc.equal(&n.sc)
	e.affected(n, h.at(), sameScales, work)
	work.share = commonShare(n.at, h.at())
	moves := muchChanges(n.at, h.at())
	in := e.partsFor(n, moves)
	nodes := len(sc.s)
	base := h.logPrior + n.bgLog + e.direct(h)
	hope := 0.0 // what the readings not scored yet may still gain
	// Where all currents shrink so does what the placement leaves open.
	narrower := -3 * math.Log(min(1, max(math.Abs(work.share), leastCommon)))
	for i := range work.order {
		o := &work.order[i]
		o.hope = n.hope(o) + narrower
		hope += o.hope
	}
	for p := range n.tot {
		work.tot[p] = in[p].pick(work.tot[p][:0], n.tot[p], nodes)
	}
	behind := func() bool {
		return sameScales && e.totalOver(in.cells, work.tot, &sc)+base+hope < e.best-e.bail
	}
	add := func(o *affectedFactor, s *said) {
		src := e.factors[o.factor].frame().src
		exchangeIn(&in[src], work.tot[src], s.log, n.said[o.factor].log, nodes)
		hope -= o.hope
	}
	left := work.left[:0]
	for _, o := range work.order {
		p := &in[e.factors[o.factor].frame().src]
		if o.keep = p.large() && !e.factors[o.factor].frame().along; o.keep {
			o.key = e.keyOf(o.factor, h.at(), &p.view, &n.bg[o.factor], &sc)
			if s := e.known.find(o.key); s != nil {
				add(&o, s)
				continue
			}
		}
		left = append(left, o)
	}
	work.left = left
	if len(work.order) > 0 && behind() {
		return math.Inf(-1)
	}
	roughly := sameScales && !moves && e.res.margin > 0 && e.toldRoughly(left)
	// In the coarse look the sensor may turn out to sit elsewhere where much of the
	// pad changes, and a glance at where this node has it tells nothing. By headings hardly
	// anything is hopeless.
	glance := sameScales && !(moves && e.res == coarseCells) && !(roughly && e.ratio)
	if len(left) > 0 && glance && e.hopeless(n, h, &sc, in, work, hope) {
		return math.Inf(-1)
	}
	if roughly {
		within := roughWithin
		if e.ratio {
			within = roughByHeadings
		}
		// Under pulses what lies a little below what is kept is looked at closely: given up for a
		// rough look's injustice, it would be lost for good.
		injustice := 0.0
		if e.pulsed {
			injustice = roughInjustice
		}
		switch l := e.roughly(n, h, &sc, in, work) + base; {
		case !e.ratio && l < e.best-e.bail-injustice:
			return math.Inf(-1)
		case l < e.best-within && (e.ratio || l >= e.best-e.bail):
			return l
		}
	}
	for i, o := range left {
		fr := e.factors[o.factor].frame()
		p := &in[fr.src]
		field := work.changed(e.fieldOf(n, o.factor), p, fr, n.at, h.at())
		work.out = sized(work.out, len(p.cells)*nodes)
		e.factors[o.factor].like(work.out, h.at(), field, &p.view, &n.bg[o.factor], &sc)
		s := newSaid(work.out)
		if o.keep {
			e.known.keep(o.key, s)
		}
		add(&o, s)
		if i < len(left)-1 && (i < 3 || i%4 == 0) && behind() {
			return math.Inf(-1)
		}
	}
	return e.totalOver(in.cells, work.tot, &sc) + base
}

// leastCommon share of the ampere-turns bounds how much narrower readings may get.
const leastCommon = 0.05

// muchChanges tells whether a good part of the coils turn over, die or come to life.
func muchChanges(from, to []float64) bool {
	count := 0
	for j := range from {
		if math.Abs(to[j]-from[j]) > 0.6*math.Max(math.Abs(from[j]), math.Abs(to[j])) {
			count++
		}
	}
	return 3*count >= len(from)
}

// climbBail stands for bail in a climb, which goes on with the best neighbour alone.
const climbBail = 3

// hope is what a factor may gain when its field changes: no more than it falls
// short of its ceiling, and no more than so small a change can make good.
func (n *node) hope(o *affectedFactor) float64 {
	short := n.short[o.factor]
	return math.Min(short, o.change*n.firm[o.factor]*math.Sqrt(2*short))
}

// affected lists the factors a change reaches, most changed first.
func (e *engine) affected(n *node, at []float64, sameScales bool, work *workspace) {
	work.order = work.order[:0]
	for i, f := range e.factors {
		fr := f.frame()
		var change float64
		for q, j := range fr.cols.near {
			if d := at[j] - n.at[j]; d != 0 {
				change += math.Abs(d) * fr.cols.peak[q]
			}
		}
		if change > affectUT && change*n.firm[i] > affectSD || !sameScales {
			work.order = append(work.order, affectedFactor{factor: i, change: change})
		}
	}
	slices.SortFunc(work.order, func(x, y affectedFactor) int { return cmp.Compare(y.change, x.change) })
}

// changed returns the field at a part's places with the ampere-turns changed, given
// what it was at all places.
func (w *workspace) changed(old []nine, in *part, fr *frame, was, is []float64) []nine {
	if fr.along {
		return nil
	}
	w.field = slices.Grow(w.field[:0], len(in.places))
	w.change.set(fr.cols, was, is, w.share, affectUT/8)
	for q, k := range in.places {
		w.field = append(w.field, w.change.at(old[in.from[q]], fr.cols, k))
	}
	return w.field
}

type affectedFactor struct {
	factor int
	change float64 // of its field, uT, at most
	hope   float64
	keep   bool // what it says is worth remembering, and by this name
	key    likeKey
}

// workspace is what scoring neighbours needs over and over.
type workspace struct {
	order  []affectedFactor
	left   []affectedFactor // of these, those not known
	share  float64          // by which most coils' ampere-turns change
	change change
	field  []nine
	out    []float64
	tot    [][]float64 // per phone, what is summed so far; likewise those below

	// Of the glance's cells alone: at the neighbour, at the node, and roughly.
	few, before, rough [][]float64

	middles []nine
}

func (e *engine) newWorkspace() *workspace {
	per := func() [][]float64 { return make([][]float64, len(e.phones)) }
	return &workspace{tot: per(), few: per(), before: per(), rough: per()}
}
