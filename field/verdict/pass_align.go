package verdict

import (
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field/readings"
	"polewise/layout"
)

// Aligning a pass: where the phone was at each sample is not known, only that it
// went forward at a speed that wavers around the mean. Places and ampere-turns
// are found together by expectation and maximisation: given ampere-turns, all
// walks along the line are summed (forward and backward) to say where each
// sample was taken; given places, ampere-turns and background follow by least
// squares. It is done in several lanes beside the line, since how far beside it
// the sensor went is known only roughly. What a pass is begun from stands in
// pass_begin.go, a walk in pass_walk.go, what is kept of it in pass_way.go.

const (
	// Metres between points of the way. Over wide coils they lie further apart: stepsOver points
	// over half a coil, and no more than mostStep.
	pathStep, mostStep = 0.005, 0.008
	stepsOver          = 6
	laneStep           = 0.006 // metres between lanes
	maxLanes           = 25
	// Turn and steel change slowly: samples closer together than this many metres say much the
	// same, and each counts by the way between them, within these bounds.
	alikeWithin           = 0.022
	leastShare, mostShare = 0.15, 0.9
	togetherStep          = 0.012 // metres that the phone goes, on average, while samples are read that are taken as one
	longestTick           = 0.13  // seconds from tick to tick, about
	mostBlanks            = 100   // ticks in one gap
	passReach             = 2.0   // uT: coils that nowhere along the way make as much are left as planned
)

// aligner is what aligning one pass needs.
type aligner struct {
	*passDigest
	n          int             // points along the way
	step       float64         // metres between them
	ticks      []tick          // the samples, and the time between those far apart
	strides    [][paces]stride // from the tick before to each
	together   [][2]int        // samples that make one tick: from one to before another
	eachCounts float64         // weight of one sample; less in a warm start
	start      []float64       // per point: how likely the phone begins there, the greatest 1
	finish     []float64       // likewise, that it ends there
	wander     []float64       // per point: variance of how far beside the lane the sensor went
	noise      sym3            // of a sample, pad axes
	ground     [3]float64      // background before any reading, pad axes
	groundPrec sym3            // its precision
	rested     bool            // it is known from a rest
	grounds    [][3]float64    // backgrounds to begin from
	planned    []float64       // ampere-turns of the near coils
	// Per lane, at every point of it; nil: not needed yet.
	whole   [][]nine             // field of all coils as planned
	others  [][]nine             // field of the coils that are not near
	perCoil [][]slim             // field of each near coil, per ampere-turn, point by point
	laneAt  func(l int) *columns // the columns at the points of a lane
	tilt    float64
	sdAlong float64    // of the sensor's place in the phone, along the line
	among   []spot     // of each point: the coils of the row it lies between
	halves  [2]float64 // half the first coil and half the last, along the line
	inRow   []bool     // which of the near coils the pass is about
	anchors []guess    // that it was aligned to later: see anchor
	sides   []float64  // of the lanes: metres to the left of the line
	walker  *walker
	trailing
	recall
}

// tick is a moment of a pass: samples taken as one, or a moment in a gap, where the phone went on
// and nothing was read.
type tick struct {
	t     float64    // seconds
	s     float64    // 0 off, 1 on, between: how likely it saw the pulse
	pull  [3]float64 // the reading, pad axes
	blank bool       // nothing was read
}

// prepare gives a pass what aligning it needs: what is left of the last verdict if the pass was
// in it.
func (m *Model) prepare(d *passDigest, src *sourceInfo, bg background) {
	d.id = d.identity(src, &bg)
	a := m.aligned.of[d.id]
	if a == nil {
		a = m.newAligner(d, src, bg)
		m.aligned.keep(d.id, a)
	} else {
		d.near, d.peak = a.near, a.peak
		a.passDigest, a.anchors = d, nil
	}
	d.aligner, d.weight = a, a.eachCounts
	for _, side := range a.sides {
		d.lanes = append(d.lanes, lane{side: side})
	}
}

// newAligner works out what aligning a pass needs.
func (m *Model) newAligner(d *passDigest, src *sourceInfo, bg background) *aligner {
	along, left := d.directions()
	offset := toPad(r2.Vec{X: src.offset[0], Y: src.offset[1]}, d.topDeg)
	sdAlong, sdLeft := d.placeSD(src)
	half := passReachSD(sdLeft, 2)*math.Hypot(sdLeft, handSD) + 0.002
	step := max(laneStep, 2*half/(maxLanes-1))
	count := int(2*half/step)/2*2 + 1

	far := stepOf(m.plan, d.coils)
	points := waypoints(d.path, d.slack(sdAlong), far)
	a := &aligner{passDigest: d, n: len(points), step: far, tilt: tiltSD, sdAlong: sdAlong, walker: &m.walker}
	for l := range count {
		a.sides = append(a.sides, r2.Dot(offset, left)+float64(l-count/2)*step)
	}
	for q, j := range [2]int{d.coils[0], d.coils[len(d.coils)-1]} {
		e := m.plan.WindingOf(j).HalfExtent()
		sn, cs := math.Sincos(m.plan.Coils[j].Turned)
		a.halves[q] = math.Abs(along.X)*(math.Abs(cs)*e.X+math.Abs(sn)*e.Y) + math.Abs(along.Y)*(math.Abs(sn)*e.X+math.Abs(cs)*e.Y)
	}
	if d.up != [3]float64{} {
		a.tilt = levelSD
	}
	heights := make([]float64, len(points))
	for k, w := range points {
		heights[k] = d.heightAt(m.plan, w.at)
	}
	a.laneAt = func(l int) *columns {
		return columnsAt(m.plan, m.pad, m.planned.ampTurns(), len(points), func(k int) r3.Vec {
			// The phone keeps its direction where the way turns, and the sensor its place beside
			// the mark.
			at := r2.Add(points[k].at, r2.Add(r2.Scale(a.sides[l], left), r2.Scale(r2.Dot(offset, along), along)))
			return r3.Vec{X: at.X, Y: at.Y, Z: heights[k]}
		})
	}
	for _, w := range points {
		aside := d.asideSD(src, w.dir)
		a.wander = append(a.wander, wanderSD*wanderSD+laneStep*laneStep/12+aside*aside)
	}
	a.among = d.betweenCoils(len(points), far, d.slack(sdAlong))
	a.whole, a.others, a.perCoil = make([][]nine, count), make([][]nine, count), make([][]slim, count)
	a.choose(m)
	a.lay(src, bg)
	a.grounds = [][3]float64{a.ground}
	return a
}

// choose finds the near coils, whose ampere-turns the pass can tell: those of the row, and others
// that make enough somewhere on the way.
func (a *aligner) choose(m *Model) {
	peak := map[int32]float64{}
	lanes := a.everyFew()
	var seen []*columns // of narrow passes, whose lanes are all needed later: kept for keepLane
	if a.narrow() {
		lanes = slices.Compact([]int{0, len(a.sides) / 2, len(a.sides) - 1})
	}
	for _, l := range lanes {
		cols := a.laneAt(l)
		every := make([]int, cols.count)
		for k := range every {
			every[k] = k
		}
		cols.findPeaks(every)
		for i, j := range cols.near {
			peak[j] = max(peak[j], cols.peak[i])
		}
		seen = append(seen, cols)
		if !a.narrow() {
			a.keepLane(l, cols, nil)
			seen = nil
		}
	}
	for _, j := range slices.Sorted(maps.Keys(peak)) {
		at, row := m.planned.ampTurns()[j], slices.Contains(a.coils, int(j))
		if math.Abs(at)*peak[j] > passReach || row {
			a.near = append(a.near, j)
			a.peak = append(a.peak, peak[j])
			a.planned = append(a.planned, at)
			a.inRow = append(a.inRow, row)
		}
	}
	for i, cols := range seen {
		a.keepLane(lanes[i], cols, a.near)
	}
}

// keepLane keeps the field along a lane; if near coils are given, also what each of these and all
// others make.
func (a *aligner) keepLane(l int, cols *columns, near []int32) {
	if a.whole[l] == nil {
		a.whole[l] = make([]nine, a.n)
		for k := range a.whole[l] {
			a.whole[l][k] = cols.plannedAt(k)
		}
	}
	if near == nil {
		return
	}
	a.others[l], a.perCoil[l] = make([]nine, a.n), make([]slim, a.n*len(near))
	for k := range a.n {
		row := cols.row(k)
		for i, j := range cols.near {
			if q, ok := slices.BinarySearch(near, j); ok {
				a.perCoil[l][k*len(near)+q] = row[i]
				continue
			}
			for x := range a.others[l][k] {
				a.others[l][k][x] += cols.planned[j] * float64(row[i][x])
			}
		}
	}
}

// laneWhole is the field along a lane with all as planned.
func (a *aligner) laneWhole(l int) []nine {
	if a.whole[l] == nil {
		a.keepLane(l, a.laneAt(l), nil)
	}
	return a.whole[l]
}

// laneCoils is what the near coils and the others make along a lane, worked out when first asked
// for: where the sensor's place is unknown most lanes never are.
func (a *aligner) laneCoils(l int) (near []slim, others []nine) {
	if a.perCoil[l] == nil {
		a.keepLane(l, a.laneAt(l), a.near)
	}
	return a.perCoil[l], a.others[l]
}

// lay works out what all lanes share: background and noise in pad axes, ticks, strides, and where
// the way begins and ends.
func (a *aligner) lay(src *sourceInfo, bg background) {
	rot := rotation(a.topDeg, a.up)
	a.rested = bg.variance[2] < restedSD*restedSD
	for q := 0; q < 3; q++ {
		v := (src.sigma[q]*src.sigma[q] + readings.FloorUT*readings.FloorUT + driftSD*driftSD) / (a.ofCurrent[0] * a.ofCurrent[0])
		a.noise.add(rot[0][q], rot[1][q], rot[2][q], v)
		a.groundPrec.add(rot[0][q], rot[1][q], rot[2][q], a.ofCurrent[0]*a.ofCurrent[0]/bg.variance[q])
		for r := range a.ground {
			a.ground[r] += rot[r][q] * bg.b[q] / a.ofCurrent[0]
		}
	}
	a.together = a.gather()
	last := a.from
	for _, of := range a.together {
		xs := a.samples[of[0]:of[1]]
		a.idle(last, xs[0].t)
		last = xs[len(xs)-1].t
		a.ticks = append(a.ticks, tick{t: (xs[0].t + last) / 2})
	}
	a.idle(last, a.to)
	speed := 0.0 // points a second
	if span := a.ticks[len(a.ticks)-1].t - a.ticks[0].t; span > 0 {
		speed = a.covers() / a.step / span
	}
	a.strides = make([][paces]stride, len(a.ticks))
	for i := 1; i < len(a.ticks); i++ {
		for v, pace := range paceOf {
			a.strides[i][v] = strideOf(pace * speed * (a.ticks[i].t - a.ticks[i-1].t))
		}
	}
	a.eachCounts = max(leastShare, min(mostShare, a.covers()/float64(len(a.together))/alikeWithin))
	// It begins and ends within half a coil of the first and the last one, before it or beyond,
	// and a little further off by where the sensor sits.
	further := math.Hypot(0.015, a.sdAlong) / a.step
	mid := a.slack(a.sdAlong) / a.step
	at := func(points, half float64) float64 {
		x := max(0, math.Abs(points)-half/a.step) / further
		return math.Exp(-x * x / 2)
	}
	for k := range a.n {
		a.start = append(a.start, at(float64(k)-mid, a.halves[0]))
		a.finish = append(a.finish, at(float64(k)-float64(a.n-1)+mid, a.halves[1]))
	}
}

// read puts samples into the ticks, those of one tick averaged, in pad axes.
func (a *aligner) read(xs []sample) {
	rot := rotation(a.topDeg, a.up)
	i := 0
	for k := range a.ticks {
		t := &a.ticks[k]
		if t.blank {
			continue
		}
		of := a.together[i]
		t.s, t.pull = xs[of[0]].s, [3]float64{}
		each := 1 / float64(of[1]-of[0])
		for _, x := range xs[of[0]:of[1]] {
			for r := range t.pull {
				for q, u := range x.u {
					t.pull[r] += each * rot[r][q] * u
				}
			}
		}
		i++
	}
}

// covers is about how many metres of the way a pass goes over.
func (a *aligner) covers() float64 { return 0.85 * float64(a.n) * a.step }

// gather finds the samples to be taken as one: those that follow each other so closely that the
// phone hardly moved.
func (a *aligner) gather() (out [][2]int) {
	most := int(togetherStep * float64(len(a.samples)) / a.covers())
	if a.pulsed {
		most = 1
	}
	for i, x := range a.samples {
		if i > 0 {
			if of := &out[len(out)-1]; of[1]-of[0] < most && x.s == a.samples[i-1].s && x.t-a.samples[i-1].t < longestTick {
				of[1]++
				continue
			}
		}
		out = append(out, [2]int{i, i + 1})
	}
	return out
}

// slack is by how many metres the way is drawn out at both ends, for a sensor whose place along
// it is known within sdAlong.
func (d *passDigest) slack(sdAlong float64) float64 {
	return d.overrun + 0.012 + passReachSD(sdAlong, 1.5)*sdAlong
}

// passReachSD is how many standard deviations of a sensor's place are looked at to each side: a
// given number where the place is known, as many as the grid has where it is not.
func passReachSD(sd, known float64) float64 {
	if sd > passPlaceSD {
		return unknownReachSD
	}
	return known
}

// idle adds blank ticks for a time without readings, if it is long enough for one.
func (a *aligner) idle(from, to float64) {
	parts := int(min((to-from)/longestTick, mostBlanks) + 0.5)
	for p := 1; p < parts; p++ {
		a.ticks = append(a.ticks, tick{t: from + float64(p)/float64(parts)*(to-from), blank: true})
	}
}

// waypoint is a point of the way, and the way's direction there.
type waypoint struct{ at, dir r2.Vec }

// heightAt is the sensor's height at a point of the way, which differs from coil to coil where
// windings do: that over the nearest coil of the row.
func (d *passDigest) heightAt(plan *layout.Plan, at r2.Vec) (height float64) {
	near := math.Inf(1)
	for _, j := range d.coils {
		if q := r2.Norm2(r2.Sub(at, plan.Coils[j].At)); q < near {
			near, height = q, plan.SensorHeight(j)
		}
	}
	return height
}

// stepOf is how far apart the points of a way over some coils lie, metres.
func stepOf(plan *layout.Plan, coils []int) float64 {
	return max(pathStep, min(leastHalf(plan, coils)/stepsOver, mostStep))
}

// leastHalf is half the smallest of some coils, metres.
func leastHalf(plan *layout.Plan, coils []int) float64 {
	half := math.Inf(1)
	for _, j := range coils {
		e := plan.WindingOf(j).HalfExtent()
		half = min(half, e.X, e.Y)
	}
	return half
}

// waypoints are points a step apart along a path that is drawn out at both ends by slack.
func waypoints(path []r2.Vec, slack, step float64) []waypoint {
	p := append([]r2.Vec(nil), path...)
	n := len(p)
	p[0] = r2.Sub(p[0], r2.Scale(slack, r2.Unit(r2.Sub(p[1], p[0]))))
	p[n-1] = r2.Add(p[n-1], r2.Scale(slack, r2.Unit(r2.Sub(path[n-1], path[n-2]))))
	var out []waypoint
	left := 0.0
	for i := 1; i < n; i++ {
		v := r2.Sub(p[i], p[i-1])
		l := r2.Norm(v)
		for ; left <= l; left += step {
			out = append(out, waypoint{r2.Add(p[i-1], r2.Scale(left/max(l, 1e-12), v)), r2.Unit(v)})
		}
		left -= l
	}
	return out
}
