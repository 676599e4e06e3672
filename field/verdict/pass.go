package verdict

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field/capture"
	"polewise/layout"
)

// A pass is read as a walk along its line: where the phone was at each sample
// is not known, only that it went forward, at a speed that wavers around the
// mean. All such walks are summed (the forward algorithm), so that the three
// components of the field line up with the model as they best can under each
// hypothesis.
const (
	pathStep   = 0.005 // metres between points of the way
	sideStep   = 0.009 // metres between the sideways offsets tried
	wanderSD   = 0.006 // sideways wander
	slowShare  = 0.35  // weight of one sample: wander and steel change slowly, so neighbours say much the same
	strayShare = 0.01  // samples that fit nothing
	maxStride  = 14    // points of the way per sample, at most
	maxSides   = 40
)

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

// passFactor scores a pass. Its points are the way at each sideways offset.
type passFactor struct {
	frame_ frame
	*passDigest
	ph    *phone
	rot   [3][3]float64
	sides []r2.Vec // sensor offsets tried, phone frame
	side  []int    // per offset cell: which of them stands for it
	n     int      // points along the way
	sigma [3]float64

	chols   []chol3
	offChol chol3
	logDets []float64
	a, b    []float64
}

func (p *passFactor) frame() *frame { return &p.frame_ }

func (p *passFactor) time() float64 { return p.from }

func (p *passFactor) name() string {
	return fmt.Sprintf("pass from %s at %.0f s", p.label, p.from)
}

func (e *engine) addPassFactors(d *passDigest) {
	ph := e.phones[d.source]
	f := &passFactor{passDigest: d, ph: ph, rot: rotation(d.topDeg, d.up), sigma: e.ev.sources[d.source].sigma}
	// The way, with its ends drawn out.
	slack := d.overrun + 0.012
	straight := true
	dir := r2.Unit(r2.Sub(d.path[len(d.path)-1], d.path[0]))
	for i := 1; i < len(d.path); i++ {
		u := r2.Unit(r2.Sub(d.path[i], d.path[i-1]))
		if r2.Dot(u, dir) < 0.999 {
			straight = false
		}
	}
	src := e.ev.sources[d.source]
	sin, cos := math.Sincos(d.topDeg * math.Pi / 180)
	toPad := func(o r2.Vec) r2.Vec { return r2.Vec{X: cos*o.X - sin*o.Y, Y: sin*o.X + cos*o.Y} }
	side := r2.Vec{X: -dir.Y, Y: dir.X}
	cell := func(c int) r2.Vec { return ph.offset(ph.middle(c)) }
	f.side = make([]int, ph.offsets())
	if straight {
		// Only the sideways part of the offset matters: along the way the walk
		// finds its own place.
		mid := r2.Dot(toPad(r2.Vec{X: src.offset[0], Y: src.offset[1]}), side)
		along := r2.Dot(toPad(r2.Vec{X: src.offset[0], Y: src.offset[1]}), dir)
		lo, hi := math.Inf(1), math.Inf(-1)
		alongMax := 0.0
		for c := range f.side {
			o := toPad(cell(c))
			lo, hi = math.Min(lo, r2.Dot(o, side)-mid), math.Max(hi, r2.Dot(o, side)-mid)
			alongMax = math.Max(alongMax, math.Abs(r2.Dot(o, dir)-along))
		}
		slack += alongMax
		first := int(math.Round(lo / sideStep))
		last := int(math.Round(hi / sideStep))
		for i := first; i <= last; i++ {
			v := r2.Add(r2.Scale(mid+float64(i)*sideStep, side), r2.Scale(along, dir))
			f.sides = append(f.sides, v)
		}
		for c := range f.side {
			i := int(math.Round((r2.Dot(toPad(cell(c)), side)-mid)/sideStep)) - first
			f.side[c] = min(max(i, 0), len(f.sides)-1)
		}
	} else {
		stride := 2
		for (ph.ox/stride+1)*(ph.oy/stride+1) > maxSides {
			stride++
		}
		index := map[[2]int]int{}
		for c := range f.side {
			i, j := c/ph.oy/stride, c%ph.oy/stride
			if _, ok := index[[2]int{i, j}]; !ok {
				index[[2]int{i, j}] = len(f.sides)
				ci, cj := min(i*stride+stride/2, ph.ox-1), min(j*stride+stride/2, ph.oy-1)
				f.sides = append(f.sides, toPad(cell(ci*ph.oy+cj)))
			}
			f.side[c] = index[[2]int{i, j}]
		}
	}
	way := waypoints(d.path, slack)
	f.n = len(way)
	// Height differs from coil to coil where windings do: it follows the
	// nearest coil.
	places := make([]r3.Vec, 0, len(way)*len(f.sides))
	for _, s := range f.sides {
		for _, w := range way {
			z, near := 0.0, math.Inf(1)
			for _, j := range d.coils {
				if q := r2.Norm2(r2.Sub(w, e.m.plan.Coils[j].At)); q < near {
					near, z = q, e.m.plan.SensorHeight(j)
				}
			}
			places = append(places, r3.Vec{X: w.X + s.X, Y: w.Y + s.Y, Z: z})
		}
	}
	group := e.groupFor(d.source, d.topDeg)
	e.groups[group].settles = true
	f.frame_ = frame{src: d.source, group: group, coil: -1, cols: columnsAt(e.m.plan, e.m.pad, e.m.planned.at, places, reachUT)}
	e.factors = append(e.factors, f)
}

// waypoints lays points along a path drawn out at both ends by slack.
func waypoints(path []r2.Vec, slack float64) []r2.Vec {
	p := append([]r2.Vec(nil), path...)
	n := len(p)
	p[0] = r2.Sub(p[0], r2.Scale(slack, r2.Unit(r2.Sub(p[1], p[0]))))
	p[n-1] = r2.Add(p[n-1], r2.Scale(slack, r2.Unit(r2.Sub(path[n-1], path[n-2]))))
	var out []r2.Vec
	left := 0.0
	for i := 1; i < n; i++ {
		v := r2.Sub(p[i], p[i-1])
		l := r2.Norm(v)
		for ; left <= l; left += pathStep {
			out = append(out, r2.Add(p[i-1], r2.Scale(left/math.Max(l, 1e-12), v)))
		}
		left -= l
	}
	return out
}

func (p *passFactor) like(out []float64, field []nine, bg *background, sc *scales) {
	used := make([]bool, len(p.sides))
	for _, cell := range p.ph.cells {
		used[p.side[cell]] = true
	}
	nodes := len(sc.s)
	score := make([][maxScales]float64, len(p.sides))
	for i := range p.sides {
		if !used[i] {
			continue
		}
		rows := field[i*p.n : (i+1)*p.n]
		mid := nodes / 2
		centre := p.walk(rows, bg, sc, sc.s[mid], nil)
		score[i][mid] = centre
		if nodes == 1 {
			continue
		}
		// The scales between are taken from a parabola through the ends.
		low, high := p.walk(rows, bg, sc, sc.s[0], nil), p.walk(rows, bg, sc, sc.s[nodes-1], nil)
		for m := range nodes {
			x := float64(m-mid) / float64(mid)
			score[i][m] = centre + x*(high-low)/2 + x*x*(high-2*centre+low)/2
		}
	}
	for c, cell := range p.ph.cells {
		copy(out[c*nodes:(c+1)*nodes], score[p.side[cell]][:nodes])
	}
}

// record keeps what a walk went through, for the way back.
type record struct {
	weight  [][]float64 // per sample: where the walk may be, normalised
	emit    [][]float64 // per sample: likelihood of the sample at each point
	strides [][maxStride + 1]float64
	pulls   [][3]float64 // per sample: reading less background, pad axes
}

// walk sums all walks along the way at one scale and returns the log
// likelihood. Where rec is given it is filled in.
func (p *passFactor) walk(rows []nine, bg *background, sc *scales, scale float64, rec *record) float64 {
	n := p.n
	if cap(p.a) < n {
		p.a, p.b, p.logDets = make([]float64, n), make([]float64, n), make([]float64, n)
		p.chols = make([]chol3, n)
	}
	a, b, chols, logDets := p.a[:n], p.b[:n], p.chols[:n], p.logDets[:n]
	var noise sym3
	for q := 0; q < 3; q++ {
		v := p.sigma[q]*p.sigma[q] + floorUT*floorUT + driftSD*driftSD + bg.variance[q]
		noise.add(p.rot[0][q], p.rot[1][q], p.rot[2][q], v)
	}
	offChol := noise.chol()
	p.offChol = offChol
	ref := -offChol.logDet() - 1.5*log2pi // no sample is likelier than this
	tilt := tiltSD
	if p.up != [3]float64{} {
		tilt = levelSD
	}
	for k := range rows {
		f := &rows[k]
		c := noise
		const side = wanderSD*wanderSD + sideStep*sideStep/12
		const high = heightSD * heightSD
		yx, yy, yz := f.slopeY()
		w := scale * scale
		c.add(f[3], f[4], f[5], side*w)
		c.add(yx, yy, yz, side*w)
		c.add(f[6], f[7], f[8], high*w)
		c.add(-f[1], f[0], 0, yawSD*yawSD*w)
		c.add(0, -f[2], f[1], tilt*tilt*w)
		c.add(f[2], 0, -f[0], tilt*tilt*w)
		c.add(f[0], f[1], f[2], (sc.sd*sc.sd+0.02*0.02)*w)
		chols[k] = c.chol()
		logDets[k] = chols[k].logDet()
	}
	span := p.xs[len(p.xs)-1].t - p.xs[0].t
	if span <= 0 {
		return 0
	}
	speed := float64(n) * 0.85 / span // points a second
	// The phone starts somewhere in the first part of the way.
	startSD := p.overrun/pathStep + 6
	mid := (p.overrun + 0.012) / pathStep
	for k := range a {
		d := (float64(k) - mid) / startSD
		a[k] = math.Exp(-d * d / 2)
	}
	// A sample that fits nothing: sd 500 uT a component, strayShare of all.
	stray := -3*6.2 - 1.5*log2pi + math.Log(strayShare)
	lo, hi := 0, n-1 // where the walk may be
	total := 0.0
	for i := range p.xs {
		x := &p.xs[i]
		if i > 0 {
			dt := x.t - p.xs[i-1].t
			mean := math.Max(speed*dt, 0.05)
			most := min(maxStride, int(3*mean)+2)
			w := strides(mean, most)
			if rec != nil {
				rec.strides = append(rec.strides, w)
			}
			from := lo
			hi = min(hi+most, n-1)
			for k := from; k <= hi; k++ {
				var v float64
				for s := 0; s <= most && k-s >= from; s++ {
					v += w[s] * a[k-s]
				}
				b[k] = v
			}
			a, b = b, a
			for k := hi + 1; k <= min(hi+maxStride, n-1); k++ {
				a[k], b[k] = 0, 0
			}
		}
		d := [3]float64{x.u[0] - bg.b[0], x.u[1] - bg.b[1], x.u[2] - bg.b[2]}
		ux := p.rot[0][0]*d[0] + p.rot[0][1]*d[1] + p.rot[0][2]*d[2]
		uy := p.rot[1][0]*d[0] + p.rot[1][1]*d[1] + p.rot[1][2]*d[2]
		uz := p.rot[2][0]*d[0] + p.rot[2][1]*d[1] + p.rot[2][2]*d[2]
		ox, oy, oz := offChol.solve(ux, uy, uz)
		off := -0.5*(ox*ox+oy*oy+oz*oz) - offChol.logDet() - 1.5*log2pi
		var sum float64
		var emit []float64
		if rec != nil {
			emit = make([]float64, n)
		}
		for k := lo; k <= hi; k++ {
			if a[k] == 0 {
				continue
			}
			l := off
			if x.s > 0 {
				f := &rows[k]
				c := &chols[k]
				rx, ry, rz := c.solve(ux-scale*f[0], uy-scale*f[1], uz-scale*f[2])
				l = -0.5*(rx*rx+ry*ry+rz*rz) - logDets[k] - 1.5*log2pi
				if x.s < 1 {
					l = logAdd(l+math.Log(x.s), off+math.Log(1-x.s))
				}
			}
			g := math.Exp(slowShare * (math.Max(l, stray) - ref))
			a[k] *= g
			sum += a[k]
			if rec != nil {
				emit[k] = g
			}
		}
		if !(sum > 0) {
			return -1e6
		}
		// Where the walk hardly can be, it is taken not to be.
		least := 1e-9 * sum
		for k := lo; k <= hi; k++ {
			if a[k] < least {
				a[k] = 0
			} else {
				a[k] /= sum
			}
		}
		for lo < hi && a[lo] == 0 {
			lo++
		}
		for hi > lo && a[hi] == 0 {
			hi--
		}
		if rec != nil {
			rec.emit = append(rec.emit, emit)
			rec.weight = append(rec.weight, slices.Clone(a))
			rec.pulls = append(rec.pulls, [3]float64{ux, uy, uz})
		}
		total += math.Log(sum) + slowShare*ref
	}
	// It ends somewhere in the last part.
	var end float64
	last := float64(n-1) - mid
	for k := lo; k <= hi; k++ {
		d := (float64(k) - last) / startSD
		end += a[k] * math.Exp(-d*d/2)
	}
	return total + math.Log(end+1e-12)
}

// strides is how likely the phone went on by 0, 1, ... most points in a sample,
// for a mean of so many: speed wavers by a factor of two either way.
func strides(mean float64, most int) (w [maxStride + 1]float64) {
	var sum float64
	for s := 0; s <= most; s++ {
		z := math.Log((float64(s)+0.4)/mean) / 0.75
		w[s] = math.Exp(-z*z/2) / (float64(s) + 0.4)
		sum += w[s]
	}
	for s := range w {
		w[s] /= sum
	}
	return w
}

// residual implements needsBackground: the background that makes all walks
// together likeliest, by one step of expectation and maximisation.
func (p *passFactor) residual(field []nine, cell int, scale float64, bg *background, sc *scales) (b, variance [3]float64, ok bool) {
	i := p.side[p.ph.cells[cell]]
	rows := field[i*p.n : (i+1)*p.n]
	var rec record
	p.walk(rows, bg, sc, scale, &rec)
	if len(rec.weight) != len(p.xs) {
		return b, variance, false
	}
	// Back from the end: where the walk was, given all samples.
	back := make([]float64, p.n)
	for k := range back {
		back[k] = 1
	}
	var info sym3
	var eta [3]float64
	for i := len(p.xs) - 1; i >= 0; i-- {
		w := rec.weight[i]
		var sum float64
		for k := range w {
			w[k] *= back[k]
			sum += w[k]
		}
		x := &p.xs[i]
		if x.s == 0 || x.s == 1 { // pulsed: whether a sample saw the pulse is not known
			for k := range w {
				g := w[k] / sum * slowShare
				if g < 1e-6 {
					continue
				}
				f, c := &rows[k], &p.chols[k]
				u := rec.pulls[i]
				if x.s == 1 {
					u = [3]float64{u[0] - scale*f[0], u[1] - scale*f[1], u[2] - scale*f[2]}
				} else {
					c = &p.offChol
				}
				r := c.inverse()
				info.addSym(&r, g)
				eta[0] += g * (r.xx*u[0] + r.xy*u[1] + r.xz*u[2])
				eta[1] += g * (r.xy*u[0] + r.yy*u[1] + r.yz*u[2])
				eta[2] += g * (r.xz*u[0] + r.yz*u[1] + r.zz*u[2])
			}
		}
		if i == 0 {
			break
		}
		next := make([]float64, p.n)
		var top float64
		for k := range next {
			for s, v := range rec.strides[i-1] {
				if v == 0 || k+s >= p.n {
					break
				}
				next[k] += v * rec.emit[i][k+s] * back[k+s]
			}
			top = math.Max(top, next[k])
		}
		if top == 0 {
			return b, variance, false
		}
		for k := range next {
			next[k] /= top
		}
		back = next
	}
	if info.xx == 0 {
		return b, variance, false
	}
	ch := info.chol()
	cov := ch.inverse()
	d := [3]float64{
		cov.xx*eta[0] + cov.xy*eta[1] + cov.xz*eta[2],
		cov.xy*eta[0] + cov.yy*eta[1] + cov.yz*eta[2],
		cov.xz*eta[0] + cov.yz*eta[1] + cov.zz*eta[2],
	}
	for a := range b {
		b[a] = bg.b[a]
		for r := 0; r < 3; r++ {
			b[a] += p.rot[r][a] * d[r]
		}
		variance[a] = math.Max(cov.xx, math.Max(cov.yy, cov.zz))
	}
	return b, variance, true
}

// ceiling implements factor: every sample where the model has it.
func (p *passFactor) ceiling(_ []nine, bg *background, _ *scales) float64 {
	sd := math.Sqrt(floorUT*floorUT + driftSD*driftSD + (bg.variance[0]+bg.variance[1]+bg.variance[2])/3)
	return -slowShare * float64(len(p.xs)) * (3*math.Log(2*sd) + 1.5*log2pi)
}
