package readings

import (
	"cmp"
	"math"
	"slices"
)

// coarseCycles is the share of a pulse's period from which times rounded to it do not tell what was
// read in the pulse.
const coarseCycles = 0.25

// digestPulsed is what the samples of a hold under a pulse train say, at times rounded to coarse
// seconds, for a phone that follows as slowly as smooth has it. If blurred, they may show only
// the pulses' mean.
func digestPulsed(xs []sample, sigma [3]float64, hz, duty, coarse float64, smooth []smoothing, blurred bool) []Reading {
	if len(xs) < fewestPulsed {
		return nil
	}
	if coarse*hz > coarseCycles {
		return []Reading{meanOfPulses(xs, duty)}
	}
	if smooth != nil {
		return digestRounded(xs, sigma, hz, duty, smooth)
	}
	out := digestPulses(xs, sigma, hz, duty)
	if blurred && len(out) > 0 {
		for i := range out {
			out[i].LogW -= math.Ln2
		}
		out = append(out, meanOfPulses(xs, duty))
	}
	return out
}

// digestPulses finds background and pull in samples under pulses of known frequency and duty and
// unknown phase. Where two levels stand clearly apart, each sample belongs to one of them, and
// the phase only has to say which level is the pulse; else every phase is tried.
func digestPulses(xs []sample, sigma [3]float64, hz, duty float64) []Reading {
	label, gap := split(xs)
	if gap > 8*perAxis(sigma) {
		l := levelsOf(xs, label, gap, sigma, hz)
		return withNoPulse(xs, &l, l.pulse(xs, hz, duty), sigma, hz, duty)
	}
	return byPhase(xs, sigma, hz, duty)
}

// split parts the samples in two along the direction in which they scatter
// most, and returns the distance between the two middles.
func split(xs []sample) (label []int, gap float64) {
	n := len(xs)
	var mean [3]float64
	for _, x := range xs {
		for a := range mean {
			mean[a] += x.u[a] / float64(n)
		}
	}
	var c [3][3]float64
	for _, x := range xs {
		for p := 0; p < 3; p++ {
			for q := 0; q < 3; q++ {
				c[p][q] += (x.u[p] - mean[p]) * (x.u[q] - mean[q])
			}
		}
	}
	dir := [3]float64{0.37, 0.41, 0.83}
	for it := 0; it < 30; it++ {
		v := times(&c, &dir)
		norm := sizeOf(v)
		if norm == 0 {
			break
		}
		for p := range dir {
			dir[p] = v[p] / norm
		}
	}
	type item struct {
		x float64
		i int
	}
	items := make([]item, n)
	var sum, sq float64
	for i, x := range xs {
		p := Dot(&dir, &x.u)
		items[i] = item{p, i}
		sum += p
		sq += p * p
	}
	slices.SortFunc(items, func(a, b item) int { return cmp.Compare(a.x, b.x) })
	best, at := math.Inf(1), 1
	var ls, lq float64
	for k := 1; k < n; k++ {
		x := items[k-1].x
		ls += x
		lq += x * x
		rs, rq := sum-ls, sq-lq
		ss := lq - ls*ls/float64(k) + rq - rs*rs/float64(n-k)
		if ss < best {
			best, at = ss, k
		}
	}
	label = make([]int, n)
	for k := at; k < n; k++ {
		label[items[k].i] = 1
	}
	lo, hi := items[at/2].x, items[at+(n-at)/2].x
	return label, hi - lo
}

// onAt is how likely the pulse is on at time t if it begins at phase phi, in cycles. Near an edge
// it goes over softly, since clocks jitter. Further in it is certain: where every sample falls
// into the pulse, only the background tells how strong it is, and a little doubt here would do so
// too.
func onAt(t, hz, duty, phi float64) float64 {
	x := t*hz - phi
	x -= math.Floor(x)
	soft := math.Min(edgeJitter*hz, 0.4*math.Min(duty, 1-duty)) + 1e-9
	// Distance inside the pulse, in cycles, to the nearer edge; outside, negative.
	d := math.Min(x, duty-x)
	if x >= duty {
		d = -math.Min(x-duty, 1-x)
	}
	d = math.Max(-1, math.Min(1, d/soft))
	return 0.5 + d*(3-d*d)/4
}

// Shorter is how long a pulse lasts, or the time between two where that is less, seconds.
func Shorter(hz, duty float64) float64 { return math.Min(duty, 1-duty) / hz }

// fewestPulsed are the fewest samples under pulses that say anything.
const fewestPulsed = 3

const (
	phases     = 48
	edgeJitter = 0.018 // seconds: a sample's time is hardly off by more
	mislabel   = 0.02  // chance that a sample near neither edge has the wrong label all the same
	edgeShare  = 0.2   // samples further than this share of the gap from both levels were taken on an edge
)

// meanOfPulses is what samples say where a sensor is so slow, or pulses so fast, that they show
// only the mean: the background, plus the pull for a share of the time.
func meanOfPulses(xs []sample, duty float64) (r Reading) {
	const (
		alike = 4.0 // neighbouring samples err alike: so many count as one
		pull  = pullSD * pullSD
	)
	r.LogW = -math.Ln2
	n := float64(len(xs))
	for a := range r.Ax {
		m := momentsOf(xs, a)
		r.Ax[a] = Axis{
			B: m.u / n, VB: alike*m.squares()/(n*n) + duty*duty*pull,
			VD: pull, CV: -duty * pull,
		}
	}
	return r
}

// byPhase fits background and pull at every phase. A pull too small to see comes out near zero, and
// pulses that always fall between two samples as a pull not known at all. A sample near an edge
// was taken in the pulse or beside it, never half of each: where all read alike, all may have
// been in it.
func byPhase(xs []sample, sigma [3]float64, hz, duty float64) []Reading {
	ys := slices.Clone(xs)
	var out []Reading
	total := math.Inf(-1)
	take := func(logW float64, lit func(i int) bool) {
		for i := range ys {
			ys[i].s = 0
			if lit(i) {
				ys[i].s = 1
			}
		}
		ax, ll := fitAxes(ys, sigma)
		r := Reading{LogW: logW - math.Log(phases) + ll, Ax: ax}
		total = LogAdd(total, r.LogW)
		for i := range out {
			if closeReadings(&out[i], &r.Ax) {
				out[i].LogW = LogAdd(out[i].LogW, r.LogW)
				return
			}
		}
		out = append(out, r)
	}
	on := make([]float64, len(xs))
	allOn, allOff := math.Inf(-1), math.Inf(-1)
	for p := 0; p < phases; p++ {
		phi := (float64(p) + 0.5) / phases
		var logOn, logOff, log float64
		some, none := false, true
		for i, x := range xs {
			on[i] = onAt(x.t, hz, duty, phi)
			logOn += math.Log(on[i])
			logOff += math.Log(1 - on[i])
			log += math.Log(math.Max(on[i], 1-on[i]))
			some = some || on[i] <= 0.5
			none = none && on[i] <= 0.5
		}
		allOn, allOff = LogAdd(allOn, logOn), LogAdd(allOff, logOff)
		if some && !none { // the others are all in the pulse, or all beside it
			take(log, func(i int) bool { return on[i] > 0.5 })
		}
	}
	if !math.IsInf(allOn, -1) {
		take(allOn, func(int) bool { return true })
	}
	if !math.IsInf(allOff, -1) {
		take(allOff, func(int) bool { return false })
	}
	for i := range out {
		out[i].LogW -= total
	}
	return likeliest(out)
}

// likeliest are the readings that may count; the others stand together as one wide reading, if they
// matter. How much one may count is its weight and how sharply it tells the pull: one that leaves
// the pull open has a greater weight than one that says there is none, but says less.
func likeliest(rs []Reading) []Reading {
	const within, most = 12, 8
	height := func(r *Reading) float64 {
		h := r.LogW
		for a := range r.Ax {
			h -= 0.5 * math.Log(r.Ax[a].VD+FloorUT*FloorUT)
		}
		return h
	}
	slices.SortFunc(rs, func(a, b Reading) int { return cmp.Compare(height(&b), height(&a)) })
	keep := 1
	for keep < min(len(rs), most) && height(&rs[keep]) > height(&rs[0])-within {
		keep++
	}
	if rest := asOne(rs[keep:]); rest.LogW > math.Log(leastRest) {
		return append(slices.Clone(rs[:keep]), rest)
	}
	return rs[:keep]
}

// leastRest is the weight from which readings left out are not forgotten.
const leastRest = 0.02

// asOne is a reading as wide as some readings are all together.
func asOne(rs []Reading) Reading {
	out := Reading{LogW: math.Inf(-1)}
	for i := range rs {
		out.LogW = LogAdd(out.LogW, rs[i].LogW)
	}
	for a := range out.Ax {
		x := &out.Ax[a]
		for i := range rs {
			w := math.Exp(rs[i].LogW - out.LogW)
			x.B += w * rs[i].Ax[a].B
			x.D += w * rs[i].Ax[a].D
		}
		for i := range rs {
			w, y := math.Exp(rs[i].LogW-out.LogW), &rs[i].Ax[a]
			x.VB += w * (y.VB + (y.B-x.B)*(y.B-x.B))
			x.VD += w * (y.VD + (y.D-x.D)*(y.D-x.D))
			x.CV += w * (y.CV + (y.B-x.B)*(y.D-x.D))
		}
	}
	return out
}
