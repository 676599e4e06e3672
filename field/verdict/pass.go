package verdict

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/field/capture"
	"polewise/layout"
)

// A pass is read in two steps. First it is aligned (align.go): where along the
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
	share      float64 // weight of one sample
	aligner    *aligner
}

func (ev *evidence) addPass(plan *layout.Plan, cut *capture.Stretches, s *capture.Stretch, src int, tops [3][]flatTop) {
	d := passDigest{source: src, from: s.From, to: s.To, topDeg: s.TopDeg, up: meanUp(s.Gravity), label: s.Pass.Along[0] + " to " + s.Pass.Along[len(s.Pass.Along)-1]}
	for _, id := range s.Pass.Along {
		j := plan.CoilIndex(id)
		d.coils = append(d.coils, j)
		d.path = append(d.path, plan.Coils[j].At)
		e := plan.WindingOf(j).HalfExtent()
		d.overrun = math.Max(d.overrun, math.Max(e.X, e.Y))
	}
	d.hz, d.duty, d.pulsed = pulseOf(cut, s, plan)
	if s.Open {
		return // the row is not finished: where the phone is now, nobody knows
	}
	for _, b := range s.B {
		drive, ok := driveAt(cut, plan, b.T)
		// A sample at the end of the sensor's range says nothing of where the
		// phone is.
		if !ok || nearSwitch(cut, b.T, guardBefore, guardAfter) || atTop(b, tops) {
			continue
		}
		x := sample{t: b.T, u: b.UT}
		switch drive.State {
		case capture.On:
			x.s = 1
		case capture.Pulse:
			x.s = drive.Duty
		}
		d.xs = append(d.xs, x)
	}
	for i := 1; i < len(d.path); i++ {
		d.pathLength += r2.Norm(r2.Sub(d.path[i], d.path[i-1]))
	}
	if len(d.xs) < 2*len(d.coils) || d.pathLength == 0 {
		ev.note("The pass from %s has too few readings (%d) to tell its coils apart. Draw the phone more slowly.", d.label, len(d.xs))
		return
	}
	ev.passes = append(ev.passes, d)
}

// passFactor scores a pass against ampere-turns found by aligning it.
type passFactor struct {
	frame_ frame
	*passDigest
	ph    *phone
	sides []float64   // per offset cell: where the sensor lies beside the mark, metres
	turns []float64   // of the near coils, reused
	score []laneScore // reused
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
	f := &passFactor{passDigest: d, ph: ph}
	src := &e.ev.sources[d.source]
	if d.lanes == nil {
		e.m.align(d, src, e.groups[e.groupFor(d.source, d.topDeg)].prior(), e.bases())
	}
	_, side := d.directions()
	f.sides = make([]float64, ph.offsets())
	for c := range f.sides {
		f.sides[c] = r2.Dot(d.toPad(ph.offset(ph.middle(c))), side)
	}
	cols := &columns{near: d.near, peak: d.peak}
	f.frame_ = frame{src: d.source, group: e.groupFor(d.source, d.topDeg), coil: -1, cols: cols, id: e.m.fresh()}
	e.factors = append(e.factors, f)
}

// directions are along the line from its first coil to its last, and to the left
// of it.
func (d *passDigest) directions() (along, left r2.Vec) {
	along = r2.Unit(r2.Sub(d.path[len(d.path)-1], d.path[0]))
	return along, r2.Vec{X: -along.Y, Y: along.X}
}

// toPad turns a vector of the phone frame into the pad frame.
func (d *passDigest) toPad(o r2.Vec) r2.Vec {
	sin, cos := math.Sincos(d.topDeg * math.Pi / 180)
	return r2.Vec{X: cos*o.X - sin*o.Y, Y: sin*o.X + cos*o.Y}
}

// handSD is by how much a hand draws the mark beside the line on the whole;
// passStray is the share of passes that are not what they say they are, each
// sample of which fits nothing.
const (
	handSD    = 0.0065
	passStray = 1e-4
)

func (p *passFactor) like(out []float64, at []float64, _ []nine, _ *background, sc *scales) {
	p.turns = p.turns[:0]
	for _, j := range p.near {
		p.turns = append(p.turns, at[j])
	}
	p.score = p.score[:0]
	for l := range p.lanes {
		for i := range p.lanes[l].ways {
			w := &p.lanes[l].ways[i]
			a, b := w.form(p.turns)
			p.score = append(p.score, laneScore{l, w.log, a, b, w.top})
		}
	}
	nodes := len(sc.s)
	low, trust := p.stray(), p.trust()
	var by [maxScales][maxLanes]float64 // relative to ref
	ref := math.Inf(-1)
	for _, s := range p.score {
		ref = math.Max(ref, math.Min(s.most, s.top+s.b*s.b/(2*math.Max(s.a, 1e-9))))
	}
	for _, s := range p.score {
		// The scale's own width within a node softens the likelihood. Every way
		// bounds it from below, so that the best one counts.
		for m, x := range sc.s {
			soft := 1 + s.a*sc.sd*sc.sd
			best := s.b / math.Max(s.a, 1e-9)
			at := s.top + s.b*best/2 - s.a*(x-best)*(x-best)/(2*soft)
			l := math.Exp(math.Min(at, s.most)-ref) / math.Sqrt(soft)
			by[m][s.lane] = math.Max(by[m][s.lane], l)
		}
	}
	for c, cell := range p.ph.cells {
		var sum [maxScales]float64
		norm := 0.0
		for l := range p.lanes {
			d := (p.lanes[l].side - p.sides[cell]) / handSD
			w := math.Exp(-d * d / 2)
			norm += w
			for m := range nodes {
				sum[m] += w * by[m][l]
			}
		}
		for m := range nodes {
			out[c*nodes+m] = trust * logAdd(ref+math.Log(sum[m]/math.Max(norm, 1e-12)+1e-300), low)
		}
	}
}

// trust is how much of what a pass says is taken: all, unless it fits nothing well.
// Then something was not as it is thought of here, the way it went perhaps, and
// errors count for as much larger as they turned out.
func (p *passFactor) trust() float64 {
	const usual = 4 // log units by which a good pass may fall short
	misfit := 1.5 * p.share * float64(len(p.xs))
	return misfit / (misfit + math.Max(0, p.lack()-usual))
}

// stray is the log likelihood of a pass in which no sample fits anything.
func (p *passFactor) stray() float64 {
	return p.share*float64(len(p.xs))*strayLog + math.Log(passStray)
}

// ceiling implements factor: the ampere-turns found.
func (p *passFactor) ceiling([]nine, *background, *scales) float64 {
	top := p.stray()
	for l := range p.lanes {
		for i := range p.lanes[l].ways {
			w := &p.lanes[l].ways[i]
			top = math.Max(top, w.log+w.most)
		}
	}
	return top * p.trust()
}

// lack is by how much the way that fits the pass best falls short of what samples
// that fit have.
func (p *passFactor) lack() float64 {
	top, lack := math.Inf(-1), 0.0
	for l := range p.lanes {
		for i := range p.lanes[l].ways {
			if w := &p.lanes[l].ways[i]; w.log+w.most > top {
				top, lack = w.log+w.most, w.lack
			}
		}
	}
	return lack
}
