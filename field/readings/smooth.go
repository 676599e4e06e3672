package readings

import (
	"cmp"
	"math"
	"slices"

	"polewise/field/capture"
	"polewise/layout"
)

// A sensor that smooths its readings, or a supply that rises slowly, rounds pulses off: readings
// never get to where a steady supply would bring them, and lie anywhere between the two levels.
// Taken for levels they would say that every coil is weak.

// smoothing is a time constant with which a phone may follow pulses, in seconds, and the log of
// its weight.
type smoothing struct{ tau, logP float64 }

// smoothings are the time constants tried, seconds; the first is as good as none.
var smoothings = []smoothing{
	{tau: 0.004}, {tau: 0.03}, {tau: 0.045}, {tau: 0.06}, {tau: 0.08}, {tau: 0.105},
	{tau: 0.14}, {tau: 0.185}, {tau: 0.245}, {tau: 0.33}, {tau: 0.45},
}

const (
	wavePhases  = 40
	waveJitter  = 0.003 // seconds: how far off a sample's time is (one sd); more would favour a pulse less rounded
	leastSmooth = 5     // log units by which it has to explain the readings better
	leastTau    = 0.035 // seconds: errors of the times alone look like a time constant less than this
	// Where no hold swings by more than wideSwing times the noise, unless plainly between two
	// levels, pulses shorter than mostSwallowed seconds may be there and not be seen.
	wideSwing     = 15
	mostSwallowed = 0.4
	smoothHolds   = 8   // holds that are looked at, those with the widest swing
	usualWide     = 1.3 // times the noise of a sample that a good fit leaves, at most
	tooWide       = 4   // times the noise that any fit may leave
	smoothSpread  = 3   // log units of the best within which another time constant counts too
)

// rounded is a train of pulses through a first-order low-pass, at a place x in its period, in
// cycles: how far it has come from 0 to 1, and how fast it changes, per second.
func rounded(x, hz, duty, tau float64) (level, slope float64) {
	x -= math.Floor(x)
	on, off := math.Exp(-duty/(hz*tau)), math.Exp(-(1-duty)/(hz*tau))
	a := (1 - off) / (1 - on*off)
	if x < duty {
		e := a * math.Exp(-x/(hz*tau))
		return 1 - e, e / tau
	}
	e := (1 - a*on) * math.Exp(-(x-duty)/(hz*tau))
	return e, -e / tau
}

// waveFit is background and pull of samples under a rounded pulse train.
type waveFit struct {
	ax    [3]Axis
	log   float64    // log evidence
	sure  float64    // log likelihood of the best fit, with the noise as great as that leaves it
	wider [3]float64 // how many times as great as was said that is, per axis; 1 at least
}

// wave is a rounded pulse at a sample: its level and slope, as rounded has them, and the share
// that is left of where the sensor came from as the phone was laid down.
type wave struct{ level, slope, lag float64 }

// trailSD is how far from here, per axis, a sensor may have come as the phone was laid down, uT.
const trailSD = 200.0

// fitWave fits background and pull at one phase, given the wave at each sample. Where the field
// changes fast a sample counts for less, since its time may be off.
func fitWave(xs []sample, sigma [3]float64, ws []wave) (f waveFit) {
	prior := [3]float64{1 / (anyGroundSD * anyGroundSD), 1 / (pullSD * pullSD), 1 / (trailSD * trailSD)}
	n := float64(len(xs))
	for a := range f.ax {
		var left, logs, det float64
		for range 2 { // the second time knowing how steep the edges are
			var m [3][3]float64
			var h [3]float64
			var uu float64
			logs = 0
			for i := range xs {
				w, u := &ws[i], xs[i].u[a]
				edge := w.slope * waveJitter * f.ax[a].D
				v := sigma[a]*sigma[a] + edge*edge
				p := 1 / v
				row := [3]float64{1, w.level, w.lag}
				for q := range row {
					h[q] += p * row[q] * u
					for r := q; r < len(row); r++ {
						m[q][r] += p * row[q] * row[r]
					}
				}
				uu += p * u * u
				logs += math.Log(v)
			}
			for q := range m {
				m[q][q] += prior[q]
				for r := range q {
					m[q][r] = m[r][q]
				}
			}
			inv, logDet, ok := invert3(m)
			det = logDet
			if !ok {
				f.log, f.sure = math.Inf(-1), math.Inf(-1)
				return f
			}
			x := times(&inv, &h)
			left = uu
			for q := range x {
				left -= x[q] * h[q]
			}
			left = math.Max(0, left)
			f.ax[a] = Axis{B: x[0], D: x[1], VB: inv[0][0], VD: inv[1][1], CV: inv[0][1]}
		}
		f.wider[a] = math.Sqrt(math.Max(1, left/n))
		f.log -= (left + logs + det) / 2
		f.sure -= (n*math.Log1p(left/n) + logs) / 2
	}
	return f
}

// waves are rounded pulse trains at the samples' times, for every phase.
func waves(xs []sample, hz, duty, tau float64) [][]wave {
	out := make([][]wave, wavePhases)
	for p := range out {
		out[p] = make([]wave, len(xs))
		for i, x := range xs {
			w := &out[p][i]
			w.level, w.slope = rounded(x.t*hz-float64(p)/wavePhases, hz, duty, tau)
			w.lag = math.Exp(-(x.t - xs[0].t) / tau)
		}
	}
	return out
}

// pulsedHold is the samples of a hold under a pulse train, and how well each of the
// smoothings explains them.
type pulsedHold struct {
	xs       []sample
	hz, duty float64
	gap      float64     // between the two levels
	logs     []float64   // per smoothing tried, how well it explains them; nil: none does, and the hold does not count
	rest     *[3]float64 // what the phone read with the supply off; nil: nothing
	least    float64     // how many times the noise the best fit leaves
}

// fit is the likeliest of all phases under one time constant.
func (h *pulsedHold) fit(sigma [3]float64, tau float64) (best waveFit) {
	best.sure = math.Inf(-1)
	for _, ws := range waves(h.xs, h.hz, h.duty, tau) {
		if f := fitWave(h.xs, sigma, ws); f.sure > best.sure {
			best = f
		}
	}
	return best
}

// try fits more time constants.
func (h *pulsedHold) try(sigma [3]float64, by []smoothing) {
	for _, s := range by {
		f := h.fit(sigma, s.tau)
		h.logs = append(h.logs, h.goes(&f))
		h.least = math.Min(h.least, slices.Max(f.wider[:]))
	}
}

// goes is the log of how well a fit goes with the samples, and its background with that of a
// rest. The slower a phone is taken to follow, the further below all samples the background comes
// to lie; where times are a little off, the samples' own shape tells little of that.
func (h *pulsedHold) goes(f *waveFit) float64 {
	log := f.sure
	if h.rest == nil {
		return log
	}
	for a, x := range f.ax {
		d := x.B - h.rest[a]
		log -= math.Log1p(d * d / (2 * (RestSD*RestSD + x.VB))) // a phone may have re-zeroed itself
	}
	return log
}

// smoothingOf finds how slowly a phone's readings follow the pulses, from the holds with the
// widest swing. by is the time constants that count; as a rule none, since most samples lie at
// one level or the other. blurred tells that readings may show only the pulses' mean: they
// neither lie at two levels nor follow as any time constant has it, as where pulses are nearly as
// fast as the phone reads; or they show next to no pulses, and a slow sensor might have swallowed
// them.
func smoothingOf(plan *layout.Plan, cut *capture.Stretches, sigma [3]float64, rest *[3]float64) (by []smoothing, blurred bool) {
	holds := widestPulses(plan, cut, sigma)
	sharp, swallowed := true, false
	for i := range holds {
		holds[i].rest = rest
		holds[i].try(sigma, smoothings[:1])
		sharp = sharp && holds[i].least < usualWide
	}
	if len(holds) == 0 || holds[0].gap < wideSwing*sizeOf(sigma) && !sharp {
		swallowed = shortestPulse(plan, cut) < mostSwallowed
	}
	if sharp {
		return nil, swallowed
	}
	if len(holds) == 1 {
		return nil, true // it may have been read at a moment of each pulse that is on an edge
	}
	fits := 0
	for i := range holds {
		h := &holds[i]
		h.try(sigma, smoothings[1:])
		// What fits badly whatever the phone does, one that re-zeroed itself perhaps, says
		// nothing of it.
		if h.least > tooWide {
			h.logs = nil
		} else {
			fits++
		}
	}
	blurred = 2*fits < len(holds)
	all := slices.Clone(smoothings)
	for i := range holds {
		for k, log := range holds[i].logs {
			all[k].logP += log
		}
	}
	likelier := func(a, b smoothing) int { return cmp.Compare(a.logP, b.logP) }
	none, top := all[0], slices.MaxFunc(all, likelier)
	if top.logP < none.logP+leastSmooth {
		return nil, blurred || swallowed
	}
	for _, step := range [4]float64{0.82, 0.91, 1.1, 1.21} {
		s := smoothing{tau: top.tau * step}
		for i := range holds {
			if holds[i].logs != nil {
				f := holds[i].fit(sigma, s.tau)
				s.logP += holds[i].goes(&f)
			}
		}
		all = append(all, s)
	}
	top = slices.MaxFunc(all, likelier)
	if top.tau < leastTau {
		return nil, false
	}
	all = slices.DeleteFunc(all, func(s smoothing) bool { return s.logP < top.logP-smoothSpread })
	for i := range all {
		all[i].logP -= top.logP
	}
	return all, false
}

// shortestPulse is how long the shortest pulse of any hold, or time between two, lasts, seconds.
func shortestPulse(plan *layout.Plan, cut *capture.Stretches) float64 {
	shortest := math.Inf(1)
	for i := range cut.Holds {
		if hz, duty, pulsed := PulseOf(cut, &cut.Holds[i], plan); pulsed {
			shortest = math.Min(shortest, Shorter(hz, duty))
		}
	}
	return shortest
}

// widestPulses are the few holds under pulses whose two levels stand furthest apart.
func widestPulses(plan *layout.Plan, cut *capture.Stretches, sigma [3]float64) (holds []pulsedHold) {
	least := 8 * perAxis(sigma)
	for i := range cut.Holds {
		hz, duty, pulsed := PulseOf(cut, &cut.Holds[i], plan)
		if !pulsed {
			continue
		}
		h := pulsedHold{xs: thinned(pulsedSamples(cut, &cut.Holds[i], plan)), hz: hz, duty: duty, least: math.Inf(1)}
		if len(h.xs) < 8 {
			continue
		}
		if _, h.gap = split(h.xs); h.gap > least {
			holds = append(holds, h)
		}
	}
	slices.SortFunc(holds, func(a, b pulsedHold) int { return cmp.Compare(b.gap, a.gap) })
	return holds[:min(len(holds), smoothHolds)]
}

// thinned leaves enough samples of a fast sensor to tell how slowly it follows, at uneven steps:
// even ones might always meet the pulses at the same phase.
func thinned(xs []sample) []sample {
	const enough = 80
	every := (len(xs) + enough - 1) / enough
	if every < 2 {
		return xs
	}
	var out []sample
	for i := 0; i*every < len(xs); i++ {
		out = append(out, xs[min(i*every+i*i%every, len(xs)-1)])
	}
	return out
}

// digestRounded is digestPulses for a phone that rounds pulses off.
func digestRounded(xs []sample, sigma [3]float64, hz, duty float64, by []smoothing) []Reading {
	// What the best fit leaves unexplained is taken for noise.
	h := pulsedHold{xs: xs, hz: hz, duty: duty}
	best, tau := h.fit(sigma, by[0].tau), by[0].tau
	for _, s := range by[1:] {
		if f := h.fit(sigma, s.tau); f.sure > best.sure {
			best, tau = f, s.tau
		}
	}
	misfit := slices.Max(best.wider[:]) > usualWide
	if misfit {
		best = h.atRest(best, sigma, tau)
		xs = h.xs
		misfit = slices.Max(best.wider[:]) > usualWide
	}
	for a := range sigma {
		sigma[a] *= best.wider[a]
	}
	var out []Reading
	total := math.Inf(-1)
	for _, s := range by {
		for _, ws := range waves(xs, hz, duty, s.tau) {
			f := fitWave(xs, sigma, ws)
			w := f.log + s.logP
			total = LogAdd(total, w)
			at := slices.IndexFunc(out, func(r Reading) bool { return closeReadings(&r, &f.ax) })
			switch {
			case at < 0:
				out = append(out, Reading{LogW: w, Ax: f.ax})
			case w > out[at].LogW:
				out[at] = Reading{LogW: LogAdd(w, out[at].LogW), Ax: f.ax}
			default:
				out[at].LogW = LogAdd(w, out[at].LogW)
			}
		}
	}
	if misfit {
		total = temper(out)
	}
	for i := range out {
		out[i].LogW -= total
	}
	return likeliest(out)
}

// temper weakens the weights of readings, as if there were fewer samples, since errors greater
// than the noise come several in a row. It returns the log of their sum.
func temper(rs []Reading) (total float64) {
	const inRow = 3
	total = math.Inf(-1)
	for i := range rs {
		rs[i].LogW /= inRow
		total = LogAdd(total, rs[i].LogW)
	}
	return total
}

// The phone may still be on its way as a hold begins, or be lifted before that is told.
const (
	movingUT   = 150.0 // uT, each axis, by which readings differ meanwhile
	movingStep = 0.15  // seconds: the lengths of time tried are so far apart,
	movingMost = 0.9   // and less than this
	surelyLain = 8.0   // log units by which the other samples must agree better
)

// atRest leaves out what was read before the phone lay still or after it was lifted, where the
// others then agree far better, and returns the fit of what is left.
func (h *pulsedHold) atRest(whole waveFit, sigma [3]float64, tau float64) waveFit {
	from, to := h.xs[0].t, h.xs[len(h.xs)-1].t
	kept, fit, most := h.xs, whole, whole.sure+surelyLain
	for gone := movingStep; gone < movingMost; gone += movingStep {
		for _, span := range [2][2]float64{{from + gone, to}, {from, to - gone}} {
			part := pulsedHold{hz: h.hz, duty: h.duty}
			for _, x := range h.xs {
				if x.t >= span[0] && x.t <= span[1] {
					part.xs = append(part.xs, x)
				}
			}
			out := len(h.xs) - len(part.xs)
			if out == 0 || 2*out > len(h.xs) {
				continue
			}
			f := part.fit(sigma, tau)
			if log := f.sure - 3*float64(out)*math.Log(movingUT); log > most {
				kept, fit, most = part.xs, f, log
			}
		}
	}
	h.xs = kept
	return fit
}
