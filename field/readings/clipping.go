package readings

import (
	"cmp"
	"iter"
	"math"
	"slices"

	"polewise/field/capture"
)

// What lies at the end of a sensor's range is found here, and told of a hold ([Hold.Clipped]);
// the verdict counts it for no more than its direction (holdFactor.scores), and leaves it out
// of passes ([Source.Clear]).

// flatTop is a level at which an axis stopped following the field: the end of its range.
type flatTop struct {
	level float64
	sign  float64 // +1: the field may be higher; -1: lower
}

// flatTops looks for levels that come back bit for bit while the other axes go on: a
// sensor at the end of its range, which may lie below full scale and differ between the
// two directions.
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
	for a := range tops {
		ends := endsOf(stretches, a)
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, e := range ends {
			lo, hi = math.Min(lo, e.level), math.Max(hi, e.level)
		}
		alike := alikeOf(stretches, a)
		coarse := slices.ContainsFunc(ends, func(e end) bool { // it repeats what it reads of the background too
			return math.Abs(e.level-background[a]) < apartUT && e.flat(alike)
		})
		for _, e := range ends {
			full := fullScale > 0 && math.Abs(e.level) >= 0.98*fullScale
			beyond := e.sign * (e.level - background[a]) // false in comparisons where the background is not known
			apart := math.Abs(e.level-background[a]) > apartUT || math.IsNaN(background[a]) && math.Abs(e.level) > 2*awayUT
			outermost := e.level == hi && e.sign > 0 || e.level == lo && e.sign < 0
			if full || outermost && flatEnd(stretches, a, e.level, background[a], apart) || beyond > awayUT && !coarse && e.flat(alike) {
				tops[a] = append(tops[a], e.flatTop)
			}
		}
	}
	return tops
}

// flatEnd tells whether the very end of what an axis ever read is a flat top. Coarse quantisation
// repeats values too: but not the same extreme over two coils far from the background, nor one
// that comes back often in an axis that seldom repeats elsewhere, with no value near it that
// comes back as often.
func flatEnd(stretches []*capture.Stretch, a int, level, background float64, apart bool) bool {
	holds, most, beside := 0, 0, 0
	repeats, total := 0, 0 // of other values
	for _, s := range stretches {
		n := 0
		for i, b := range s.B {
			switch {
			case b.UT[a] == level:
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
			beside = mostBeside(s, a, level)
		}
	}
	elsewhere := float64(repeats) / math.Max(1, float64(total))
	away := math.Abs(level-background) > awayUT // false too where the background is not known
	return holds >= 2 && most >= 4 && away || most >= 5 && elsewhere < 0.25 && apart && most >= 2*beside
}

// end is a level at which what an axis read in some stretches ends. A phone that
// re-zeroes itself moves the level at which its sensor stops, so there may be several.
type end struct {
	flatTop
	samples int // at the level
	free    int // of these, all but the first of each stretch
	beside  int // samples that nearly reached it
}

// endsOf are the greatest and the least level of an axis in each stretch, sorted.
func endsOf(stretches []*capture.Stretch, a int) []end {
	found := map[flatTop]*end{}
	for _, s := range stretches {
		if len(s.B) == 0 {
			continue
		}
		lo, hi := s.Ends(a)
		for _, top := range [2]flatTop{{lo, -1}, {hi, 1}} {
			e := found[top]
			if e == nil {
				e = &end{flatTop: top}
				found[top] = e
			}
			e.free--
			for _, b := range s.B {
				switch d := math.Abs(b.UT[a] - top.level); {
				case d == 0:
					e.samples++
					e.free++
				case d < besideUT:
					e.beside++
				}
			}
		}
	}
	out := make([]end, 0, len(found))
	for _, e := range found {
		out = append(out, *e)
	}
	slices.SortFunc(out, func(p, q end) int {
		return cmp.Or(cmp.Compare(p.level, q.level), cmp.Compare(p.sign, q.sign))
	})
	return out
}

// alikeOf is how often a sample near the one before repeats it: what noise and quantisation make
// of a field that stands still. Samples at either end of what a stretch read are left out, since
// those may be flat tops.
func alikeOf(stretches []*capture.Stretch, a int) float64 {
	repeats, total := 1.0, 1.0
	for _, s := range stretches {
		lo, hi := s.Ends(a)
		for i := 1; i < len(s.B); i++ {
			was, is := s.B[i-1].UT[a], s.B[i].UT[a]
			if is == lo || is == hi || math.Abs(is-was) >= besideUT {
				continue
			}
			total++
			if is == was {
				repeats++
			}
		}
	}
	return repeats / total
}

// flat tells whether a level comes back more often than it would by chance, with hardly
// a sample just short of it.
func (e *end) flat(alike float64) bool {
	const least, chance = 5, 1e-3
	return e.samples >= least && e.beside*10 <= e.samples && math.Pow(alike, float64(e.free)) < chance
}

// mostBeside is how often the commonest of the values next to a level came in a stretch: a sensor
// that goes by steps as coarse as its noise repeats them all.
func mostBeside(s *capture.Stretch, axis int, level float64) int {
	count := map[float64]int{}
	for _, b := range s.B {
		if d := math.Abs(b.UT[axis] - level); d > 0 && d < besideUT {
			count[b.UT[axis]]++
		}
	}
	most := 0
	for _, n := range count {
		most = max(most, n)
	}
	return most
}

// besideUT is how near a level a sample lies that nearly reached it.
const besideUT = 3.0

// How far from the background a level must lie to be called a flat top, uT.
const (
	awayUT  = 60 // in an axis that repeats values anyway: the background repeats too
	apartUT = 25 // in one that does not: less may be the noise of an axis in which nothing happens
)

// offLevel is the middle of what was read with the supply off, NaN where
// nothing was.
func offLevel(cut *capture.Stretches) [3]float64 {
	var xs []sample
	for b := range readOff(cut) {
		xs = append(xs, sample{t: b.T, u: b.UT})
	}
	return medianOf(xs)
}

// readOff is the samples of rests and holds with the supply off.
func readOff(cut *capture.Stretches) iter.Seq[*capture.B] {
	return func(yield func(*capture.B) bool) {
		for _, list := range [][]capture.Stretch{cut.Rests, cut.Holds} {
			for i := range list {
				for k := range list[i].B {
					b := &list[i].B[k]
					if d, ok := cut.DriveAt(b.T); ok && d.State == capture.Off && !yield(b) {
						return
					}
				}
			}
		}
	}
}

// clippedIn is, per axis, the flat top at which enough of a hold's samples lie, or 0. Samples
// with the supply off do not count, and under pulses only the duty's share of them may lie there.
// Where as many lie just short of the level, the sensor does read to there.
func clippedIn(cut *capture.Stretches, h *capture.Stretch, tops [3][]flatTop) (level [3]float64) {
	for a := range tops {
		for _, top := range tops[a] {
			n, short, all := 0, 0, 0.0
			for _, b := range h.B {
				switch d, known := cut.DriveAt(b.T); {
				case known && d.State == capture.Off:
					continue
				case known && d.State == capture.Pulse:
					all += d.Duty
				default:
					all++
				}
				if d := top.sign * (top.level - b.UT[a]); d > 0 && d < besideUT {
					short++
				}
				if b.UT[a] == top.level {
					n++
					if b.Until-b.T > lasting {
						n++ // read again bit for bit, which all axes at their ends do
					}
				}
			}
			if n >= 2 && n > short && float64(n)*5 >= all {
				level[a] = top.level
			}
		}
	}
	return level
}

// atTop tells whether any axis of a sample lies at the level where it stopped.
func atTop(b *capture.B, tops [3][]flatTop) bool {
	for a := range tops {
		if isTop(b.UT[a], tops[a]) {
			return true
		}
	}
	return false
}

// whollyAtTop tells whether every axis does.
func whollyAtTop(b *capture.B, tops [3][]flatTop) bool {
	for a := range tops {
		if !isTop(b.UT[a], tops[a]) {
			return false
		}
	}
	return true
}

// isTop tells whether a reading lies at one of an axis' flat tops.
func isTop(uT float64, tops []flatTop) bool {
	return slices.ContainsFunc(tops, func(t flatTop) bool { return t.level == uT })
}
