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
	pad := field.NewPad(plan)
	turns := make([]float64, len(plan.Coils))
	for j := range turns {
		turns[j] = cur.AmpereTurns(plan, j)
	}
	out := map[string][]Beside{}
	for j := range plan.Coils {
		c, w := &plan.Coils[j], plan.WindingOf(j)
		sin, cos := math.Sincos(c.Turned)
		for _, s := range [][2]float64{{w.InnerX / 2, 0}, {-w.InnerX / 2, 0}, {0, w.InnerY / 2}, {0, -w.InnerY / 2}} {
			x, y := cos*s[0]-sin*s[1], sin*s[0]+cos*s[1]
			b := pad.At(turns, r3.Vec{X: c.At.X + x, Y: c.At.Y + y, Z: plan.SensorHeight(j)})
			tenth := func(v float64) float64 { return math.Round(v*10)/10 + 0 }
			out[c.ID] = append(out[c.ID], Beside{
				ShiftMM: [2]float64{tenth(x * 1e3), tenth(y * 1e3)},
				BUT:     [3]float64{tenth(b.X * 1e6), tenth(b.Y * 1e6), tenth(b.Z * 1e6)},
			})
		}
	}
	return out
}
