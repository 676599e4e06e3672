package fieldmap

import (
	"context"
	"math"

	"polewise/layout"
)

// Page is the vertical field on a grid, in the words and units of a page:
// millimetres and microtesla, rounded. Row by row from the lowest y, each row from
// the lowest x.
type Page struct {
	X0      float64   `json:"x0_mm"`
	Y0      float64   `json:"y0_mm"`
	Step    float64   `json:"step_mm"`
	NX      int       `json:"nx"`
	NY      int       `json:"ny"`
	AboveMM float64   `json:"above_mm"` // over the coils' top faces
	BzUT    []float64 `json:"bz_uT"`
}

// SamplePage is Sample for a page. The field is rounded to 1/perUT microtesla.
func SamplePage(ctx context.Context, p *layout.Plan, points int, perUT float64, told func(done, of int)) (*Page, error) {
	g, err := Sample(ctx, p, points, told)
	if err != nil {
		return nil, err
	}
	v := &Page{X0: g.X0 / millimetre, Y0: g.Y0 / millimetre, Step: g.Step / millimetre, NX: g.NX, NY: g.NY, AboveMM: p.Above / millimetre}
	v.BzUT = make([]float64, len(g.B))
	for i, b := range g.B {
		v.BzUT[i] = math.Round(b.Z/microtesla*perUT) / perUT
	}
	return v, nil
}
