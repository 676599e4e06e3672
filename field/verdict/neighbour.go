package verdict

import (
	"cmp"
	"math"
	"slices"
)

// A neighbour is scored beside the node of a hypothesis that it differs from by a fault or two:
// only the readings that this reaches are scored anew.

// The least change of the field over a reading that makes it worth scoring anew.
const (
	affectUT = 1.5
	affectSD = 0.12 // in standard deviations of what the reading leaves open
)

// usualGiveUp is how many log units below the best a neighbour is given up, its remaining readings
// not looked at any more.
const usualGiveUp = 15

// neighbour is a hypothesis as it is scored beside a node.
type neighbour struct {
	*workspace
	node       *node
	hyp        *hypothesis
	sc         scales
	sameScales bool    // as the node's
	moves      bool    // a good part of the coils change
	in         parts   // the cells where it is scored
	base       float64 // log posterior of what does not depend on where the sensor sits
	hope       float64 // log units that the readings not scored yet may still gain, at most
}

// child is the log posterior of a neighbour of a node. Only readings that the change reaches are
// scored anew, and only where the node's sensor may be: first those that are known from another
// hypothesis, then the others, those that change most first. A neighbour that falls hopelessly
// behind is given up with -Inf.
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

// beside begins a neighbour: which readings its change reaches, in which cells it is scored, and
// what the node's readings say there.
func (e *engine) beside(n *node, h *hypothesis, work *workspace) *neighbour {
	nb := &neighbour{workspace: work, node: n, hyp: h, sc: e.scalesFor(h), moves: muchChanges(n.ampTurns, h.ampTurns())}
	nb.sameScales = nb.sc.equal(&n.sc)
	e.affected(n, h.ampTurns(), nb.sameScales, work)
	nb.share = commonShare(n.ampTurns, h.ampTurns())
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
		if o.keep = p.large() && !fr.isPass; o.keep {
			o.key = e.keyOf(o.factor, nb.hyp.ampTurns(), &p.view, &nb.node.bg[o.factor], &nb.sc)
			if s := e.known.find(o.key); s != nil {
				e.take(nb, &o, s)
				continue
			}
		}
		nb.left = append(nb.left, o)
	}
}

// take puts what a reading says of the neighbour in the place of what it said of the node.
func (e *engine) take(nb *neighbour, o *affectedFactor, s *said) {
	src := e.factors[o.factor].frame().src
	exchangeIn(&nb.in[src], nb.tot[src], s.log, nb.node.said[o.factor].log, len(nb.sc.s))
	nb.hope -= o.hope
}

// behind tells whether a neighbour is hopeless, whatever the readings not scored yet say.
func (e *engine) behind(nb *neighbour) bool {
	return nb.sameScales && e.scoreOf(nb)+nb.hope < e.best-e.giveUp
}

// scoreOf is a neighbour's log posterior by the readings taken so far.
func (e *engine) scoreOf(nb *neighbour) float64 {
	return e.totalOver(nb.in.cells, nb.tot, &nb.sc) + nb.base
}

// inFull scores the readings left one by one, as long as there is hope.
func (e *engine) inFull(nb *neighbour) float64 {
	n, at := nb.node, nb.hyp.ampTurns()
	for i, o := range nb.left {
		fr := e.factors[o.factor].frame()
		p := &nb.in[fr.src]
		field := nb.changed(e.fieldOf(n, o.factor), p, fr, n.ampTurns, at)
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

// leastCommon is the share of the ampere-turns below which readings are not taken to get any
// narrower.
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

// climbGiveUp stands in for usualGiveUp in a climb, which goes on with the best neighbour alone.
const climbGiveUp = 3

// hope is how many log units a factor may gain when its field changes: no more than it falls
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
			if d := at[j] - n.ampTurns[j]; d != 0 {
				change += math.Abs(d) * fr.cols.peak[q]
			}
		}
		if change > affectUT && change*n.firm[i] > affectSD || !sameScales {
			work.order = append(work.order, affectedFactor{factor: i, change: change})
		}
	}
	slices.SortFunc(work.order, func(x, y affectedFactor) int { return cmp.Compare(y.change, x.change) })
}

// changed is the field at a part's places with the coils' ampere-turns changed from was to is,
// given what it was at all places; nil for a pass.
func (w *workspace) changed(old []nine, in *part, fr *frame, was, is []float64) []nine {
	if fr.isPass {
		return nil
	}
	w.field = slices.Grow(w.field[:0], len(in.places))
	w.change.set(fr.cols, was, is, w.share, affectUT/8)
	for q, k := range in.places {
		w.field = append(w.field, w.change.at(old[in.from[q]], fr.cols, k))
	}
	return w.field
}

// affectedFactor is a factor that the change from a node to its neighbour reaches.
type affectedFactor struct {
	factor int
	change float64 // of its field, uT, at most
	hope   float64 // log units that it may gain by that, at most
	keep   bool    // what it says is worth remembering, by the name of key
	key    likeKey
}

// workspace is the lists that scoring neighbours needs, made once and used for each.
type workspace struct {
	order   []affectedFactor // all, most changed first
	left    []affectedFactor // of these, those not known yet
	share   float64          // by which most coils' ampere-turns change
	change  change
	field   []nine
	middles []nine // the field at the middles of cells
	out     []float64

	// Sums over a phone's factors, per phone: in the neighbour's cells, in the glance's at the
	// neighbour and at the node, and taken roughly.
	tot, few, before, rough [][]float64
}

// newWorkspace makes a workspace for an engine's phones.
func (e *engine) newWorkspace() *workspace {
	per := func() [][]float64 { return make([][]float64, len(e.phones)) }
	return &workspace{tot: per(), few: per(), before: per(), rough: per()}
}
