package verdict

import (
	"cmp"
	"math"

	"polewise/field/readings"
)

// factor is one independent piece of evidence that depends on where the sensor
// sits and on the current.
type factor interface {
	// frame says which phone and background group the factor belongs to, and
	// the columns at the points where it needs the field.
	frame() *frame
	// time is when the factor was taken, seconds into its capture.
	time() float64
	// name says which reading it is.
	name() string
	// ceiling is about the log likelihood of a reading that a hypothesis with
	// this field explains fully.
	ceiling(field []nine, bg *background, sc *scales) float64
	// like writes the log likelihood for every offset cell of a view and every scale
	// to out[cell*len(sc.s)+scale], given the coils' ampere-turns and the pad's field
	// at the view's places.
	like(out, at []float64, field []nine, in *view, bg *background, sc *scales)
}

// roughFactor can tell about what it says by few places.
type roughFactor interface {
	factor
	// roughly is about what like would say of a few offset cells, given the field over
	// their middles: a hint, some log units off.
	roughly(out []float64, field []nine, bg *background, sc *scales)
}

type frame struct {
	src   int
	group int
	coil  int // the coil it was mostly about, -1 for several
	cols  *columns
	along bool // a pass, which knows the field along its way, and what it said, itself
	id    key  // see holdFactor.identity
}

// engine scores hypotheses against one body of evidence.
type engine struct {
	m       *Model
	id      key
	res     resolution
	ev      *evidence
	phones  []*phone
	factors []factor
	faces   [][]faceReading // read by hand, by coil
	groups  []backgroundGroup
	singles []single
	priors  map[faultName]float64 // of each of the singles, log
	best    float64
	bail    float64            // see the constant
	reach   float64            // by which what nothing explains widens the search: see grow
	within  float64            // how far below the best, in log units, is worth growing from at present
	seen    map[uint64]*scored // nil: known to be hopeless
	first   *firstExpansion
	idle    map[uint64]bool // bases that the coarse look found hopeless
	ratio   bool            // headings alone: see onlyBearings
	earths  earthNodes      // then
	pulsed  bool            // some hold was read under pulses
	known   *likes
	coarse  *engine   // by which the cells in play were found, of headings alone
	whole   parts     // all cells; nil: not needed yet
	spare   [][]nine  // fields of nodes that were let go of
	like    []float64 // reused
}

// node is a hypothesis with everything needed to score its neighbours cheaply.
type node struct {
	*scored
	at    []float64
	sc    scales
	bg    []background // per factor
	bgLog float64      // log prior of the fitted backgrounds
	share float64      // of the planned ampere-turns, as most coils have it
	field [][]nine     // per factor, at its places; nil: not needed yet
	said  []*said      // per factor
	tot   [][]float64  // per source, sum of what its factors said

	likely  parts       // where neighbours are scored; nil: not worked out
	glance  parts       // where they are looked at first; likewise
	rough   [][]float64 // per factor, what roughlyHopeless takes it for; nil: not worked out
	roughly [][]float64 // the same over all of likely
	short   []float64   // per factor: how far it falls short of its ceiling, at the likeliest place
	firm    []float64   // per factor: what a microtesla more or less may come to, standard deviations
}

// scored is a hypothesis and its log posterior, up to a common constant.
type scored struct {
	hyp      *hypothesis
	log      float64
	expanded bool
	own      bool    // scored with backgrounds and scales of its own
	base     bool    // one of those the search starts from
	gain     float64 // log likelihood its last fault gained; 0 for those put in otherwise
}

// byLog puts the likelier first.
func byLog(a, b *scored) int { return cmp.Compare(b.log, a.log) }

func nodesByLog(a, b *node) int { return byLog(a.scored, b.scored) }

// evaluate builds the full node of a hypothesis: fields, backgrounds, scores. Where
// backgrounds have to be fitted, that ends where it began from led to: of two beginnings the
// better is taken, as long as the hypothesis is one to reckon with.
func (e *engine) evaluate(s *scored) *node {
	n := e.nodeOf(s)
	e.findRoom(n)
	return n
}

// nodeOf is evaluate without what only scoring neighbours and judging the fit needs.
func (e *engine) nodeOf(s *scored) *node {
	n, stood := e.fitted(s, true)
	if first := s.log; e.settles() && !stood && first >= e.best-worthTwo {
		o, _ := e.fitted(s, false)
		if s.log > first {
			n, o = o, n
		}
		s.log = math.Max(s.log, first)
		e.slim(o)
	}
	e.keepLevels(n, stood)
	return n
}

// worthTwo is how far below the best, in log units, a hypothesis is worth two beginnings.
const worthTwo = 40

// fitted is a hypothesis with backgrounds from one beginning: as they are with the current
// as planned, or as with what seems likeliest before they are known. It reports whether they
// stem from an earlier verdict instead.
func (e *engine) fitted(s *scored, planned bool) (*node, bool) {
	s.own = true
	n := &node{scored: s, at: s.hyp.at(), sc: e.scalesFor(s.hyp), share: commonShare(e.m.planned.at(), s.hyp.at())}
	n.bg = make([]background, len(e.factors))
	stood := e.begin(n, !planned)
	n.field = make([][]nine, len(e.factors))
	n.said = make([]*said, len(e.factors))
	e.likeAll(n)
	for round := range backgroundRounds {
		if !e.fitBackground(n, stood, round == 0 && planned && !stood) {
			break
		}
		e.likeAll(n)
	}
	n.log = e.total(n.tot, &n.sc) + s.hyp.logPrior + n.bgLog + e.direct(s.hyp)
	return n, stood
}

// findRoom finds what each reading may still gain under a node, and by how much a change of
// the field may move it.
func (e *engine) findRoom(n *node) {
	n.short, n.firm = make([]float64, len(e.factors)), make([]float64, len(e.factors))
	for i, f := range e.factors {
		c, m := e.likeliest(n, f.frame().src)
		n.firm[i] = math.Inf(1)
		switch f := f.(type) {
		case *holdFactor:
			n.firm[i] = f.firmness(&n.bg[i])
		case *bearingFactor:
			n.firm[i] = f.firmness(e.fieldOf(n, i), c, &n.sc)
		}
		n.short[i] = math.Max(0, e.ceiling(n, i)-n.said[i].at(c*len(n.sc.s)+m))
	}
}

// score evaluates a hypothesis for nothing but its score.
func (e *engine) score(s *scored) {
	e.slim(e.nodeOf(s))
	s.hyp.letGo()
	e.best = math.Max(e.best, s.log)
}

// bare is the node of a hypothesis without what only scoring neighbours needs.
func (e *engine) bare(h *hypothesis) *node {
	n := e.evaluate(&scored{hyp: h})
	e.slim(n)
	return n
}

// slim lets go of what only scoring neighbours needs: in a large pad the nodes of
// a search would hold hundreds of megabytes.
func (e *engine) slim(n *node) {
	for _, f := range n.field {
		if f != nil {
			e.spare = append(e.spare, f)
		}
	}
	n.field, n.said, n.bg, n.likely, n.glance, n.rough, n.roughly = nil, nil, nil, nil, nil, nil, nil
}

// room is a field of so many places, one that is not needed any more if there is.
func (e *engine) room(places int) []nine {
	if last := len(e.spare) - 1; last >= 0 {
		f := e.spare[last]
		e.spare = e.spare[:last]
		if cap(f) >= places {
			return f[:places]
		}
	}
	return make([]nine, places)
}

// dropRows lets go of the fields over all places: what is asked for later is worked out again.
func (e *engine) dropRows() {
	for _, f := range e.factors {
		f.frame().cols.dropRows()
	}
	e.spare = nil
}

// backgroundRounds bounds how often backgrounds are fitted anew to the places that
// the last ones made likely.
const backgroundRounds = 3

func (e *engine) likeAll(n *node) {
	e.m.checkHalt()
	n.tot = make([][]float64, len(e.phones))
	for p := range e.phones {
		n.tot[p] = make([]float64, len(e.phones[p].cells)*len(n.sc.s))
	}
	for i, f := range e.factors {
		fr := f.frame()
		in := &e.phones[fr.src].view
		key := e.keyOf(i, n.at, in, &n.bg[i], &n.sc)
		if n.said[i] = e.known.find(key); n.said[i] == nil {
			e.like = sized(e.like, len(in.cells)*len(n.sc.s))
			f.like(e.like, n.at, e.fieldOf(n, i), in, &n.bg[i], &n.sc)
			n.said[i] = newSaid(e.like)
			if !fr.along {
				e.known.keep(key, n.said[i])
			}
		}
		tot := n.tot[fr.src]
		for q, v := range n.said[i].log {
			tot[q] += float64(v)
		}
	}
}

// fieldOf is a node's field at a factor's places. Where everything is known
// already nobody asks for it.
func (e *engine) fieldOf(n *node, factor int) []nine {
	fr := e.factors[factor].frame()
	if n.field[factor] == nil && !fr.along {
		n.field[factor] = e.fieldAt(n, e.phones[fr.src], fr.cols)
	}
	return n.field[factor]
}

// fieldAt is a node's field over some columns, at the places where a phone's sensor may be.
func (e *engine) fieldAt(n *node, ph *phone, cols *columns) []nine {
	const rounding = 1e-6
	var c change
	c.set(cols, e.m.planned.at(), n.at, n.share, rounding)
	field := e.room(len(ph.places))
	for q, k := range ph.places {
		field[q] = c.at(cols.plannedAt(k), cols, k)
	}
	return field
}

func (e *engine) ceiling(n *node, factor int) float64 {
	s := n.said[factor]
	if math.IsNaN(s.ceiling) {
		s.ceiling = e.factors[factor].ceiling(e.fieldOf(n, factor), &n.bg[factor], &n.sc)
	}
	return s.ceiling
}

// total sums the offset cells of every phone and the scales out.
func (e *engine) total(tot [][]float64, sc *scales) float64 {
	return e.totalOver(e.wholeCells, tot, sc)
}

// wholeCells are the offset cells of a phone that are in play.
func (e *engine) wholeCells(phone int) []int { return e.phones[phone].cells }

// totalOver is total over some cells of each phone.
func (e *engine) totalOver(cells func(phone int) []int, tot [][]float64, sc *scales) float64 {
	out := math.Inf(-1)
	for m := range sc.s {
		out = readings.LogAdd(out, e.totalAt(cells, tot, sc, m))
	}
	return out
}

// totalAt is one scale's part of that.
func (e *engine) totalAt(cells func(phone int) []int, tot [][]float64, sc *scales, m int) float64 {
	nodes := len(sc.s)
	v := sc.lp[m]
	for p, ph := range e.phones {
		sum, top := 0.0, math.Inf(-1)
		for c, cell := range cells(p) {
			top = math.Max(top, ph.prior[cell]+tot[p][c*nodes+m])
		}
		for c, cell := range cells(p) {
			if d := ph.prior[cell] + tot[p][c*nodes+m] - top; d > -faint {
				sum += expDown(d)
			}
		}
		v += top + math.Log(sum)
	}
	return v
}

// faint is how far below the likeliest cell one adds nothing to a sum.
const faint = 40

// misfit is how badly a node explains its readings as a whole, beyond what
// placement and noise make usual.
func (n *node) misfit() float64 {
	sum := 0.0
	for _, s := range n.short {
		sum += math.Max(0, s-usualShort)
	}
	return sum
}

// usualShort is how far a well explained reading falls short of its ceiling: a
// few squared standard deviations of placement.
const usualShort = 6

// direct is the likelihood of readings that do not depend on where a sensor
// sits: faces read by hand and resistances.
func (e *engine) direct(h *hypothesis) float64 {
	var sum float64
	for _, list := range e.faces {
		sum += e.m.facesLike(list, h)
	}
	for i := range e.ev.ohms {
		sum += ohmLike(&e.ev.ohms[i], h)
	}
	return sum
}

// likeliest returns the offset cell and scale node where a node puts a phone.
func (e *engine) likeliest(n *node, src int) (cell, scale int) {
	top := math.Inf(-1)
	ph := e.phones[src]
	nodes := len(n.sc.s)
	for c, k := range ph.cells {
		for m := range n.sc.s {
			if v := ph.prior[k] + n.tot[src][c*nodes+m] + n.sc.lp[m]; v > top {
				top, cell, scale = v, c, m
			}
		}
	}
	return cell, scale
}

// logOf is a factor's log likelihood where a node puts its phone.
func (e *engine) logOf(n *node, factor int) float64 {
	c, m := e.likeliest(n, e.factors[factor].frame().src)
	return n.said[factor].at(c*len(n.sc.s) + m)
}
