package desk

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field"
	"polewise/layout"
)

// Beside is a place where a phone may be laid to have its compass turned by a
// coil: over the winding's inner edge, with the field there as planned.
type Beside struct {
	ShiftMM [2]float64 `json:"shift_mm"` // from the coil's centre, pad frame
	BUT     [3]float64 `json:"b_uT"`
}

// Besides are the places beside every coil of the check in progress.
func (d *Desk) Besides() map[string][]Beside {
	d.mu.Lock()
	plan := d.check.plan
	d.mu.Unlock()
	return besides(plan)
}

// besides lists the four sides of every coil along its own axes. Nil for a plan
// that cannot be solved.
func besides(plan *layout.Plan) map[string][]Beside {
	cur, err := plan.Solve()
	if err != nil {
		return nil
	}
	pad, turns := field.NewPad(plan), cur.AllAmpereTurns(plan)
	out := map[string][]Beside{}
	for j := range plan.Coils {
		c := &plan.Coils[j]
		for _, s := range plan.Beside(j) {
			b := pad.At(turns, r3.Vec{X: c.At.X + s.X, Y: c.At.Y + s.Y, Z: plan.SensorHeight(j)})
			tenth := func(v float64) float64 { return math.Round(v*10)/10 + 0 }
			out[c.ID] = append(out[c.ID], Beside{
				ShiftMM: [2]float64{tenth(s.X * 1e3), tenth(s.Y * 1e3)},
				BUT:     [3]float64{tenth(b.X * 1e6), tenth(b.Y * 1e6), tenth(b.Z * 1e6)},
			})
		}
	}
	return out
}
