package verdict

import (
	"math"

	"polewise/field/capture"
	"polewise/field/readings"
	"polewise/layout"
)

// What was read in a hold, in which the phone lies still on one coil.

// digest is what is kept of a hold.
type digest struct {
	coil     int
	source   int // which capture it came from
	from, to float64
	shift    [2]float64 // metres, pad frame
	topDeg   float64
	up       [3]float64 // gravity's direction in the phone frame, unit; zero when unknown
	readings []reading
	toggled  bool // on and off were both seen, so the background drops out
	samples  int
	repeated int        // samples left out, since they were the one before bit for bit
	clipped  [3]float64 // per axis: 0, or the level (with its sign) at which the samples with the supply on lie flat
	jumped   bool       // the phone re-zeroed itself
	pulsed   bool       // read under pulses
	moved    bool       // the readings would not stand still
	open     bool       // the phone may still lie there
	label    string     // what to call it in messages
}

// reading is one way to understand the samples of a hold, at one of the settings of the supply that
// it may have been read at.
type reading struct {
	readings.Reading
	share float64 // of the last setting
}

// digestOf is a hold of a source as its samples were read, at a setting told (settings.at).
func digestOf(plan *layout.Plan, h *capture.Stretch, src int, read readings.Hold, told []float64) digest {
	return digest{
		coil: plan.CoilIndex(h.Hold.Coil), source: src, shift: shiftOf(h.Hold), from: h.From, to: h.To,
		topDeg: h.TopDeg, up: meanUp(h.Gravity), samples: len(h.B), repeated: h.Repeated, open: h.Open, label: h.Hold.Coil,
		readings: readAt(read.Readings, told), toggled: read.Toggled, clipped: read.Clipped, jumped: read.Jumped, moved: read.Moved, pulsed: read.Pulsed,
	}
}

// shortestHold is for how long a phone has to lie on a coil to have been laid on it, seconds.
// A hold that ends sooner was told by mistake, or when the phone lay somewhere else: what
// ended it was told late, of the hold before.
const shortestHold = 0.5

// tooShort tells whether a hold ended as soon as it was told, and notes that.
func (ev *evidence) tooShort(plan *layout.Plan, h *capture.Stretch) bool {
	if h.To-h.From >= shortestHold {
		return false
	}
	if !h.Open {
		ev.lose(plan.CoilIndex(h.Hold.Coil))
		ev.note("The hold on %s was over after %.1f s: too soon to tell anything. Lay the phone on %s and keep it still for three seconds.", h.Hold.Coil, h.To-h.From, h.Hold.Coil)
	}
	return true
}

// addHold keeps a hold if it tells anything, and says what is wrong with it.
func (ev *evidence) addHold(d digest) {
	if d.moved {
		ev.remark(wasMoved, d.label)
	} else if d.jumped {
		ev.remark(hasJumped, d.label)
	}
	if d.clipped != [3]float64{} {
		ev.remark(atItsEnd, d.label)
	}
	switch {
	case d.samples == 0 && (d.repeated == 0 || d.open):
	case d.samples == 0:
		ev.lose(d.coil)
		ev.remark(hasStopped, d.label)
	case len(d.readings) == 0:
		ev.lose(d.coil)
		ev.remark(neverOn, d.label)
	default:
		ev.holds = append(ev.holds, d)
	}
}

// readAt are the readings of a hold at each setting that it may have been read at.
func readAt(hold []readings.Reading, told []float64) (out []reading) {
	shares, chance := settingsOf(told)
	for i, share := range shares {
		for _, r := range hold {
			r.LogW += math.Log(chance[i])
			out = append(out, reading{r, share})
		}
	}
	return out
}
