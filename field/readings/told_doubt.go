package readings

import (
	"math"
	"slices"
)

// People tap a moment before or after they switch the supply, and readings may freeze just then. So
// besides a phone that re-zeroed itself, a supply that was switched at another moment than told is
// tried.

// neverSwitched fits samples as if all had been read with the supply on, and as if all had been
// with it off. Either is tried only where all samples told otherwise lie so near a switching that
// it may have come after them, or before.
func neverSwitched(xs []sample, sigma [3]float64) (out []Reading) {
	var f Reading
	f.LogW = math.Log((1 - jumpPrior) * toldOffChance)
	for a := range f.Ax {
		m := momentsOf(xs, a)
		_, log := m.fit(&moments{}, sigma[a], false)
		f.LogW += log
		f.Ax[a] = m.level(sigma[a])
	}
	if allUnsure(xs, 0) {
		out = append(out, f)
	}
	if allUnsure(xs, 1) { // the background is seen then, and the pull is not
		for a := range f.Ax {
			f.Ax[a].VD = pullSD * pullSD
		}
		out = append(out, f)
	}
	return out
}

// worthDoubt is how many log units below the best fit one of neverSwitched still counts.
const worthDoubt = 16

// allUnsure tells whether every sample with the supply off, or on, was taken so near a
// switching that the supply may have been in its other state.
func allUnsure(xs []sample, state float64) bool {
	return !slices.ContainsFunc(xs, func(x sample) bool { return x.s == state && !x.early && !x.soon })
}

const (
	toldOffChance = 0.1 // that a switching is told a moment before or after it was
	mostToldOff   = 0.7 // seconds, by people who tell it about when they switch
)

// otherTold is a hold's samples with the supply switched at another moment than told.
type otherTold struct {
	xs   []sample
	left float64 // how many were left out, taken while the field changed: 0 or 1
	logP float64 // log prior chance
}

// toldOff lists a hold's samples with one of its switchings told up to off seconds late or early:
// that before the first sample, or one of those between samples.
func toldOff(xs []sample, off float64) (out []otherTold) {
	for k := 0; k < len(xs) && xs[k].early && xs[k].s == xs[0].s; k++ {
		moved := slices.Clone(xs)
		for q := range k + 1 {
			moved[q].s = 1 - moved[q].s
		}
		out = append(out, otherTold{xs: moved})
		out = append(out, otherTold{xs: slices.Delete(slices.Clone(moved), k, k+1), left: 1})
	}
	for i := 1; i < len(xs); i++ {
		if xs[i].s == xs[i-1].s {
			continue
		}
		for _, step := range []int{-1, 1} {
			first := i
			if step < 0 {
				first = i - 1
			}
			for k := first; k >= 0 && k < len(xs) && xs[k].s == xs[first].s && math.Abs(xs[k].t-xs[first].t) < off; k += step {
				moved := slices.Clone(xs)
				for q := first; q != k+step; q += step {
					moved[q].s = 1 - moved[q].s
				}
				out = append(out, otherTold{xs: moved})
				// The same with the last one moved taken in between.
				out = append(out, otherTold{xs: slices.Delete(slices.Clone(moved), k, k+1), left: 1})
			}
		}
	}
	kept := out[:0]
	for _, o := range out {
		if slices.ContainsFunc(o.xs, func(x sample) bool { return x.s > 0 }) && slices.ContainsFunc(o.xs, func(x sample) bool { return x.s == 0 }) {
			kept = append(kept, o)
		}
	}
	for i := range kept {
		kept[i].logP = math.Log((1 - jumpPrior) * toldOffChance / float64(len(kept)))
	}
	return kept
}

// allToldOff lists a hold's samples with more than one of its switchings told late or early: the
// supply is taken to have been switched as the two levels show, with either of them on.
func allToldOff(xs []sample, sigma [3]float64) (out []otherTold) {
	if len(xs) < 4 {
		return nil
	}
	level, gap := split(xs)
	if gap < clearGap*sizeOf(sigma) {
		return nil
	}
	for on := range 2 {
		moved, runs := slices.Clone(xs), 0
		for i := range moved {
			moved[i].s = float64(1 - (level[i] ^ on))
		}
		seen := perState(moved)
		may := min(seen[0], seen[1]) > 0
		for from := 0; from < len(xs); {
			to := from + 1
			for to < len(xs) && xs[to].s == xs[from].s && moved[to].s == moved[from].s {
				to++
			}
			if moved[from].s != xs[from].s {
				runs++
				late := xs[to-1].early && (from == 0 || xs[from-1].s != xs[from].s)
				before := xs[from].soon && to < len(xs) && xs[to].s != xs[from].s
				may = may && (late || before)
			}
			from = to
		}
		if may && runs > 1 {
			each := math.Log(toldOffChance / float64(len(xs)))
			out = append(out, otherTold{xs: moved, logP: math.Log(1-jumpPrior) + float64(runs)*each})
		}
	}
	return out
}

// clearGap is how many times the noise apart two levels are told by themselves.
const clearGap = 8

// fit is what the samples say then.
func (o *otherTold) fit(sigma [3]float64) Reading {
	ax, log := fitAxes(o.xs, sigma)
	for a := range sigma {
		log += o.left * typicalLog(sigma[a])
	}
	return Reading{LogW: o.logP + log, Ax: ax}
}

// typicalLog is what a sample that fits adds to a log likelihood.
func typicalLog(sigma float64) float64 {
	return -0.5*math.Log(2*math.Pi*sigma*sigma) - 0.5
}
