package verdict

import "math"

// What is taken for granted before any reading. Lengths in metres, angles in
// radians, field in microtesla. All of it, and the chances below, are estimates without a
// source, unless a line says otherwise: nobody has measured it over many hands, phones and
// pads. The made-up phones of package rehearsal are drawn from much the same, and so prove
// none of it. Where it is wrong the verdict grows doubtful, not false, since every reading may
// also be an outlier.
const (
	// Where the sensor sits relative to the mark when nobody knows: phone
	// frame, from the middle of the screen.
	offsetMeanX, offsetMeanY = 0.000, 0.035
	offsetSDX, offsetSDY     = 0.015, 0.025
	mostOffsetSD             = 0.06 // no phone is so large that it may sit further off

	placeSD  = 0.0058 // placement of the mark, x and y, per hold
	heightSD = 0.0023 // height of the sensor over the coil, per hold
	yawSD    = 0.105  // turn of the phone against what was said, per hold (6 degrees)
	tiltSD   = 0.045  // tilt, where gravity says nothing
	levelSD  = 0.012  // tilt, where gravity was read

	scaleSD = 0.10 // current against the plan, as a share of it, common to the whole pad

	// Background of a hold against the common one: mostly steel in the bench,
	// now and then a phone that re-zeroed itself.
	driftSD, jumpedSD = 9.0, 30.0
	jumpedShare       = 0.15

	outlierShare = 3e-5  // holds that are not what they claim to be
	outlierSD    = 500.0 // spread of what such a hold reads, per axis
)

// Prior chances of single faults. Several faults multiply, so that one simple
// cause is preferred to a coincidence.
const (
	pCoilReversed   = 0.03
	pStringReversed = 0.02
	pGroupReversed  = 0.01
	pPadReversed    = 0.03
	pCoilShorted    = 0.006
	pTurnsShorted   = 0.006
	pStringOpen     = 0.015
	pSeries         = 0.006  // of two strings side by side; of more, each is as likely to be joined to any other
	pChain          = 0.0015 // of three; shared among all chains
	pWrongString    = 0.015  // shared among all coils and strings
)

// third is by how much less likely three faults at once are, or more, than if each came
// by itself: one usually has a cause, two happen, and what looks like a third is rarely
// one.
const third = 0.15

// together is what the prior of so many faults has beside their own, as a logarithm.
func together(faults int) float64 {
	if faults < 3 {
		return 0
	}
	return math.Log(third)
}

// inCoil is the share of open strings that are broken inside a coil: the two are
// told apart only where an ohmmeter was put to a coil of the string.
const inCoil = 0.5

// lostShares are the shares of shorted turns that stand for the continuum.
var lostShares = []float64{0.1, 0.22, 0.36, 0.52, 0.75}

// weakBelow is the share of the planned field under which a coil is weak.
const weakBelow = 0.85
