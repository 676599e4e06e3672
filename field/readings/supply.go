package readings

import (
	"cmp"
	"math"
	"slices"

	"polewise/field/capture"
	"polewise/layout"
)

// What the supply did while a sample was taken: a sample too near a switching tells
// neither of the one state nor of the other.

// Samples so many seconds before and after a switching of the supply are left out: people tap a
// moment before or after, and the sensor's own filter needs a sample or two.
const (
	guardBefore = 0.12
	guardAfter  = 0.26
	// Where nothing was read later than guardAfter, samples count from guardAtOnce on, if they
	// agree within agreeUT microtesla on each axis.
	guardAtOnce = 0.06
	agreeUT     = 3.0
)

// DriveAt is the state of the supply at time t. Where the capture has no drive
// line at all the plan's supply stands for it; before the first one nothing is
// known.
func DriveAt(cut *capture.Stretches, plan *layout.Plan, t float64) (capture.Drive, bool) {
	if len(cut.Drives) == 0 {
		if plan.Supply.Pulsed {
			return capture.Drive{State: capture.Pulse, Hz: plan.Supply.Hz, Duty: plan.Supply.Duty, T: math.Inf(-1)}, true
		}
		return capture.Drive{State: capture.On, T: math.Inf(-1)}, true
	}
	return cut.DriveAt(t)
}

// steadySamples are a hold's samples with the supply off or on, from settled seconds after each
// switching on; nil where it was pulsed. Switchings may have been told off seconds early or late.
// Where that leaves too few, samples nearer to the switchings are taken.
func steadySamples(cut *capture.Stretches, h *capture.Stretch, plan *layout.Plan, settled, off float64) []sample {
	if _, _, pulsed := PulseOf(cut, h, plan); pulsed {
		return nil
	}
	take := func(before, after float64) []sample { return samplesBetween(cut, h, plan, before, after, off) }
	xs := take(guardBefore, settled)
	if settled > guardAfter {
		more := take(guardBefore, guardAfter)
		for state, n := range perState(more) {
			if left := perState(xs)[state]; left < 2 && left < n {
				if onItsWay(take(guardBefore, 0), state) {
					continue
				}
				return more
			}
		}
		return xs
	}
	if seen := perState(xs); min(seen[0], seen[1]) == 0 {
		for state, list := range byState(take(guardBefore, guardAtOnce)) {
			if seen[state] == 0 && agree(list) {
				xs = append(xs, list...)
			}
		}
		slices.SortStableFunc(xs, func(a, b sample) int { return cmp.Compare(a.t, b.t) })
	}
	if len(xs)*2 < len(h.B) {
		if more := take(0.02, 0.08); len(more) > len(xs) {
			xs = more
		}
	}
	return xs
}

// samplesBetween are a hold's samples with the supply off or on, without those so many seconds
// before and after a switching.
func samplesBetween(cut *capture.Stretches, h *capture.Stretch, plan *layout.Plan, before, after, off float64) (xs []sample) {
	for _, b := range h.B {
		d, ok := DriveAt(cut, plan, b.T)
		if !ok || nearSwitch(cut, b.T, before, after) {
			continue
		}
		x := sample{t: b.T, u: b.UT}
		if d.State == capture.On {
			x.s = 1
		}
		last, next := switchedAround(cut, b.T)
		x.early = last > h.From && b.T-last < off
		x.soon = next < h.To && next-b.T < off
		xs = append(xs, x)
	}
	return xs
}

// agree tells whether samples taken within a moment of a switching read alike, as those of a sensor
// or a supply still on its way would not.
func agree(xs []sample) bool {
	if len(xs) < 2 {
		return false
	}
	for _, x := range xs[1:] {
		for a := range x.u {
			if math.Abs(x.u[a]-xs[0].u[a]) > agreeUT {
				return false
			}
		}
	}
	return true
}

// onItsWay tells whether the last samples of a state were still moving away from the other state's,
// as where a slow sensor froze before it had settled: such a level is worse than none.
func onItsWay(xs []sample, state int) bool {
	of := byState(xs)
	mine, other := of[state], of[1-state]
	if len(mine) < 2 || len(other) < 2 {
		return false
	}
	const (
		moves  = 0.04 // of the way between the states, from the last sample but one
		noise  = 4.0  // uT
		samely = 0.7  // s: further apart they tell nothing of a trend
	)
	last, before, there := mine[len(mine)-1], mine[len(mine)-2], medianOf(other)
	var way, step [3]float64
	for a := range way {
		way[a], step[a] = last.u[a]-there[a], last.u[a]-before.u[a]
	}
	size := sizeOf(way)
	return last.t-before.t < samely && size > 0 && Dot(&step, &way)/size > moves*size+noise
}

// restSamples are a rest's samples away from the moments of switching, with the supply surely off.
// Where none is left it is all of them, if there are some, and nothing is sure.
func restSamples(cut *capture.Stretches, all []sample) (xs []sample, sure bool) {
	for _, x := range all {
		if !nearSwitch(cut, x.t, mostToldOff/2, mostToldOff/2) {
			xs = append(xs, x)
		}
	}
	if len(xs) == 0 && len(all) > 2 {
		return all, false
	}
	return xs, len(xs) > 0
}

// trailsOff tells whether a rest, begun soon after a switching, was over before a sensor that
// smooths had come down from what it read with the supply on.
func trailsOff(cut *capture.Stretches, xs []sample) bool {
	const (
		long  = 1.5  // s: by then the middle of a rest is one
		moves = 15.0 // uT from its first third to its last
	)
	first, last := xs[0].t, xs[len(xs)-1].t
	switched, _ := switchedAround(cut, first)
	if last-first > long || first-switched > long || len(xs) < 3 {
		return false
	}
	third := len(xs) / 3
	return Gap(medianOf(xs[:third]), medianOf(xs[len(xs)-third:])) > moves
}

// byState are the samples with the supply off, and those with it on.
func byState(xs []sample) (of [2][]sample) {
	for _, x := range xs {
		of[int(x.s)] = append(of[int(x.s)], x)
	}
	return of
}

// perState counts the samples with the supply off and on.
func perState(xs []sample) (n [2]int) {
	for _, x := range xs {
		n[int(x.s)]++
	}
	return n
}

// settlesWithin is how many seconds after a switching was told the supply, and the sensor with
// it, take to come to where they stay, in most of the switchings seen in holds; 0 where few were
// seen. A supply that is switched by hand follows late, some rise slowly, and some sensors
// smooth.
func settlesWithin(cut *capture.Stretches) float64 {
	var times []float64
	for i := range cut.Holds {
		h := &cut.Holds[i]
		for k := 1; k < len(cut.Drives); k++ {
			d := &cut.Drives[k]
			if d.T <= h.From || d.T >= h.To || d.State == cut.Drives[k-1].State || d.State == capture.Pulse || cut.Drives[k-1].State == capture.Pulse {
				continue
			}
			from, to := cut.Drives[k-1].T, h.To
			if k+1 < len(cut.Drives) {
				to = math.Min(to, cut.Drives[k+1].T)
			}
			if t, ok := settlingTime(h.B, from, d.T, to); ok {
				times = append(times, t)
			}
		}
	}
	if len(times) < 3 {
		return 0
	}
	slices.Sort(times)
	return times[len(times)*4/5]
}

// settlingTime is how many seconds after a switching readings are still on their way, given when
// it was and the switchings before and after it.
func settlingTime(bs []capture.B, from, at, to float64) (t float64, ok bool) {
	const (
		least  = 20.0 // uT of change, or nothing is seen
		near   = 0.02 // of the change: as good as there
		unsure = 3.0  // uT
		rest   = 0.6  // of the time: by then it is taken to be there
	)
	var before, after []sample
	for _, b := range bs {
		switch {
		case b.T > from && b.T < at-guardBefore:
			before = append(before, sample{t: b.T, u: b.UT})
		case b.T > at+rest*(to-at) && b.T < to:
			after = append(after, sample{t: b.T, u: b.UT})
		}
	}
	if len(before) < 2 || len(after) < 2 {
		return 0, false
	}
	was, is := medianOf(before[max(0, len(before)-5):]), medianOf(after)
	var step [3]float64
	for a := range step {
		step[a] = is[a] - was[a]
	}
	size := sizeOf(step)
	if size < least {
		return 0, false
	}
	for _, b := range bs {
		if b.T <= at || b.T > at+rest*(to-at) {
			continue
		}
		var away [3]float64
		for a := range away {
			away[a] = is[a] - b.UT[a]
		}
		if Dot(&away, &step)/size > near*size+unsure {
			t = b.T - at
		}
	}
	return t, true
}

// switchedAround is when the supply was told to be switched last before t and next after it;
// infinite where it was not.
func switchedAround(cut *capture.Stretches, t float64) (last, next float64) {
	last, next = math.Inf(-1), math.Inf(1)
	for i := 1; i < len(cut.Drives); i++ {
		switch d := &cut.Drives[i]; {
		case d.State == cut.Drives[i-1].State:
		case d.T <= t:
			last = d.T
		default:
			return last, d.T
		}
	}
	return last, next
}

// nearSwitch tells whether the supply was switched within before seconds after
// t or after seconds before it.
func nearSwitch(cut *capture.Stretches, t, before, after float64) bool {
	for i, d := range cut.Drives {
		if i > 0 && cut.Drives[i-1].State == d.State {
			continue
		}
		if d.T <= t && t-d.T < after && i > 0 || d.T > t && d.T-t < before {
			return true
		}
	}
	return false
}

// PulseOf tells whether the supply was pulsed during a stretch, and how.
func PulseOf(cut *capture.Stretches, h *capture.Stretch, plan *layout.Plan) (hz, duty float64, pulsed bool) {
	for _, b := range h.B {
		if d, ok := DriveAt(cut, plan, b.T); ok && d.State == capture.Pulse {
			return d.Hz, d.Duty, true
		}
	}
	return 0, 0, false
}

// pulsedSamples returns a stretch's samples taken under the pulse train.
func pulsedSamples(cut *capture.Stretches, h *capture.Stretch, plan *layout.Plan) []sample {
	var xs []sample
	for _, b := range h.B {
		if d, ok := DriveAt(cut, plan, b.T); ok && d.State == capture.Pulse {
			xs = append(xs, sample{t: b.T, u: b.UT})
		}
	}
	return xs
}
