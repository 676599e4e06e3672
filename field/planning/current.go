package planning

import (
	"math"

	"gonum.org/v1/gonum/mat"

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
	Share        float64 `json:"share"`         // of the supply's current
	InductanceUH float64 `json:"inductance_uH"` // by itself, as its ohms are: what a meter shows of it unplugged
	// TimeConstantMS is the time in which the current rises to 1 - 1/e of what it
	// becomes when a voltage is switched on, milliseconds, the pull of all other strings
	// and the resistance of the supply reckoned with: L/R of a string alone. A supply
	// set to a current forces it up sooner, by how much is its own matter.
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
	duty, on := p.Supply.OnShare(), math.Inf(1)
	if p.Supply.Pulsed {
		on = duty / p.Supply.Hz
	}
	stringOf := make([]int, len(p.Coils))
	for i := range p.Strings {
		for _, k := range p.Strings[i].Coils {
			stringOf[k] = i
		}
	}
	henries := between(p, stringOf, j.henries)
	if c.PadAmps > 0 {
		j.rise = riseOf(p, c.StringOhms, henries)
	}
	if p.Supply.Volts == 0 {
		on = math.Inf(1) // a supply set to a current forces it; its voltage is not in the plan
	}
	// comes tells how something rises: its time constant, and the share of its current
	// at the end of a pulse.
	comes := func(parts func(*rise) []float64) (timeConstant, share float64) {
		if j.rise == nil {
			return 0, 1
		}
		timeConstant = j.rise.within(parts(j.rise), 1-1/math.E)
		if math.IsInf(on, 1) {
			return timeConstant, 1
		}
		return timeConstant, j.rise.share(parts(j.rise), on)
	}
	for i := range p.Strings {
		s := String{ID: p.Strings[i].ID, Ohms20: c.StringOhms[i], OhmsRoom: j.roomOhms(c.StringOhms[i]), Amps: c.StringAmps[i], InductanceUH: 1e6 * henries.At(i, i), PeakShare: 1}
		s.Watts = duty * s.Amps * s.Amps * s.Ohms20
		if c.PadAmps > 0 {
			s.Share = s.Amps / c.PadAmps
		}
		if s.Amps > 0 {
			tau, share := comes(func(r *rise) []float64 { return r.strings[i] })
			s.TimeConstantMS, s.PeakShare = 1e3*tau, share
		}
		s.PeakAmps = s.PeakShare * s.Amps
		j.f.Strings = append(j.f.Strings, s)
	}
	pad := Pad{Ohms20: c.PadOhms, OhmsRoom: j.roomOhms(c.PadOhms), Amps: c.PadAmps, Volts: c.PadVolts, PeakShare: 1}
	pad.Watts = duty * c.PadAmps * c.PadVolts
	pad.SupplyWatts = pad.Watts + duty*c.PadAmps*c.PadAmps*p.Supply.SourceOhms
	if c.PadAmps > 0 {
		// Half of it times the current squared is the energy of all strings' currents.
		amps := mat.NewVecDense(len(c.StringAmps), c.StringAmps)
		pad.InductanceUH = 1e6 * mat.Inner(amps, henries, amps) / (c.PadAmps * c.PadAmps)
		tau, share := comes(func(r *rise) []float64 { return r.pad })
		pad.TimeConstantMS, pad.PeakShare = 1e3*tau, share
	}
	pad.PeakAmps = pad.PeakShare * pad.Amps
	if limit := p.Supply.LimitAmps; limit > 0 && c.PadAmps >= limit*(1-1e-9) {
		pad.Limited = true
	}
	j.f.Pad = pad
}

// between are the inductances of strings and between them, from those of the coils.
func between(p *layout.Plan, stringOf []int, henries [][]float64) *mat.SymDense {
	sum := mat.NewDense(len(p.Strings), len(p.Strings), nil)
	for a := range p.Coils {
		for b := range p.Coils {
			i, k := stringOf[a], stringOf[b]
			sum.Set(i, k, sum.At(i, k)+henries[a][b])
		}
	}
	return symmetrised(sum)
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

// heating is the steady current that warms a coil as much as its planned one does.
func (j *job) heating(coil int) float64 {
	return math.Abs(j.c.CoilAmps[coil]) * math.Sqrt(j.plan.Supply.OnShare())
}

// riseKelvin estimates how much warmer than the room a coil becomes in the end, at a
// steady current. The wire's resistance is taken as at 20 C: as it warms, a supply set
// to a voltage gives less and one set to a current has to give more.
func riseKelvin(w *layout.Winding, amps float64) float64 {
	mean := w.MeanTurn()
	// Top, bottom, and both rims.
	surface := 2*mean*w.Build + 2*mean*w.Width
	return amps * amps * w.Ohms20() / (wattsPerM2K * surface)
}

// density is the current density in a winding's wire, amperes a square
// millimetre.
func density(w *layout.Winding, amps float64) float64 {
	return amps / (w.WireSection() * 1e6)
}
