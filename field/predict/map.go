package predict

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field"
	"polewise/layout"
)

// Map is the predicted vertical field on a grid over the pad, at the sensor's
// height. Row by row from the lowest y, each row from the lowest x.
type Map struct {
	X0      float64   `json:"x0_mm"`
	Y0      float64   `json:"y0_mm"`
	Step    float64   `json:"step_mm"`
	NX      int       `json:"nx"`
	NY      int       `json:"ny"`
	AboveMM float64   `json:"above_mm"` // over the coils' top faces
	BzUT    []float64 `json:"bz_uT"`
}

// MapOf covers the pad's outline, or its coils where it has none, with so many
// cells along its longer side. The field is rounded to 1/perUT microtesla.
func MapOf(p *layout.Plan, cells int, perUT float64) (*Map, error) {
	cur, err := p.Solve()
	if err != nil {
		return nil, err
	}
	const mm = 1e3
	x1, y1 := p.Outline.X, p.Outline.Y
	x0, y0, above := 0.0, 0.0, 0.0
	for j := range p.Coils {
		half := p.WindingOf(j).HalfExtent()
		reach := math.Hypot(half.X, half.Y)
		if half.X == half.Y {
			reach = half.X
		}
		at := p.Coils[j].At
		x0, y0 = math.Min(x0, at.X-reach), math.Min(y0, at.Y-reach)
		x1, y1 = math.Max(x1, at.X+reach), math.Max(y1, at.Y+reach)
		above = math.Max(above, p.SensorHeight(j))
	}
	step := math.Max(x1-x0, y1-y0) / float64(cells)
	m := &Map{Step: step * mm, NX: int(math.Ceil((x1 - x0) / step)), NY: int(math.Ceil((y1 - y0) / step)), AboveMM: p.Above * mm}
	m.X0, m.Y0 = (x0+step/2)*mm, (y0+step/2)*mm
	turns := make([]float64, len(p.Coils))
	for j := range turns {
		turns[j] = cur.AmpereTurns(p, j)
	}
	pad := field.NewPad(p)
	m.BzUT = make([]float64, 0, m.NX*m.NY)
	for j := range m.NY {
		for i := range m.NX {
			b := pad.At(turns, r3.Vec{X: x0 + (float64(i)+0.5)*step, Y: y0 + (float64(j)+0.5)*step, Z: above})
			m.BzUT = append(m.BzUT, math.Round(b.Z*1e6*perUT)/perUT)
		}
	}
	return m, nil
}
