package layout

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// inCopper tells whether a point lies in the copper of a coil, straight from
// the definition of its shape: no cores, no distances between shapes.
func inCopper(w *Winding, c *Coil, q r2.Vec) bool {
	d := r2.Rotate(r2.Sub(q, c.At), -c.Turned, r2.Vec{})
	x, y := math.Abs(d.X), math.Abs(d.Y)
	inside := func(grow float64) bool {
		a, b := w.InnerX/2+grow, w.InnerY/2+grow
		r := w.Corner + grow
		switch w.Shape {
		case Round:
			r = a
		case Oblong:
			r = math.Min(a, b)
		}
		if x > a || y > b {
			return false
		}
		if x <= a-r || y <= b-r {
			return true
		}
		return math.Hypot(x-(a-r), y-(b-r)) <= r
	}
	return inside(w.Build) && !inside(0)
}

// Two coils overlap exactly where a fine grid has a point in the copper of
// both. The grid cannot see less than its pitch, so near misses are left out.
func TestOverlapAgainstGrid(t *testing.T) {
	const pitch = 0.7e-3
	rapid.Check(t, func(t *rapid.T) {
		p := &Plan{Unit: Millimetre}
		for range 2 {
			w := Winding{Shape: rapid.SampledFrom([]Shape{Round, Oblong, Rectangle}).Draw(t, "shape"),
				InnerX: rapid.Float64Range(0.01, 0.12).Draw(t, "inner x"), Build: rapid.Float64Range(0.003, 0.012).Draw(t, "build")}
			w.InnerY = w.InnerX
			if w.Shape != Round {
				w.InnerY = rapid.Float64Range(0.01, 0.12).Draw(t, "inner y")
			}
			if w.Shape == Rectangle {
				w.Corner = rapid.Float64Range(0, 1).Draw(t, "corner") * math.Min(w.InnerX, w.InnerY) / 2
			}
			p.Coils = append(p.Coils, Coil{Winding: len(p.Windings), Turned: rapid.Float64Range(-4, 4).Draw(t, "turned"),
				At: r2.Vec{X: rapid.Float64Range(-0.08, 0.08).Draw(t, "x"), Y: rapid.Float64Range(-0.08, 0.08).Draw(t, "y")}})
			p.Windings = append(p.Windings, w)
		}
		a, b := p.core(0), p.core(1)
		depth := overlap(&a, &b)
		if other := overlap(&b, &a); math.Abs(depth-other) > 1e-12 {
			t.Fatalf("depth %g one way, %g the other", depth, other)
		}
		both := 0
		for x := -0.2; x <= 0.2; x += pitch {
			for y := -0.2; y <= 0.2; y += pitch {
				q := r2.Vec{X: x, Y: y}
				if inCopper(&p.Windings[0], &p.Coils[0], q) && inCopper(&p.Windings[1], &p.Coils[1], q) {
					both++
				}
			}
		}
		switch {
		case both > 0 && depth == 0:
			t.Fatalf("%d grid points in both, no overlap found", both)
		case both == 0 && depth > 0:
			// Shrink both by a little more than the grid's pitch: a real overlap
			// that the grid missed is then gone.
			for i := range p.Windings {
				w := &p.Windings[i]
				w.Build -= 2 * pitch
				w.InnerX, w.InnerY = w.InnerX+2*pitch, w.InnerY+2*pitch
				if w.Shape == Rectangle {
					w.Corner += pitch
				}
			}
			a, b = p.core(0), p.core(1)
			if depth := overlap(&a, &b); depth > 0 {
				t.Fatalf("no grid point in both, yet overlapping by %g and still by %g when thinner", overlap(&a, &b), depth)
			}
		}
	})
}

// Distances done on paper.
func TestOverlapDepth(t *testing.T) {
	p := &Plan{Unit: Millimetre,
		Windings: []Winding{
			{Shape: Round, InnerX: 0.09, InnerY: 0.09, Build: 0.006},
			{Shape: Round, InnerX: 0.03, InnerY: 0.03, Build: 0.006},
			{Shape: Oblong, InnerX: 0.11, InnerY: 0.05, Build: 0.005},
		},
		Coils: []Coil{
			{Winding: 0},                                            // outer radius 51 mm, hole 45 mm
			{Winding: 0, At: r2.Vec{X: 0.102}},                      // touching
			{Winding: 0, At: r2.Vec{X: 0.1}},                        // 2 mm too near
			{Winding: 1},                                            // in the hole
			{Winding: 1, At: r2.Vec{X: 0.024}},                      // outer radius 21 mm: just in the hole
			{Winding: 1, At: r2.Vec{X: 0.025}},                      // 1 mm into the copper
			{Winding: 2, At: r2.Vec{Y: 0.081}},                      // long side 30 mm from its middle: touching
			{Winding: 2, At: r2.Vec{Y: 0.080}},                      // 1 mm too near
			{Winding: 2, At: r2.Vec{Y: 0.110}, Turned: math.Pi / 2}, // end 60 mm from its middle: 1 mm too near
		}}
	depth := func(i, j int) float64 {
		a, b := p.core(i), p.core(j)
		return overlap(&a, &b)
	}
	for j, want := range map[int]float64{1: 0, 2: 2e-3, 3: 0, 4: 0, 6: 0, 7: 1e-3, 8: 1e-3} {
		if got := depth(0, j); math.Abs(got-want) > 1e-12 {
			t.Errorf("coil %d: overlaps by %g, want %g", j, got, want)
		}
	}
	if depth(0, 5) == 0 {
		t.Error("a small coil through the copper of a large one is not seen")
	}
}
