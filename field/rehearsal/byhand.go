package rehearsal

import (
	"math"

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
	measure := func(across string, ohms20 float64) {
		s.t += 8
		o := capture.Ohms{T: tick(s.t), Across: across, Celsius: &celsius}
		if !math.IsInf(ohms20, 1) {
			ohms := layout.OhmsAt(ohms20, celsius)
			ohms = math.Max(0, math.Round(100*(ohms*(1+0.0075*s.meter.NormFloat64())+0.025*s.meter.NormFloat64()))/100)
			o.Ohms = &ohms
		}
		s.add(o)
	}
	c := s.world.currents
	for j := range s.plan.Coils {
		measure("coil:"+s.plan.Coils[j].ID, c.CoilOhms[j])
	}
	for i := range s.plan.Strings {
		measure("string:"+s.plan.Strings[i].ID, c.StringOhms[i])
	}
	for g := range s.plan.Groups {
		measure("group:"+s.plan.Groups[g].ID, c.GroupOhms[g])
	}
	measure("pad", c.PadOhms)
}
