package rehearsal

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field"
	"polewise/layout"
)

// clearUT is the vertical pull that a plain check of the sign takes as clear.
const clearUT = 5

// PlainSignCheck tells which coils a plain check would have got wrong: one that
// lays the mark on a coil's centre, takes the vertical reading with the supply
// on minus that with it off, and believes its sign as if the sensor were at the
// mark. Wrong is a coil called as planned that is not, or reversed that is not;
// a coil without field that gives a clear reading of its neighbours is called
// something, and so is wrong too.
//
// The offset is that of the sensor from the mark, phone frame, millimetres; the
// phone lies flat with its top edge at topDeg counter-clockwise from pad +y.
func PlainSignCheck(plan *layout.Plan, faults []layout.Fault, offsetMM [2]float64, topDeg float64) ([]string, error) {
	c, err := plan.Solve(faults...)
	if err != nil {
		return nil, err
	}
	pad := field.NewPad(plan)
	turns := make([]float64, len(plan.Coils))
	for j := range turns {
		turns[j] = c.AmpereTurns(plan, j)
	}
	p := lie(topDeg, 0, 0)
	wrong := []string{}
	for j := range plan.Coils {
		at := r3.Add(r3.Vec{X: plan.Coils[j].At.X, Y: plan.Coils[j].At.Y, Z: plan.SensorHeight(j)},
			p.offset(offsetMM[0]*1e-3, offsetMM[1]*1e-3))
		pull := pad.At(turns, at).Z / microtesla * float64(plan.Coils[j].North)
		if math.Abs(pull) < clearUT {
			continue
		}
		if facesAsPlanned := c.CoilAmps[j] > 0; c.CoilAmps[j] == 0 || facesAsPlanned != (pull > 0) {
			wrong = append(wrong, plan.Coils[j].ID)
		}
	}
	return wrong, nil
}
