package planning

import (
	"math"

	"polewise/field/inductance"
	"polewise/layout"
)

// Winding is a kind of coil as it comes off the former.
type Winding struct {
	ID            string  `json:"id"`
	Coils         int     `json:"coils"` // how many the plan has of it
	Turns         int     `json:"turns"`
	WireMM        float64 `json:"wire_mm"`         // bare copper
	OverEnamelMM  float64 `json:"over_enamel_mm"`  // as it lies on the former
	TurnsPerLayer int     `json:"turns_per_layer"` // 0: the wire is wider than the winding
	Layers        int     `json:"layers"`
	BuildMM       float64 `json:"build_mm"`       // that the layers take, each turn on top of the one below
	TightBuildMM  float64 `json:"tight_build_mm"` // the same with each turn in the groove below
	WireM         float64 `json:"wire_m"`         // in the turns
	CutM          float64 `json:"cut_m"`          // with both tails
	CopperGrams   float64 `json:"copper_grams"`   // with both tails
	Ohms20        float64 `json:"ohms_20C"`
	OhmsRoom      float64 `json:"ohms_room"`
	Measured      bool    `json:"measured"` // the plan gives the ohms
	InductanceUH  float64 `json:"inductance_uH"`
}

// overEnamel is the thickness of a wire with its enamel, metres. The enamel adds
// 0.094 mm at 1 mm and goes with the root of the diameter: within 0.01 mm of the
// largest diameters IEC 60317-0-1 allows for grade 2 from 0.4 to 1 mm (from
// memory; the standard was not seen).
func overEnamel(bare float64) float64 {
	return bare + 0.094e-3*math.Sqrt(bare/1e-3)
}

// layers says how turns lie on the former: how many side by side in the width,
// in how many layers, and how high they build, piled square or each turn in the
// groove of the layer below.
func layers(w *layout.Winding) (perLayer, count int, square, tight float64) {
	const slack = 1e-9 // of rounding
	d := overEnamel(w.Wire)
	perLayer = int(w.Width/d + slack)
	if perLayer == 0 {
		return 0, 0, 0, 0
	}
	count = (w.Turns + perLayer - 1) / perLayer
	square = float64(count) * d
	// In the grooves every second layer has half a turn's width less room.
	second := perLayer
	if w.Width < (float64(perLayer)+0.5)*d*(1-slack) {
		second--
	}
	if second == 0 {
		return perLayer, count, square, square
	}
	two := perLayer + second
	n := 2 * (w.Turns / two)
	switch rest := w.Turns % two; {
	case rest > perLayer:
		n += 2
	case rest > 0:
		n++
	}
	return perLayer, count, square, math.Min(square, d*(1+float64(n-1)*math.Sqrt(3)/2))
}

// Piled is what a winding's wire builds with each turn on top of the one below, metres;
// 0 where the wire is wider than the winding.
func Piled(w *layout.Winding) float64 {
	_, _, square, _ := layers(w)
	return square
}

func (j *job) windings() {
	for i := range j.plan.Windings {
		w := &j.plan.Windings[i]
		perLayer, count, square, tight := layers(w)
		tails := 2 * j.o.TailMM * millimetre
		out := Winding{
			ID: w.ID, Turns: w.Turns, WireMM: w.Wire / millimetre, OverEnamelMM: overEnamel(w.Wire) / millimetre,
			TurnsPerLayer: perLayer, Layers: count, BuildMM: square / millimetre, TightBuildMM: tight / millimetre,
			WireM: w.WireLength(), CutM: w.WireLength() + tails,
			CopperGrams: 1e3 * layout.CopperKilogramsM3 * w.WireSection() * (w.WireLength() + tails),
			Ohms20:      w.Ohms20(), OhmsRoom: layout.OhmsAt(w.Ohms20(), j.o.RoomCelsius), Measured: w.GivenOhms > 0,
			InductanceUH: 1e6 * inductance.Self(w),
		}
		for k := range j.plan.Coils {
			if j.plan.Coils[k].Winding == i {
				out.Coils++
			}
		}
		j.f.Windings = append(j.f.Windings, out)
	}
}
