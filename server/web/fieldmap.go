package web

import (
	"math"
	"net/http"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/field"
	"polewise/layout"
)

// fieldMap is the predicted vertical field on a grid over the pad, at the
// sensor's height. Row by row from the lowest y, each row from the lowest x.
type fieldMap struct {
	X0      float64   `json:"x0_mm"`
	Y0      float64   `json:"y0_mm"`
	Step    float64   `json:"step_mm"`
	NX      int       `json:"nx"`
	NY      int       `json:"ny"`
	AboveMM float64   `json:"above_mm"` // over the coils' top faces
	BzUT    []float64 `json:"bz_uT"`
}

// mapCells is how many cells the longer side of a map has.
const mapCells = 120

// fieldMap is that of the plan on the bench, or of one sent along.
func (s *Site) fieldMap(w http.ResponseWriter, r *http.Request) {
	var q planRequest
	if r.Method == http.MethodPost && !s.read(w, r, &q) {
		return
	}
	text, err := s.planOf(q)
	if err != nil {
		s.fail(w, err)
		return
	}
	plan, err := layout.Parse(text.Name, text.TOML)
	if plan == nil {
		s.fail(w, err)
		return
	}
	m, err := mapOf(plan)
	if err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, m)
}

// mapOf covers the pad's outline, or its coils where it has none.
func mapOf(p *layout.Plan) (*fieldMap, error) {
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
	step := math.Max(x1-x0, y1-y0) / mapCells
	m := &fieldMap{Step: step * mm, NX: int(math.Ceil((x1 - x0) / step)), NY: int(math.Ceil((y1 - y0) / step)), AboveMM: p.Above * mm}
	m.X0, m.Y0 = (x0+step/2)*mm, (y0+step/2)*mm
	turns := make([]float64, len(p.Coils))
	for j := range turns {
		turns[j] = cur.AmpereTurns(p, j)
	}
	over := r2.Box{Min: r2.Vec{X: x0, Y: y0}, Max: r2.Vec{X: x0 + float64(m.NX)*step, Y: y0 + float64(m.NY)*step}}
	m.BzUT = make([]float64, m.NX*m.NY)
	for i, b := range field.NewPad(p).Map(turns, over, m.NX, m.NY, above) {
		m.BzUT[i] = math.Round(b.Z*1e8) / 100
	}
	return m, nil
}
