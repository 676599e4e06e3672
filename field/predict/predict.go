// Package predict puts a plan's currents and the field they make into the
// figures that the predict command prints.
package predict

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field"
	"polewise/field/planning"
	"polewise/layout"
)

// Prediction is what a pad should do. Its JSON form is part of the contract.
type Prediction struct {
	Coils   []Coil   `json:"coils"`
	Strings []String `json:"strings"`
	Pad     Pad      `json:"pad"`
	Points  []Point  `json:"points"`
}

// Coil is a coil driven as planned. The field is that of all coils together at
// the sensor's place over the coil's centre.
type Coil struct {
	ID   string     `json:"id"`
	Amps float64    `json:"amps"`
	Ohms float64    `json:"ohms"`
	BzUT float64    `json:"bz_uT"`
	BUT  [3]float64 `json:"b_uT"`
	AtMM [3]float64 `json:"at_mm"`
}

// String is a string driven as planned.
type String struct {
	ID   string  `json:"id"`
	Ohms float64 `json:"ohms"`
	Amps float64 `json:"amps"`
}

// Pad is the pad as the supply sees it.
type Pad struct {
	Ohms  float64 `json:"ohms"`
	Amps  float64 `json:"amps"`
	Volts float64 `json:"volts"`
}

// Point is the field at a place asked for.
type Point struct {
	AtMM [3]float64 `json:"at_mm"`
	BUT  [3]float64 `json:"b_uT"`
}

// Predict solves the plan and evaluates the field over every coil and at the
// points given, in metres of the pad frame. It fails on plans that cannot be solved and
// on figures that are no finite numbers.
func Predict(plan *layout.Plan, points []r3.Vec) (*Prediction, error) {
	cur, err := plan.Solve()
	if err != nil {
		return nil, err
	}
	pad := field.NewPad(plan)
	turns := cur.AllAmpereTurns(plan)
	p := &Prediction{Points: []Point{}, Pad: Pad{Ohms: cur.PadOhms, Amps: cur.PadAmps, Volts: cur.PadVolts}}
	for j := range plan.Coils {
		c := &plan.Coils[j]
		place := r3.Vec{X: c.At.X, Y: c.At.Y, Z: plan.SensorHeight(j)}
		b := vec(r3.Scale(1e6, pad.At(turns, place)))
		p.Coils = append(p.Coils, Coil{ID: c.ID, Amps: cur.CoilAmps[j], Ohms: cur.CoilOhms[j], BzUT: b[2], BUT: b, AtMM: vec(r3.Scale(1e3, place))})
	}
	for i := range plan.Strings {
		p.Strings = append(p.Strings, String{ID: plan.Strings[i].ID, Ohms: cur.StringOhms[i], Amps: cur.StringAmps[i]})
	}
	for _, q := range points {
		p.Points = append(p.Points, Point{AtMM: vec(r3.Scale(1e3, q)), BUT: vec(r3.Scale(1e6, pad.At(turns, q)))})
	}
	if err := planning.Finite(p); err != nil {
		return nil, err
	}
	return p, nil
}

// vec rounds away what is below any meaning, so that no -0 or 1e-17 is printed.
func vec(v r3.Vec) [3]float64 {
	r := func(x float64) float64 { return math.Round(x*1e9)/1e9 + 0 }
	return [3]float64{r(v.X), r(v.Y), r(v.Z)}
}
