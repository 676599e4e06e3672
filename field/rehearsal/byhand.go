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
	for _, a := range across(s.plan, s.world.currents) {
		s.t += 8
		s.add(capture.Ohms{T: tick(s.t), Across: a.name, Celsius: &celsius, Ohms: meterReads(a.ohms20, celsius, s.meter)})
	}
}

// measurable is what an ohmmeter can be held across, with its ohms at 20 C.
type measurable struct {
	name   string
	ohms20 float64 // +Inf: open
}

// across lists every coil, string, group and the pad, each by itself.
func across(plan *layout.Plan, c *layout.Currents) []measurable {
	var all []measurable
	for j := range plan.Coils {
		all = append(all, measurable{"coil:" + plan.Coils[j].ID, c.CoilOhms[j]})
	}
	for i := range plan.Strings {
		all = append(all, measurable{"string:" + plan.Strings[i].ID, c.StringOhms[i]})
	}
	for g := range plan.Groups {
		all = append(all, measurable{"group:" + plan.Groups[g].ID, c.GroupOhms[g]})
	}
	return append(all, measurable{"pad", c.PadOhms})
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
