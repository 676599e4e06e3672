package readings

import (
	"math"
	"slices"
)

// unknownNoise is the noise of a sample, uT, of a phone that told too little to say (an estimate,
// no source).
const unknownNoise = 0.9

// noise estimates the standard deviation of one sample per axis from the
// differences of neighbours under an unchanged steady drive. Trimmed, so that
// a jump does not count; never below a tenth of a microtesla, or what
// quantisation alone makes where its steps are under 2 uT, nor above 5 uT.
func noise(stretches [][]sample) [3]float64 {
	var sigma [3]float64
	for a := 0; a < 3; a++ {
		var diffs []float64
		step := math.Inf(1)
		for _, xs := range stretches {
			for i := 1; i < len(xs); i++ {
				if xs[i].s != xs[i-1].s || xs[i].t-xs[i-1].t > 1 {
					continue
				}
				d := math.Abs(xs[i].u[a] - xs[i-1].u[a])
				diffs = append(diffs, d)
				if d > 1e-6 {
					step = math.Min(step, d)
				}
			}
		}
		if len(diffs) < 6 {
			sigma[a] = unknownNoise
			continue
		}
		slices.Sort(diffs)
		keep := diffs[:(len(diffs)*9+9)/10]
		var sum float64
		for _, d := range keep {
			sum += d * d
		}
		// The lowest nine tenths of |N(0,1)| have an rms of 0.789.
		s := math.Sqrt(sum/float64(len(keep))) / 0.789 / math.Sqrt2
		if step < 2 {
			s = math.Max(s, step/math.Sqrt(12))
		}
		sigma[a] = math.Min(math.Max(s, 0.1), 5)
	}
	return sigma
}

// spreadOf is how far samples lie from their median, each axis, as a standard deviation
// by which half of them lie within 0.67.
func spreadOf(xs []sample) (sd [3]float64) {
	middle := medianOf(xs)
	away := make([]float64, len(xs))
	for a := range sd {
		for i, x := range xs {
			away[i] = math.Abs(x.u[a] - middle[a])
		}
		sd[a] = 1.48 * Median(away)
	}
	return sd
}

// restless is how far, per axis, samples under one state of the supply wander by more than their
// noise; zero where they stand still. They are cut in two where two levels fit them best, as of a
// phone that re-zeroed itself or had not settled yet, and the longer part is looked at: a phone
// that was moved as it was read has no level at all.
func restless(xs []sample, sigma [3]float64) (wander [3]float64) {
	const (
		fewest  = 6
		atLeast = 6.0 // of their noise
		share   = 0.1 // of the difference between off and on
	)
	of := byState(xs)
	least := max(atLeast*sizeOf(sigma), smallJump)
	if len(of[0]) > 0 && len(of[1]) > 0 {
		off, on := medianOf(of[0]), medianOf(of[1])
		for a := range off {
			on[a] -= off[a]
		}
		least = max(least, share*sizeOf(on))
	}
	for _, list := range of {
		if len(list) < fewest {
			continue
		}
		at, best := 0, math.Inf(1)
		var up [3][]moments
		for a := range up {
			up[a] = runningMoments(list, a)
		}
		for k := range list {
			var sum float64
			for a := range up {
				all, after := &up[a][0], &up[a][k]
				before := all.less(after)
				sum += before.squares() + after.squares()
			}
			if sum < best {
				at, best = k, sum
			}
		}
		longer := list[at:]
		if 2*at > len(list) {
			longer = list[:at]
		}
		if by := spreadOf(longer); Dot(&by, &by) > least*least {
			for a := range wander {
				wander[a] = math.Max(wander[a], by[a])
			}
		}
	}
	return wander
}

// restlessSD is how many times as much as samples wander the readings may be off: a phone that
// was drawn away is off by all the way.
const restlessSD = 3.0

// widen makes readings that much less sure where the samples wandered.
func widen(rs []Reading, wander [3]float64) {
	for i := range rs {
		for a, w := range wander {
			ax := &rs[i].Ax[a]
			ax.VB += restlessSD * restlessSD * w * w
			ax.VD += restlessSD * restlessSD * w * w
		}
	}
}

// perAxis is the root mean square of the noise of the three axes, uT.
func perAxis(sigma [3]float64) float64 {
	return math.Sqrt((sigma[0]*sigma[0] + sigma[1]*sigma[1] + sigma[2]*sigma[2]) / 3)
}
