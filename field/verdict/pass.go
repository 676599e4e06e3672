package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/spatial/r2"

	"polewise/field/capture"
	"polewise/field/readings"
	"polewise/layout"
)

// A pass is read in two steps. First it is aligned (pass_align.go): where along the
// line the phone was at each sample, and which ampere-turns in the coils make
// those readings, found together and without asking whether the pad is wired as
// planned. Then every hypothesis is held against the ampere-turns found.

type passDigest struct {
	coils      []int
	source     int
	label      string
	from, to   float64
	topDeg     float64
	up         [3]float64
	xs         []sample
	hz, duty   float64
	pulsed     bool
	pathLength float64
	overrun    float64 // how far beyond either end the phone may have been
	path       []r2.Vec
	lanes      []lane // nil until aligned
	near       []int32
	peak       []float64
	weight     float64   // of one sample
	ofCurrent  []float64 // the shares of the current that all is told for that it may have been read at: the samples are by the first of them larger here
	aligner    *aligner
	id         key // what it was read as, and over which background
}

// sample is what a phone read in a pass.
type sample struct {
	t float64    // seconds
	u [3]float64 // uT, by the phone's axes
	s float64    // share of the time that the supply was on for
}

func (ev *evidence) addPass(plan *layout.Plan, cut *capture.Stretches, s *capture.Stretch, src int, read *readings.Source, ofCurrent []float64) {
	d := passDigest{source: src, ofCurrent: ofCurrent, from: s.From, to: s.To, topDeg: s.TopDeg, up: meanUp(s.Gravity), label: s.Pass.Along[0] + " to " + s.Pass.Along[len(s.Pass.Along)-1]}
	over := func(j int, at r2.Vec) {
		d.coils, d.path = append(d.coils, j), append(d.path, at)
		e := plan.WindingOf(j).HalfExtent()
		d.overrun = math.Max(d.overrun, math.Max(e.X, e.Y))
	}
	for i, id := range s.Pass.Along {
		j := plan.CoilIndex(id)
		if i > 0 {
			between(plan, d.coils[len(d.coils)-1], j, over)
		}
		over(j, plan.Coils[j].At)
	}
	d.hz, d.duty, d.pulsed = readings.PulseOf(cut, s, plan)
	if s.Open {
		return // the row is not finished: where the phone is now, nobody knows
	}
	for _, b := range s.B {
		drive, ok := read.Clear(&b)
		if !ok {
			continue
		}
		x := sample{t: b.T, u: b.UT}
		switch drive.State {
		case capture.On:
			x.s = 1
		case capture.Pulse:
			x.s = drive.Duty
		}
		for a := range x.u {
			x.u[a] /= ofCurrent[0]
		}
		d.xs = append(d.xs, x)
	}
	for i := 1; i < len(d.path); i++ {
		d.pathLength += r2.Norm(r2.Sub(d.path[i], d.path[i-1]))
	}
	switch {
	case len(d.xs) < 2*len(d.coils) || d.pathLength == 0:
		ev.note("The pass from %s has too few readings (%d) to tell its coils apart. Draw the phone more slowly.", d.label, len(d.xs))
	case d.pulsed && readings.Shorter(d.hz, d.duty) < tooQuick*d.every():
		ev.note("The pass from %s was drawn under pulses too quick for this phone to tell them from the coils. Switch the supply on steadily and draw it again.", d.label)
	case d.pulsed && d.trailsBy() > tooSlow*readings.Shorter(d.hz, d.duty):
		ev.note("The pass from %s was drawn under pulses, and this phone follows too slowly to tell them from the coils. Switch the supply on steadily and draw it again.", d.label)
	default:
		ev.passes = append(ev.passes, d)
		return
	}
	ev.lose(d.coils...)
}

// Bounds on what tells how fast a phone follows pulses.
const (
	tooSlow      = 0.2  // of a pulse, or of the time between two, that it may trail behind by
	leastSwing   = 40.0 // uT within a period, or it is not looked at
	fewestSwings = 4    // periods
	edgeBase     = 0.04 // seconds between the samples of which the change is taken, or
	baseShare    = 0.25 // of a pulse, or of the time between two
	sharpEdge    = 0.6  // of a swing from one to the other: it follows at once
)

// trailsBy is the time constant, seconds, by which a phone trails behind pulses: from how much
// of what its readings swing by within a period is made in a moment, in the periods in which
// that is most. That is rather too little than too much, and nothing where too little swings.
func (d *passDigest) trailsBy() float64 {
	var shares []float64
	base := math.Max(d.every(), math.Min(edgeBase, baseShare*readings.Shorter(d.hz, d.duty)))
	for from := 0; from < len(d.xs); {
		to := from
		for to < len(d.xs) && d.xs[to].t < d.xs[from].t+1/d.hz {
			to++
		}
		var step, swing float64
		before := from - 1 // the last sample about base ago
		for i := from; i < to; i++ {
			for before+1 < i && d.xs[i].t-d.xs[before+1].t >= 0.99*base {
				before++
			}
			if before >= from && d.xs[i].t-d.xs[before].t < 1.6*base { // it may have frozen in between
				step = math.Max(step, readings.Gap(d.xs[i].u, d.xs[before].u))
			}
			swing = math.Max(swing, readings.Gap(d.xs[i].u, d.xs[from].u))
		}
		if swing > leastSwing {
			shares = append(shares, math.Min(1, step/swing))
		}
		from = max(to, from+1)
	}
	if len(shares) < fewestSwings {
		return 0
	}
	slices.Sort(shares)
	share := shares[len(shares)*4/5]
	if share > sharpEdge {
		return 0
	}
	return -base / math.Log(1-share)
}

// tooQuick is how many samples a pulse, and the time between two, has to last: one
// that began or ended between two samples may have been averaged.
const tooQuick = 2

// every is the usual time between two samples, seconds.
func (d *passDigest) every() float64 {
	gaps := make([]float64, 0, len(d.xs))
	for i := 1; i < len(d.xs); i++ {
		gaps = append(gaps, d.xs[i].t-d.xs[i-1].t)
	}
	return readings.Median(gaps)
}

// between tells the coils whose middle the straight way from one coil to another goes
// over, in its order, and where it does: a row may be named by its ends.
func between(plan *layout.Plan, from, to int, over func(j int, at r2.Vec)) {
	a, way := plan.Coils[from].At, r2.Sub(plan.Coils[to].At, plan.Coils[from].At)
	long := r2.Norm(way)
	if long == 0 {
		return
	}
	way = r2.Scale(1/long, way)
	type crossed struct {
		j     int
		along float64
	}
	var list []crossed
	for j := range plan.Coils {
		off := r2.Sub(plan.Coils[j].At, a)
		e := plan.WindingOf(j).HalfExtent()
		if x := r2.Dot(off, way); j != from && j != to && x > 0 && x < long && math.Abs(r2.Cross(way, off)) < math.Min(e.X, e.Y)/2 {
			list = append(list, crossed{j, x})
		}
	}
	slices.SortFunc(list, func(p, q crossed) int { return cmp.Compare(p.along, q.along) })
	for _, c := range list {
		over(c.j, r2.Add(a, r2.Scale(c.along, way)))
	}
}

// passFactor scores a pass against ampere-turns found by aligning it.
type passFactor struct {
	frame_ frame
	*passDigest
	ph    *phone
	known *likes
	sides []int       // per offset cell: which of the beams it sees the pass in
	beams [][]float64 // the lanes the sensor may have gone in, by how likely: in all 1
	forms []laneForm  // the ways it is understood in
	top   *way        // the one that fits best; nil where there is none
	// The near coils of each string that has several of them: a fault mostly changes all of
	// these alike.
	strings [][]int
	turns   []float64   // of the near coils, but for what is said of their strings, reused
	index   []int       // of those not as planned, likewise
	shares  []float64   // by which a string's are, of the planned, likewise
	score   []laneScore // reused
	room    []float64   // likewise
}

// laneForm is a way to understand a pass seen from the plan: what it comes to with the
// ampere-turns changed by d is told by few of them where few change, or all of a string
// alike.
type laneForm struct {
	*way
	lane      int
	quad, lin float64   // of the planned ampere-turns
	at        []float64 // H times those
	strings   []stringForm
}

// stringForm is a string's part in that.
type stringForm struct {
	quad, lin float64   // of its planned ampere-turns; quad with those of all
	at        []float64 // H times its
	with      []float64 // its with each string's
}

// laneScore is log likelihood as a function of the common scale s in one way to
// see one lane: top + b s - a s^2 / 2.
type laneScore struct {
	lane      int
	top, a, b float64
	most      float64 // it is no greater
}

func (p *passFactor) frame() *frame { return &p.frame_ }

func (p *passFactor) time() float64 { return p.from }

func (p *passFactor) name() string {
	return fmt.Sprintf("pass from %s at %.0f s", p.label, p.from)
}

func (e *engine) addPassFactors(d *passDigest) {
	ph := e.phones[d.source]
	f := &passFactor{passDigest: d, ph: ph, known: e.known}
	f.sides = make([]int, ph.offsets())
	known := map[int]int{}
	for c := range f.sides {
		beside := d.beside(ph, c)
		at := int(math.Round(beside / beamStep))
		if _, ok := known[at]; !ok {
			known[at] = len(f.beams)
			f.beams = append(f.beams, d.beam(beside))
		}
		f.sides[c] = known[at]
	}
	cols := &columns{near: d.near, peak: d.peak}
	f.frame_ = frame{src: d.source, group: e.groupFor(d.source, d.topDeg), coil: -1, cols: cols, along: true}
	of := make([][]int, len(e.m.plan.Strings))
	for i, j := range d.near {
		s := e.m.plan.StringOf(int(j))
		of[s] = append(of[s], i)
	}
	for _, list := range of {
		if len(list) > 2 {
			f.strings = append(f.strings, list)
		}
	}
	f.learn()
	e.factors = append(e.factors, f)
}

// learn takes over the ways in which the pass is understood by now, and with them an
// identity: equal for equal ways beside equal cells, in this verdict or the next.
func (p *passFactor) learn() {
	g := p.ph.grid
	k := p.id
	for _, x := range [...]float64{g.x0, g.y0, g.step, float64(g.ox), float64(g.oy)} {
		k.mix(x)
	}
	p.forms = p.forms[:0]
	for l := range p.lanes {
		k.mix(float64(l))
		for i := range p.lanes[l].ways {
			w := &p.lanes[l].ways[i]
			k.mix(w.log)
			k.mix(w.lack)
			for _, x := range w.h {
				k.mix(x)
			}
			p.forms = append(p.forms, w.seenFrom(p.aligner.planned, p.strings, l))
		}
	}
	p.frame_.id, p.top = k, p.best()
}

func (w *way) seenFrom(planned []float64, strings [][]int, lane int) laneForm {
	n := len(planned)
	f := laneForm{way: w, lane: lane, at: make([]float64, n)}
	for i, x := range planned {
		f.at[i] = floats.Dot(w.hh[i*n:i*n+n], planned)
		f.quad += x * f.at[i]
		f.lin += x * w.h[i]
	}
	for _, list := range strings {
		s := stringForm{at: make([]float64, n)}
		for _, i := range list {
			floats.AddScaled(s.at, planned[i], w.hh[i*n:i*n+n]) // H is symmetric
			s.quad += planned[i] * f.at[i]
			s.lin += planned[i] * w.h[i]
		}
		for _, other := range strings {
			sum := 0.0
			for _, i := range other {
				sum += planned[i] * s.at[i]
			}
			s.with = append(s.with, sum)
		}
		f.strings = append(f.strings, s)
	}
	return f
}

// form evaluates the quadratic and the linear form for ampere-turns that differ from
// the planned ones by shares of those in whole strings, and by so much besides in the coils
// listed.
func (f *laneForm) form(shares []float64, index []int, by []float64) (quad, lin float64) {
	quad, lin = f.quad, f.lin
	n := len(by)
	for _, i := range index {
		v, row := 2*f.at[i], f.hh[i*n:i*n+n]
		for _, k := range index {
			v += row[k] * by[k]
		}
		quad += by[i] * v
		lin += by[i] * f.h[i]
	}
	for q, share := range shares {
		if share == 0 {
			continue
		}
		s := &f.strings[q]
		v := 2*s.quad + floats.Dot(s.with, shares)
		for _, i := range index {
			v += 2 * s.at[i] * by[i]
		}
		quad += share * v
		lin += share * s.lin
	}
	return quad, lin
}

// differ parts ampere-turns into what whole strings have of the planned more or less, and what
// coils have besides.
func (p *passFactor) differ(at []float64) {
	planned := p.aligner.planned
	p.turns, p.index, p.shares = p.turns[:0], p.index[:0], p.shares[:0]
	for i, j := range p.near {
		p.turns = append(p.turns, at[j]-planned[i])
	}
	for _, list := range p.strings {
		var most majority
		for _, i := range list {
			most.count(p.turns[i] / planned[i])
		}
		if math.IsNaN(most.of) || math.IsInf(most.of, 0) {
			most.of = 0
		}
		p.shares = append(p.shares, most.of)
		for _, i := range list {
			if p.turns[i] -= most.of * planned[i]; math.Abs(p.turns[i]) < 1e-9*math.Abs(planned[i]) {
				p.turns[i] = 0
			}
		}
	}
	for i, d := range p.turns {
		if d != 0 {
			p.index = append(p.index, i)
		}
	}
}

// alignPasses aligns the passes that have not been yet, each by itself and then
// with what the others of its phone say of where the sensor sits: a row whose
// coils carry half their current, or none, may fit best where the sensor is not.
func (e *engine) alignPasses() {
	bases := e.bases()
	var fresh []*passDigest
	for i := range e.ev.passes {
		if d := &e.ev.passes[i]; d.lanes == nil {
			e.m.prepare(d, &e.ev.sources[d.source], e.groups[e.groupFor(d.source, d.topDeg)].prior())
			fresh = append(fresh, d)
		}
	}
	for src := range e.phones {
		var of []*passDigest
		for _, d := range fresh {
			if d.source == src {
				of = append(of, d)
			}
		}
		catchUp(of)
	}
	for _, d := range fresh {
		e.alignOne(d, bases)
	}
	for src := range e.phones {
		chance := e.chancesByPasses(src)
		for _, d := range fresh {
			if d.source != src || d.aligner.narrow() {
				continue
			}
			var lanes []fit
			for l, in := range e.lanesInPlay(d, chance) {
				if in && !d.lanes[l].begun {
					d.lanes[l].begun = true
					lanes = append(lanes, fit{l, math.Inf(1)})
				}
			}
			d.aligner.begin(lanes, 0, bases)
		}
	}
}

// alignOne aligns a pass where the passes before it leave the sensor, and wherever it may be
// if the pass fits nothing well there.
func (e *engine) alignOne(d *passDigest, bases []*hypothesis) {
	lanes, reach := d.aligner.begun()
	if !d.aligner.narrow() {
		in := e.lanesInPlay(d, e.chancesByPasses(d.source))
		var few []fit
		for _, l := range lanes {
			if in[l.at] {
				few = append(few, l)
			}
		}
		if len(few) < len(lanes) {
			d.aligner.begin(few, reach, bases)
			if w := d.best(); w != nil && w.lack < wellSettled {
				return
			}
		}
	}
	d.aligner.begin(lanes, reach, bases)
}

// chancesByPasses is how likely a phone's sensor sits in each of its cells, for all that
// the passes say that are aligned by now.
func (e *engine) chancesByPasses(src int) []float64 {
	ph := e.phones[src]
	chance := slices.Clone(ph.prior)
	for i := range e.ev.passes {
		d := &e.ev.passes[i]
		if d.source != src || d.best() == nil {
			continue
		}
		tops, best := make([]float64, len(d.lanes)), math.Inf(-1)
		for l := range d.lanes {
			tops[l] = d.lanes[l].top()
			best = max(best, tops[l])
		}
		for c := range chance {
			at := math.Inf(-1)
			for _, l := range d.lanesBeside(d.beside(ph, c)) {
				at = max(at, tops[l])
			}
			chance[c] += max(at-best, -hopelessLane)
		}
	}
	return chance
}

// lanesInPlay tells of each lane of a pass whether its sensor may have gone there, by how
// likely it sits in each cell.
func (e *engine) lanesInPlay(d *passDigest, chance []float64) []bool {
	ph, in := e.phones[d.source], make([]bool, len(d.lanes))
	likeliest := slices.Max(chance)
	for c := range chance {
		if chance[c] < likeliest-hopelessWay {
			continue
		}
		for _, l := range d.lanesBeside(d.beside(ph, c)) {
			in[l] = true
		}
	}
	return in
}

// beside is how far to the left of the line the sensor goes if it sits in a cell.
func (d *passDigest) beside(ph *phone, cell int) float64 {
	_, left := d.directions()
	return r2.Dot(toPad(ph.offset(ph.middle(cell)), d.topDeg), left)
}

// lanesBeside are those a hand may have drawn the sensor in.
func (d *passDigest) lanesBeside(side float64) (out []int) {
	for l := range d.lanes {
		if math.Abs(d.lanes[l].side-side) < 1.5*handSD {
			out = append(out, l)
		}
	}
	return out
}

// directions are along the line, and to the left of it. Where the way turns they are those
// of most of it: along the rows of a pad over which it goes to and fro.
func (d *passDigest) directions() (along, left r2.Vec) {
	// Legs that go to and fro say the same, and so count by twice their angle.
	var sum r2.Vec
	for i := 1; i < len(d.path); i++ {
		leg := r2.Sub(d.path[i], d.path[i-1])
		if length := r2.Norm(leg); length > 0 {
			sum = r2.Add(sum, r2.Scale(1/length, r2.Vec{X: leg.X*leg.X - leg.Y*leg.Y, Y: 2 * leg.X * leg.Y}))
		}
	}
	sin, cos := math.Sincos(math.Atan2(sum.Y, sum.X) / 2)
	along = r2.Vec{X: cos, Y: sin}
	if r2.Dot(along, r2.Sub(d.path[1], d.path[0])) < 0 {
		along = r2.Scale(-1, along)
	}
	return along, r2.Vec{X: -along.Y, Y: along.X}
}

// placeSD is how well the sensor's place in the phone is known along the line and beside it.
func (d *passDigest) placeSD(src *sourceInfo) (along, beside float64) {
	a, l := d.directions()
	of := func(dir r2.Vec) float64 {
		o := toPhone(dir, d.topDeg)
		return math.Hypot(src.sd[0]*o.X, src.sd[1]*o.Y)
	}
	return of(a), of(l)
}

// asideSD is how far beside a leg of the way the sensor may have gone because that does not
// go where the way on the whole does: what of its place over the mark moves it along the one
// moves it beside the other, and no timing makes up for that.
func (d *passDigest) asideSD(src *sourceInfo, leg r2.Vec) float64 {
	along, _ := d.directions()
	sd, _ := d.placeSD(src)
	sd = math.Hypot(math.Hypot(sd, handSD), yawSD*math.Hypot(src.offset[0], src.offset[1]))
	return sd * math.Abs(r2.Cross(along, leg))
}

// handSD is by how much a hand draws the mark beside the line on the whole;
// passStray is the share of passes that are not what they say they are, each
// sample of which fits nothing.
const (
	handSD    = 0.0065
	passStray = 1e-4
	beamStep  = 0.0005 // metres: cells closer together beside the line see the same
)

func (p *passFactor) like(out []float64, at []float64, _ []nine, in *view, _ *background, sc *scales) {
	sums, nodes := p.sums(at, sc), len(sc.s)
	for c, cell := range in.cells {
		for m, v := range sums.log[p.sides[cell]*nodes:][:nodes] {
			out[c*nodes+m] = float64(v)
		}
	}
}

// sums are the log likelihoods in each of the beams, for every scale.
func (p *passFactor) sums(at []float64, sc *scales) *said {
	key := likeKey{p.frame_.id, newKey()}
	for _, j := range p.near {
		key.rest.mix(at[j])
	}
	key.rest.join(sc.key)
	s := p.known.find(key)
	if s == nil {
		p.room = sized(p.room, len(p.beams)*len(sc.s))
		p.sumUp(p.room, at, sc)
		s = newSaid(p.room)
		p.known.keep(key, s)
	}
	return s
}

// sumUp works them out.
func (p *passFactor) sumUp(out, at []float64, sc *scales) {
	p.differ(at)
	p.score = p.score[:0]
	// A form is good near the ampere-turns it was made for. Far from them it may
	// promise a better fit than any that was ever found; that is not believed.
	most := math.Inf(-1)
	if p.top != nil {
		most = p.top.atBest() + fitsBetter
	}
	for i := range p.forms {
		f := &p.forms[i]
		a, b := f.form(p.shares, p.index, p.turns)
		p.score = append(p.score, laneScore{f.lane, f.log, a, b, math.Min(f.way.top, most)})
	}
	nodes := len(sc.s)
	shares, chance := settingsOf(p.ofCurrent)
	low, trust := p.stray(), p.trust()
	var by [maxScales][maxLanes]float64 // relative to ref
	ref := math.Inf(-1)
	for _, s := range p.score {
		ref = math.Max(ref, math.Min(s.most, s.top+s.b*s.b/(2*math.Max(s.a, 1e-9))))
	}
	for _, s := range p.score {
		// The scale's own width within a node softens the likelihood. Every way
		// bounds it from below, so that the best one counts.
		soft := 1 + s.a*sc.sd*sc.sd
		best := s.b / math.Max(s.a, 1e-9)
		top, width, high := s.top+s.b*best/2-ref, s.a/(2*soft), math.Min(s.most-ref, 0)
		tall := 1 / math.Sqrt(soft)
		for q, of := range shares {
			for m, x := range sc.s {
				x *= of / p.ofCurrent[0]
				if below := math.Min(top-width*(x-best)*(x-best), high); below > -700 {
					by[m][s.lane] = math.Max(by[m][s.lane], chance[q]*tall*expDown(below))
				}
			}
		}
	}
	for b, beam := range p.beams {
		for m := range nodes {
			var sum float64
			for l, w := range beam {
				sum += w * by[m][l]
			}
			out[b*nodes+m] = trust * readings.LogAdd(ref+math.Log(sum+1e-300), low)
		}
	}
}

// beam is how likely a sensor that should go beside the line by so much goes in
// each of the lanes.
func (d *passDigest) beam(beside float64) []float64 {
	out := make([]float64, len(d.lanes))
	norm := 1e-12
	for l := range out {
		x := (d.lanes[l].side - beside) / handSD
		out[l] = math.Exp(-x * x / 2)
		norm += out[l]
	}
	for l := range out {
		out[l] /= norm
	}
	return out
}

// trust is how much of what a pass says is taken: all, unless it fits nothing well.
// Then something was not as it is thought of here, the way it went perhaps, and
// errors count for as much larger as they turned out.
func (p *passFactor) trust() float64 {
	const usual = 15 // log units by which a good pass may fall short
	misfit := 1.5 * p.weight * float64(len(p.aligner.together))
	return misfit / (misfit + math.Max(0, p.lack()-usual))
}

// stray is the log likelihood of a pass in which no sample fits anything.
func (p *passFactor) stray() float64 {
	return p.weight*float64(len(p.aligner.together))*strayLog + math.Log(passStray)
}

// ceiling implements factor: the ampere-turns found.
func (p *passFactor) ceiling([]nine, *background, *scales) float64 {
	top := p.stray()
	if p.top != nil {
		top = math.Max(top, p.top.atBest())
	}
	return top * p.trust()
}

// lack is by how much the way that fits the pass best falls short of what samples
// that fit have.
func (p *passFactor) lack() float64 {
	if p.top != nil {
		return p.top.lack
	}
	return 0
}

// best is the way that fits the pass best; nil where there is none.
func (d *passDigest) best() (best *way) {
	for l := range d.lanes {
		for i := range d.lanes[l].ways {
			if w := &d.lanes[l].ways[i]; best == nil || w.atBest() > best.atBest() {
				best = w
			}
		}
	}
	return best
}
