package planning

import (
	"slices"

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
	return agree(p, c, ends, ohms, celsius)
}

// agree is OhmsAgree of a pad in which something else flows than is planned.
func agree(p *layout.Plan, c *layout.Currents, ends string, ohms, celsius *float64) (Agreement, bool) {
	for _, l := range p.Measurables(c) {
		if l.Across != ends {
			continue
		}
		lo, hi := unknownCelsius-UnknownWithin, unknownCelsius+UnknownWithin
		if celsius != nil {
			lo, hi = *celsius, *celsius
		}
		a := Agreement{Planned: layout.OhmsAt(l.Ohms20, (lo+hi)/2)}
		a.Low, _ = bounds(layout.OhmsAt(l.Ohms20, lo))
		_, a.High = bounds(layout.OhmsAt(l.Ohms20, hi))
		a.Agrees = ohms != nil && *ohms >= a.Low && *ohms <= a.High
		return a, true
	}
	return Agreement{}, false
}

// Noted is what an ohmmeter showed across ends, as OhmsAgree has them.
type Noted struct {
	Across        string
	Ohms, Celsius *float64
}

// unseenStep is how finely TurnsUnseen looks, as a share of a coil's turns.
const unseenStep = 0.05

// TurnsUnseen is the largest share of one coil's turns that may be shorted with all that was
// noted still within its bounds, in steps of a twentieth: the pad's ohms alone hardly show it.
func TurnsUnseen(p *layout.Plan, noted []Noted) float64 {
	type kind struct {
		in, winding int
		alone       bool // measured by itself
	}
	looked := map[kind]bool{}
	most := 0.0
	for j := range p.Coils {
		alone := slices.ContainsFunc(noted, func(n Noted) bool { return n.Across == "coil:"+p.Coils[j].ID })
		k := kind{p.StringOf(j), p.Coils[j].Winding, alone}
		if looked[k] {
			continue
		}
		looked[k] = true
		for lost := most + unseenStep; lost < 1 && unseen(p, noted, p.Coils[j].ID, lost); lost += unseenStep {
			most = lost
		}
	}
	return most
}

// unseen tells whether what was noted is within bounds with a share of a coil's turns shorted.
func unseen(p *layout.Plan, noted []Noted, id string, lost float64) bool {
	c, err := p.Solve(layout.Fault{Kind: layout.TurnsShorted, ID: id, Lost: lost})
	if err != nil {
		return false
	}
	return !slices.ContainsFunc(noted, func(n Noted) bool {
		a, ok := agree(p, c, n.Across, n.Ohms, n.Celsius)
		return ok && !a.Agrees
	})
}

// MeterOhms is how far two readings of the same thing may differ by the meter
// alone.
func MeterOhms(ohms float64) float64 { return meterShare*ohms + meterOhms }
