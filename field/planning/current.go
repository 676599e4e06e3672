package planning

import (
	"math"

	"polewise/layout"
)

// String is what a string takes when driven as planned. With a pulsed supply
// amps are at the peak, watts on average.
type String struct {
	ID           string  `json:"id"`
	Ohms20       float64 `json:"ohms_20C"`
	OhmsRoom     float64 `json:"ohms_room"`
	Amps         float64 `json:"amps"`
	Watts        float64 `json:"watts"`
	Share        float64 `json:"share"` // of the supply's current
	InductanceUH float64 `json:"inductance_uH"`
	// TimeConstantMS is L/R, milliseconds, with the pull of all other strings
	// driven as planned counted into L.
	TimeConstantMS float64 `json:"time_constant_ms"`
	PeakShare      float64 `json:"peak_share"` // of the final current reached by the end of a pulse; 1 when steady
	PeakAmps       float64 `json:"peak_amps"`
}

// Pad is the same of the whole pad.
type Pad struct {
	Ohms20         float64 `json:"ohms_20C"`
	OhmsRoom       float64 `json:"ohms_room"`
	Amps           float64 `json:"amps"`
	Volts          float64 `json:"volts"`
	Watts          float64 `json:"watts"`        // turned to heat in the pad
	SupplyWatts    float64 `json:"supply_watts"` // that the supply gives, its own resistance included
	InductanceUH   float64 `json:"inductance_uH"`
	TimeConstantMS float64 `json:"time_constant_ms"`
	PeakShare      float64 `json:"peak_share"`
	PeakAmps       float64 `json:"peak_amps"`
	Limited        bool    `json:"limited"` // the supply's current limit holds it down
}

// currents are solved at 20 C, as the contract has it; what is told of the room
// is what an ohmmeter reads there.
func (j *job) currents() {
	p, c := j.plan, j.c
	duty, on := 1.0, math.Inf(1)
	if p.Supply.Pulsed {
		duty, on = p.Supply.Duty, p.Supply.Duty/p.Supply.Hz
	}
	stringOf := make([]int, len(p.Coils))
	for i := range p.Strings {
		for _, k := range p.Strings[i].Coils {
			stringOf[k] = i
		}
	}
	// What links the coils of a string when every string is driven as planned:
	// its flux is linear in the currents, so its L is flux over its own current.
	flux := make([]float64, len(p.Strings))
	energy := 0.0 // twice the energy
	for a := range p.Coils {
		for b := range p.Coils {
			linked := j.henries[a][b] * c.CoilAmps[b]
			flux[stringOf[a]] += linked
			energy += linked * c.CoilAmps[a]
		}
	}
	// A supply set to a current forces it; its voltage is not in the plan.
	forced := p.Supply.Volts == 0
	reached := func(tau float64) float64 {
		if forced || math.IsInf(on, 1) {
			return 1
		}
		return -math.Expm1(-on / tau)
	}
	for i := range p.Strings {
		s := String{ID: p.Strings[i].ID, Ohms20: c.StringOhms[i], OhmsRoom: j.roomOhms(c.StringOhms[i]), Amps: c.StringAmps[i], PeakShare: 1}
		s.Watts = duty * s.Amps * s.Amps * s.Ohms20
		if c.PadAmps > 0 {
			s.Share = s.Amps / c.PadAmps
		}
		if s.Amps > 0 {
			l := flux[i] / s.Amps
			s.InductanceUH = 1e6 * l
			s.TimeConstantMS = 1e3 * l / s.Ohms20
			s.PeakShare = reached(l / s.Ohms20)
		}
		s.PeakAmps = s.PeakShare * s.Amps
		j.f.Strings = append(j.f.Strings, s)
	}
	pad := Pad{Ohms20: c.PadOhms, OhmsRoom: j.roomOhms(c.PadOhms), Amps: c.PadAmps, Volts: c.PadVolts, PeakShare: 1}
	pad.Watts = duty * c.PadAmps * c.PadVolts
	pad.SupplyWatts = pad.Watts + duty*c.PadAmps*c.PadAmps*p.Supply.SourceOhms
	if c.PadAmps > 0 {
		l := energy / (c.PadAmps * c.PadAmps)
		pad.InductanceUH = 1e6 * l
		tau := l / (c.PadOhms + p.Supply.SourceOhms)
		pad.TimeConstantMS = 1e3 * tau
		pad.PeakShare = reached(tau)
	}
	pad.PeakAmps = pad.PeakShare * pad.Amps
	if limit := p.Supply.LimitAmps; limit > 0 && c.PadAmps >= limit*(1-1e-9) {
		pad.Limited = true
	}
	j.f.Pad = pad
}

// roomOhms is a resistance at the room's temperature.
func (j *job) roomOhms(ohms20 float64) float64 { return layout.OhmsAt(ohms20, j.o.RoomCelsius) }

// Heat of a coil in the open.
const (
	// wattsPerM2K is what still air and radiation carry off a surface near room
	// temperature (engineering rule of thumb, from memory).
	wattsPerM2K = 10.0
	// gentleAmpsPerMM2 is a current density that keeps a taped bundle cool;
	// common practice, no source.
	gentleAmpsPerMM2 = 4.0
)

// riseKelvin estimates how much warmer than the room a coil becomes in the end,
// at a current that flows for a share of the time.
func riseKelvin(w *layout.Winding, amps, duty float64) float64 {
	mean := w.MeanTurn()
	// Top, bottom, and both rims.
	surface := 2*mean*w.Build + 2*mean*w.Width
	return duty * amps * amps * w.Ohms20() / (wattsPerM2K * surface)
}

// density is the current density in a winding's wire, amperes a square
// millimetre.
func density(w *layout.Winding, amps float64) float64 {
	return math.Abs(amps) / (w.WireSection() * 1e6)
}
