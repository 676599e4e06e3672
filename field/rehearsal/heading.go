package rehearsal

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field/capture"
)

// headings reads the compass at two opposite sides of every coil, over the inner
// edge of its winding, with the supply off and on at each. The sides are those
// along the coil's own x or y, whichever lies more across the earth's field: a
// pull along the needle does not turn it.
func (s *script) headings() {
	for j := range s.plan.Coils {
		c, w := &s.plan.Coils[j], s.plan.WindingOf(j)
		sin, cos := math.Sincos(c.Turned)
		north := s.world.earth
		edge := [2]float64{cos * w.InnerX / 2, sin * w.InnerX / 2}
		if math.Abs(cos*north.X+sin*north.Y) > math.Abs(cos*north.Y-sin*north.X) {
			edge = [2]float64{-sin * w.InnerY / 2, cos * w.InnerY / 2}
		}
		for _, side := range []float64{1, -1} {
			s.move()
			shift := [2]float64{side * edge[0], side * edge[1]}
			l := s.lay(c.At.X+shift[0], c.At.Y+shift[1])
			s.switchTo(capture.Drive{State: capture.Off})
			s.add(capture.Hold{T: tick(s.t), Coil: c.ID, ShiftMM: &[2]float64{math.Round(1e4*shift[0]) / 10, math.Round(1e4*shift[1]) / 10}})
			s.sampleHeadings(l, s.o.HoldSeconds)
			s.switchTo(s.on())
			s.sampleHeadings(l, s.o.HoldSeconds)
			s.add(capture.Lift{T: tick(s.t)})
		}
	}
}

// sampleHeadings reads the compass for a while.
func (s *script) sampleHeadings(l laid, seconds float64) {
	top := math.Atan2(-l.y.X, l.y.Y) / degree
	for end := s.t + seconds; s.t < end; {
		b := s.field(l.at, s.t)
		// The sensor's own zero bends the field it points along.
		for a, axis := range [3]r3.Vec{l.x, l.y, l.z} {
			b = r3.Add(b, r3.Scale(s.sensor.zeroUT[a]*microtesla, axis))
		}
		now := l.headingDeg(b)
		if !s.compassOn || s.o.LagSeconds == 0 {
			s.compassDeg, s.compassOn = now, true
		} else {
			s.compassDeg += (1 - math.Exp(-(s.t-s.compassAt)/s.o.LagSeconds)) * wrap180(now-s.compassDeg)
		}
		s.compassAt = s.t
		turned := math.Round(10*wrap180(s.o.TopDeg-top)) / 10
		accuracy := 10.0
		s.add(capture.Bearing{
			T:         tick(s.t),
			Deg:       wrap360(math.Round(10*(s.compassDeg+s.o.HeadingDeg*s.compass.NormFloat64())) / 10),
			TurnedDeg: &turned, AccuracyDeg: &accuracy,
		})
		s.next()
	}
}
