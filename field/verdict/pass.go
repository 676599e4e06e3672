package verdict

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/field/capture"
	"polewise/field/readings"
	"polewise/layout"
)

// What was read in a pass, in which the phone is drawn along a row. It is used in two steps. First
// it is aligned (pass_align.go): where along the line the phone was at each sample, and which
// ampere-turns in the coils make those readings, are found together, without asking whether the
// pad is wired as planned. Then every hypothesis is held against the ampere-turns found
// (pass_factor.go).

// passDigest is what is kept of a pass.
type passDigest struct {
	coils      []int // that it goes over, in its order
	source     int   // which capture it came from
	label      string
	from, to   float64
	topDeg     float64
	up         [3]float64 // gravity's direction in the phone frame, unit; zero when unknown
	samples    []sample
	hz, duty   float64 // of the pulses, where pulsed
	pulsed     bool
	path       []r2.Vec // the centres of coils
	pathLength float64
	overrun    float64   // how far beyond either end the phone may have been
	ofCurrent  []float64 // the setting of the supply as told (settings.at); samples are divided by the first of these
	id         key       // equal for equal readings over an equal background

	// Set as it is aligned.
	lanes   []lane    // nil until then
	near    []int32   // coils whose ampere-turns it may tell,
	peak    []float64 // and the largest field of each along the way, per ampere-turn
	weight  float64   // of one sample
	aligner *aligner
}

// sample is what a phone read in a pass.
type sample struct {
	t float64    // seconds
	u [3]float64 // uT, by the phone's axes
	s float64    // share of the time that the supply was on for
}

// addPass keeps a pass if it can be aligned, and says what is wrong with it.
func (ev *evidence) addPass(plan *layout.Plan, cut *capture.Stretches, s *capture.Stretch, src int, read *readings.Source, ofCurrent []float64) {
	if s.Open {
		return // the row is not finished: where the phone is now, nobody knows
	}
	d := passDigest{source: src, ofCurrent: ofCurrent, from: s.From, to: s.To, topDeg: s.TopDeg, up: meanUp(s.Gravity), label: s.Pass.Along[0] + " to " + s.Pass.Along[len(s.Pass.Along)-1]}
	d.goOver(plan, s.Pass.Along)
	d.hz, d.duty, d.pulsed = readings.PulseOf(cut, s, plan)
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
		d.samples = append(d.samples, x)
	}
	switch {
	case len(d.samples) < 2*len(d.coils) || d.pathLength == 0:
		ev.note("The pass from %s has too few readings (%d) to tell its coils apart. Draw the phone more slowly.", d.label, len(d.samples))
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

// goOver lays the path of a pass over the coils named, and over those between them.
func (d *passDigest) goOver(plan *layout.Plan, ids []string) {
	over := func(j int, at r2.Vec) {
		if n := len(d.path); n > 0 {
			d.pathLength += r2.Norm(r2.Sub(at, d.path[n-1]))
		}
		d.coils, d.path = append(d.coils, j), append(d.path, at)
		e := plan.WindingOf(j).HalfExtent()
		d.overrun = math.Max(d.overrun, math.Max(e.X, e.Y))
	}
	for i, id := range ids {
		j := plan.CoilIndex(id)
		if i > 0 {
			between(plan, d.coils[len(d.coils)-1], j, over)
		}
		over(j, plan.Coils[j].At)
	}
}

// Bounds on what tells how fast a phone follows pulses.
const (
	tooSlow      = 0.2  // share of a pulse, or of the time between two, that it may trail behind by
	leastSwing   = 40.0 // uT within a period, or the period is not looked at
	fewestSwings = 4    // periods, or nothing is told
	edgeBase     = 0.04 // seconds between the samples whose difference is taken,
	baseShare    = 0.25 // or this share of a pulse, or of the time between two
	sharpEdge    = 0.6  // share of a swing made between two such samples by a phone that follows at once
)

// trailsBy is the time constant, seconds, by which a phone trails behind pulses: from the share of
// what its readings swing by within a period that is made in a moment, in the periods where that
// is most. It is rather too short than too long, and 0 where too little swings.
func (d *passDigest) trailsBy() float64 {
	var shares []float64
	base := math.Max(d.every(), math.Min(edgeBase, baseShare*readings.Shorter(d.hz, d.duty)))
	for from := 0; from < len(d.samples); {
		to := from
		for to < len(d.samples) && d.samples[to].t < d.samples[from].t+1/d.hz {
			to++
		}
		var step, swing float64
		before := from - 1 // the last sample about base ago
		for i := from; i < to; i++ {
			for before+1 < i && d.samples[i].t-d.samples[before+1].t >= 0.99*base {
				before++
			}
			if before >= from && d.samples[i].t-d.samples[before].t < 1.6*base { // it may have frozen in between
				step = math.Max(step, readings.Gap(d.samples[i].u, d.samples[before].u))
			}
			swing = math.Max(swing, readings.Gap(d.samples[i].u, d.samples[from].u))
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

// tooQuick is how many samples a pulse, and the time between two pulses, must last: a sample in
// which the supply was switched may be an average.
const tooQuick = 2

// every is the usual time between two samples, seconds.
func (d *passDigest) every() float64 {
	gaps := make([]float64, 0, len(d.samples))
	for i := 1; i < len(d.samples); i++ {
		gaps = append(gaps, d.samples[i].t-d.samples[i-1].t)
	}
	return readings.Median(gaps)
}

// between calls over for each coil that the straight way from one coil to another goes over near
// its middle, in order, with the point on the way: a row may be named by its ends alone.
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

// beside is how far to the left of the line the sensor goes if it sits in an offset cell, metres.
func (d *passDigest) beside(ph *phone, cell int) float64 {
	_, left := d.directions()
	return r2.Dot(toPad(ph.offset(ph.middle(cell)), d.topDeg), left)
}

// lanesBeside are the lanes in which a hand may have drawn a sensor that should go beside the
// line by so much.
func (d *passDigest) lanesBeside(side float64) (out []int) {
	for l := range d.lanes {
		if math.Abs(d.lanes[l].side-side) < 1.5*handSD {
			out = append(out, l)
		}
	}
	return out
}

// directions are unit vectors along the line and to the left of it. Where the way turns they are
// those of most of it: along the rows of a pad over which it goes to and fro.
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

// asideSD is how far beside a leg of the way the sensor may have gone since the leg does not point
// where the way on the whole does, one standard deviation. What is not known of the sensor's place
// along the way is beside such a leg, where no timing makes up for it.
func (d *passDigest) asideSD(src *sourceInfo, leg r2.Vec) float64 {
	along, _ := d.directions()
	sd, _ := d.placeSD(src)
	sd = math.Hypot(math.Hypot(sd, handSD), yawSD*math.Hypot(src.offset[0], src.offset[1]))
	return sd * math.Abs(r2.Cross(along, leg))
}

const (
	handSD    = 0.0065 // metres by which a hand draws the mark beside the line on the whole
	passStray = 1e-4   // share of passes that are not what they say they are: none of their samples fits anything
	beamStep  = 0.0005 // metres: offset cells closer together than this beside the line share a beam
)

// beam is how likely a sensor that should go beside the line by so much goes in each of the lanes.
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
