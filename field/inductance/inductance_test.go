package inductance

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"polewise/field"
	"polewise/layout"
)

// Ways each result is checked by:
//
//	circles       table (Carlson forms, Neumann quadrature)
//	round self    table (quadrature, Lyle); one thin layer by Nagaoka's table and Lyle's examples
//	other self    round where the shape is one; a slow sum over wires; Grover's square
//	mutual        flux of the field package's B; far dipoles; both ways; mirror

// mu0Of4Pi is the permeability the tables are made with, over ours.
const mu0Of4Pi = 4e-7 * math.Pi / field.Mu0

func table(t *testing.T, name string) [][]float64 {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out [][]float64
	for _, row := range rows[1:] {
		var v []float64
		for _, s := range row {
			x, err := strconv.ParseFloat(s, 64)
			if err != nil {
				t.Fatal(err)
			}
			v = append(v, x)
		}
		out = append(out, v)
	}
	if len(out) < 4 {
		t.Fatalf("%s: only %d rows", name, len(out))
	}
	return out
}

func near(t testing.TB, what string, got, want, fraction float64) {
	t.Helper()
	if !(math.Abs(got-want) <= fraction*math.Abs(want)) {
		t.Errorf("%s: got %.10g, want %.10g within %g of it: off by %.2g", what, got, want, fraction, got/want-1)
	}
}

func TestCirclesAgainstTable(t *testing.T) {
	for _, v := range table(t, "circles.csv") {
		near(t, "circles", mu0Of4Pi*circles(v[0]*1e-3, v[1]*1e-3, v[2]*1e-3), v[3]*1e-6, 1e-11)
	}
	if !math.IsInf(circles(1, 1, 0), 1) {
		t.Error("a circle with itself")
	}
}

func TestRoundWindingAgainstTable(t *testing.T) {
	for _, v := range table(t, "winding_self.csv") {
		l := v[3] * v[3] * roundWinding((v[0]-v[2]/2)*1e-3, v[2]*1e-3, v[1]*1e-3)
		near(t, "winding", mu0Of4Pi*l, v[4]*1e-6, 2e-8) // the table has 9 digits, the rule does 1e-8
	}
}

// A winding of one thin layer is a current sheet: mu0 pi r^2 K / length with
// Nagaoka's coefficient K. The two examples are Lyle's (Phil. Trans. R. Soc. A
// 213 (1914) 421, p. 429, as quoted in a public test suite): radius 1 m, length
// 2 m, 1.08137 mu0; length 0.5 m, 28.85335e-7 H.
func TestThinLayerIsNagaokas(t *testing.T) {
	// What the build takes away goes with the build: two of them give the sheet.
	sheet := func(length float64) float64 {
		at := func(build float64) float64 { return roundWinding(1-build/2, build, length) }
		const build = 1e-4
		return 2*at(build/2) - at(build)
	}
	for _, v := range table(t, "nagaoka.csv") {
		length := 2 / v[0]
		got := sheet(length) * length / (field.Mu0 * math.Pi)
		near(t, "Nagaoka's coefficient, computed", got, v[1], 5e-6)
		if v[2] != 0 {
			near(t, "Nagaoka's coefficient, as printed", got, v[2], 5e-5)
		}
	}
	near(t, "Lyle's sheet, 2 m", sheet(2), 1.08137*field.Mu0, 1e-5)
	near(t, "Lyle's sheet, 0.5 m", mu0Of4Pi*sheet(0.5), 28.85335e-7, 1e-5)
}

// A flat spiral of one layer is the mean over pairs of circles in one plane.
func TestFlatSpiral(t *testing.T) {
	for _, build := range []float64{0.5e-3, 20e-3, 40e-3} {
		const inner, width = 10e-3, 1e-9
		sum := gauss24.over(0, 1, func(v float64) float64 {
			s := build * v * v * v
			return 3 * v * v * build * gauss24.over(s/2, build-s/2, func(u float64) float64 { return circles(inner+u+s/2, inner+u-s/2, 0) })
		})
		near(t, "flat spiral", roundWinding(inner, build, width), 2*sum/(build*build), 1e-6)
	}
}

func winding(shape layout.Shape, x, y, corner float64) *layout.Winding {
	return &layout.Winding{Shape: shape, InnerX: x, InnerY: y, Corner: corner, Build: 6e-3, Width: 8e-3, Turns: 60}
}

// An oblong with equal sides and a rectangle that is all corner are round. They
// must not take the round way in, so their shapes differ from a circle by less
// than matters.
func TestShapesThatAreRound(t *testing.T) {
	round := Self(winding(layout.Round, 0.09, 0.09, 0))
	near(t, "oblong", Self(winding(layout.Oblong, 0.09, 0.09+1e-9, 0)), round, 1e-7)
	near(t, "rectangle", Self(winding(layout.Rectangle, 0.09, 0.09, 0.045-1e-10)), round, 1e-7)
}

// wires is a winding's inductance the slow way: every turn a wire of its own, in
// rows and columns of the section, each pair of wires summed chord by chord
// (Neumann), each wire with itself as its mutual inductance with a copy at the
// distance that stands for a round wire's section (0.7788 of its radius, the
// mean distance of a disc's points; textbook, from memory).
func wires(w *layout.Winding, rows, columns, chords int) float64 {
	var turns [][]r3.Vec
	for i := range columns {
		for k := range rows {
			p := turn(w, w.Build*(float64(i)+0.5)/float64(columns))
			z := w.Width * ((float64(k)+0.5)/float64(rows) - 0.5)
			turns = append(turns, polygon(p, z, chords))
		}
	}
	radius := 0.5 * math.Min(w.Build/float64(columns), w.Width/float64(rows))
	sum := 0.0
	for a := range turns {
		for b := range turns {
			lift := 0.0
			if a == b {
				lift = math.Exp(-0.25) * radius
			}
			sum += neumann(turns[a], turns[b], lift)
		}
	}
	return sum
}

func polygon(p path, z float64, chords int) []r3.Vec {
	var out []r3.Vec
	length := 4*(p.hx+p.hy) + 2*math.Pi*p.r
	for q, c := range [4]r2.Vec{{X: p.hx, Y: p.hy}, {X: -p.hx, Y: p.hy}, {X: -p.hx, Y: -p.hy}, {X: p.hx, Y: -p.hy}} {
		n := max(3, int(float64(chords)*math.Pi/2*p.r/length))
		for i := range n + 1 {
			phi := math.Pi / 2 * (float64(q) + float64(i)/float64(n))
			out = append(out, r3.Vec{X: c.X + p.r*math.Cos(phi), Y: c.Y + p.r*math.Sin(phi), Z: z})
		}
	}
	return out
}

// neumann sums two polygons, each side cut fine and the other's potential taken
// in closed form.
func neumann(a, b []r3.Vec, lift float64) float64 {
	sum := 0.0
	for i := range a {
		p, q := a[i], a[(i+1)%len(a)]
		side := r3.Sub(q, p)
		n := 1 + int(r3.Norm(side)/1e-3)
		for k := range n {
			at := r3.Add(p, r3.Scale((float64(k)+0.5)/float64(n), side))
			at.Z += lift
			for m := range b {
				s, e := b[m], b[(m+1)%len(b)]
				d := r3.Sub(e, s)
				l := r3.Norm(d)
				if l < 1e-12 {
					continue
				}
				u := r3.Scale(1/l, d)
				x := r3.Dot(r3.Sub(at, s), u)
				aside := r3.Norm(r3.Cross(u, r3.Sub(at, s)))
				pot := 1e-7 * (math.Asinh((l-x)/aside) + math.Asinh(x/aside))
				sum += pot * r3.Dot(u, side) / float64(n)
			}
		}
	}
	return sum
}

// Against the sum over wires. Wires fill the section less evenly than the model
// does, which is worth some thousandths: a few round wires of the same section
// are compared with the even winding by the same factor in a round coil.
func TestSelfAgainstWires(t *testing.T) {
	const rows, columns, chords = 4, 3, 160
	one := func(w *layout.Winding) float64 {
		less := *w
		less.Turns = rows * columns
		return wires(w, rows, columns, chords) / Self(&less)
	}
	// The factor depends on the length of a turn only through the logarithm.
	factor := one(winding(layout.Round, 0.0925, 0.0925, 0))
	if math.Abs(factor-1) > 0.02 {
		t.Errorf("wires over winding: %g", factor)
	}
	for _, w := range []*layout.Winding{
		winding(layout.Oblong, 0.05, 0.11, 0), winding(layout.Oblong, 0.12, 0.03, 0),
		winding(layout.Rectangle, 0.054, 0.124, 0.012), winding(layout.Rectangle, 0.07, 0.07, 0.005),
	} {
		if got := one(w); math.Abs(got/factor-1) > 1e-3 {
			t.Errorf("%s %g by %g: wires over winding %g, round %g", w.Shape, w.InnerX, w.InnerY, got, factor)
		}
	}
}

// A square of side a of thin wire: L = (2 mu0 a / pi) (ln(a / g) - 0.77401), with
// g the mean distance of the points of the wire's section (Grover 1946, from
// memory): 0.44705 c for a square section of side c (Rosa 1908, from memory).
func TestThinSquare(t *testing.T) {
	const a, c = 0.2, 0.5e-3
	w := &layout.Winding{Shape: layout.Rectangle, InnerX: a - c, InnerY: a - c, Build: c, Width: c, Turns: 1}
	want := 2 * field.Mu0 * a / math.Pi * (math.Log(a/(0.44705*c)) - 0.77401)
	near(t, "thin square", Self(w), want, 2e-3) // the next terms go with c/a, and the outer corners are round here
}

// flux is the mutual inductance of a plan's coils the other way round: the flux
// of the field package's Bz through the area of each turn of the other coil.
func flux(p *layout.Plan, i, j, n int) float64 {
	pad := field.NewPad(p)
	w, c := p.WindingOf(j), &p.Coils[j]
	sin, cos := math.Sincos(c.Turned)
	sum := 0.0
	for k := range 3 {
		for h := range 3 {
			u, z := w.Build*(float64(k)+0.5)/3, w.Width*((float64(h)+0.5)/3-0.5)
			q := turn(w, u)
			y := q.hy + q.r
			for a := range n {
				py := y * (2*(float64(a)+0.5)/float64(n) - 1)
				half := q.hx + q.r
				if over := math.Abs(py) - q.hy; over > 0 {
					half = q.hx + math.Sqrt(q.r*q.r-over*over)
				}
				for b := range n {
					px := half * (2*(float64(b)+0.5)/float64(n) - 1)
					at := r3.Vec{X: c.At.X + cos*px - sin*py, Y: c.At.Y + sin*px + cos*py, Z: z}
					sum += pad.Column(i, at).Z * (2 * half / float64(n)) * (2 * y / float64(n)) / 9
				}
			}
		}
	}
	return float64(p.WindingOf(i).Turns) * float64(w.Turns) * sum
}

func two(a, b *layout.Winding, x, y, turnedA, turnedB float64) *layout.Plan {
	return &layout.Plan{Windings: []layout.Winding{*a, *b}, Coils: []layout.Coil{
		{Winding: 0, Turned: turnedA, At: r2.Vec{X: 0.2, Y: 0.3}}, {Winding: 1, Turned: turnedB, At: r2.Vec{X: 0.2 + x, Y: 0.3 + y}}}}
}

func TestMutualAgainstFlux(t *testing.T) {
	round, small := winding(layout.Round, 0.09, 0.09, 0), winding(layout.Round, 0.05, 0.05, 0)
	oblong, rect := winding(layout.Oblong, 0.05, 0.11, 0), winding(layout.Rectangle, 0.054, 0.124, 0.012)
	sharp := winding(layout.Rectangle, 0.054, 0.124, 0)
	for name, p := range map[string]*layout.Plan{
		"round beside round":     two(round, round, 0.15, 0, 0, 0),
		"round touching round":   two(round, round, 0.102, 0, 0, 0),
		"round in round":         two(round, winding(layout.Round, 0.03, 0.03, 0), 0.005, 0.01, 0, 0),
		"round and small":        two(round, small, 0.06, 0.09, 0, 0),
		"oblong beside oblong":   two(oblong, oblong, 0.08, 0.01, 0.2, -0.3),
		"round beside oblong":    two(round, oblong, 0.10, 0.03, 0, 0.5),
		"oblong beside round":    two(oblong, round, 0.10, 0.03, 0.5, 0),
		"rectangle beside round": two(rect, round, 0.02, 0.14, 0.1, 0),
		"far away":               two(rect, oblong, 0.5, 0.2, 1, 2),
		// The straight sides of one lie in the lines of the other's.
		"rectangles in line":       two(rect, rect, 0.08, 0, 0, 0),
		"rectangles in a column":   two(rect, rect, 0, 0.15, 0, 0),
		"oblongs in line":          two(oblong, oblong, 0.08, 0, 0, 0),
		"sharp rectangles in line": two(sharp, sharp, 0.08, 0, 0, 0),
	} {
		got, fine := mutual(p, 0, 1), 60
		if name == "round touching round" {
			fine = 250 // the field changes fast beside copper
		}
		want := flux(p, 0, 1, fine)
		if math.Abs(got/want-1) > 4e-3 { // the grid of the flux is good to that beside copper
			t.Errorf("%s: got %g, flux gives %g, off by %.2g", name, got, want, got/want-1)
		}
		near(t, name+", both ways", mutual(p, 1, 0), got, 1e-6)
	}
}

// Where the way to compute changes with the distance, the result does not.
func TestMutualFarApart(t *testing.T) {
	w, o := winding(layout.Round, 0.09, 0.09, 0), winding(layout.Oblong, 0.05, 0.11, 0)
	for name, pair := range map[string][2]*layout.Winding{"rounds": {w, w}, "oblongs": {o, o}, "both": {w, o}} {
		a, b := pair[0], pair[1]
		r := math.Hypot(a.HalfExtent().X, a.HalfExtent().Y) + math.Hypot(b.HalfExtent().X, b.HalfExtent().Y)
		for _, at := range []float64{1 + 12e-3/r, 2, 5} {
			near := mutual(two(a, b, r*at*(1-1e-9), 0, 0, 0.4), 0, 1)
			far := mutual(two(a, b, r*at*(1+1e-9), 0, 0, 0.4), 0, 1)
			// A dipole knows nothing of an oblong's direction.
			within := 5e-4
			if name != "rounds" && at == 5 {
				within = 1e-2
			}
			if math.Abs(far/near-1) > within {
				t.Errorf("%s at %g times touching: %g just within, %g just beyond", name, at, near, far)
			}
		}
	}
}

// Both ways the same, and in the mirror the same, whatever the coils.
func TestMutualSymmetry(t *testing.T) {
	shapes := []layout.Shape{layout.Round, layout.Oblong, layout.Rectangle}
	rapid.Check(t, func(t *rapid.T) {
		draw := func() *layout.Winding {
			x := rapid.Float64Range(0.03, 0.1).Draw(t, "x")
			y := rapid.Float64Range(0.03, 0.1).Draw(t, "y")
			s := rapid.SampledFrom(shapes).Draw(t, "shape")
			if s == layout.Round {
				y = x
			}
			return winding(s, x, y, 0.3*math.Min(x, y)*rapid.Float64Range(0, 1).Draw(t, "corner"))
		}
		a, b := draw(), draw()
		x, y := rapid.Float64Range(0.16, 0.4).Draw(t, "dx"), rapid.Float64Range(-0.2, 0.2).Draw(t, "dy")
		ta, tb := rapid.Float64Range(-2, 2).Draw(t, "ta"), rapid.Float64Range(-2, 2).Draw(t, "tb")
		m := mutual(two(a, b, x, y, ta, tb), 0, 1)
		if back := mutual(two(a, b, x, y, ta, tb), 1, 0); math.Abs(back/m-1) > 1e-5 {
			t.Fatalf("one way %g, the other %g", m, back)
		}
		if mirrored := mutual(two(a, b, x, -y, -ta, -tb), 0, 1); math.Abs(mirrored/m-1) > 1e-6 {
			t.Fatalf("%g, in the mirror %g", m, mirrored)
		}
		if m >= 0 {
			t.Fatalf("coils beside each other: %g", m)
		}
	})
}

func TestMatrix(t *testing.T) {
	w, o := winding(layout.Round, 0.09, 0.09, 0), winding(layout.Oblong, 0.05, 0.11, 0)
	p := two(w, o, 0.15, 0.02, 0, 0.3)
	p.Coils = append(p.Coils, layout.Coil{Winding: 0, At: r2.Vec{X: 0.2, Y: 0.45}}, layout.Coil{Winding: 0, At: r2.Vec{X: 0.35, Y: 0.45}})
	m := Matrix(p)
	for i := range m {
		for j := range m {
			near(t, "entry", m[i][j], mutual(p, i, j), 1e-6)
		}
	}
}

func BenchmarkSelf(b *testing.B) {
	for name, w := range map[string]*layout.Winding{"round": winding(layout.Round, 0.09, 0.09, 0), "rectangle": winding(layout.Rectangle, 0.054, 0.124, 0.012)} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				Self(w)
			}
		})
	}
}

func BenchmarkMutual(b *testing.B) {
	w, o := winding(layout.Round, 0.09, 0.09, 0), winding(layout.Oblong, 0.05, 0.11, 0)
	for name, p := range map[string]*layout.Plan{"round": two(w, w, 0.15, 0, 0, 0), "oblong": two(o, o, 0.15, 0, 0, 0)} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				mutual(p, 0, 1)
			}
		})
	}
}
