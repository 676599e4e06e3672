package readings

import (
	"slices"

	"polewise/field/capture"
	"polewise/layout"
)

// Who loses count of their switchings tells on for off, and such a hold shows the coil the other
// way round. It is found by its background, which lies where no other hold or rest has it, while
// the level told to be on lies there. Who tells it wrongly from the beginning leaves no right
// hold to compare with; but then all backgrounds told are larger than the earth's field, and what
// is told to be on is not.

// Bounds on such a hold.
const (
	fewestGrounds = 2   // other holds and rests that tell where the background is
	swappedNear   = 0.3 // of the gap between its levels, within which the one told to be on must lie
	plainlyTold   = 0.8 // of the samples at a level that are told one way
	// The earth's field with steel under it is no larger than mostEarth uT. What is larger than
	// noEarth is a driven coil's, or that of a phone whose own magnetism was never taken out.
	mostEarth, noEarth = 85, 110
	ownMagnetism       = 30   // uT within which all backgrounds of such a phone lie
	enoughAgree        = 4    // holds whose backgrounds agree better than their other levels show such a phone
	mostlyDark         = 0.67 // of the holds told on must read no more than the earth's field
)

// told are a hold's two levels by what was told at them, if it tells them plainly.
type told struct {
	off, on [3]float64
	plain   bool
}

// seemsSwapped tells whether the level told to be off is too large for the earth's field, and the
// one told to be on is not.
func (l *told) seemsSwapped() bool {
	return l.plain && sizeOf(l.off) > noEarth && sizeOf(l.on) < mostEarth
}

// toldLevels finds a hold's two levels.
func toldLevels(plan *layout.Plan, cut *capture.Stretches, h *capture.Stretch) (t told) {
	p, plain := plainly(h)
	if !plain {
		return t
	}
	xs := allOf(h)
	label, _ := split(xs)
	var count [2][2]float64 // of each level: samples with the supply told off, and on
	for i, x := range xs {
		drive, known := DriveAt(cut, plan, x.t)
		switch {
		case !known || drive.State == capture.Pulse:
			return t
		case drive.State == capture.On:
			count[label[i]][1]++
		default:
			count[label[i]][0]++
		}
	}
	for level := range count {
		dark, lit := &count[level], &count[1-level]
		if dark[0] >= plainlyTold*(dark[0]+dark[1]) && lit[1] >= plainlyTold*(lit[0]+lit[1]) {
			return told{p.level[level], p.level[1-level], true}
		}
	}
	return t
}

// dropSwapped leaves out the holds in which on and off were told the wrong way round, and
// rests taken so.
func (s *Source) dropSwapped() {
	cut := s.cut
	var all []told
	for i := range cut.Holds {
		all = append(all, toldLevels(s.plan, cut, &cut.Holds[i]))
	}
	all = s.dropDark(s.dropAllSwapped(all))
	// What a hold itself tells counts among the others: one cannot outvote two.
	dark := map[float64][]sample{} // by how the phone lay
	for i, l := range all {
		if l.plain {
			top := cut.Holds[i].TopDeg
			dark[top] = append(dark[top], sample{u: l.off})
		}
	}
	for i := range cut.Rests {
		if xs := allOf(&cut.Rests[i]); len(xs) > 0 {
			top := cut.Rests[i].TopDeg
			dark[top] = append(dark[top], sample{u: medianOf(xs)})
		}
	}
	grounds := map[float64][3]float64{}
	for top, of := range dark {
		if len(of) > fewestGrounds {
			grounds[top] = medianOf(of)
		}
	}
	var kept []capture.Stretch
	for i, h := range cut.Holds {
		l := &all[i]
		ground, known := grounds[h.TopDeg]
		if l.plain && known && Gap(l.off, ground) > surelyPlain && Gap(l.on, ground) < swappedNear*Gap(l.off, l.on) {
			s.SwappedOnce = append(s.SwappedOnce, h.Hold.Coil)
			continue
		}
		kept = append(kept, h)
	}
	cut.Holds = kept
}

// dropAllSwapped leaves out the holds of somebody who told it wrongly from the beginning, found
// by the size of the earth's field, and the rests with the supply on. It returns what the holds
// left tell.
func (s *Source) dropAllSwapped(all []told) []told {
	var offs, ons []sample // of those that seem swapped
	var own ownFields      // backgrounds of others that are no earth's
	for _, l := range all {
		switch {
		case l.seemsSwapped():
			offs, ons = append(offs, sample{u: l.off}), append(ons, sample{u: l.on})
		case l.plain && sizeOf(l.off) > noEarth:
			own = append(own, l.off)
		}
	}
	if len(offs) == 0 || len(offs) >= enoughAgree && scatterOf(offs) < scatterOf(ons)/2 {
		return all
	}
	return s.dropTold(all, own, func(i int) bool { return all[i].seemsSwapped() && own.lit(all[i].off) })
}

// dropDark does the same where the supply was on in the rests alone: some rest reads too much for
// the earth's field, and most of the holds told to be on all the time read no more than that. It
// leaves out these holds and rests, and returns what the holds left tell.
func (s *Source) dropDark(all []told) []told {
	var own ownFields
	for _, l := range all {
		if l.plain && sizeOf(l.off) > noEarth {
			own = append(own, l.off)
		}
	}
	if !slices.ContainsFunc(s.cut.Rests, own.litRest) {
		return all
	}
	dark := make([]bool, len(all))
	on, count := 0, 0
	for i := range s.cut.Holds {
		if h := &s.cut.Holds[i]; !all[i].plain && s.toldOn(h) {
			on++
			if dark[i] = sizeOf(medianOf(allOf(h))) < mostEarth; dark[i] {
				count++
			}
		}
	}
	if float64(count) < mostlyDark*float64(on) {
		return all
	}
	return s.dropTold(all, own, func(i int) bool { return dark[i] })
}

// ownFields are backgrounds that a phone has by a magnetism of its own.
type ownFields [][3]float64

// lit tells whether what is told to be a background is more than the earth or such a magnetism
// makes.
func (own ownFields) lit(ground [3]float64) bool {
	return sizeOf(ground) > noEarth && !slices.ContainsFunc(own, func(b [3]float64) bool { return Gap(b, ground) < ownMagnetism })
}

// litRest tells that of a rest.
func (own ownFields) litRest(r capture.Stretch) bool {
	xs := allOf(&r)
	return len(xs) > 0 && own.lit(medianOf(xs))
}

// dropTold leaves out the holds that were told wrongly, and where there are any the rests with
// the supply on. It returns what the holds that are left tell.
func (s *Source) dropTold(all []told, own ownFields, wrongly func(hold int) bool) []told {
	var holds []capture.Stretch
	var left []told
	for i, h := range s.cut.Holds {
		if !wrongly(i) {
			holds, left = append(holds, h), append(left, all[i])
		} else if !slices.Contains(s.SwappedAlways, h.Hold.Coil) {
			s.SwappedAlways = append(s.SwappedAlways, h.Hold.Coil)
		}
	}
	if len(holds) == len(s.cut.Holds) {
		return all
	}
	s.cut.Holds, s.cut.Rests = holds, slices.DeleteFunc(s.cut.Rests, own.litRest)
	return left
}

// toldOn tells of a hold in which the supply was told to be on all the time.
func (s *Source) toldOn(h *capture.Stretch) bool {
	return len(h.B) > 0 && !slices.ContainsFunc(h.B, func(b capture.B) bool {
		drive, known := DriveAt(s.cut, s.plan, b.T)
		return !known || drive.State != capture.On
	})
}

// scatterOf is how far samples lie from their middle, on average.
func scatterOf(xs []sample) float64 {
	middle, sum := medianOf(xs), 0.0
	for _, x := range xs {
		sum += Gap(x.u, middle)
	}
	return sum / float64(len(xs))
}
