package field

// Independent routes by which the field is checked:
//
//	thin loop        elliptic integrals (the code) | 50-digit quadrature (table) | polygon of segments | axis formula
//	round winding    Gauss over loops (the code)   | nested current sheets (table) | ampere-turns around the bundle
//	shaped winding   segments and arcs (the code)  | 30-digit quadrature (table) | a stadium of equal sides is round
//	any pad          superposition, rotation, mirrors, ampere-turns around a bundle, divergence and curl of free space
//	tables, cells    (exact_test.go) sums over the section refined until they stand still

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"polewise/layout"
)

// mu0Tables is what the tables were made with.
const mu0Tables = 4e-7 * math.Pi

// table reads a CSV file of testdata without its header.
func table(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s: %d rows, %v", name, len(rows), err)
	}
	return rows[1:]
}

func num(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestLoopAgainstTable(t *testing.T) {
	rows := table(t, "loop_field.csv")
	if len(rows) != 61 {
		t.Fatalf("%d points, expected 61", len(rows))
	}
	for _, r := range rows {
		n := func(i int) float64 { return num(t, r[i]) }
		br, bz := Loop(n(2), n(4), n(5))
		hr, hz := br/Mu0*n(3), bz/Mu0*n(3) // A/m: free of mu0
		for k, pair := range [][2]float64{{hr, n(6)}, {hz, n(7)}} {
			if rel := math.Abs(pair[0]-pair[1]) / math.Max(math.Abs(pair[1]), 1e-300); pair[0] != pair[1] && rel > 1e-12 {
				t.Errorf("%s (%s) component %d: %.17g, expected %.17g (relative %.1e)", r[0], r[1], k, pair[0], pair[1], rel)
			}
		}
	}
}

// TestEllipticParameterIsM pins a value that differs between parameter m and
// modulus k: K(m = 0.5) is 1.8540746773 (Abramowitz and Stegun 17.3, from
// memory; the same in Burkardt's TestValues), K(k = 0.5) is 1.6857503548.
func TestEllipticParameterIsM(t *testing.T) {
	if k := mathext.CompleteB(0.5) + mathext.CompleteD(0.5); math.Abs(k-1.8540746773013719) > 1e-14 {
		t.Errorf("K(0.5) = %.16g", k)
	}
}

// On the axis: mu0 a^2 / (2 (a^2 + z^2)^(3/2)), any textbook.
func TestLoopOnItsAxis(t *testing.T) {
	for _, z := range []float64{0, 0.01, -0.03, 0.2} {
		const a = 0.05
		want := Mu0 * a * a / 2 / math.Pow(a*a+z*z, 1.5)
		br, bz := Loop(a, 0, z)
		if br != 0 || math.Abs(bz-want) > 1e-14*want {
			t.Errorf("z %g: (%g, %g), expected (0, %g)", z, br, bz, want)
		}
	}
}

// Helmholtz pair: (4/5)^(3/2) mu0 N I / R at the centre, any textbook.
func TestHelmholtzPair(t *testing.T) {
	const r = 0.15
	_, b := Loop(r, 0, r/2)
	want := math.Pow(0.8, 1.5) * Mu0 / r
	if math.Abs(2*b-want) > 1e-14*want {
		t.Errorf("%g, expected %g", 2*b, want)
	}
}

// Centre of a rectangle: 2 mu0 I sqrt(a^2+b^2) / (pi a b), any textbook.
func TestRectangleCentre(t *testing.T) {
	for _, s := range [][2]float64{{0.08, 0.08}, {0.12, 0.05}} {
		p := path{lx: s[0] / 2, ly: s[1] / 2}
		b := p.turn(0, r3.Vec{})
		want := 2 * Mu0 * math.Hypot(s[0], s[1]) / (math.Pi * s[0] * s[1])
		if math.Abs(b.Z-want) > 1e-13*want || b.X != 0 || b.Y != 0 {
			t.Errorf("%v: %v, expected %g", s, b, want)
		}
	}
}

// gapMM is how far a table point lies from the copper. Less than a millimetre
// away only a sensible value is promised.
func gapMM(inner, build, width, rho, z float64) float64 {
	return section{build: build, half: width / 2}.gap(rho-inner/2, z)
}

func TestRoundWindingsAgainstTable(t *testing.T) {
	kinds := map[string][]string{}
	for _, r := range table(t, "windings.csv") {
		kinds[r[0]] = r
	}
	for _, r := range table(t, "winding_field.csv") {
		w := kinds[r[0]]
		k := func(i int) float64 { return num(t, w[i]) }
		n := func(i int) float64 { return num(t, r[i]) }
		rho, z := n(2)/1e3, n(3)/1e3
		sr, sz := RoundWinding(k(1)/2e3, k(2)/1e3, k(3)/1e3, rho, z)
		tr, tz := newRoundTable(k(1)/2e3, k(2)/1e3, k(3)/1e3).at(rho, z)
		scale := k(4) * 1e6 * mu0Tables / Mu0
		most := 1e-6
		if gapMM(k(1), k(2), k(3), n(2), n(3)) < 0.999 {
			most = 1e-4
		}
		for way, b := range map[string][2]float64{"sum": {sr, sz}, "table": {tr * rho, tz}} {
			if rel := math.Hypot(b[0]*scale-n(4), b[1]*scale-n(5)) / math.Hypot(n(4), n(5)); !(rel <= most) {
				t.Errorf("%s, %s %s: relative %.1e, allowed %.0e", way, r[0], r[1], rel, most)
			}
		}
	}
}

func TestShapedTurnsAgainstTable(t *testing.T) {
	for _, r := range table(t, "shape_field.csv") {
		n := func(i int) float64 { return num(t, r[i]) }
		p := path{lx: n(1)/2e3 - n(3)/1e3, ly: n(2)/2e3 - n(3)/1e3, r: n(3) / 1e3}
		b := r3.Scale(1e6*mu0Tables/Mu0, p.turn(0, r3.Vec{X: n(4) / 1e3, Y: n(5) / 1e3, Z: n(6) / 1e3}))
		want := r3.Vec{X: n(7), Y: n(8), Z: n(9)}
		if rel := r3.Norm(r3.Sub(b, want)) / r3.Norm(want); !(rel <= 5e-7) {
			t.Errorf("%v: %v, expected %v (relative %.1e)", r[:7], b, want, rel)
		}
	}
}

func TestShapedWindingsAgainstTable(t *testing.T) {
	for _, r := range table(t, "shape_winding_field.csv") {
		n := func(i int) float64 { return num(t, r[i]) }
		w := &layout.Winding{Shape: layout.Rectangle, InnerX: n(1) / 1e3, InnerY: n(2) / 1e3, Corner: n(3) / 1e3, Build: n(4) / 1e3, Width: n(5) / 1e3}
		b := r3.Scale(n(6)*1e6*mu0Tables/Mu0, fieldOfPath(w).at(r3.Vec{X: n(7) / 1e3, Y: n(8) / 1e3, Z: n(9) / 1e3}))
		want := r3.Vec{X: n(10), Y: n(11), Z: n(12)}
		if rel := r3.Norm(r3.Sub(b, want)) / r3.Norm(want); !(rel <= 1e-6) {
			t.Errorf("%v: relative %.1e", r[:10], rel)
		}
	}
}

// A stadium of equal sides is a round winding.
func TestRoundByBothRoutes(t *testing.T) {
	w := &layout.Winding{Shape: layout.Oblong, InnerX: 0.09, InnerY: 0.09, Turns: 60, Build: 0.006, Width: 0.008}
	for _, at := range []r3.Vec{{Z: 0.01}, {X: 0.03, Y: 0.01, Z: 0.01}, {X: 0.07, Z: 0.01}, {X: 0.2, Y: 0.1, Z: 0.02}} {
		rho := math.Hypot(at.X, at.Y)
		br, bz := RoundWinding(0.045, 0.006, 0.008, rho, at.Z)
		want := r3.Vec{Z: bz}
		if rho > 0 {
			want = r3.Vec{X: br * at.X / rho, Y: br * at.Y / rho, Z: bz}
		}
		if d := r3.Norm(r3.Sub(fieldOfPath(w).at(at), want)); d > 2e-6*r3.Norm(want) {
			t.Errorf("at %v the two differ by %.1e", at, d/r3.Norm(want))
		}
	}
}

// pad of two round coils and a turned rectangle.
func testPad() (*layout.Plan, *Pad) {
	p := &layout.Plan{
		Windings: []layout.Winding{
			{ID: "r", Shape: layout.Round, InnerX: .09, InnerY: .09, Turns: 60, Build: .006, Width: .008},
			{ID: "s", Shape: layout.Rectangle, InnerX: .1, InnerY: .06, Corner: .01, Turns: 40, Build: .006, Width: .008},
		},
		Coils: []layout.Coil{{ID: "a", At: r2.Vec{}}, {ID: "b", At: r2.Vec{X: .12}}, {ID: "c", Winding: 1, At: r2.Vec{X: .05, Y: .15}, Turned: .4}},
	}
	return p, NewPad(p)
}

// Signs: current counter-clockwise from above points up in the bore and down
// just outside; the other way round it is the other way round; and on the line
// of symmetry nothing points sideways.
func TestSigns(t *testing.T) {
	_, pad := testPad()
	in, out := r3.Vec{X: 0.01, Z: 0.01}, r3.Vec{X: -0.065, Z: 0.002}
	for _, a := range []float64{1, -1} {
		at := []float64{a, 0, 0}
		if b := pad.At(at, in).Z; b*a <= 0 {
			t.Errorf("%+g ampere-turns: %g in the bore", a, b)
		}
		if b := pad.At(at, out).Z; b*a >= 0 {
			t.Errorf("%+g ampere-turns: %g outside", a, b)
		}
	}
	if b := pad.Column(0, r3.Vec{Z: 0.01}); b.X != 0 || b.Y != 0 {
		t.Errorf("on the axis: %v", b)
	}
	// A flipped sign does not pass: the check above can fail.
	if b := pad.At([]float64{-1, 0, 0}, in).Z; b > 0 {
		t.Error("a coil driven backwards points up")
	}
}

func TestColumnsAddUp(t *testing.T) {
	_, pad := testPad()
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		at := r3.Vec{X: f("x", -.2, .3), Y: f("y", -.2, .3), Z: f("z", .006, .1)}
		turns := []float64{f("a", -50, 50), f("b", -50, 50), f("c", -50, 50)}
		var sum r3.Vec
		for j, c := range pad.Columns(nil, at) {
			if c != pad.Column(j, at) {
				t.Fatalf("column %d differs from itself", j)
			}
			sum = r3.Add(sum, r3.Scale(turns[j], c))
		}
		if d := r3.Norm(r3.Sub(sum, pad.At(turns, at))); d > 1e-15*(1+r3.Norm(sum)) {
			t.Fatalf("sum and total differ by %g", d)
		}
	})
}

// Free space has neither divergence nor curl (Maxwell's laws): by central
// differences, relative to the size of the slopes themselves.
func TestNoDivergenceNoCurl(t *testing.T) {
	_, pad := testPad()
	turns := []float64{1, -0.7, 1.3}
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		at := r3.Vec{X: f("x", -.15, .25), Y: f("y", -.15, .25), Z: f("z", .012, .08)}
		const h = 1e-4      // a difference over more would miss the bend of the field beside the copper
		var j [3][3]float64 // dB_i/dx_k
		for k, e := range []r3.Vec{{X: h}, {Y: h}, {Z: h}} {
			d := r3.Scale(1/(2*h), r3.Sub(pad.At(turns, r3.Add(at, e)), pad.At(turns, r3.Sub(at, e))))
			j[0][k], j[1][k], j[2][k] = d.X, d.Y, d.Z
		}
		size := 0.0
		for i := range j {
			for k := range j {
				size += j[i][k] * j[i][k]
			}
		}
		size = math.Sqrt(size)
		for name, v := range map[string]float64{"divergence": j[0][0] + j[1][1] + j[2][2], "curl x": j[2][1] - j[1][2], "curl y": j[0][2] - j[2][0], "curl z": j[1][0] - j[0][1]} {
			if math.Abs(v) > 2e-3*size {
				t.Fatalf("%s is %.1e of the slopes at %v", name, v/size, at)
			}
		}
	})
}

// drawPad draws two to four coils of any shape and size, turned, not overlapping.
func drawPad(rng *rand.Rand) *layout.Plan {
	p := &layout.Plan{}
	for k := range 2 + rng.IntN(3) {
		w, _, _ := drawPath(rng, .01, .1)
		if rng.IntN(3) == 0 {
			w.Shape, w.InnerY = layout.Round, w.InnerX
		}
		p.Windings = append(p.Windings, *w)
		p.Coils = append(p.Coils, layout.Coil{Winding: k, At: r2.Vec{X: .35 * float64(k%2), Y: .35 * float64(k/2)}, Turned: between(rng, -3, 3)})
	}
	return p
}

// Once around the bundle of one coil the field's line integral is mu0 times its
// ampere-turns (Ampere's law), whatever its shape and wherever it is cut, with
// all other coils driven too: their copper is not encircled.
func TestCirculation(t *testing.T) {
	worst := 0.0
	draws(t, 2, func(t *rapid.T, rng *rand.Rand) {
		p := drawPad(rng)
		pad := NewPad(p)
		turns := make([]float64, len(p.Coils))
		for j := range turns {
			turns[j] = between(rng, 20, 100) * float64(1-2*rng.IntN(2))
		}
		j := rng.IntN(len(turns))
		c, w := &p.Coils[j], p.WindingOf(j)
		// Across the side that lies towards the coil's own +x, some way along it.
		along := (rng.Float64() - .5) * 2 * pathOf(w).ly
		if w.Shape == layout.Round {
			along = 0
		}
		sin, cos := math.Sincos(c.Turned)
		middle := w.InnerX/2 + w.Build/2
		radius := math.Hypot(w.Build, w.Width)/2 + between(rng, .0015, .006)
		if radius > middle {
			return // no room in the bore
		}
		const n = 600
		sum := 0.0
		for i := range n {
			s, k := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / n)
			x := middle + radius*k
			b := pad.At(turns, r3.Vec{X: c.At.X + cos*x - sin*along, Y: c.At.Y + sin*x + cos*along, Z: radius * s})
			sum += (-s*(cos*b.X+sin*b.Y) + k*b.Z) * radius * 2 * math.Pi / n
		}
		// Counter-clockwise in x and z seen from -y encloses current along +y
		// with a minus sign: the coil's right side carries it away from the reader.
		e := math.Abs(-sum/Mu0/turns[j] - 1)
		worst = max(worst, e)
		if !(e <= 2e-6) {
			t.Fatalf("coil %d of %+v: %.9f of its ampere-turns", j, p, -sum/Mu0/turns[j])
		}
	})
	t.Logf("at most %.1e of the ampere-turns", worst)
}

// Turned about the pad's z, or seen in a mirror, coils and field go along. In a
// mirror that turns x over, currents run the other way round, and a field, which
// is an axial vector, keeps its x and has its y and z turned over; in the coils'
// own plane it keeps its z.
func TestRotationAndMirrors(t *testing.T) {
	draws(t, 4, func(t *rapid.T, rng *rand.Rand) {
		p := drawPad(rng)
		turned, mirrored := *p, *p
		turned.Coils = append([]layout.Coil(nil), p.Coils...)
		mirrored.Coils = append([]layout.Coil(nil), p.Coils...)
		angle := between(rng, -3, 3)
		sin, cos := math.Sincos(angle)
		turns, back := make([]float64, len(p.Coils)), make([]float64, len(p.Coils))
		for j := range p.Coils {
			at := p.Coils[j].At
			turned.Coils[j].At = r2.Vec{X: cos*at.X - sin*at.Y, Y: sin*at.X + cos*at.Y}
			turned.Coils[j].Turned += angle
			mirrored.Coils[j].At.X = -at.X
			mirrored.Coils[j].Turned *= -1
			turns[j] = between(rng, -100, 100)
			back[j] = -turns[j]
		}
		at := r3.Vec{X: between(rng, -.2, .6), Y: between(rng, -.2, .6), Z: between(rng, .03, .1)}
		b := NewPad(p).At(turns, at)
		for name, pair := range map[string][2]r3.Vec{
			"turned": {NewPad(&turned).At(turns, r3.Vec{X: cos*at.X - sin*at.Y, Y: sin*at.X + cos*at.Y, Z: at.Z}),
				{X: cos*b.X - sin*b.Y, Y: sin*b.X + cos*b.Y, Z: b.Z}},
			"in a mirror across x": {NewPad(&mirrored).At(back, r3.Vec{X: -at.X, Y: at.Y, Z: at.Z}), {X: b.X, Y: -b.Y, Z: -b.Z}},
			"from below":           {NewPad(p).At(turns, r3.Vec{X: at.X, Y: at.Y, Z: -at.Z}), {X: -b.X, Y: -b.Y, Z: b.Z}},
			"driven backwards":     {NewPad(p).At(back, at), r3.Scale(-1, b)},
		} {
			// Coils may be read by the sum in one frame and by multipoles in the
			// other, each good to 1e-6 of its own field.
			scale := 0.0
			for j := range turns {
				scale += math.Abs(turns[j]) * r3.Norm(NewPad(p).Column(j, at))
			}
			if d := r3.Norm(r3.Sub(pair[0], pair[1])); d > 1e-6*scale {
				t.Fatalf("%s: %v, expected %v, at %v of %+v", name, pair[0], pair[1], at, p)
			}
		}
	})
}

// A hand-checkable number: at the centre of a loop of 5 cm radius one ampere
// makes mu0/(2a) = 4 pi 1e-7 / 0.1 T = 12.566 uT.
func ExampleLoop() {
	_, bz := Loop(0.05, 0, 0)
	fmt.Printf("%.3f uT\n", bz*1e6)
	// Output: 12.566 uT
}

// turn is the field of one turn, the parallel curve at u, carrying one ampere
// counter-clockwise, at a point relative to the turn's plane.
func (p path) turn(u float64, at r3.Vec) r3.Vec {
	r := p.r + u
	var sum r3.Vec
	var nodes arcNodes
	for q := range 4 {
		at, cx, cy := p.quarter(q, at)
		var b r3.Vec
		if cy > 0 {
			b.X, b.Z = side(cy, at.X-cx-r, at.Y, at.Z)
		}
		if r > 0 {
			x, y := at.X-cx, at.Y-cy
			b = r3.Add(b, nodes.towards(r, x, y, hypot(cornerGap(section{}, r, x, y), at.Z)).field(r, x, y, at.Z))
		}
		sum = r3.Add(sum, back(q, b))
	}
	return r3.Scale(perAmpere, sum)
}
