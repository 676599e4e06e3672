package readings

import (
	"cmp"
	"slices"

	"polewise/field/capture"
	"polewise/layout"
)

// A reading that comes again bit for bit counts once, at its first time: the sensor may have
// stopped. One that goes by steps coarser than its noise repeats itself as well, and so does
// one with every axis at the end of its range; where the first time lies in the moment of
// switching, nothing would be left of what it read for seconds.

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

// withLasting adds the only reading of a state of the supply to a hold's samples, where that
// lasted, is far from the other state's, and is known to repeat itself for one of those
// reasons.
func withLasting(xs []sample, cut *capture.Stretches, h *capture.Stretch, plan *layout.Plan, tops [3][]flatTop, coarse bool) []sample {
	seen := perState(xs)
	if len(xs) == 0 || min(seen[0], seen[1]) > 0 {
		return xs
	}
	missing := 0
	if seen[1] == 0 {
		missing = 1
	}
	var only *capture.B
	for i := range h.B {
		b := &h.B[i]
		d, ok := DriveAt(cut, plan, b.T)
		if !ok || d.State == capture.Pulse {
			return xs
		}
		if (d.State == capture.On) != (missing == 1) {
			continue
		}
		if only != nil {
			return xs
		}
		only = b
	}
	if only == nil || only.Until-only.T <= lasting || !coarse && !whollyAtTop(only, tops) {
		return xs
	}
	if slices.ContainsFunc(xs, func(o sample) bool { return Gap(only.UT, o.u) < lastingFar }) {
		return xs
	}
	xs = append(slices.Clone(xs), sample{t: only.T, u: only.UT, s: float64(missing)})
	slices.SortStableFunc(xs, func(a, b sample) int { return cmp.Compare(a.t, b.t) })
	return xs
}
