package readings

import (
	"cmp"
	"slices"

	"polewise/field/capture"
	"polewise/layout"
)

// A reading that comes again bit for bit counts once, at its first time: the sensor may have
// stopped. But a sensor that goes by steps coarser than its noise repeats itself as well, and so
// does one with every axis at the end of its range. If the first time is too near a switching to
// count, nothing would then be left of a level that was read for seconds.

// Bounds on a reading that is taken for a level though it was first read in the moment of
// switching (estimates, no source).
const (
	lasting    = 0.6  // seconds that it was read for
	lastingFar = 10.0 // uT from all that the other state reads
)

// goesBySteps tells of a sensor that often repeats itself with the supply off.
func goesBySteps(cut *capture.Stretches) bool {
	repeated, all := 0, 0
	for b := range readOff(cut) {
		all++
		if b.Until > 0 {
			repeated++
		}
	}
	return all >= 4 && repeated*4 >= all
}

// withLasting adds, for each state of the supply without samples, the only reading in it, where
// that lasted, is far from what the other state reads, and is of a sensor that repeats itself for
// one of those reasons (coarse: by its steps).
func withLasting(xs []sample, cut *capture.Stretches, h *capture.Stretch, plan *layout.Plan, tops [3][]flatTop, coarse bool) []sample {
	seen := perState(xs)
	if min(seen[0], seen[1]) > 0 {
		return xs
	}
	var only [2]*capture.B
	for i := range h.B {
		b := &h.B[i]
		state := stateAt(cut, plan, b.T)
		switch {
		case state < 0:
			return xs
		case seen[state] > 0:
			continue
		case only[state] != nil:
			return xs
		}
		only[state] = b
	}
	out := slices.Clone(xs)
	for state, b := range only {
		switch {
		case b == nil:
		case stateAt(cut, plan, b.Until) != state: // it stood through a switching: the sensor stopped
			return xs
		case b.Until-b.T <= lasting || !coarse && !whollyAtTop(b, tops):
			return xs
		case slices.ContainsFunc(out, func(o sample) bool { return Gap(b.UT, o.u) < lastingFar }):
			return xs
		default:
			out = append(out, sample{t: b.T, u: b.UT, s: float64(state)})
		}
	}
	slices.SortStableFunc(out, func(a, b sample) int { return cmp.Compare(a.t, b.t) })
	return out
}

// stateAt is 0 where the supply was off, 1 where it was steadily on, and -1 elsewhere.
func stateAt(cut *capture.Stretches, plan *layout.Plan, t float64) int {
	switch d, ok := DriveAt(cut, plan, t); {
	case !ok:
		return -1
	case d.State == capture.Off:
		return 0
	case d.State == capture.On:
		return 1
	}
	return -1
}
