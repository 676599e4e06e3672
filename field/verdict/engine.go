package verdict

import (
	"cmp"
	"math"
	"slices"

	"polewise/field/readings"
)

// scales are the values the current of the whole pad may have, relative to the
// plan's, with their log weights under the plan's tolerance and any reading of
// the supply's display.
type scales struct {
	s, lp []float64
	sd    float64 // width each node stands for, relative
	// Of headings alone the nodes stand for these fields of the earth.
	earths []earth
	key    key // equal for equal ones
}

// name finds the key.
func (a *scales) name() {
	a.key = newKey()
	for _, s := range a.s {
		a.key.mix(s)
	}
	a.key.mix(a.sd)
}

func (a *scales) equal(b *scales) bool { return slices.Equal(a.s, b.s) }

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

// How the scales of the current are laid (estimates, no source).
const (
	scaleStep    = 0.85  // from one to the next, standard deviations of the scale
	leastScaleSD = 0.008 // by which each stands for those beside it, at least
	leastScale   = 0.02  // the smallest: some current flows
)

// scalesFor lays the nodes of the current's scale where prior and display
// readings put it.
func (e *engine) scalesFor(h *hypothesis) scales {
	if e.ratio {
		return e.ratios(h)
	}
	first := e.ev.firstShare()
	mean, prec := 1/first, first*first/(scaleSD*scaleSD)
	var sum = prec * mean
	if _, ok := e.setOtherwise(h); ok {
		prec, sum = 0, 0 // only what it shows tells
	}
	for _, a := range e.ev.amps {
		if h.cur().PadAmps <= 0 {
			continue
		}
		sd := a.sd() / h.cur().PadAmps
		prec += 1 / (sd * sd)
		sum += a.amps / h.cur().PadAmps / (sd * sd)
	}
	mean = sum / prec
	sd := 1 / math.Sqrt(prec)
	n := e.res.scales
	sc := scales{s: make([]float64, n), lp: make([]float64, n)}
	step := scaleStep * sd
	sc.sd = math.Max(0.5*step, leastScaleSD)
	if n == 1 {
		sc.sd = sd
	}
	for i := range sc.s {
		s := math.Max(mean+(float64(i)-float64(n-1)/2)*step, leastScale)
		sc.s[i] = s
		lp := scalePrior(s*first) + math.Log(step)
		for _, a := range e.ev.amps {
			lp += logNormal(a.amps, s*h.cur().PadAmps, a.sd())
		}
		sc.lp[i] = lp
	}
	sc.name()
	return sc
}

// setOtherwise tells of a supply that showed a current far from the planned one as the check
// began, and the share of that which it shows now.
func (e *engine) setOtherwise(h *hypothesis) (share float64, ok bool) {
	if h.cur().PadAmps <= 0 || len(e.ev.amps) == 0 {
		return 1, false
	}
	share = e.ev.amps[len(e.ev.amps)-1].amps / h.cur().PadAmps
	return share, share > 0 && math.Abs(share*e.ev.firstShare()-1) > 4*scaleSD
}

// scalePrior is the log density of the current's scale: near the plan, or
// anywhere where the supply was set otherwise on purpose.
func scalePrior(s float64) float64 {
	const otherwise, within = 0.05, 3.0
	return readings.LogAdd(math.Log(1-otherwise)+logNormal(s, 1, scaleSD), math.Log(otherwise/within))
}

func logNormal(x, mean, sd float64) float64 {
	d := (x - mean) / sd
	return -d*d/2 - math.Log(sd) - 0.5*math.Log(2*math.Pi)
}

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

// How far below the best, in log units, a neighbour is looked at no closer than roughly. That
// rather flatters it where a hold is told of, and there are many; the best are scored anew
// before anything is told. And by how much it may do one an injustice under pulses.
const (
	roughWithin     = 12.0
	roughByHeadings = 8.0
	roughInjustice  = 15.0
)

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
