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

// neighbour is a hypothesis as it is scored beside a node that it changes little of.
type neighbour struct {
	*workspace
	node       *node
	hyp        *hypothesis
	sc         scales
	sameScales bool // as the node's
	moves      bool // a good part of the coils change
	in         parts
	base       float64 // log of what does not hang on where the sensor sits
	hope       float64 // what the readings not scored yet may still gain
}

// child scores a neighbour of a node. Only readings that the change reaches are
// scored anew, and only where the node's sensor may be: first those that are known
// from another hypothesis, then the others, the nearest first. A neighbour that falls
// hopelessly behind is given up with -Inf.
func (e *engine) child(n *node, h *hypothesis, work *workspace) float64 {
	e.m.checkHalt()
	nb := e.beside(n, h, work)
	e.takeKnown(nb)
	if len(nb.order) > 0 && e.behind(nb) {
		return math.Inf(-1)
	}
	if log, enough := e.look(nb); enough {
		return log
	}
	return e.inFull(nb)
}

// beside lays a neighbour out: which readings its change reaches, where it is scored, and
// what the node says there.
func (e *engine) beside(n *node, h *hypothesis, work *workspace) *neighbour {
	nb := &neighbour{workspace: work, node: n, hyp: h, sc: e.scalesFor(h), moves: muchChanges(n.at, h.at())}
	nb.sameScales = nb.sc.equal(&n.sc)
	e.affected(n, h.at(), nb.sameScales, work)
	nb.share = commonShare(n.at, h.at())
	nb.in = e.partsFor(n, nb.moves)
	nb.base = h.logPrior + n.bgLog + e.direct(h)
	// Where all currents shrink so does what the placement leaves open.
	narrower := -3 * math.Log(min(1, max(math.Abs(nb.share), leastCommon)))
	for i := range nb.order {
		o := &nb.order[i]
		o.hope = n.hope(o) + narrower
		nb.hope += o.hope
	}
	for p := range n.tot {
		nb.tot[p] = nb.in[p].pick(nb.tot[p][:0], n.tot[p], len(nb.sc.s))
	}
	return nb
}

// takeKnown adds what is known already of the readings that a change reaches, and lists the
// others as left.
func (e *engine) takeKnown(nb *neighbour) {
	nb.left = nb.left[:0]
	for _, o := range nb.order {
		fr := e.factors[o.factor].frame()
		p := &nb.in[fr.src]
		if o.keep = p.large() && !fr.along; o.keep {
			o.key = e.keyOf(o.factor, nb.hyp.at(), &p.view, &nb.node.bg[o.factor], &nb.sc)
			if s := e.known.find(o.key); s != nil {
				e.take(nb, &o, s)
				continue
			}
		}
		nb.left = append(nb.left, o)
	}
}

// take puts what a reading says of the neighbour in the place of what it says of the node.
func (e *engine) take(nb *neighbour, o *affectedFactor, s *said) {
	src := e.factors[o.factor].frame().src
	exchangeIn(&nb.in[src], nb.tot[src], s.log, nb.node.said[o.factor].log, len(nb.sc.s))
	nb.hope -= o.hope
}

// behind tells whether a neighbour is hopelessly so, whatever the readings not scored yet say.
func (e *engine) behind(nb *neighbour) bool {
	return nb.sameScales && e.scoreOf(nb)+nb.hope < e.best-e.bail
}

// scoreOf is a neighbour's log posterior by the readings taken so far.
func (e *engine) scoreOf(nb *neighbour) float64 {
	return e.totalOver(nb.in.cells, nb.tot, &nb.sc) + nb.base
}

// inFull scores the readings left, as long as there is hope.
func (e *engine) inFull(nb *neighbour) float64 {
	n, at := nb.node, nb.hyp.at()
	for i, o := range nb.left {
		fr := e.factors[o.factor].frame()
		p := &nb.in[fr.src]
		field := nb.changed(e.fieldOf(n, o.factor), p, fr, n.at, at)
		nb.out = sized(nb.out, len(p.cells)*len(nb.sc.s))
		e.factors[o.factor].like(nb.out, at, field, &p.view, &n.bg[o.factor], &nb.sc)
		s := newSaid(nb.out)
		if o.keep {
			e.known.keep(o.key, s)
		}
		e.take(nb, &o, s)
		if i < len(nb.left)-1 && (i < 3 || i%4 == 0) && e.behind(nb) {
			return math.Inf(-1)
		}
	}
	return e.scoreOf(nb)
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
