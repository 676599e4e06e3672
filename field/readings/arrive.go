package readings

import "math"

// A hold may be told before the phone lies still, and a sensor that smooths still shows the way
// it came. Such a tail is not to be taken for a phone that re-zeroed itself: that goes from one
// level to another at once.

const (
	arrivesWithin = 1.2  // s from the first sample
	arrivedNoise  = 4.0  // times the noise, and so
	arrivedUT     = 1.0  // many uT from the level: as good as there
	atOnce        = 0.7  // of the way in one step is no tail
	fewestArrived = 8    // samples before the first switching, or it is not looked at
	leastScatter  = 0.15 // uT, each axis
)

// about is how far from a level a reading at it may lie, uT: so much, and arrivedNoise times the
// scatter of its axes, each taken for no less than least.
func about(ut float64, scatter [3]float64, least float64) float64 {
	for _, sd := range scatter {
		ut = math.Hypot(ut, arrivedNoise*math.Max(sd, least))
	}
	return ut
}

// arrived are a hold's samples without those at its beginning that were still on their way
// to the level at which they stay until the supply is switched.
func arrived(xs []sample) []sample {
	n := 0
	for n < len(xs) && xs[n].s == xs[0].s {
		n++
	}
	if n < fewestArrived {
		return xs
	}
	late := xs[n/2 : n]
	level, scatter := medianOf(late), spreadOf(late)
	there := about(arrivedUT, scatter, leastScatter)
	cut := 0
	var furthest, step float64
	for i := range n / 2 {
		if xs[i].t-xs[0].t > arrivesWithin {
			break
		}
		if d := Gap(xs[i].u, level); d > there {
			cut = i + 1
			furthest = math.Max(furthest, d)
		}
	}
	for i := range cut {
		step = math.Max(step, Gap(xs[i+1].u, xs[i].u))
	}
	if cut > 1 && step > atOnce*furthest+there {
		return xs
	}
	return xs[cut:]
}
