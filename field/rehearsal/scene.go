package rehearsal

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field/capture"
	"polewise/layout"
)

// scene is a made-up phone over a made-up pad.
type scene struct {
	o        Options
	plan     *layout.Plan
	world    *world
	sensor   *sensor
	scale    float64    // the supply's real current over the planned one
	offsetMM [2]float64 // where the sensor sits relative to the mark
	drive    capture.Drive
	phase    float64 // of the pulses, as a share of their period
}

// stream is one stream of chance for each part, so that turning one knob leaves the
// others' draws as they were.
func (o *Options) stream(n uint64) *rand.Rand { return rand.New(rand.NewPCG(o.Seed, n)) }

// newScene checks the options and draws what they leave open. What else is to be drawn of
// where the sensor sits goes on from place.
func newScene(plan *layout.Plan, o Options) (s *scene, place *rand.Rand, err error) {
	if err := o.check(); err != nil {
		return nil, nil, err
	}
	s = &scene{o: o, plan: plan, sensor: newSensor(&o, o.stream(1))}
	s.scale = math.Min(math.Max(1+o.CurrentSD*o.stream(5).NormFloat64(), 0.5), 1.5)
	if s.world, err = newWorld(plan, o.Faults, s.scale, o.EarthUT, o.SteelUT, o.stream(6)); err != nil {
		return nil, nil, err
	}
	place = o.stream(7)
	s.offsetMM = [2]float64{15 * place.NormFloat64(), 35 + 25*place.NormFloat64()}
	if o.OffsetMM != nil {
		s.offsetMM = *o.OffsetMM
	}
	s.phase = place.Float64()
	return s, place, nil
}

// driven tells whether the supply drives the pad at a time.
func (s *scene) driven(t float64) bool {
	switch s.drive.State {
	case capture.On:
		return true
	case capture.Pulse:
		_, share := math.Modf(s.drive.Hz*t + s.phase)
		return share < s.drive.Duty
	}
	return false
}

// field at a place and time, teslas, pad axes.
func (s *scene) field(at r3.Vec, t float64) r3.Vec {
	b := s.world.background(at)
	if s.driven(t) {
		b = r3.Add(b, s.world.pad.At(s.world.turns, at))
	}
	return b
}

// leastGap keeps the sensor out of the copper: glass and casing are in between.
const leastGap = 1e-3

// sensorAt is where the sensor is when the mark is at a place over which a phone that lies
// on the pad has its sensor at a height.
func (s *scene) sensorAt(p posture, mark r3.Vec, height float64) r3.Vec {
	at := r3.Add(mark, p.offset(s.offsetMM[0]*millimetre, s.offsetMM[1]*millimetre))
	at.Z = math.Max(at.Z, height-s.plan.Above+leastGap)
	return at
}
