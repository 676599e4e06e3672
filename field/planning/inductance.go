package planning

import (
	"polewise/field/inductance"
	"polewise/layout"
)

// inductances is the inductance of every coil with every other, henries, each
// coil in the sense of its planned current: beside each other, two coils facing
// alike have a negative one.
func inductances(p *layout.Plan) [][]float64 {
	m := inductance.Matrix(p)
	for i := range m {
		for k := range m[i] {
			m[i][k] *= float64(p.Coils[i].North) * float64(p.Coils[k].North)
		}
	}
	return m
}
