package verdict

import (
	"fmt"
	"math"
	"slices"

	"polewise/field/capture"
	"polewise/field/readings"
	"polewise/layout"
)

// All that was read, put together: a phone's captures, cut into holds and passes, and what was read
// by hand and ohmmeter.

// evidence is all that was read, sorted by kind.
type evidence struct {
	sources  []sourceInfo
	holds    []digest
	passes   []passDigest
	bearings []bearingDigest
	faces    []faceReading
	ohms     []ohmReading
	amps     []ampsReading
	setFirst float64 // what the supply was set to first, as a share of what it was last; 0 where it was set once
	unsure   bool    // what the supply showed may be told wrong, and nothing may be claimed
	rests    []restReading
	remarks  map[remark][]string // coils of which each is to be said
	lost     map[int]bool        // coils over which something was read that tells nothing
	notes    []string
	mended   *afterMend // the last mend; nil: none
}

// sourceInfo is what is known of the sensor that wrote a capture.
type sourceInfo struct {
	known      bool       // it was told where it sits
	offset, sd [2]float64 // where it sits in the phone and how well that is known, metres, phone frame
	sigma      [3]float64 // noise of one sample, uT
	fullScale  float64    // uT; 0: not known
	mended     *afterMend // the capture is from before this mend; nil: since
}

// restReading is a rest of one of the sources.
type restReading struct {
	source int
	readings.Rest
}

// gather makes evidence of captures.
func gather(plan *layout.Plan, captures []*capture.Capture) (*evidence, error) {
	return gatherBefore(plan, captures, nil)
}

// gatherBefore is gather for captures after which the supply showed something else, nil where
// nothing was told of that.
func gatherBefore(plan *layout.Plan, captures []*capture.Capture, since *ampsReading) (*evidence, error) {
	ev := &evidence{}
	cuts := make([]*capture.Stretches, len(captures))
	for i, c := range captures {
		if err := c.Check(plan); err != nil {
			return nil, err
		}
		cuts[i] = c.Cut()
	}
	set := ev.readSupply(cuts, since)
	for i, c := range captures {
		ev.add(plan, c, cuts[i], func(t float64) []float64 { return set.at(i, t) })
	}
	ev.noteRemarks()
	return ev, nil
}

// note adds a note to the verdict, once.
func (ev *evidence) note(format string, args ...any) {
	if s := fmt.Sprintf(format, args...); !slices.Contains(ev.notes, s) {
		ev.notes = append(ev.notes, s)
	}
}

// remark is a note that may be due for many coils: it is said once of all.
type remark struct{ ofOne, ofMany string }

var (
	wasMoved   = remark{"The readings over %[1]s would not stand still: the phone was moved, or something beside it. Lay it down again and read %[1]s again.", "The readings over %s would not stand still: the phone was moved, or something beside it. Lay it down again and read them again."}
	hasJumped  = remark{"The readings over %[1]s jumped: the phone re-zeroed itself, or was lifted too soon. Read %[1]s again to be sure.", "The readings over %s jumped: the phone re-zeroed itself, or was lifted too soon. Read them again to be sure."}
	hasStopped = remark{"Over %[1]s the readings did not change at all: the sensor has stopped. Close the page or the program that reads it, open it again, and read %[1]s again.", "Over %s the readings did not change at all: the sensor has stopped. Close the page or the program that reads it, open it again, and read them again."}
	neverOn    = remark{"The hold on %[1]s has no readings with the supply on; it tells nothing. Switch the supply on while the phone lies there, and read %[1]s again.", "The holds on %s have no readings with the supply on; they tell nothing. Switch the supply on while the phone lies there, and read them again."}
	atItsEnd   = remark{"Over %s the sensor reached the end of its range; only the direction of that reading counts. A lower current would tell more.", "Over %s the sensor reached the end of its range; only the direction of those readings counts. A lower current would tell more."}
)

// remark has something said of a coil.
func (ev *evidence) remark(r remark, coil string) {
	if !slices.Contains(ev.remarks[r], coil) {
		if ev.remarks == nil {
			ev.remarks = map[remark][]string{}
		}
		ev.remarks[r] = append(ev.remarks[r], coil)
	}
}

// noteRemarks makes a note of each remark, of all its coils.
func (ev *evidence) noteRemarks() {
	for _, r := range [...]remark{hasStopped, neverOn, wasMoved, hasJumped, atItsEnd} {
		switch coils := ev.remarks[r]; len(coils) {
		case 0:
		case 1:
			ev.note(r.ofOne, coils[0])
		default:
			ev.note(r.ofMany, and(coils))
		}
	}
}

// add adds a capture, which is cut into stretches. toldAt tells what the supply was set to at a
// time (settings.at).
func (ev *evidence) add(plan *layout.Plan, c *capture.Capture, cut *capture.Stretches, toldAt func(t float64) []float64) {
	src := len(ev.sources)
	switch c.Unknown {
	case 0:
	case 1:
		ev.note("1 line of a kind this program does not know was left out.")
	default:
		ev.note("%d lines of a kind this program does not know were left out.", c.Unknown)
	}
	if cut.Backward > 0 {
		ev.note("The times of a capture go back in its line %d: two captures in one, or a clock that began anew. Nothing tells what came first. Judge them one by one.", cut.Backward)
	}
	info := sourceOf(c)
	read := readings.Of(plan, cut, info.fullScale)
	info.sigma = read.Noise
	ev.sources = append(ev.sources, info)
	for _, r := range read.Rests {
		ev.rests = append(ev.rests, restReading{src, r})
	}
	ev.noteSwapped(plan, read)
	if read.ToldOff > 0 {
		ev.note("The supply was switched up to %.1f s before or after it was told. Over strong coils the readings show when; over weak ones they may not. Tap as you switch it.", read.ToldOff)
	}
	for i := range cut.Holds {
		h := &cut.Holds[i]
		if ev.tooShort(plan, h) {
			continue
		}
		if c.Start.Route == capture.Heading || len(h.Bearings) > 0 && len(h.B) == 0 {
			turn, lack := read.Turn(i)
			ev.addBearing(plan, h, src, turn, lack, toldAt(h.To))
			continue
		}
		ev.addHold(digestOf(plan, h, src, read.Hold(i), toldAt(h.To)))
	}
	for i := range cut.Passes {
		ev.addPass(plan, cut, &cut.Passes[i], src, read, toldAt(cut.Passes[i].To))
	}
	ev.addReadings(plan, cut)
}

// noteSwapped notes over which coils on and off were told the wrong way round.
func (ev *evidence) noteSwapped(plan *layout.Plan, read *readings.Source) {
	for _, id := range slices.Concat(read.SwappedAlways, read.SwappedOnce) {
		ev.lose(plan.CoilIndex(id))
	}
	if ids := read.SwappedAlways; len(ids) > 0 {
		them := "it"
		if len(ids) > 1 {
			them = "them"
		}
		ev.note("Over %s far more than the earth's field was read with the supply told to be off, and no more than that with it told to be on: on and off may have been told the wrong way round. That is not counted. Make sure which way the switch stands, and read %s again.", and(ids), them)
	}
	for _, id := range read.SwappedOnce {
		ev.note("Over %[1]s the supply was told to be on where the readings are as everywhere with it off: on and off may have been told the wrong way round. That hold is not counted. Read %[1]s again.", id)
	}
}

// sourceOf is what a capture says of its sensor, or what is taken for it.
func sourceOf(c *capture.Capture) sourceInfo {
	info := sourceInfo{sd: [2]float64{offsetSDX, offsetSDY}, offset: [2]float64{offsetMeanX, offsetMeanY}}
	s := c.Start.Sensor
	if s == nil {
		return info
	}
	info.fullScale = s.FullScaleUT
	if s.OffsetMM == nil {
		return info
	}
	info.known = true
	for a := range info.offset {
		info.offset[a] = s.OffsetMM[a] * 1e-3
		info.sd[a] = capture.DefaultOffsetSDMM * 1e-3
		if s.OffsetSDMM != nil {
			info.sd[a] = math.Min(s.OffsetSDMM[a]*1e-3, mostOffsetSD)
		}
	}
	return info
}

// restOf is the middle of a source's rests; nil where it has none.
func (ev *evidence) restOf(src int) *[3]float64 {
	var own []readings.Rest
	for _, r := range ev.rests {
		if r.source == src {
			own = append(own, r.Rest)
		}
	}
	return readings.Middle(own)
}

// shiftOf is where a hold's mark was laid from the coil's centre, metres, pad frame.
func shiftOf(h *capture.Hold) (at [2]float64) {
	if h.ShiftMM != nil {
		at = [2]float64{h.ShiftMM[0] * 1e-3, h.ShiftMM[1] * 1e-3}
	}
	return at
}

// meanUp averages gravity to a direction; zero when there is none.
func meanUp(gs []capture.Gravity) [3]float64 {
	var v [3]float64
	for _, g := range gs {
		for a := 0; a < 3; a++ {
			v[a] += g.MS2[a]
		}
	}
	n := math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2])
	if n < 1 {
		return [3]float64{}
	}
	for a := 0; a < 3; a++ {
		v[a] /= n
	}
	return v
}

// lose records coils over which something was read that tells nothing.
func (ev *evidence) lose(coils ...int) {
	if ev.lost == nil {
		ev.lost = map[int]bool{}
	}
	for _, j := range coils {
		ev.lost[j] = true
	}
}

// addReadings adds what was read by hand and with an ohmmeter. A figure that was noted by
// another source already, to the last digit, is the same measurement, written down twice.
func (ev *evidence) addReadings(plan *layout.Plan, cut *capture.Stretches) {
	for _, r := range cut.Readings {
		f := faceReading{coil: plan.CoilIndex(r.Coil), face: r.Face, ut: math.NaN()}
		if r.UT != nil {
			f.ut = *r.UT
		}
		ev.faces = append(ev.faces, f)
	}
	others := ev.ohms
	for _, o := range cut.Ohms {
		kind, id := o.Target()
		r := ohmReading{kind: kind, ohms: math.Inf(1), celsius: math.NaN()}
		switch kind {
		case "coil":
			r.index = plan.CoilIndex(id)
		case "string":
			r.index = plan.StringIndex(id)
		case "group":
			r.index = plan.GroupIndex(id)
		}
		if o.Ohms != nil {
			r.ohms = *o.Ohms
		}
		if o.Celsius != nil {
			r.celsius = *o.Celsius
		}
		if r.leaks(plan) {
			r.ohms, r.leaked = math.Inf(1), r.ohms
		}
		if !slices.ContainsFunc(others, r.same) {
			ev.ohms = append(ev.ohms, r)
		}
	}
}
