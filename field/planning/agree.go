package planning

import (
	"math"

	"polewise/layout"
)

// Agreement is an ohmmeter reading beside the plan. Planned, Low and High are at
// the temperature of the reading.
type Agreement struct {
	Planned, Low, High float64
	Agrees             bool
}

// Temperature in C taken where a reading has none, and how many kelvin that may
// be off.
const (
	unknownCelsius = 20.0
	UnknownWithin  = 6.0
)

// OhmsAgree puts a reading beside what the plan has across the same ends
// (coil:ID, string:ID, group:ID or pad). A nil reading is an open circuit; a nil
// temperature widens the bounds. It is false where the plan has no such ends.
func OhmsAgree(p *layout.Plan, ends string, ohms, celsius *float64) (Agreement, bool) {
	c, err := p.Solve()
	if err != nil {
		return Agreement{}, false
	}
	for _, l := range p.Measurables(c) {
		if l.Across != ends {
			continue
		}
		lo, hi := unknownCelsius-UnknownWithin, unknownCelsius+UnknownWithin
		if celsius != nil {
			lo, hi = *celsius, *celsius
		}
		a := Agreement{Planned: layout.OhmsAt(l.Ohms20, (lo+hi)/2)}
		low, high := layout.OhmsAt(l.Ohms20, lo), layout.OhmsAt(l.Ohms20, hi)
		a.Low, a.High = math.Max(0, low-tolerance(low)), high+tolerance(high)
		a.Agrees = ohms != nil && *ohms >= a.Low && *ohms <= a.High
		return a, true
	}
	return Agreement{}, false
}

// MeterOhms is how far two readings of the same thing may differ by the meter
// alone.
func MeterOhms(ohms float64) float64 { return meterShare*ohms + meterOhms }
