package rehearsal

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field"
	"polewise/layout"
)

// clearUT is the vertical pull that a plain check of the sign takes as clear.
const clearUT = 5

// dullShare is the share of its planned ampere-turns under which a coil is weak,
// as the verdict has it.
const dullShare = 0.85

// SignLook is what a plain check would have seen over one coil, beside what is
// true of it.
type SignLook struct {
	ID    string `json:"id"`
	Truth string `json:"truth"` // as-planned | reversed | weak | dead
	// AmpsShare is the coil's ampere-turns over the planned ones, negative when
	// the current runs the wrong way.
	AmpsShare float64 `json:"amps_share"`
	MarkUT    float64 `json:"mark_uT"`   // the vertical pull at the mark, positive: toward the planned face
	SensorUT  float64 `json:"sensor_uT"` // the same where the sensor really is
	Says      string  `json:"says"`      // as-planned | reversed | nothing
	Wrong     bool    `json:"wrong"`
}

// PlainSignLooks goes over a pad as a plain check would: one that lays the mark on
// a coil's centre, takes the vertical reading with the supply on minus that with
// it off, and believes its sign as if the sensor were at the mark. Wrong is a coil
// called as planned that is not, or reversed that is not; a coil without field
// that gives a clear reading of its neighbours is called something, and so is
// wrong too.
//
// The offset is that of the sensor from the mark, phone frame, millimetres; the
// phone lies flat with its top edge at topDeg counter-clockwise from pad +y.
func PlainSignLooks(plan *layout.Plan, faults []layout.Fault, offsetMM [2]float64, topDeg float64) ([]SignLook, error) {
	c, err := plan.Solve(faults...)
	if err != nil {
		return nil, err
	}
	planned, err := plan.Solve()
	if err != nil {
		return nil, err
	}
	pad := field.NewPad(plan)
	turns := c.AllAmpereTurns(plan)
	p := lie(topDeg, 0, 0)
	looks := make([]SignLook, len(plan.Coils))
	for j := range plan.Coils {
		mark := r3.Vec{X: plan.Coils[j].At.X, Y: plan.Coils[j].At.Y, Z: plan.SensorHeight(j)}
		pull := func(at r3.Vec) float64 { return pad.At(turns, at).Z / microtesla * float64(plan.Coils[j].North) }
		l := SignLook{ID: plan.Coils[j].ID, Says: "nothing", MarkUT: pull(mark), SensorUT: pull(r3.Add(mark, p.offset(offsetMM[0]*millimetre, offsetMM[1]*millimetre)))}
		if want := planned.AmpereTurns(plan, j); want != 0 {
			l.AmpsShare = turns[j] / want
		}
		switch {
		case c.CoilAmps[j] == 0 || c.CoilTurns[j] == 0:
			l.Truth = "dead"
		case c.CoilAmps[j] < 0:
			l.Truth = "reversed"
		case c.CoilTurns[j] < dullShare*float64(plan.WindingOf(j).Turns):
			l.Truth = "weak"
		default:
			l.Truth = "as-planned"
		}
		if math.Abs(l.SensorUT) >= clearUT {
			l.Says = "as-planned"
			if l.SensorUT < 0 {
				l.Says = "reversed"
			}
			l.Wrong = l.Truth == "dead" || (l.Says == "reversed") != (l.Truth == "reversed")
		}
		looks[j] = l
	}
	return looks, nil
}

// Fooled tells which coils a plain check got wrong.
func Fooled(looks []SignLook) []string {
	wrong := []string{}
	for _, l := range looks {
		if l.Wrong {
			wrong = append(wrong, l.ID)
		}
	}
	return wrong
}
