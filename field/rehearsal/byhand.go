package rehearsal

import (
	"math"
	"math/rand/v2"

	"polewise/field/capture"
	"polewise/layout"
)

// leastUT is the field below which a needle over a coil tells no face from the
// earth's pull.
const leastUT = 40

// byHand reads every face with a needle held over the coil's centre.
func (s *script) byHand() {
	for j := range s.plan.Coils {
		s.t += 3 + 2*s.hand.Float64()
		z := s.world.pad.At(s.world.turns, s.world.over(j)).Z / microtesla
		r := capture.Reading{T: tick(s.t), Coil: s.plan.Coils[j].ID, Face: capture.North}
		switch {
		case math.Abs(z) < leastUT:
			r.Face = capture.None
		case z < 0:
			r.Face = capture.South
		}
		if s.hand.Float64() < s.o.HandMistakes {
			switch r.Face {
			case capture.North:
				r.Face = capture.South
			default:
				r.Face = capture.North
			}
		}
		s.add(r)
	}
}

// measureOhms measures every coil, string and group unplugged from the rest,
// and the pad, at the room's temperature.
func (s *script) measureOhms() {
	celsius := 18 + 6*s.meter.Float64()
	celsius = math.Round(celsius)
	for _, a := range s.plan.Measurables(s.world.currents) {
		s.t += 8
		s.add(capture.Ohms{T: tick(s.t), Across: a.Across, Celsius: &celsius, Ohms: meterReads(a.Ohms20, celsius, s.meter)})
	}
}

// meterReads is what an ohmmeter shows, to a hundredth of an ohm; nil: open.
func meterReads(ohms20, celsius float64, meter *rand.Rand) *float64 {
	if math.IsInf(ohms20, 1) {
		return nil
	}
	ohms := layout.OhmsAt(ohms20, celsius)
	ohms = math.Max(0, math.Round(100*(ohms*(1+0.0075*meter.NormFloat64())+0.025*meter.NormFloat64()))/100)
	return &ohms
}
