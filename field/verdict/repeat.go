package verdict

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field/readings"
)

// RepeatSD is how far the field read at coil j may lie off in microtesla (one
// sd) with nothing changed: the hand lays the phone down a little elsewhere,
// the supply and the model keep to their own few percent, and the background
// drifts where the reading has no rest of its own. The sensor lies at the
// offset (phone frame, metres) from the coil's centre, the phone's top edge
// turned from pad +y; the mean of several readings is better by their root.
func (m *Model) RepeatSD(j int, offset [2]float64, topDeg float64, ownRest bool, times int) float64 {
	o := toPad(r2.Vec{X: offset[0], Y: offset[1]}, topDeg)
	at := r3.Add(m.sensorOver(j), r3.Vec{X: o.X, Y: o.Y})
	bz := func(x, y, z float64) float64 {
		return m.pad.At(m.planned.ampTurns(), r3.Add(at, r3.Vec{X: x, Y: y, Z: z})).Z * 1e6
	}
	here := bz(0, 0, 0)
	var place float64
	for k := range 8 {
		s, c := math.Sincos(float64(k) * math.Pi / 4)
		d := bz(placeSD*c, placeSD*s, 0) - here
		place += d * d / 4 // mean over the directions, for two axes
	}
	height := bz(0, 0, heightSD) - here
	steady := placeless * here
	v := place + height*height + steady*steady + readings.FloorUT*readings.FloorUT
	if !ownRest {
		v += driftSD * driftSD
	}
	return math.Sqrt(v / math.Max(1, float64(times)))
}

// placeless is what a coil's field differs by from reading to reading besides place and
// background, as a share of it (an estimate, no source).
const placeless = 0.02
