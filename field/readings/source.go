package readings

import (
	"math"

	"polewise/field/capture"
	"polewise/layout"
)

// Source is one phone's capture, made ready for its holds to be read. [Of] makes it.
type Source struct {
	// Noise is the standard deviation of one sample, uT, by the phone's axes.
	Noise [3]float64
	// Rests are what was read with the supply off between holds, where that tells anything.
	Rests []Rest
	// SwappedAlways are the coils, each once, over which on and off were told the wrong way
	// round by somebody who never told them rightly, SwappedOnce those over which that was
	// done otherwise. Those holds are no longer among the capture's.
	SwappedAlways, SwappedOnce []string
	// ToldOff is by how much the supply was told to be switched before or after it was, at
	// most, seconds; 0 where that is not worth telling.
	ToldOff float64

	plan    *layout.Plan
	cut     *capture.Stretches
	held    [][]sample   // per hold, its samples; nil under pulses
	mayBe   float64      // seconds by which a switching that does not show may have been told early or late
	tops    [3][]flatTop // where its sensor's range ends
	bySteps bool         // it goes by steps coarser than its noise, and so often repeats itself
	coarse  float64      // seconds that its times were rounded to; 0: they were not
	smooth  []smoothing  // how slowly it may follow pulses; nil: it follows at once
	blurred bool         // its readings may show no more than the mean of pulses
	lag     float64      // of its compass, seconds
}

// Rest is the background as a phone saw it with the supply off.
type Rest struct {
	B      [3]float64 // uT, by the phone's axes
	TopDeg float64    // which way its top edge was told to point, as in the capture
	Sure   bool       // the supply was surely off
}

// Hold is what the samples of one hold say.
type Hold struct {
	Readings []Reading  // none where nothing was read with the supply on
	Toggled  bool       // on and off were both seen, so the background drops out
	Jumped   bool       // the phone re-zeroed itself, and it makes a difference
	Pulsed   bool       // read under pulses
	Moved    bool       // the readings would not stand still
	Clipped  [3]float64 // per axis: 0, or the level in uT at which the samples with the supply on lie flat
}

// Of makes a phone's capture ready, given how many uT its sensor reads to (0: not known). It
// changes the stretches: times that were rounded are spread, switchings are moved to where holds
// show them, and what cannot count is left out.
func Of(plan *layout.Plan, cut *capture.Stretches, fullScaleUT float64) *Source {
	s := &Source{plan: plan, cut: cut, coarse: coarseness(cut), mayBe: mostToldOff}
	for _, list := range [3][]capture.Stretch{cut.Holds, cut.Passes, cut.Rests} {
		for i := range list {
			list[i].B = unhurried(evened(list[i].B, s.coarse))
		}
	}
	s.dropSwapped()
	if most := retell(cut); most > worthTelling {
		s.ToldOff, s.mayBe = most, mostRetold
	}
	var still [][]sample // stretches in which nothing but noise and the supply change a reading
	s.held = make([][]sample, len(cut.Holds))
	settled := math.Max(guardAfter, settlesWithin(cut))
	for i := range cut.Holds {
		s.held[i] = arrived(steadySamples(cut, &cut.Holds[i], plan, settled, s.mayBe))
		if s.held[i] != nil {
			still = append(still, s.held[i])
		}
	}
	for i := range cut.Rests {
		still = append(still, s.addRest(&cut.Rests[i]))
	}
	s.Noise = noise(still)
	for a := range s.Noise { // rounded, so that one more hold mostly leaves it, and what was made of the others, as it was
		s.Noise[a] = Snapped(s.Noise[a], 1.05)
	}
	s.tops = flatTops(cut, fullScaleUT)
	s.bySteps = goesBySteps(cut)
	s.smooth, s.blurred = smoothingOf(plan, cut, s.Noise, Middle(s.Rests))
	s.lag = lagOf(s.allRuns())
	return s
}

// Hold reads the i-th of the holds that the capture is left with.
func (s *Source) Hold(i int) (out Hold) {
	h := &s.cut.Holds[i]
	out.Clipped = clippedIn(s.cut, h, s.tops)
	if hz, duty, pulsed := PulseOf(s.cut, h, s.plan); pulsed {
		out.Pulsed = true
		out.Readings = digestPulsed(pulsedSamples(s.cut, h, s.plan), s.Noise, hz, duty, s.coarse, s.smooth, s.blurred)
		return out
	}
	xs := withLasting(s.held[i], s.cut, h, s.plan, s.tops, s.bySteps)
	out.Readings, out.Toggled, out.Jumped = digestSteady(xs, s.Noise, s.mayBe)
	if wander := restless(xs, s.Noise); wander != [3]float64{} {
		out.Moved = true
		widen(out.Readings, wander)
	}
	return out
}

// Clear tells what the supply did as a sample of a pass was taken. It is not ok where that is not
// known, a switching is near, or an axis lies at the end of the sensor's range.
func (s *Source) Clear(b *capture.B) (drive capture.Drive, ok bool) {
	drive, ok = DriveAt(s.cut, s.plan, b.T)
	return drive, ok && !nearSwitch(s.cut, b.T, guardBefore, guardAfter) && !atTop(b, s.tops)
}

// addRest adds the background of a rest, and returns its samples.
func (s *Source) addRest(r *capture.Stretch) []sample {
	all := allOf(r)
	if xs, sure := restSamples(s.cut, all); len(xs) > 0 && !trailsOff(s.cut, xs) {
		s.Rests = append(s.Rests, Rest{B: medianOf(xs), TopDeg: r.TopDeg, Sure: sure})
	}
	return all
}

// Middle is the median of a phone's rests, each axis by itself: of the sure ones, if there are any;
// nil where there are no rests.
func Middle(rests []Rest) *[3]float64 {
	var sure, all []sample
	for _, r := range rests {
		x := sample{u: r.B}
		if all = append(all, x); r.Sure {
			sure = append(sure, x)
		}
	}
	if len(all) == 0 {
		return nil
	}
	if len(sure) == 0 {
		sure = all
	}
	middle := medianOf(sure)
	return &middle
}
