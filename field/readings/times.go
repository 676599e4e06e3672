package readings

import (
	"math"
	"slices"

	"polewise/field/capture"
)

// The times of readings are not always those at which they were taken: browsers round them, and
// what came in a heap was taken before.

// sameTimes is the share of readings with the time of the one before from which times were
// rounded: a sensor that reads ten times a second to the moment has no two of the same.
const sameTimes = 0.04

// coarseSteps are the seconds that times may have been rounded to.
var coarseSteps = [...]float64{0.1, 0.05}

// coarseness is the step that the times of a capture's readings were rounded to, seconds; 0
// where they were not.
func coarseness(cut *capture.Stretches) float64 {
	for _, step := range coarseSteps {
		fits, count, same := true, 0, 0
		for _, list := range [3][]capture.Stretch{cut.Holds, cut.Passes, cut.Rests} {
			for i := range list {
				for k, b := range list[i].B {
					fits = fits && math.Abs(b.T/step-math.Round(b.T/step)) < 1e-4
					count++
					if k > 0 && b.T-list[i].B[k-1].T < step/2 {
						same++
					}
				}
			}
		}
		if fits && float64(same) > sameTimes*float64(count) {
			return step
		}
	}
	return 0
}

// evened spreads readings of the same time over the step that all times were rounded to: they
// are no heap.
func evened(bs []capture.B, step float64) []capture.B {
	if step == 0 {
		return bs
	}
	out := slices.Clone(bs)
	for from := 0; from < len(bs); {
		to := from + 1
		for to < len(bs) && bs[to].T-bs[from].T < step/2 {
			to++
		}
		for k := from; k < to; k++ {
			out[k].T += (float64(k-from)+0.5)*step/float64(to-from) - step/2
		}
		from = to
	}
	return out
}

// unhurried leaves out readings that came in a heap after the page had stalled: they
// were taken before their time. The last of a heap is as good as any.
func unhurried(bs []capture.B) []capture.B {
	if len(bs) < 3 {
		return bs
	}
	steps := make([]float64, len(bs)-1)
	for i := range steps {
		steps[i] = bs[i+1].T - bs[i].T
	}
	least := heapShare * Median(steps)
	out := make([]capture.B, 0, len(bs))
	for i, b := range bs {
		if i == len(steps) || steps[i] >= least {
			out = append(out, b)
		}
	}
	return out
}

// heapShare is the share of the usual time between readings under which the second
// came too soon after the first.
const heapShare = 0.3
