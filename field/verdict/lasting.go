package verdict

import (
	"cmp"
	"math"
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
	for _, list := range [][]capture.Stretch{cut.Rests, cut.Holds} {
		for i := range list {
			for _, b := range list[i].B {
				if d, ok := cut.DriveAt(b.T); ok && d.State == capture.Off {
					all++
					if b.Until > 0 {
						repeated++
					}
				}
			}
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
		d, ok := driveAt(cut, plan, b.T)
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
	if only == nil || only.Until-only.T <= lasting || !coarse && !wholly(only, tops) || slices.ContainsFunc(xs, func(o sample) bool {
		d := [3]float64{only.UT[0] - o.u[0], only.UT[1] - o.u[1], only.UT[2] - o.u[2]}
		return math.Sqrt(dot(&d, &d)) < lastingFar
	}) {
		return xs
	}
	xs = append(slices.Clone(xs), sample{t: only.T, u: only.UT, s: float64(missing)})
	slices.SortStableFunc(xs, func(a, b sample) int { return cmp.Compare(a.t, b.t) })
	return xs
}

// wholly tells whether every axis of a reading lies at a level where it stopped.
func wholly(b *capture.B, tops [3][]flatTop) bool {
	for a := range tops {
		if !slices.ContainsFunc(tops[a], func(t flatTop) bool { return t.level == b.UT[a] }) {
			return false
		}
	}
	return true
}
