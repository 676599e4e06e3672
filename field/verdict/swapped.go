package verdict

import (
	"polewise/field/capture"
	"polewise/layout"
)

// Who loses count of their switchings tells on for off. Such a hold shows the coil the other
// way round, and what it tells to be the background is none: that lies where no other hold or
// rest has it, and the level told to be on lies there.

// Bounds on such a hold.
const (
	fewestGrounds = 2   // other holds and rests that tell where the background is
	swappedNear   = 0.3 // of the gap between its levels, within which the one told to be on must lie
	plainlyTold   = 0.8 // of the samples at a level that are told one way
)

// toldLevels are a hold's two levels by what was told at them, where they are told plainly.
func toldLevels(plan *layout.Plan, cut *capture.Stretches, h *capture.Stretch) (off, on [3]float64, ok bool) {
	p, plain := plainly(h)
	if !plain {
		return off, on, false
	}
	xs := allOf(h)
	label, _ := split(xs)
	var told [2][2]float64 // of each level: samples with the supply told off, and on
	for i, x := range xs {
		drive, known := driveAt(cut, plan, x.t)
		switch {
		case !known || drive.State == capture.Pulse:
			return off, on, false
		case drive.State == capture.On:
			told[label[i]][1]++
		default:
			told[label[i]][0]++
		}
	}
	for level := range told {
		dark, lit := &told[level], &told[1-level]
		if dark[0] >= plainlyTold*(dark[0]+dark[1]) && lit[1] >= plainlyTold*(lit[0]+lit[1]) {
			return p.level[level], p.level[1-level], true
		}
	}
	return off, on, false
}

// dropSwapped leaves out the holds in which on and off were told the wrong way round.
func (ev *evidence) dropSwapped(plan *layout.Plan, cut *capture.Stretches) {
	type levels struct {
		off, on [3]float64
		told    bool
	}
	all := make([]levels, len(cut.Holds))
	for i := range cut.Holds {
		all[i].off, all[i].on, all[i].told = toldLevels(plan, cut, &cut.Holds[i])
	}
	// What a hold itself tells counts among the others: one cannot outvote two.
	dark := map[float64][]sample{} // by how the phone lay
	for i, l := range all {
		if l.told {
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
		if l.told && known && levelGap(l.off, ground) > surelyPlain && levelGap(l.on, ground) < swappedNear*levelGap(l.off, l.on) {
			ev.lose(plan.CoilIndex(h.Hold.Coil))
			ev.note("Over %[1]s the supply was told to be on where the readings are as everywhere with it off: on and off may have been told the wrong way round. That hold is not counted. Read %[1]s again.", h.Hold.Coil)
			continue
		}
		kept = append(kept, h)
	}
	cut.Holds = kept
}
