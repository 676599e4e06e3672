package verdict

import (
	"math"
	"slices"

	"polewise/field/capture"
)

// flatTop is a level at which an axis stopped following the field.
type flatTop struct {
	level float64
	sign  float64 // +1: the field may be higher; -1: lower
}

// flatTops looks for levels at the very end of what an axis ever read that come
// back bit for bit while the other axes go on: a sensor at the end of its
// range, which may lie below full scale and differ between the two directions.
// Coarse quantisation alone repeats values too, but not the same extreme over
// two coils, far from the background, and not in an axis that elsewhere seldom
// repeats and has no other value near it that comes back as often.
func flatTops(cut *capture.Stretches, fullScale float64) [3][]flatTop {
	var tops [3][]flatTop
	background := offLevel(cut)
	var stretches []*capture.Stretch
	for i := range cut.Holds {
		stretches = append(stretches, &cut.Holds[i])
	}
	for i := range cut.Passes {
		stretches = append(stretches, &cut.Passes[i])
	}
	for a := 0; a < 3; a++ {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, s := range stretches {
			for _, b := range s.B {
				lo, hi = math.Min(lo, b.UT[a]), math.Max(hi, b.UT[a])
			}
		}
		for _, end := range []flatTop{{hi, 1}, {lo, -1}} {
			holds, most, beside := 0, 0, 0
			repeats, total := 0, 0 // of other values
			for _, s := range stretches {
				n := 0
				for i, b := range s.B {
					switch {
					case b.UT[a] == end.level:
						n++
					case i > 0:
						total++
						if b.UT[a] == s.B[i-1].UT[a] {
							repeats++
						}
					}
				}
				if n >= 3 && (n*4 >= len(s.B) || s.Pass != nil) {
					holds++
				}
				if n > most {
					most = n
					beside = mostBeside(s, a, end.level)
				}
			}
			elsewhere := float64(repeats) / math.Max(1, float64(total))
			full := fullScale > 0 && math.Abs(end.level) >= 0.98*fullScale
			away := math.Abs(end.level-background[a]) > awayUT // false too where the background is not known
			apart := math.Abs(end.level-background[a]) > apartUT || math.IsNaN(background[a]) && math.Abs(end.level) > 2*awayUT
			switch {
			case full && most >= 1,
				holds >= 2 && most >= 4 && away,
				most >= 5 && elsewhere < 0.25 && apart && most >= 2*beside:
				tops[a] = append(tops[a], end)
			}
		}
	}
	return tops
}

// mostBeside is how often the commonest of the values next to a level came back
// in a stretch: a sensor that goes by steps as coarse as its noise repeats them all.
func mostBeside(s *capture.Stretch, axis int, level float64) int {
	const next = 3.0 // uT
	count := map[float64]int{}
	for _, b := range s.B {
		if d := math.Abs(b.UT[axis] - level); d > 0 && d < next {
			count[b.UT[axis]]++
		}
	}
	most := 0
	for _, n := range count {
		most = max(most, n)
	}
	return most
}

// awayUT is how far from the background a level must lie to be called a flat
// top in an axis that repeats values anyway: the background repeats too.
const awayUT = 60

// apartUT is how far it must lie from it in an axis that does not: there it is no
// more than the noise of an axis in which nothing happens.
const apartUT = 25

// offLevel is the middle of what was read with the supply off, NaN where
// nothing was.
func offLevel(cut *capture.Stretches) [3]float64 {
	var xs []sample
	for _, list := range [][]capture.Stretch{cut.Rests, cut.Holds} {
		for i := range list {
			for _, b := range list[i].B {
				if d, ok := cut.DriveAt(b.T); ok && d.State == capture.Off {
					xs = append(xs, sample{t: b.T, u: b.UT})
				}
			}
		}
	}
	return medianOf(xs)
}

// clippedIn returns, per axis, the level at which the samples of a hold lie
// flat, or 0.
func clippedIn(h *capture.Stretch, tops [3][]flatTop) (level [3]float64) {
	for a := range tops {
		for _, top := range tops[a] {
			n := 0
			for _, b := range h.B {
				if b.UT[a] == top.level {
					n++
				}
			}
			if n >= 2 && n*5 >= len(h.B) {
				level[a] = top.level
			}
		}
	}
	return level
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	w := slices.Clone(v)
	slices.Sort(w)
	if len(w)%2 == 1 {
		return w[len(w)/2]
	}
	return (w[len(w)/2-1] + w[len(w)/2]) / 2
}

// atTop tells whether any axis of a sample lies at the level where it stopped.
func atTop(b capture.B, tops [3][]flatTop) bool {
	for a := range tops {
		for _, top := range tops[a] {
			if b.UT[a] == top.level {
				return true
			}
		}
	}
	return false
}
