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

// frame says what a factor was read by, and where.
type frame struct {
	src    int      // the phone: an index of engine.phones
	group  int      // its background: an index of engine.groups
	coil   int      // the coil it was mostly about, -1 for several
	cols   *columns // what each coil makes at the places where the sensor may have been
	isPass bool     // a pass works out its field, and keeps what it said, by itself
	id     key      // equal for equal readings, in this verdict or the next
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
	priors  map[faultName]float64 // log prior chance of each of the singles

	// How far the search is (search.go).
	seen          map[uint64]*scored // by hypothesis.key; nil: known to be hopeless
	best          float64            // log posterior of the best hypothesis so far
	giveUp        float64            // log units below the best at which a neighbour is given up
	within        float64            // log units below the best that are worth growing from at present
	misfitReach   float64            // by how much within widens for each log unit that the best leaves unexplained
	first         *firstExpansion    // what each single fault gained beside the hypothesis grown from first
	hopelessBases map[uint64]bool    // those that the coarse look found hopeless, by hypothesis.key
	coarse        *engine            // the coarse look's; kept where headings are all there is

	onlyBearings bool       // headings are all that a phone read: the scales then stand for the earth's field
	earths       earthNodes // the earth's fields in play, where onlyBearings
	pulsed       bool       // some hold was read under pulses
	known        *likes
	whole        parts     // all cells of each phone; nil: not needed yet
	spare        [][]nine  // room of nodes that were let go of
	likeRoom     []float64 // reused
}

// node is a hypothesis with everything needed to score its neighbours cheaply.
type node struct {
	*scored
	ampTurns []float64    // of each coil
	sc       scales       // of the current
	bg       []background // per factor
	bgLog    float64      // log prior of the fitted backgrounds
	share    float64      // of its planned ampere-turns that most coils have
	field    [][]nine     // per factor, at its places; nil: not needed yet
	said     []*said      // per factor
	tot      [][]float64  // per phone, the sum of what its factors said

	// What scoring neighbours goes by; nil where it is not worked out.
	likely        parts       // the cells where they are scored
	glance        parts       // the few likeliest of these, looked at first
	roughAtGlance [][]float64 // per factor, what it roughly says in the glance's cells
	roughAtLikely [][]float64 // the same in all likely cells
	short         []float64   // per factor, log units that it falls short of its ceiling, at the likeliest place
	firm          []float64   // per factor, the most standard deviations that a microtesla may come to
}

// scored is a hypothesis and its log posterior, up to a constant that all have.
type scored struct {
	hyp            *hypothesis
	log            float64
	expanded       bool    // it was grown from
	ownBackgrounds bool    // scored with backgrounds and scales of its own, not those of what it was grown from
	base           bool    // one that the search begins from
	gain           float64 // log likelihood that its last fault gained; 0 where it was not grown
}

// likelierFirst compares for sorting, the likelier first.
func likelierFirst(a, b *scored) int { return cmp.Compare(b.log, a.log) }

// likelierNode is the same for nodes.
func likelierNode(a, b *node) int { return likelierFirst(a.scored, b.scored) }

// evaluate builds the full node of a hypothesis: backgrounds, scores, and how well it fits.
func (e *engine) evaluate(s *scored) *node {
	n := e.nodeOf(s)
	e.findRoom(n)
	return n
}

// nodeOf is evaluate without findRoom, which only scoring neighbours and judging the fit needs.
// Fitting backgrounds leads to the nearest optimum. So it is begun twice, as long as the
// hypothesis is one to reckon with, and the better end is taken.
func (e *engine) nodeOf(s *scored) *node {
	n, stood := e.fitted(s, true)
	if first := s.log; e.fitsBackgrounds() && !stood && first >= e.best-worthTwo {
		worse, _ := e.fitted(s, false)
		if s.log > first {
			n, worse = worse, n
		}
		s.log = math.Max(s.log, first)
		e.slim(worse)
	}
	e.keepLevels(n, stood)
	return n
}

// worthTwo is how far below the best, in log units, a hypothesis is worth two beginnings.
const worthTwo = 40

// fitted is a hypothesis with backgrounds fitted from one of two beginnings. If planned, they
// begin where an earlier verdict left them, which stood reports, or else where readings leave
// them with the current as planned; if not, where they leave them with the current that seems
// likeliest before backgrounds are known.
func (e *engine) fitted(s *scored, planned bool) (n *node, stood bool) {
	s.ownBackgrounds = true
	n = &node{scored: s, ampTurns: s.hyp.ampTurns(), sc: e.scalesFor(s.hyp), share: commonShare(e.m.planned.ampTurns(), s.hyp.ampTurns())}
	n.bg = make([]background, len(e.factors))
	stood = e.begin(n, planned)
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

// findRoom works out short and firm of a node: what each reading may still gain, and by how much
// a change of the field may move it.
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

// score gives a hypothesis a score with backgrounds of its own, and keeps nothing else.
func (e *engine) score(s *scored) {
	e.slim(e.nodeOf(s))
	s.hyp.letGo()
	e.best = math.Max(e.best, s.log)
}

// bare is the node of a hypothesis without the large lists that only scoring neighbours needs.
func (e *engine) bare(h *hypothesis) *node {
	n := e.evaluate(&scored{hyp: h})
	e.slim(n)
	return n
}

// slim lets go of a node's large lists, which only scoring neighbours needs: in a large pad the
// nodes of a search would hold hundreds of megabytes.
func (e *engine) slim(n *node) {
	for _, f := range n.field {
		if f != nil {
			e.spare = append(e.spare, f)
		}
	}
	n.field, n.said, n.bg, n.likely, n.glance, n.roughAtGlance, n.roughAtLikely = nil, nil, nil, nil, nil, nil, nil
}

// room is a field of so many places to write to, an old one that was let go of if there is one.
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

// dropRows lets go of what each coil makes at each place; it is worked out again when asked for.
func (e *engine) dropRows() {
	for _, f := range e.factors {
		f.frame().cols.dropRows()
	}
	e.spare = nil
}

// backgroundRounds bounds how often backgrounds are fitted anew to the places that
// the last ones made likely.
const backgroundRounds = 3

// likeAll has every factor say how well a node fits it, in every cell and scale, and sums that.
func (e *engine) likeAll(n *node) {
	e.m.checkHalt()
	n.tot = make([][]float64, len(e.phones))
	for p := range e.phones {
		n.tot[p] = make([]float64, len(e.phones[p].cells)*len(n.sc.s))
	}
	for i, f := range e.factors {
		fr := f.frame()
		in := &e.phones[fr.src].view
		key := e.keyOf(i, n.ampTurns, in, &n.bg[i], &n.sc)
		if n.said[i] = e.known.find(key); n.said[i] == nil {
			e.likeRoom = sized(e.likeRoom, len(in.cells)*len(n.sc.s))
			f.like(e.likeRoom, n.ampTurns, e.fieldOf(n, i), in, &n.bg[i], &n.sc)
			n.said[i] = newSaid(e.likeRoom)
			if !fr.isPass {
				e.known.keep(key, n.said[i])
			}
		}
		tot := n.tot[fr.src]
		for q, v := range n.said[i].log {
			tot[q] += float64(v)
		}
	}
}

// fieldOf is a node's field at a factor's places, worked out when it is first asked for; nil for
// a pass.
func (e *engine) fieldOf(n *node, factor int) []nine {
	fr := e.factors[factor].frame()
	if n.field[factor] == nil && !fr.isPass {
		n.field[factor] = e.fieldAt(n, e.phones[fr.src], fr.cols)
	}
	return n.field[factor]
}

// fieldAt is a node's field over some columns, at the places where a phone's sensor may be.
func (e *engine) fieldAt(n *node, ph *phone, cols *columns) []nine {
	const rounding = 1e-6
	var c change
	c.set(cols, e.m.planned.ampTurns(), n.ampTurns, n.share, rounding)
	field := e.room(len(ph.places))
	for q, k := range ph.places {
		field[q] = c.at(cols.plannedAt(k), cols, k)
	}
	return field
}

// ceiling is a factor's ceiling under a node, worked out once.
func (e *engine) ceiling(n *node, factor int) float64 {
	s := n.said[factor]
	if math.IsNaN(s.ceiling) {
		s.ceiling = e.factors[factor].ceiling(e.fieldOf(n, factor), &n.bg[factor], &n.sc)
	}
	return s.ceiling
}

// total is the log likelihood with the offset cells of every phone and the scales summed out.
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

// totalAt is the part of one scale in totalOver.
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

// faint is how many log units below the likeliest cell another adds nothing to a sum.
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

// direct is the log likelihood of readings that do not depend on where a sensor
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

// likeliest is where a node has a phone's sensor most likely: the position among the phone's
// cells in play, and the scale that goes with it.
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
