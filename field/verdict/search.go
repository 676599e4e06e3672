package verdict

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"polewise/field"
	"polewise/field/capture"
	"polewise/layout"

	"gonum.org/v1/gonum/spatial/r3"
)

func sortAffected(a []affectedFactor) {
	slices.SortFunc(a, func(x, y affectedFactor) int { return cmp.Compare(y.change, x.change) })
}

// Bounds on the search. Hypotheses grow from the best ones by one fault at a
// time, so that three coils turned in one pad are found without trying every
// triple.
const (
	maxFaults     = 6
	maxExpansions = 14
	baseWithin    = 25.0 // the same for the hypotheses a search starts from: what lies far apart is not reached fault by fault
	refineBest    = 8    // neighbours of each expanded hypothesis that get a full score
	expandWithin  = 5.5  // log units below the best that are still worth growing from
	coarseWithin  = 20.0 // log units below the best that stay in play after the coarse look
)

// Model is what the verdict keeps of a plan between captures: its field and its
// single faults. It is not safe for use by several goroutines at once.
type Model struct {
	plan    *layout.Plan
	pad     *field.Pad
	planned *hypothesis
	tops    []float64   // planned Bz over each coil's centre at sensor height, uT
	over    [][]float64 // the same per ampere-turn of every coil; nil until needed
	columns map[columnsKey]*columns
	halt    <-chan struct{} // closed when the search going on is no longer wanted
	known   likes
	levels  levels
	views   views
	walker  walker
	aligned aligners
	counted uint64
}

type columnsKey struct {
	coil   int
	topDeg float64
	shift  [2]float64
	x0, y0 float64
	nx, ny int
	step   float64
	lift   float64
	turned string
}

// Bounds on what a model keeps for live verdicts. Of the coarse look at more holds
// than these nothing is kept: their columns are soon made again, and hold as much as
// all that is worked out after them.
const (
	maxCachedColumns = 400
	coarseKept       = 60
)

// forget drops what is known of the field at cells of a resolution.
func (m *Model) forget(r resolution) {
	maps.DeleteFunc(m.columns, func(k columnsKey, _ *columns) bool { return k.step == r.step })
}

// Warm prepares a model of a plan. The plan must not change afterwards.
func Warm(plan *layout.Plan) (*Model, error) {
	if _, err := plan.Solve(); err != nil {
		return nil, err
	}
	m := &Model{plan: plan, pad: field.NewPad(plan), columns: map[columnsKey]*columns{}, views: views{}}
	m.planned = newHypothesis(plan, nil, 0)
	for j := range plan.Coils {
		m.tops = append(m.tops, m.fieldOver(m.planned, j).Z)
	}
	return m, nil
}

// fieldOver is the field at the planned sensor height over a coil's centre in
// microtesla.
func (m *Model) fieldOver(h *hypothesis, j int) r3.Vec {
	return r3.Scale(1e6, m.pad.At(h.at, m.sensorOver(j)))
}

// sensorOver is the planned place of the sensor over a coil's centre.
func (m *Model) sensorOver(j int) r3.Vec {
	c := &m.plan.Coils[j]
	return r3.Vec{X: c.At.X, Y: c.At.Y, Z: m.plan.SensorHeight(j)}
}

// placesOf lists where the sensor may be during a hold, per place cell.
func (m *Model) placesOf(g *grid, coil int, shift [2]float64, topDeg float64) []r3.Vec {
	c := &m.plan.Coils[coil]
	z := m.plan.SensorHeight(coil) + g.lift
	sin, cos := math.Sincos(topDeg * math.Pi / 180)
	out := make([]r3.Vec, g.size())
	for k := range out {
		o := g.offset(k)
		out[k] = r3.Vec{
			X: c.At.X + shift[0] + cos*o.X - sin*o.Y,
			Y: c.At.Y + shift[1] + sin*o.X + cos*o.Y,
			Z: z,
		}
	}
	return out
}

// reachUT is the least field of a coil over a hold that is followed.
const reachUT = 0.4

func (m *Model) columnsFor(g *grid, coil int, shift [2]float64, topDeg float64, mended *afterMend) *columns {
	key := columnsKey{coil, topDeg, shift, g.x0, g.y0, g.nx, g.ny, g.step, g.lift, ""}
	if mended != nil {
		key.turned = mended.key
	}
	if c, ok := m.columns[key]; ok {
		return c
	}
	c := columnsAt(m.plan, m.pad, m.planned.at, m.placesOf(g, coil, shift, topDeg), reachUT)
	c.findPeaks(g.everyFew(peakStep))
	if mended != nil {
		c.turned = mended.turned
	}
	if len(m.columns) >= maxCachedColumns {
		clear(m.columns)
	}
	m.columns[key] = c
	return c
}

// newEngine lays out the factors of a body of evidence.
func (m *Model) newEngine(ev *evidence, res resolution) *engine {
	e := &engine{m: m, id: m.fresh(), ev: ev, res: res, best: math.Inf(-1), bail: bail, reach: 1, seen: map[uint64]*scored{}, ratio: ev.onlyBearings(), known: &m.known}
	if e.ratio {
		e.res.scales = len(earths)
	}
	for _, s := range ev.sources {
		ph := &phone{grid: newGrid(s, res)}
		ph.view = ph.viewOf(ph.allCells())
		e.phones = append(e.phones, ph)
	}
	for i := range ev.holds {
		d := &ev.holds[i]
		ph := e.phones[d.source]
		h := &holdFactor{digest: d, ph: ph, rot: rotation(d.topDeg, d.up), tilt: tiltSD}
		if d.up != [3]float64{} {
			h.tilt = levelSD
		}
		h.frame_ = frame{src: d.source, coil: d.coil, cols: m.columnsFor(ph.grid, d.coil, d.shift, d.topDeg, ev.sources[d.source].mended), group: e.groupFor(d.source, d.topDeg)}
		h.frame_.id = h.identity()
		if ev.sources[d.source].mended != nil {
			h.frame_.id.text(ev.sources[d.source].mended.key)
		}
		if !d.toggled {
			e.groups[h.frame_.group].settles = true
		}
		e.factors = append(e.factors, h)
	}
	for i := range ev.bearings {
		e.addBearingFactor(&ev.bearings[i])
	}
	open := map[int]bool{}
	for _, o := range ev.ohms {
		if o.kind == "coil" {
			for _, j := range m.plan.Strings[m.plan.StringOf(o.index)].Coils {
				open[j] = true
			}
		}
	}
	e.singles = singles(m.plan, open)
	e.priors = make(map[faultName]float64, len(e.singles))
	for i := range e.singles {
		e.priors[nameOf(&e.singles[i].fault)] = e.singles[i].logP
	}
	e.alignPasses()
	for i := range ev.passes {
		e.addPassFactors(&ev.passes[i])
	}
	return e
}

// groupFor finds or makes the background group of a phone lying one way.
func (e *engine) groupFor(src int, topDeg float64) int {
	for g := range e.groups {
		if e.groups[g].src == src && math.Abs(wrapDeg(e.groups[g].topDeg-topDeg)) < 15 {
			return g
		}
	}
	// Nothing known: the earth's field and the phone's own error, which may be
	// hundreds of microtesla.
	gr := backgroundGroup{src: src, topDeg: topDeg, sd: [3]float64{250, 250, 250}}
	if b, n := e.restOf(src); n > 0 {
		gr.mean = b
		// Nobody knows which way the phone lay during the rest, but it lay flat.
		gr.sd = [3]float64{28, 28, 14}
		for _, r := range e.ev.rests {
			if r.source == src && math.Abs(wrapDeg(r.topDeg-topDeg)) >= 15 {
				gr.sd = [3]float64{45, 45, 14}
			}
		}
	}
	e.groups = append(e.groups, gr)
	return len(e.groups) - 1
}

// restOf is the middle of a source's rests.
func (e *engine) restOf(src int) (b [3]float64, n int) {
	for _, r := range e.ev.rests {
		if r.source != src {
			continue
		}
		for a := range b {
			b[a] += r.b[a]
		}
		n++
	}
	for a := range b {
		b[a] /= math.Max(1, float64(n))
	}
	return b, n
}

func wrapDeg(d float64) float64 {
	d = math.Mod(d, 360)
	switch {
	case d > 180:
		d -= 360
	case d <= -180:
		d += 360
	}
	return d
}

// search scores hypotheses and returns them best first.
func (e *engine) search() []*scored {
	if !e.wide() {
		return e.grown()
	}
	e.narrow()
	out := e.grown()
	if e.ratio {
		if all := e.elsewhere(out); all != nil {
			*e = *all
			out = e.grown()
		}
	} else if all, anew := e.anywhere(out); all != nil {
		*e = *all
		out = anew
	}
	return out
}

// anywhere is an engine with every place in play and what it grew, where that explains
// the readings better; nil where it does not. The coarse look goes by the faults that
// change most, one after the other: where two others together are what is wrong, it
// leaves out the place where the sensor is, and what it leaves explains the readings
// badly.
func (e *engine) anywhere(list []*scored) (*engine, []*scored) {
	if len(list) == 0 || len(e.ev.passes) > 0 || len(e.factors) > coarseKept || !e.astray(e.evaluate(&scored{hyp: list[0].hyp})) {
		return nil, nil
	}
	all := e.m.newEngine(e.ev, e.res)
	all.reach = anywhereReach
	if anew := all.grown(); all.best > e.best+1 {
		return all, anew
	}
	return nil, nil
}

// anywhereReach is by how many times its usual reach the search then looks for the way
// to what explains more.
const anywhereReach = 3

// elsewhere is an engine with every place in play, where the coarse look left out the
// one where the sensor is; nil where it did not. Headings tell the current only by its
// ratio to the earth's field, and a pad turned over as a whole fits nearly as well with
// the sensor elsewhere: the best explanations, and what they come to the other way
// round, are held against every place.
func (e *engine) elsewhere(list []*scored) *engine {
	all := e.m.newEngine(e.ev, e.res)
	for _, s := range list[:min(len(list), 3)] {
		faults := slices.DeleteFunc(slices.Clone(s.hyp.faults), func(f layout.Fault) bool { return f.Kind == layout.PadReversed })
		if len(faults) == len(s.hyp.faults) {
			faults = append(faults, layout.Fault{Kind: layout.PadReversed})
		}
		for _, h := range [2]*hypothesis{s.hyp, newHypothesis(e.m.plan, faults, e.priorOf(faults...))} {
			if h != nil && all.evaluate(&scored{hyp: h}).log > e.best+1 {
				return all
			}
		}
	}
	return nil
}

// grown are the hypotheses grown from the best, best first.
func (e *engine) grown() []*scored {
	e.grow()
	for range realignments {
		if !e.realign() {
			break
		}
		e.seen, e.first, e.best = map[uint64]*scored{}, nil, math.Inf(-1)
		for _, f := range e.factors {
			if p, ok := f.(*passFactor); ok {
				p.frame_.id = e.m.fresh() // it says something else now
			}
		}
		e.grow()
	}
	if e.settles() || e.ratio {
		e.scoreAnew()
	}
	e.simplify()
	out := e.ranked()
	for k, s := range out {
		if s.log <= e.best-bail {
			out = out[:k]
			break
		}
	}
	if len(out) == 0 {
		// The readings fit nothing at all: what is known is what was known before.
		for _, h := range e.bases() {
			out = append(out, &scored{hyp: h, log: h.logPrior})
		}
		return out
	}
	return e.overHeights(out)
}

// scoreAnew scores the best hypotheses once more, each with backgrounds and scales
// of its own: they were listed as seen from what they were grown from.
func (e *engine) scoreAnew() {
	list := e.ranked()
	e.best = math.Inf(-1)
	for _, s := range list[:min(len(list), anewBest)] {
		if s.log < list[0].log-anewWithin {
			break
		}
		if !s.own {
			e.score(s)
		}
	}
	if len(list) > 0 {
		e.turnAnew(list[0].hyp)
	}
	e.best = e.highest()
}

// highest is the score of the best hypothesis seen.
func (e *engine) highest() float64 {
	best := math.Inf(-1)
	for _, s := range e.seen {
		if s != nil {
			best = math.Max(best, s.log)
		}
	}
	return best
}

// turnAnew scores an explanation with one coil more turned, each with backgrounds of
// its own, where a hold does not tell the background and the others leave it wide
// open: with the background of an explanation in which that coil faces otherwise its
// hold speaks against its being turned whatever it read.
func (e *engine) turnAnew(h *hypothesis) {
	n := e.evaluate(&scored{hyp: h})
	loose := map[string]bool{}
	for i, f := range e.factors {
		if hold, ok := f.(*holdFactor); ok && !hold.toggled && slices.Max(n.bg[i].variance[:]) > looseSD*looseSD {
			loose[e.m.plan.Coils[hold.coil].ID] = true
		}
	}
	for _, s := range e.singles {
		if s.kind != layout.CoilReversed || !loose[s.fault.ID] {
			continue
		}
		o := h.with(e.m.plan, s)
		if o == nil {
			continue
		}
		if c := e.put(o, math.Inf(-1)); !c.own {
			e.score(c)
		}
	}
}

// looseSD is what a background must be open by, in microtesla, for turnAnew.
const looseSD = 15

// Bounds on what is scored anew before it is told.
const (
	anewBest   = 20
	anewWithin = 8 // log units of the best
)

// Bounds on how often passes are aligned anew to what was found.
const (
	realignments = 3
	realignBest  = 6
	realignNear  = 9.0 // log units behind the best
)

// realign aligns the passes to the best hypotheses found, so that each of them
// is judged by how well it fits at its best. It reports whether that added
// anything.
func (e *engine) realign() bool {
	if len(e.ev.passes) == 0 {
		return false
	}
	added := false
	top := append(e.ranked(), &scored{hyp: e.m.planned, log: e.best})
	for i, s := range top {
		if s.log < e.best-realignNear || i >= realignBest && s.hyp != e.m.planned {
			continue
		}
		for k := range e.ev.passes {
			if e.ev.passes[k].aligner.anchor(s.hyp.at) {
				added = true
			}
		}
	}
	for _, s := range top {
		if s.base && e.anchorShort(s) {
			added = true
		}
	}
	return e.anchorRows(top[0].hyp) || added
}

// anchorShort aligns to a hypothesis the one pass that stands most against it, if
// without that it would be among the best: the pass may have been aligned to its
// rivals alone. It reports whether that added anything.
func (e *engine) anchorShort(s *scored) bool {
	n := e.evaluate(&scored{hyp: s.hyp})
	worst := -1
	for i, f := range e.factors {
		if _, ok := f.(*passFactor); ok && (worst < 0 || n.short[i] > n.short[worst]) {
			worst = i
		}
	}
	if worst < 0 || n.log+n.short[worst] < e.best-realignNear {
		return false
	}
	return e.factors[worst].(*passFactor).aligner.anchor(n.at)
}

// anchorRows aligns every pass that nothing fits well to a hypothesis without what it
// says of the coils of that row, and to each of those coils turned in it: what was
// found there may only be the best that a wrong alignment leaves. It reports whether
// that added anything.
func (e *engine) anchorRows(h *hypothesis) bool {
	added := false
	for _, f := range e.factors {
		p, ok := f.(*passFactor)
		if !ok || p.lack() < poorLack {
			continue
		}
		inRow := func(id string) bool { return slices.Contains(p.coils, e.m.plan.CoilIndex(id)) }
		base := newHypothesis(e.m.plan, slices.DeleteFunc(slices.Clone(h.faults), func(f layout.Fault) bool { return inRow(f.ID) }), 0)
		if base == nil {
			continue
		}
		added = p.aligner.anchor(base.at) || added
		for _, s := range e.singles {
			if s.kind != layout.CoilReversed || !inRow(s.fault.ID) {
				continue
			}
			if o := base.with(e.m.plan, s); o != nil {
				added = p.aligner.anchor(o.at) || added
			}
		}
	}
	return added
}

// poorLack is by how much the best that is known of a pass may fall short of samples
// that fit, in log units, before it is aligned to more than the best hypotheses.
const poorLack = 8

// wide tells whether any phone's sensor may be in so many places that a coarse
// look first is worth it.
func (e *engine) wide() bool {
	for _, ph := range e.phones {
		if ph.offsets() > 40 {
			return true
		}
	}
	return false
}

// bases are the hypotheses a search starts from: far apart, so that a phone
// whose sensor place is unknown is not settled by the first guess.
func (e *engine) bases() []*hypothesis {
	p := e.m.plan
	out := []*hypothesis{newHypothesis(p, nil, 0)}
	for _, s := range e.singles {
		if !s.changesMany() {
			continue
		}
		if h := out[0].with(p, s); h != nil {
			out = append(out, h)
		}
	}
	return out
}

// changesMany tells faults of whole strings, groups or the pad.
func (s *single) changesMany() bool {
	switch s.kind {
	case layout.PadReversed, layout.StringReversed, layout.GroupReversed, layout.StringOpen:
		return true
	}
	return false
}

// narrow looks over all sensor places coarsely with the faults that change most,
// keeps the cells where any good hypothesis puts the sensor, and notes those
// hypotheses as places to begin; and which bases are not worth beginning from.
func (e *engine) narrow() {
	c := e.m.newEngine(e.ev, coarseCells)
	c.bail = climbBail
	nodes, bases := c.climb()
	best := math.Inf(-1)
	for _, n := range nodes {
		best = math.Max(best, n.log)
	}
	for p, ph := range c.phones {
		fine := e.phones[p]
		keep := map[int]bool{}
		for _, n := range nodes {
			if n.log < best-coarseWithin {
				continue
			}
			top := math.Inf(-1)
			cellLog := make([]float64, len(ph.cells))
			for i, cell := range ph.cells {
				cellLog[i] = ph.prior[cell] + n.tot[p][i]
				top = math.Max(top, cellLog[i])
			}
			for i, cell := range ph.cells {
				if cellLog[i]-top+n.log > best-coarseWithin {
					fine.near(ph.offset(ph.middle(cell)), 0.8*ph.step, keep)
				}
			}
		}
		if len(keep) > 0 {
			cells := slices.Sorted(maps.Keys(keep))
			fine.view = e.m.views.of(p, fine, 0, cells, cells, func(int) bool { return true })
		}
	}
	for _, n := range nodes {
		if n.log > best-coarseWithin {
			e.put(n.hyp, math.Inf(-1)).gain = math.Inf(1)
		}
	}
	if len(c.factors) > coarseKept {
		e.m.forget(coarseCells)
	}
	e.idle = map[uint64]bool{}
	for _, n := range bases {
		if n.log < best-coarseWithin-baseWithin {
			e.idle[n.hyp.key] = true
		}
	}
}

// maxClimbs bounds the bases that are climbed from, the best first: in a pad of
// many strings one more that is turned or open is found on the way from the plan.
const maxClimbs = 12

// tellingFault is what finding one fault explains, in log units, where none has been
// found yet.
const tellingFault = 25.0

// climb improves the bases fault by fault and returns all nodes on the way, and the
// bases. A base is left alone when faults as telling as the most telling one seen
// would not bring it near the best, or when all it does is come nearer to what was
// found from a far better one.
func (e *engine) climb() (nodes, bases []*node) {
	work := e.newWorkspace()
	visited := map[uint64]bool{}
	begin := e.bases()
	if e.settles() {
		begin = append(begin, e.joins()...)
	}
	for _, h := range begin {
		n := e.evaluate(&scored{hyp: h})
		e.slim(n)
		bases = append(bases, n)
	}
	slices.SortStableFunc(bases, func(a, b *node) int { return cmp.Compare(b.log, a.log) })
	best, from, most := bases[0], bases[0], tellingFault
	up := func(n *node) {
		base := n
		for left := maxFaults; left > 0; left-- {
			if n.log > best.log {
				best, from = n, base
			}
			if visited[n.hyp.key] || n.log+float64(left)*most < best.log-coarseWithin {
				break
			}
			visited[n.hyp.key] = true
			if n.said == nil {
				n = e.evaluate(n.scored)
			}
			nodes = append(nodes, n)
			e.best = n.log
			var top *hypothesis
			topLog := n.log
			for _, s := range e.singles {
				switch s.kind {
				case layout.CoilReversed, layout.StringReversed, layout.StringOpen, layout.CoilShorted:
				case layout.StringsInSeries:
					if len(n.hyp.faults) > 0 {
						continue // among the faults of the plan, and found beside others later
					}
				default:
					continue
				}
				if h := n.hyp.with(e.m.plan, s); h != nil {
					if l := e.child(n, h, work); l > topLog {
						top, topLog, e.best = h, l, l
					}
				}
			}
			if top == nil {
				break
			}
			was := n
			e.slim(n)
			n = e.evaluate(&scored{hyp: top})
			most = math.Max(most, n.log-was.log)
			if base.log < from.log-coarseWithin && n.log < best.log-coarseWithin && apart(n.at, best.at) < apart(was.at, best.at) {
				break
			}
		}
		e.slim(n)
	}
	for _, n := range bases[:min(len(bases), maxClimbs)] {
		up(n)
	}
	if e.astray(best) {
		for _, n := range e.pairs() {
			up(n)
		}
	}
	return nodes, bases
}

// astray tells whether the likeliest explanation found explains the readings so badly
// that another is to be looked for, with the sensor elsewhere.
func (e *engine) astray(n *node) bool {
	return n.misfit() > math.Max(leastAstray, astrayShare*float64(len(e.factors)))
}

// What readings may be short of, in log units, all together and each.
const (
	leastAstray = 8
	astrayShare = 1.0
)

// pairs are the likeliest explanations by two faults of whole strings, groups or the
// pad, or strings in series: either alone may look hopeless with the sensor where it is.
func (e *engine) pairs() []*node {
	scoredAs := func(h *hypothesis) *node {
		n := e.evaluate(&scored{hyp: h})
		e.slim(n)
		return n
	}
	var list, out []*node
	of := map[*node]single{}
	joins := 0
	for _, s := range e.singles {
		if s.kind == layout.StringsInSeries {
			joins++
		}
		if !s.changesMany() && (s.kind != layout.StringsInSeries || joins > mostJoins) {
			continue
		}
		if h := e.m.planned.with(e.m.plan, s); h != nil {
			n := scoredAs(h)
			of[n] = s
			list = append(list, n)
		}
	}
	best := func(list []*node, most int) []*node {
		slices.SortStableFunc(list, func(a, b *node) int { return cmp.Compare(b.log, a.log) })
		return list[:min(len(list), most)]
	}
	list = best(list, pairedFaults)
	for i, n := range list {
		for _, o := range list[:i] {
			if h := n.hyp.with(e.m.plan, of[o]); h != nil {
				out = append(out, scoredAs(h))
			}
		}
	}
	return best(out, pairClimbs)
}

// Bounds on pairs: the faults that are paired, and the pairs that are told.
const (
	pairedFaults = 24
	pairClimbs   = 4
)

// apart is how far two hypotheses' ampere-turns differ, all told.
func apart(a, b []float64) (sum float64) {
	for j := range a {
		sum += math.Abs(a[j] - b[j])
	}
	return sum
}

// put records a hypothesis unless an equal one is known.
func (e *engine) put(h *hypothesis, log float64) *scored {
	if s := e.seen[h.key]; s != nil {
		if h.logPrior > s.hyp.logPrior {
			s.log += h.logPrior - s.hyp.logPrior
			s.hyp = h
		}
		return s
	}
	s := &scored{hyp: h, log: log}
	e.seen[h.key] = s
	return s
}

// grow grows hypotheses from the best until none worth growing is left.
func (e *engine) grow() {
	for _, h := range e.bases() {
		if len(h.faults) == 0 || !e.idle[h.key] {
			e.put(h, math.Inf(-1)).base = true
		}
	}
	first := make([]*scored, 0, len(e.seen))
	for _, s := range e.seen {
		first = append(first, s)
	}
	slices.SortFunc(first, func(a, b *scored) int { return cmp.Compare(a.hyp.key, b.hyp.key) })
	for _, s := range first {
		e.score(s)
	}
	if e.settles() {
		e.pairBases(first)
	}
	work := e.newWorkspace()
	within := expandWithin
	grown := map[string]bool{} // by the names of faults, whatever their degree
	for round := range 2 * maxExpansions {
		if round >= maxExpansions && within == expandWithin {
			return
		}
		var next *scored
		for _, s := range e.seen {
			if s == nil || s.expanded || len(s.hyp.faults) >= maxFaults || s.log < e.best-within && !s.wanted(e.best-max(baseWithin, within)) {
				continue
			}
			if s.hyp.fine() && len(s.hyp.faults) > 0 {
				continue // a coil that lost a few turns changes nothing worth following up
			}
			if within < expandWithin+puzzling*float64(len(e.factors)) && len(s.hyp.faults) > 0 && !s.base && s.gain < tellingGain {
				continue // possible, as over a coil nobody read yet, but nothing speaks for it
			}
			if next == nil || s.promise(within) > next.promise(within) || s.promise(within) == next.promise(within) && s.hyp.key < next.hyp.key {
				next = s
			}
		}
		if next == nil {
			return
		}
		next.expanded = true
		if name := faultNames(next.hyp.faults); !grown[name] {
			grown[name] = true
		} else if next.log < e.best-nearBest {
			continue // the same coils with more or fewer turns lost: what goes with them was seen
		}
		led := next.log >= e.best-1e-9
		n := e.expand(next, work)
		if led {
			e.best = e.highest() // seen from what it was grown from it may have looked better
		}
		// As long as nothing explains the readings well, the way to what does
		// may lead over something that explains them worse.
		if n.log >= e.best-1e-9 {
			within = expandWithin + math.Min(e.reach*n.misfit(), 60)
		} else if e.bestFits() {
			within = expandWithin
		}
		if n != e.first.n {
			e.slim(n)
		}
	}
}

// pairBases adds to the best beginnings each fault that changes many coils, and to
// the plan each pair of strings in series, with backgrounds of their own. Against the background of one alone the two together
// look hopeless where readings do not tell the background: a string without
// current then passes for a phone that re-zeroed itself.
func (e *engine) pairBases(first []*scored) {
	slices.SortStableFunc(first, byLog)
	try := func(h *hypothesis) {
		if h != nil && !e.met(h) {
			c := e.put(h, math.Inf(-1))
			c.base = true
			e.score(c)
		}
	}
	for _, s := range e.singles {
		if s.changesMany() {
			for _, b := range first[:min(len(first), pairsOf)] {
				try(b.hyp.with(e.m.plan, s))
			}
		}
	}
	if !e.wide() { // else the coarse look had them
		for _, h := range e.joins() {
			try(h)
		}
	}
}

// joins are the hypotheses of two strings in series.
func (e *engine) joins() (out []*hypothesis) {
	for _, s := range e.singles {
		if s.kind == layout.StringsInSeries && len(out) < mostJoins {
			if h := e.m.planned.with(e.m.plan, s); h != nil {
				out = append(out, h)
			}
		}
	}
	return out
}

// mostJoins bounds the strings in series that are thought of so.
const mostJoins = 45

// pairsOf is how many beginnings are paired.
const pairsOf = 2

// tellingGain is the least that a fault must explain, in log units, for others to
// be looked for beside it; unless the readings are so puzzling, misfit in log
// units, that the way to what explains them may lead anywhere.
const (
	tellingGain = 0.7
	puzzling    = 0.03 // a reading
)

// wanted tells whether a hypothesis is one to begin from: the plan itself always.
func (s *scored) wanted(least float64) bool {
	return s.base && (s.log > least || len(s.hyp.faults) == 0)
}

// crowdCost is what every fault of a hypothesis takes from its turn to be grown
// from as long as nothing explains the readings: simple ones first, or the search
// spends itself on patching up a wrong beginning.
const crowdCost = 25

// promise orders hypotheses by whose turn it is to be grown from.
func (s *scored) promise(within float64) float64 {
	if within <= expandWithin {
		return s.log
	}
	return s.log - crowdCost*float64(len(s.hyp.faults))
}

// bestFits tells whether the best hypothesis explains every reading.
func (e *engine) bestFits() bool {
	for _, s := range e.seen {
		if s != nil && s.log >= e.best {
			n := e.evaluate(&scored{hyp: s.hyp})
			e.slim(n)
			return n.misfit() == 0
		}
	}
	return false
}

// expand scores a hypothesis with every single fault added.
func (e *engine) expand(s *scored, work *workspace) *node {
	n := e.evaluate(s)
	e.best = math.Max(e.best, n.log)
	first := e.first == nil
	if first {
		e.first = &firstExpansion{n: n, gain: make([]float64, len(e.singles)), touched: make([]bitset, len(e.singles))}
	}
	changed := e.changedFrom(n)
	var fresh []*scored
	keep := func(h *hypothesis, l, gain float64) {
		c := e.put(h, l)
		c.gain = gain
		fresh = append(fresh, c)
		e.best = math.Max(e.best, l)
	}
	more := together(len(n.hyp.faults)+1) - together(len(n.hyp.faults))
	for i := range e.singles {
		s := &e.singles[i]
		logP := s.logP + more
		apart := !first && e.first.apart(i, changed)
		// Far from what distinguishes this hypothesis from the first one a fault
		// gains or loses what it did there.
		if apart && (math.IsInf(e.first.gain[i], -1) || n.log+e.first.gain[i]+logP < e.best-e.bail || n.log < e.best-nearBest) {
			continue
		}
		h := n.hyp.with(e.m.plan, *s)
		if h == nil || e.met(h) {
			continue
		}
		l := n.log + e.first.gain[i] + logP
		if !apart {
			l = e.child(n, h, work)
		}
		if first {
			e.first.gain[i] = l - n.log - logP
			e.first.touched[i] = newBitset(len(e.factors), work.order)
		}
		if math.IsInf(l, -1) {
			e.seen[h.key] = nil // known, and not worth keeping
			continue
		}
		keep(h, l, l-n.log-logP)
	}
	for i := range n.hyp.faults {
		for _, h := range e.instead(n.hyp, i) {
			if e.met(h) {
				continue
			}
			// Against this one's backgrounds it may look hopeless and yet be right:
			// then it is not kept, but not known for hopeless either.
			if l := e.child(n, h, work); !math.IsInf(l, -1) {
				keep(h, l, l-h.logPrior-(n.log-n.hyp.logPrior)+s.gain)
			}
		}
	}
	e.refine(fresh)
	return n
}

// met tells whether a hypothesis was scored before; where it is likelier by
// itself than the equal one, it takes its place.
func (e *engine) met(h *hypothesis) bool {
	old, ok := e.seen[h.key]
	if old != nil && h.logPrior > old.hyp.logPrior {
		e.put(h, old.log)
	}
	return ok
}

// instead lists a hypothesis with one of its faults exchanged for another at the
// same coil, or for another of strings and pad: what the search came to by way of
// the one may be the other all the time.
func (e *engine) instead(h *hypothesis, fault int) (out []*hypothesis) {
	f := h.faults[fault]
	ofCoil := f.ID != "" && e.m.plan.CoilIndex(f.ID) >= 0
	var rest *hypothesis
	for i := range e.singles {
		s := &e.singles[i]
		if atCoil := e.m.plan.CoilIndex(s.fault.ID) >= 0; atCoil != ofCoil || atCoil && s.fault.ID != f.ID {
			continue
		}
		if rest == nil {
			fewer := slices.Delete(slices.Clone(h.faults), fault, fault+1)
			if rest = newHypothesis(e.m.plan, fewer, e.priorOf(fewer...)); rest == nil {
				return nil
			}
		}
		if o := rest.with(e.m.plan, *s); o != nil && o.key != h.key {
			out = append(out, o)
		}
	}
	return out
}

// nearBest is how near the best a hypothesis must come for faults far away from
// its own to be added to it as well, and for any where one that differs in degree
// alone was grown from.
const nearBest = 1.5

// firstExpansion keeps what each single fault gained when added to the
// hypothesis expanded first. A fault whose readings are none of those that
// another hypothesis changes gains the same there, and need not be scored again:
// that is what keeps large pads cheap.
type firstExpansion struct {
	n       *node
	gain    []float64 // log likelihood gained; NaN where the fault made no sense
	touched []bitset  // factors that the fault reaches
}

// apart tells whether a fault reaches none of the changed factors.
func (f *firstExpansion) apart(single int, changed bitset) bool {
	return changed != nil && f.touched[single] != nil && !f.touched[single].meets(changed)
}

// changedFrom lists the factors in which a node differs from the one expanded
// first; nil where the two cannot be compared.
func (e *engine) changedFrom(n *node) bitset {
	if e.first.n == n || !n.sc.equal(&e.first.n.sc) || len(e.ev.ohms) > 0 || len(e.ev.faces) > 0 {
		return nil
	}
	work := e.newWorkspace()
	e.affected(e.first.n, n.at, true, work)
	return newBitset(len(e.factors), work.order)
}

// bitset is a set of factor numbers.
type bitset []uint64

func newBitset(size int, list []affectedFactor) bitset {
	b := make(bitset, (size+63)/64)
	for _, a := range list {
		b[a.factor/64] |= 1 << (a.factor % 64)
	}
	return b
}

func (b bitset) meets(o bitset) bool {
	for i := range b {
		if b[i]&o[i] != 0 {
			return true
		}
	}
	return false
}

// refine scores the best few of a node's neighbours anew with backgrounds of
// their own: seen against their parent's they may look far worse than they are.
func (e *engine) refine(fresh []*scored) {
	if !e.settles() {
		return
	}
	slices.SortStableFunc(fresh, byLog)
	for _, s := range fresh[:min(len(fresh), refineBest)] {
		if math.IsInf(s.log, -1) {
			return
		}
		e.score(s)
	}
}

// engineFor lays out what the captures say, those before a mend with them.
func (m *Model) engineFor(before *Before, captures []*capture.Capture) (*engine, error) {
	ev, err := gatherAfter(m.plan, before, captures)
	if err != nil {
		return nil, err
	}
	m.settlePlaces(ev)
	return m.newEngine(ev, fineCells), nil
}

// Judge decides on what the captures say.
func (m *Model) Judge(captures ...*capture.Capture) (*Verdict, error) {
	e, err := m.engineFor(nil, captures)
	if err != nil {
		return nil, err
	}
	return e.conclude(e.search()), nil
}

// Judge warms a model and decides.
func Judge(plan *layout.Plan, captures ...*capture.Capture) (*Verdict, error) {
	m, err := Warm(plan)
	if err != nil {
		return nil, err
	}
	return m.Judge(captures...)
}
