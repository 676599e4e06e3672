package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Aligning a pass: where the phone was at each sample is not known, only that it
// went forward at a speed that wavers around the mean. Places and ampere-turns
// are found together by expectation and maximisation: given ampere-turns, all
// walks along the line are summed (forward and backward) to say where each
// sample was taken; given places, ampere-turns and background follow by least
// squares. It is done in several lanes beside the line, since how far beside it
// the sensor went is known only roughly.
const (
	pathStep = 0.005 // metres between points of the way
	laneStep = 0.006 // metres between lanes
	maxLanes = 25
	wanderSD = 0.004 // sideways drift within a coil's width, and from coil to coil
	// Turn and steel change slowly: samples closer together than this say much
	// the same, and count by their distance.
	alikeWithin           = 0.022
	leastShare, mostShare = 0.15, 0.9
	strayShare            = 0.001 // samples that fit nothing
	strayLog              = -3*6.9 - 1.5*log2pi
	maxStride             = 32   // points of the way from tick to tick, at most
	longestTick           = 0.13 // seconds from tick to tick, about
	mostBlanks            = 100  // ticks in one gap
	passReach             = 2.0  // uT: coils that nowhere along the way make as much are left as planned
	rounds                = 5    // of expectation and maximisation
	mostPatterns          = 6    // ways for the coils of a row to face that are begun from
	mostTried             = 400  // patterns looked at, about
	mostLikely            = 3    // hypotheses of whole strings that are begun from
	freeSD                = 2.0  // ampere-turns before any reading, in shares of the planned ones
	yieldSD               = 0.04
)

// lane is a pass seen at one sideways place of the sensor.
type lane struct {
	side float64 // metres to the left of the line
	ways []way
}

// way is one way to understand a pass in a lane: log likelihood as a function of
// ampere-turns a is log - a'Ha/2 + h'a.
type way struct {
	log  float64
	h    []float64
	hh   []float64 // H, row by row
	most float64   // the greatest value of h'a - a'Ha/2
	best []float64
	lack float64 // by how much log falls short of what samples that fit have
	top  float64 // no ampere-turns make the pass likelier, whatever the forms say far from best
}

// form evaluates the quadratic and the linear form for ampere-turns.
func (w *way) form(turns []float64) (quad, lin float64) {
	n := len(turns)
	for i, x := range turns {
		if x == 0 {
			continue
		}
		row := w.hh[i*n : i*n+n]
		var v float64
		for k, y := range turns {
			v += row[k] * y
		}
		quad += x * v
		lin += x * w.h[i]
	}
	return quad, lin
}

// aligner is what aligning one pass needs.
type aligner struct {
	*passDigest
	n       int             // points along the way
	ticks   []tick          // the samples, and the time between those far apart
	strides [][paces]stride // into each tick
	share   float64         // weight of one sample
	start   []float64
	finish  []float64
	noise   sym3
	b0      [3]float64 // background before any reading, pad axes
	pb      sym3       // and its precision
	planned []float64  // ampere-turns of the near coils
	others  []nine     // field of the coils left as planned, at every point of every lane
	g       []slim     // per point, per near coil
	tilt    float64
	sdAlong float64    // of the sensor's place in the phone, along the line
	halves  [2]float64 // half the first coil and half the last, along the line
	inRow   []bool     // which of the near coils the pass is about
	anchors []guess
}

// tick is a moment of a pass: a sample, or one of those in a gap, where the phone
// went on and nothing was read.
type tick struct {
	t     float64
	s     float64    // 0 off, 1 on, between: pulsed
	pull  [3]float64 // the reading, pad axes
	blank bool
}

// align fills in the lanes of a pass, beginning from some hypotheses.
func (m *Model) align(d *passDigest, src *sourceInfo, bg background, bases []*hypothesis) {
	along, left := d.directions()
	offset := d.toPad(r2.Vec{X: src.offset[0], Y: src.offset[1]})
	sin, cos := math.Sincos(d.topDeg * math.Pi / 180)
	sdLeft := math.Hypot(src.sd[0]*(cos*left.X+sin*left.Y), src.sd[1]*(-sin*left.X+cos*left.Y))
	sdAlong := math.Hypot(src.sd[0]*(cos*along.X+sin*along.Y), src.sd[1]*(-sin*along.X+cos*along.Y))
	half := 2*math.Hypot(sdLeft, handSD) + 0.002
	step := math.Max(laneStep, 2*half/(maxLanes-1))
	count := int(2*half/step)/2*2 + 1
	for l := range count {
		d.lanes = append(d.lanes, lane{side: r2.Dot(offset, left) + float64(l-count/2)*step})
	}

	points := waypoints(d.path, d.slack(sdAlong))
	a := &aligner{passDigest: d, n: len(points), tilt: tiltSD, sdAlong: sdAlong}
	for q, j := range [2]int{d.coils[0], d.coils[len(d.coils)-1]} {
		e := m.plan.WindingOf(j).HalfExtent()
		sn, cs := math.Sincos(m.plan.Coils[j].Turned)
		a.halves[q] = math.Abs(along.X)*(math.Abs(cs)*e.X+math.Abs(sn)*e.Y) + math.Abs(along.Y)*(math.Abs(sn)*e.X+math.Abs(cs)*e.Y)
	}
	if d.up != [3]float64{} {
		a.tilt = levelSD
	}
	places := make([]r3.Vec, 0, len(points)*count)
	for l := range d.lanes {
		for _, w := range points {
			at := r2.Add(w.at, r2.Scale(d.lanes[l].side, r2.Vec{X: -w.dir.Y, Y: w.dir.X}))
			at = r2.Add(at, r2.Scale(r2.Dot(offset, along), w.dir))
			// Height differs from coil to coil where windings do: it follows the
			// nearest coil.
			z, near := 0.0, math.Inf(1)
			for _, j := range d.coils {
				if q := r2.Norm2(r2.Sub(w.at, m.plan.Coils[j].At)); q < near {
					near, z = q, m.plan.SensorHeight(j)
				}
			}
			places = append(places, r3.Vec{X: at.X, Y: at.Y, Z: z})
		}
	}
	cols := columnsAt(m.plan, m.pad, m.planned.at, places, reachUT)
	every := make([]int, len(places))
	for k := range every {
		every[k] = k
	}
	cols.findPeaks(every)
	a.choose(m, cols)
	a.lay(src, bg)
	d.share = a.share
	d.aligner = a
	a.run(bases)
}

// choose parts the coils into those whose ampere-turns the pass can tell and
// those too far away.
func (a *aligner) choose(m *Model, cols *columns) {
	var keep []int
	for i, j := range cols.near {
		if math.Abs(m.planned.at[j])*cols.peak[i] > passReach || slices.Contains(a.coils, int(j)) {
			keep = append(keep, i)
			a.near = append(a.near, j)
			a.peak = append(a.peak, cols.peak[i])
			a.planned = append(a.planned, m.planned.at[j])
			a.inRow = append(a.inRow, slices.Contains(a.coils, int(j)))
		}
	}
	a.others = make([]nine, len(cols.places))
	a.g = make([]slim, len(cols.places)*len(keep))
	for k := range a.others {
		row := cols.makeRow(cols.places[k])
		q := 0
		for i := range row {
			if q < len(keep) && keep[q] == i {
				a.g[k*len(keep)+q] = row[i]
				q++
				continue
			}
			for x := range a.others[k] {
				a.others[k][x] += m.planned.at[cols.near[i]] * float64(row[i][x])
			}
		}
	}
}

// lay prepares what all lanes share.
func (a *aligner) lay(src *sourceInfo, bg background) {
	rot := rotation(a.topDeg, a.up)
	for q := 0; q < 3; q++ {
		v := src.sigma[q]*src.sigma[q] + floorUT*floorUT + driftSD*driftSD
		a.noise.add(rot[0][q], rot[1][q], rot[2][q], v)
		a.pb.add(rot[0][q], rot[1][q], rot[2][q], 1/bg.variance[q])
		for r := range a.b0 {
			a.b0[r] += rot[r][q] * bg.b[q]
		}
	}
	a.idle(a.from, a.xs[0].t)
	for i, x := range a.xs {
		if i > 0 {
			a.idle(a.xs[i-1].t, x.t)
		}
		k := tick{t: x.t, s: x.s}
		for r := range k.pull {
			for q, u := range x.u {
				k.pull[r] += rot[r][q] * u
			}
		}
		a.ticks = append(a.ticks, k)
	}
	a.idle(a.xs[len(a.xs)-1].t, a.to)
	speed := 0.0 // points a second
	if span := a.ticks[len(a.ticks)-1].t - a.ticks[0].t; span > 0 {
		speed = float64(a.n) * 0.85 / span
	}
	a.strides = make([][paces]stride, len(a.ticks))
	for i := 1; i < len(a.ticks); i++ {
		for v, pace := range paceOf {
			a.strides[i][v] = strideOf(pace * speed * (a.ticks[i].t - a.ticks[i-1].t))
		}
	}
	a.share = math.Max(leastShare, math.Min(mostShare, float64(a.n)*0.85*pathStep/float64(len(a.xs))/alikeWithin))
	// It begins and ends up to half a coil beyond the first and the last, or short
	// of them, and by where the sensor sits a little further than that.
	const further = 0.015 / pathStep
	mid := a.slack(a.sdAlong) / pathStep
	at := func(points, half float64) float64 {
		x := math.Max(0, math.Abs(points)-half/pathStep) / further
		return math.Exp(-x * x / 2)
	}
	for k := range a.n {
		a.start = append(a.start, at(float64(k)-mid, a.halves[0]))
		a.finish = append(a.finish, at(float64(k)-float64(a.n-1)+mid, a.halves[1]))
	}
}

// slack is by how much the way is drawn out at both ends, for a sensor's place
// known to sdAlong.
func (d *passDigest) slack(sdAlong float64) float64 { return d.overrun + 0.012 + 1.5*sdAlong }

// idle lays ticks in a time without readings, if it is long enough for one.
func (a *aligner) idle(from, to float64) {
	parts := int(math.Min((to-from)/longestTick, mostBlanks) + 0.5)
	for p := 1; p < parts; p++ {
		a.ticks = append(a.ticks, tick{t: from + float64(p)/float64(parts)*(to-from), blank: true})
	}
}

// guess is ampere-turns, in shares of the planned ones, and background.
type guess struct {
	share []float64
	b     [3]float64
}

// asPlanned is the guess that nothing is wrong.
func (a *aligner) asPlanned() guess {
	g := guess{share: make([]float64, len(a.near)), b: a.b0}
	for i := range g.share {
		g.share[i] = 1
	}
	return g
}

// run aligns in the middle lane from several beginnings, then carries what was
// found outward from lane to lane. The beginnings themselves are kept too, since
// what lies near the plan has to be judged by how well it fits as it is.
func (a *aligner) run(bases []*hypothesis) {
	mid := len(a.lanes) / 2
	var found []guess
	keep := func(g guess) {
		if !slices.ContainsFunc(found, func(o guess) bool { return o.like(g) }) {
			found = append(found, g)
		}
	}
	keep(a.asPlanned())
	begin := append(a.likely(mid, bases), a.patterns(mid)...)
	for _, g := range append(begin, a.improve(mid, a.asPlanned(), true)) {
		keep(g)
		for range 2 * rounds {
			g = a.improve(mid, g, false)
		}
		keep(g)
	}
	logs := make([]float64, len(found))
	best := math.Inf(-1)
	for i, g := range found {
		logs[i] = a.walk(mid, g, false).log
		best = math.Max(best, logs[i])
	}
	for i, begin := range found {
		if logs[i] < best-hopelessWay {
			continue
		}
		a.add(mid, begin)
		for _, dir := range [2]int{-1, 1} {
			g := begin
			for l := mid + dir; l >= 0 && l < len(a.lanes); l += dir {
				for range (rounds + 1) / 2 {
					g = a.improve(l, g, false)
				}
				a.add(l, g)
			}
		}
	}
}

// anchor adds ways to understand the pass that begin from given ampere-turns, in
// the lanes that are in play. It reports whether it had anything to add.
func (a *aligner) anchor(turns []float64) bool {
	g := a.guessOf(turns)
	if slices.ContainsFunc(a.anchors, func(o guess) bool { return o.like(g) }) {
		return false
	}
	a.anchors = append(a.anchors, g)
	best := math.Inf(-1)
	for l := range a.lanes {
		for i := range a.lanes[l].ways {
			best = math.Max(best, a.lanes[l].ways[i].log+a.lanes[l].ways[i].most)
		}
	}
	for l := range a.lanes {
		for i := range a.lanes[l].ways {
			if w := &a.lanes[l].ways[i]; w.log+w.most > best-laneInPlay {
				g.b = a.background(l, g)
				a.add(l, g)
				break
			}
		}
	}
	return true
}

// laneInPlay is how far behind the best a lane may be to be worth another look.
const laneInPlay = 12

// background is what suits a guess of the shares.
func (a *aligner) background(l int, g guess) [3]float64 {
	g.b = a.b0
	for range 2 {
		g.b = a.improve(l, g, false).b
	}
	return g.b
}

// hopelessWay is how far behind the best a way to understand a pass is given up.
const hopelessWay = 30

// guessOf is a hypothesis as a guess.
func (a *aligner) guessOf(turns []float64) guess {
	g := guess{share: make([]float64, len(a.near)), b: a.b0}
	for i, j := range a.near {
		g.share[i] = turns[j] / a.planned[i]
	}
	return g
}

// likely are those of some hypotheses that a pass fits best: of whole strings, and
// so of coils beside the row too.
func (a *aligner) likely(l int, bases []*hypothesis) []guess {
	var all []tried
	for _, h := range bases {
		g := a.guessOf(h.at)
		all = append(all, tried{g, a.walk(l, g, false).log})
	}
	return bestOf(all, mostLikely)
}

// tried is a guess and how likely it makes the pass.
type tried struct {
	guess
	log float64
}

// bestOf are the best few guesses, as long as they are not hopeless.
func bestOf(all []tried, most int) (out []guess) {
	slices.SortStableFunc(all, func(p, q tried) int { return cmp.Compare(q.log, p.log) })
	for _, p := range all[:min(most, len(all))] {
		if p.log > all[0].log-hopelessWay {
			out = append(out, p.guess)
		}
	}
	return out
}

// patterns are the likeliest ways for the coils of the row to face: as planned,
// the other way, or not at all. Expectation and maximisation alone does not get
// from one to the other; and a row seen half a coil too far on fits a pattern of
// its own, so the best alone will not do. Sought by changing one coil at a time
// in the best found so far.
func (a *aligner) patterns(l int) []guess {
	var all []tried
	seen := map[string]bool{}
	try := func(g guess) {
		if key := fmt.Sprint(g.share); !seen[key] {
			seen[key] = true
			all = append(all, tried{g, a.walk(l, g, false).log})
		}
	}
	planned := a.asPlanned()
	turned := planned.clone()
	for i := range a.near {
		if a.inRow[i] {
			turned.share[i] = -1
		}
	}
	try(planned)
	try(turned)
	for grown := 0; grown < len(all) && len(all) < mostTried; {
		grown = len(all)
		best := slices.Clone(all[:min(mostPatterns, len(all))])
		for _, p := range best {
			for i := range a.near {
				for _, to := range [3]float64{1, 0, -1} {
					if a.inRow[i] && to != p.share[i] {
						o := p.clone()
						o.share[i] = to
						try(o)
					}
				}
			}
		}
		slices.SortStableFunc(all, func(p, q tried) int { return cmp.Compare(q.log, p.log) })
	}
	return bestOf(all, mostPatterns)
}

func (g guess) clone() guess { return guess{slices.Clone(g.share), g.b} }

func (g guess) like(o guess) bool {
	for i := range g.share {
		if math.Abs(g.share[i]-o.share[i]) > 0.1 {
			return false
		}
	}
	return true
}

// seen is where along the way the phone may have been at each tick.
type seen struct {
	lo     []int // per tick: first point
	weight [][]float64
	log    float64
	rows   []nine // field at the points of the lane under the guess, without background
	chols  []chol3
}

// walk sums all walks in a lane. With eitherWay every sample may have been read
// over coils that face either way.
func (a *aligner) walk(l int, g guess, eitherWay bool) seen {
	n, near := a.n, len(a.near)
	out := seen{rows: make([]nine, n), chols: make([]chol3, n), lo: make([]int, len(a.ticks)), weight: make([][]float64, len(a.ticks))}
	dets := make([]float64, n)
	for k := range n {
		f := a.others[l*n+k]
		row := a.g[(l*n+k)*near : (l*n+k+1)*near]
		for i := range row {
			t := g.share[i] * a.planned[i]
			for x := range f {
				f[x] += t * float64(row[i][x])
			}
		}
		out.rows[k] = f
		c := a.noise
		const lane = wanderSD*wanderSD + laneStep*laneStep/12
		const high = heightSD * heightSD
		yx, yy, yz := f.slopeY()
		c.add(f[3], f[4], f[5], lane)
		c.add(yx, yy, yz, lane)
		c.add(f[6], f[7], f[8], high)
		c.add(-f[1], f[0], 0, yawSD*yawSD)
		c.add(0, -f[2], f[1], a.tilt*a.tilt)
		c.add(f[2], 0, -f[0], a.tilt*a.tilt)
		c.add(f[0], f[1], f[2], yieldSD*yieldSD)
		out.chols[k] = c.chol()
		dets[k] = out.chols[k].logDet()
	}
	off := a.noise.chol()
	offDet := off.logDet()
	emit := func(i, k int) float64 {
		if a.ticks[i].blank {
			return 0
		}
		u, s := a.ticks[i].pull, a.ticks[i].s
		for r := range u {
			u[r] -= g.b[r]
		}
		var dark float64
		if s < 1 || eitherWay {
			x, y, z := off.solve(u[0], u[1], u[2])
			dark = -0.5*(x*x+y*y+z*z) - offDet - 1.5*log2pi
		}
		l := dark
		if s > 0 {
			f, c := &out.rows[k], &out.chols[k]
			x, y, z := c.solve(u[0]-f[0], u[1]-f[1], u[2]-f[2])
			l = -0.5*(x*x+y*y+z*z) - dets[k] - 1.5*log2pi
			if eitherWay {
				x, y, z = c.solve(u[0]+f[0], u[1]+f[1], u[2]+f[2])
				l = logAdd(l, -0.5*(x*x+y*y+z*z)-dets[k]-1.5*log2pi)
				l = logAdd(l, dark-2)
			}
			if s < 1 {
				l = logAdd(l+math.Log(s), dark+math.Log(1-s))
			}
		}
		return a.share * math.Max(l, strayLog+math.Log(strayShare))
	}
	// Forward, with weights relative to the likeliest place of each sample. At
	// each place the phone may go at one of several speeds.
	ahead := make([]float64, paces*n)
	norm := 0.0
	for _, v := range a.start {
		norm += v * paces
	}
	for v := range paces {
		for k, w := range a.start {
			ahead[v*n+k] = w / norm
		}
	}
	lo, hi := 0, n-1
	his := make([]int, len(a.ticks))
	likes := make([][]float64, len(a.ticks))
	kept := make([][paces][]float64, len(a.ticks))
	next := make([]float64, paces*n)
	const negligible = 1e-9
	for i := range a.ticks {
		if i > 0 {
			mixPaces(ahead, n, lo, hi)
			to := hi
			for v := range paces {
				w := &a.strides[i][v]
				end := min(n-1, hi+w.most)
				to = max(to, end)
				src, dst := ahead[v*n:v*n+n], next[v*n:v*n+n]
				for k := lo; k <= end; k++ {
					var sum float64
					for s := max(0, k-hi); s <= w.most && k-s >= lo; s++ {
						sum += w.w[s] * src[k-s]
					}
					dst[k] = sum
				}
				for k := end + 1; k <= min(n-1, hi+maxStride); k++ {
					dst[k] = 0
				}
			}
			ahead, next = next, ahead
			hi = to
		}
		like := make([]float64, hi-lo+1)
		top := math.Inf(-1)
		for k := lo; k <= hi; k++ {
			like[k-lo] = math.Inf(-1)
			if ahead[k]+ahead[n+k]+ahead[2*n+k] > 0 {
				like[k-lo] = emit(i, k)
				top = math.Max(top, like[k-lo])
			}
		}
		var sum float64
		for k := lo; k <= hi; k++ {
			like[k-lo] = math.Exp(like[k-lo] - top)
			for v := range paces {
				ahead[v*n+k] *= like[k-lo]
				sum += ahead[v*n+k]
			}
		}
		out.log += top + math.Log(sum)
		from := lo
		at := func(k int) float64 { return ahead[k] + ahead[n+k] + ahead[2*n+k] }
		for lo < hi && at(lo) < negligible*sum {
			lo++
		}
		for hi > lo && at(hi) < negligible*sum {
			hi--
		}
		for v := range paces {
			for k := lo; k <= hi; k++ {
				ahead[v*n+k] /= sum
			}
			kept[i][v] = slices.Clone(ahead[v*n+lo : v*n+hi+1])
		}
		likes[i] = like[lo-from : hi-from+1]
		out.lo[i], his[i] = lo, hi
	}
	// And back: rest is the weight of what comes later, from each place and pace.
	var end float64
	var rest [paces][]float64
	for v := range paces {
		rest[v] = slices.Clone(a.finish[lo : hi+1])
		for k := lo; k <= hi; k++ {
			end += ahead[v*n+k] * a.finish[k]
		}
	}
	out.log += math.Log(end + 1e-12)
	for i := len(a.ticks) - 1; i >= 0; i-- {
		var sum float64
		weight := make([]float64, his[i]-out.lo[i]+1)
		for k := range weight {
			for v := range paces {
				weight[k] += kept[i][v][k] * rest[v][k]
			}
			sum += weight[k]
		}
		for k := range weight {
			weight[k] /= sum + 1e-300
		}
		out.weight[i] = weight
		if i == 0 {
			break
		}
		count := his[i-1] - out.lo[i-1] + 1
		var earlier [paces][]float64
		top := 0.0
		for v := range paces {
			earlier[v] = make([]float64, count)
			w := &a.strides[i][v]
			for k := range count {
				for s := max(0, out.lo[i]-out.lo[i-1]-k); s <= w.most; s++ {
					x := out.lo[i-1] + k + s - out.lo[i]
					if x >= len(rest[v]) {
						break
					}
					earlier[v][k] += w.w[s] * rest[v][x] * likes[i][x]
				}
			}
		}
		for k := range count {
			mean := (earlier[0][k] + earlier[1][k] + earlier[2][k]) / paces
			for v := range paces {
				earlier[v][k] = (1-paceChange)*earlier[v][k] + paceChange*mean
				top = math.Max(top, earlier[v][k])
			}
		}
		for v := range paces {
			for k := range count {
				earlier[v][k] /= top + 1e-300
			}
		}
		rest = earlier
	}
	return out
}

// Paces: a phone drawn along keeps its speed for a while.
const (
	paces      = 3
	paceChange = 0.15 // chance to change it from one sample to the next
	paceSD     = 0.4  // within a pace, relative
)

var paceOf = [paces]float64{0.62, 1, 1.6}

// mixPaces lets the phone change its pace.
func mixPaces(a []float64, n, lo, hi int) {
	for k := lo; k <= hi; k++ {
		mean := (a[k] + a[n+k] + a[2*n+k]) / paces
		for v := range paces {
			a[v*n+k] = (1-paceChange)*a[v*n+k] + paceChange*mean
		}
	}
}

// usual is the log likelihood of a walk whose samples all fit.
func (a *aligner) usual(s *seen) float64 {
	c := a.noise.chol()
	dark := c.logDet()
	var sum float64
	for i, x := range a.ticks {
		if x.blank {
			continue
		}
		det := dark
		if x.s > 0 {
			det = 0
			for k, w := range s.weight[i] {
				det += w * s.chols[s.lo[i]+k].logDet()
			}
		}
		const misfit = 1.5 // half a squared deviation in each of three axes
		sum -= a.share * (det + 1.5*log2pi + misfit)
	}
	return sum
}

// improve makes a better guess from where a guess puts the samples.
func (a *aligner) improve(l int, g guess, eitherWay bool) guess {
	s := a.walk(l, g, eitherWay)
	h, v := a.normal(l, &s)
	n := len(a.near)
	for i := range n {
		mean, sd := 0.0, freeSD
		if !a.inRow[i] {
			mean, sd = 0.7, 0.7 // what the pass does not go over it can hardly tell
		}
		h.SetSym(i, i, h.At(i, i)+1/(sd*sd))
		v.SetVec(i, v.AtVec(i)+mean/(sd*sd))
	}
	a.addPrior(h, v)
	var chol mat.Cholesky
	out := guess{share: make([]float64, n), b: g.b}
	var x mat.VecDense
	if !chol.Factorize(h) || chol.SolveVecTo(&x, v) != nil {
		copy(out.share, g.share)
		return out
	}
	for i := range n {
		out.share[i] = x.AtVec(i)
	}
	for r := range out.b {
		out.b[r] = x.AtVec(n + r)
	}
	return out
}

// addPrior adds what was known of the background.
func (a *aligner) addPrior(h *mat.SymDense, v *mat.VecDense) {
	n := len(a.near)
	p := [3][3]float64{{a.pb.xx, a.pb.xy, a.pb.xz}, {a.pb.xy, a.pb.yy, a.pb.yz}, {a.pb.xz, a.pb.yz, a.pb.zz}}
	for r := range p {
		for q := range p {
			if q >= r {
				h.SetSym(n+r, n+q, h.At(n+r, n+q)+p[r][q])
			}
			v.SetVec(n+r, v.AtVec(n+r)+p[r][q]*a.b0[q])
		}
	}
}

// normal are the normal equations for shares and background, given where the
// samples were taken.
func (a *aligner) normal(l int, s *seen) (*mat.SymDense, *mat.VecDense) {
	n, near := a.n, len(a.near)
	size := near + 3
	hh, hv := make([]float64, size*size), make([]float64, size)
	g := make([][3]float64, size)
	for r := range 3 {
		g[near+r][r] = 1
	}
	for i := range a.ticks {
		now := &a.ticks[i]
		if now.blank {
			continue
		}
		on := now.s
		if on > 0 && on < 1 {
			on = -1 // pulsed: whether a sample saw the pulse is not known
		}
		// What the places leave open counts as noise.
		var mean [3]float64
		var open sym3
		for k, w := range s.weight[i] {
			f := &s.rows[s.lo[i]+k]
			for r := range mean {
				mean[r] += w * f[r]
			}
		}
		if on != 0 {
			for k, w := range s.weight[i] {
				f := &s.rows[s.lo[i]+k]
				open.add(f[0]-mean[0], f[1]-mean[1], f[2]-mean[2], w)
			}
		}
		for k, weight := range s.weight[i] {
			if weight < 1e-3 {
				continue
			}
			at := l*n + s.lo[i] + k
			f := &s.rows[s.lo[i]+k]
			c := a.noise
			if on != 0 {
				lit := s.chols[s.lo[i]+k]
				c = lit.product()
			}
			c.addSym(&open, 1)
			ch := c.chol()
			r := ch.inverse()
			seesPulse := 1.0
			if on < 0 { // how likely the sample saw the pulse
				u := now.pull
				for q := range u {
					u[q] -= a.b0[q]
				}
				x, y, z := ch.solve(u[0]-f[0], u[1]-f[1], u[2]-f[2])
				p, q, o := ch.solve(u[0], u[1], u[2])
				lit := now.s * math.Exp(math.Max(-300, -(x*x+y*y+z*z)/2))
				dark := (1 - now.s) * math.Exp(math.Max(-300, -(p*p+q*q+o*o)/2))
				seesPulse = lit / (lit + dark + 1e-300)
			}
			for _, lit := range [2]bool{true, false} {
				share := seesPulse
				if !lit {
					share = 1 - seesPulse
				}
				if on == 0 {
					lit = false
				}
				if share < 1e-3 {
					continue
				}
				u := now.pull
				row := a.g[at*near : at*near+near]
				for q := range near {
					g[q] = [3]float64{}
					if lit {
						for x := range g[q] {
							g[q][x] = a.planned[q] * float64(row[q][x])
						}
					}
				}
				if lit {
					for x := range u {
						u[x] -= a.others[at][x]
					}
				}
				w := weight * share * a.share
				for p := range size {
					if !lit && p < near {
						continue
					}
					gx := w * (r.xx*g[p][0] + r.xy*g[p][1] + r.xz*g[p][2])
					gy := w * (r.xy*g[p][0] + r.yy*g[p][1] + r.yz*g[p][2])
					gz := w * (r.xz*g[p][0] + r.yz*g[p][1] + r.zz*g[p][2])
					hv[p] += gx*u[0] + gy*u[1] + gz*u[2]
					for q := p; q < size; q++ {
						hh[p*size+q] += gx*g[q][0] + gy*g[q][1] + gz*g[q][2]
					}
				}
			}
		}
	}
	return mat.NewSymDense(size, hh), mat.NewVecDense(size, hv)
}

// product is L L^T.
func (c *chol3) product() sym3 {
	l00, l11, l22 := 1/c.i0, 1/c.i1, 1/c.i2
	return sym3{
		xx: l00 * l00, xy: c.l10 * l00, xz: c.l20 * l00,
		yy: c.l10*c.l10 + l11*l11, yz: c.l20*c.l10 + c.l21*l11,
		zz: c.l20*c.l20 + c.l21*c.l21 + l22*l22,
	}
}

// add turns a guess in a lane into a way to understand the pass.
func (a *aligner) add(l int, g guess) {
	n := len(a.near)
	s := a.walk(l, g, false)
	full, v := a.normal(l, &s)
	a.addPrior(full, v)
	// The background is summed out.
	var cb mat.Cholesky
	if !cb.Factorize(full.SliceSym(n, n+3)) {
		return
	}
	ab := mat.NewDense(n, 3, nil)
	for i := range n {
		for r := range 3 {
			ab.Set(i, r, full.At(i, n+r))
		}
	}
	var right mat.Dense
	if cb.SolveTo(&right, ab.T()) != nil {
		return
	}
	var less mat.Dense
	less.Mul(ab, &right)
	h := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			h.SetSym(i, k, full.At(i, k)-less.At(i, k))
		}
	}
	hv := mat.NewVecDense(n, nil)
	var vb mat.VecDense
	if cb.SolveVecTo(&vb, v.SliceVec(n, n+3)) != nil {
		return
	}
	for i := range n {
		sum := v.AtVec(i)
		for r := range 3 {
			sum -= ab.At(i, r) * vb.AtVec(r)
		}
		hv.SetVec(i, sum)
	}
	a.soften(l, h, hv)
	w := way{log: s.log, lack: a.usual(&s) - s.log, h: make([]float64, n), hh: make([]float64, n*n)}
	var db [3]float64
	for r := range db {
		db[r] = g.b[r] - a.b0[r]
	}
	w.log -= 0.5 * (a.pb.xx*db[0]*db[0] + a.pb.yy*db[1]*db[1] + a.pb.zz*db[2]*db[2] + 2*(a.pb.xy*db[0]*db[1]+a.pb.xz*db[0]*db[2]+a.pb.yz*db[1]*db[2]))
	// From shares to ampere-turns; the guess itself keeps its likelihood.
	var quad, lin float64
	for i := range n {
		w.h[i] = hv.AtVec(i) / a.planned[i]
		lin += hv.AtVec(i) * g.share[i]
		for k := range n {
			w.hh[i*n+k] = h.At(i, k) / (a.planned[i] * a.planned[k])
			quad += h.At(i, k) * g.share[i] * g.share[k]
		}
		w.best = append(w.best, g.share[i]*a.planned[i])
	}
	w.log -= lin - quad/2
	w.most = lin - quad/2
	w.top = w.log + w.most + math.Max(w.lack, 0) + fitsBetter
	a.lanes[l].ways = append(a.lanes[l].ways, w)
}

// fitsBetter is by how much samples may fit better than they usually do.
const fitsBetter = 6

// soften allows for what all samples over a coil share: the phone drawn a little
// further to the side there, or lying higher. Each coil may by that seem stronger
// or weaker by so much.
func (a *aligner) soften(l int, h *mat.SymDense, v *mat.VecDense) {
	n := len(a.near)
	sum := mat.NewSymDense(n, nil)
	sum.CopySym(h)
	for i := range n {
		t := a.unsure(l, i)
		sum.SetSym(i, i, sum.At(i, i)+1/(t*t))
	}
	var chol mat.Cholesky
	if !chol.Factorize(sum) {
		return
	}
	// With H the information and T the spread: H - H (H + 1/T)^-1 H.
	var x, xv mat.Dense
	if chol.SolveTo(&x, h) != nil || chol.SolveTo(&xv, v) != nil {
		return
	}
	var lh, lv mat.Dense
	lh.Mul(h, &x)
	lv.Mul(h, &xv)
	for i := range n {
		for k := i; k < n; k++ {
			h.SetSym(i, k, h.At(i, k)-(lh.At(i, k)+lh.At(k, i))/2)
		}
		v.SetVec(i, v.AtVec(i)-lv.At(i, 0))
	}
}

// unsure is by which share a coil may seem stronger or weaker in a lane for want
// of the exact distance: over all the places where it is seen, each counting by how
// much it tells.
func (a *aligner) unsure(l, i int) float64 {
	n, near := a.n, len(a.near)
	_, left := a.directions()
	var all, side, high float64
	for k := range n {
		f := &a.g[(l*n+k)*near+i]
		var b nine
		for x := range b {
			b[x] = float64(f[x]) * a.planned[i]
		}
		yx, yy, yz := b.slopeY()
		sx, sy, sz := left.X*b[3]+left.Y*yx, left.X*b[4]+left.Y*yy, left.X*b[5]+left.Y*yz
		noise := driftSD*driftSD + (sx*sx+sy*sy+sz*sz)*wanderSD*wanderSD + (b[6]*b[6]+b[7]*b[7]+b[8]*b[8])*heightSD*heightSD + (b[0]*b[0]+b[1]*b[1])*yawSD*yawSD
		all += (b[0]*b[0] + b[1]*b[1] + b[2]*b[2]) / noise
		side += (sx*b[0] + sy*b[1] + sz*b[2]) / noise
		high += (b[6]*b[0] + b[7]*b[1] + b[8]*b[2]) / noise
	}
	if all == 0 {
		return 1
	}
	const model = 0.03
	return math.Sqrt(model*model + math.Pow(side/all*wanderSD, 2) + math.Pow(high/all*heightSD, 2))
}

// stride is how likely the phone went on by 0, 1, ... most points in a sample.
type stride struct {
	w    [maxStride + 1]float64
	most int
}

// strideOf makes strides of a mean of so many points: a speed that scatters by
// paceSD, each parted between the two whole numbers beside it, so that the mean
// stands however short a tick is.
func strideOf(mean float64) (out stride) {
	mean = math.Min(math.Max(mean, 0.02), 0.8*maxStride)
	const step = 0.1
	var sum float64
	for z := -3.0; z < 3+step/2; z += step {
		x := math.Min(mean*math.Exp(paceSD*z-paceSD*paceSD/2), maxStride)
		weight := math.Exp(-z * z / 2)
		s := min(int(x), maxStride-1)
		out.w[s] += weight * (1 - (x - float64(s)))
		out.w[s+1] += weight * (x - float64(s))
		sum += weight
	}
	for s := range out.w {
		out.w[s] /= sum
		if out.w[s] > 1e-9 {
			out.most = s
		}
	}
	return out
}

type waypoint struct{ at, dir r2.Vec }

// waypoints lays points along a path drawn out at both ends by slack.
func waypoints(path []r2.Vec, slack float64) []waypoint {
	p := append([]r2.Vec(nil), path...)
	n := len(p)
	p[0] = r2.Sub(p[0], r2.Scale(slack, r2.Unit(r2.Sub(p[1], p[0]))))
	p[n-1] = r2.Add(p[n-1], r2.Scale(slack, r2.Unit(r2.Sub(path[n-1], path[n-2]))))
	var out []waypoint
	left := 0.0
	for i := 1; i < n; i++ {
		v := r2.Sub(p[i], p[i-1])
		l := r2.Norm(v)
		for ; left <= l; left += pathStep {
			out = append(out, waypoint{r2.Add(p[i-1], r2.Scale(left/math.Max(l, 1e-12), v)), r2.Unit(v)})
		}
		left -= l
	}
	return out
}
