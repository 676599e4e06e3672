package field

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"polewise/layout"
)

// halving sums f over the section by cutting it in half until no piece is
// longer than its distance from the reader, with n by n Gauss points in each:
// the reference for the rules in section.go, converged outside the copper.
func (s section) halving(n int, u, z float64, f func(u, z, share float64)) {
	g := gauss(n)
	var piece func(u0, u1, z0, z1 float64, depth int)
	piece = func(u0, u1, z0, z1 float64, depth int) {
		du := math.Max(0, math.Max(u0-u, u-u1))
		dz := math.Max(0, math.Max(z0-z, z-z1))
		if depth > 0 && math.Max(u1-u0, z1-z0) > math.Hypot(du, dz) {
			if mu, mz := (u0+u1)/2, (z0+z1)/2; u1-u0 > z1-z0 {
				piece(u0, mu, z0, z1, depth-1)
				piece(mu, u1, z0, z1, depth-1)
			} else {
				piece(u0, u1, z0, mz, depth-1)
				piece(u0, u1, mz, z1, depth-1)
			}
			return
		}
		share := (u1 - u0) * (z1 - z0) / 4 / (s.build * 2 * s.half)
		for i, x := range g.x {
			for k, y := range g.x {
				f((u0+u1)/2+(u1-u0)/2*x, (z0+z1)/2+(z1-z0)/2*y, g.w[i]*g.w[k]*share)
			}
		}
	}
	piece(0, s.build, -s.half, s.half, 30)
}

// roundExact is the field of a round winding by halving.
func roundExact(n int, inner, build, width, rho, z float64) (bRho, bZ float64) {
	section{build: build, half: width / 2}.halving(n, rho-inner, z, func(u, h, share float64) {
		r, v := Loop(inner+u, rho, z-h)
		bRho += share * r
		bZ += share * v
	})
	return bRho, bZ
}

// drawnRound is a round winding and a point at most some 40 cm off its copper.
type drawnRound struct{ inner, build, width, rho, z float64 }

func (d drawnRound) section() section { return section{build: d.build, half: d.width / 2} }
func (d drawnRound) gap() float64     { return d.section().gap(d.rho-d.inner, d.z) }

// drawRound draws sizes as windings have them and points from nearest to
// farthest evenly by the logarithm of the distance, on all sides, also over the
// edges and on the axis.
func drawRound(rng *rand.Rand, nearest, farthest float64) drawnRound {
	d := drawnRound{inner: between(rng, .008, .12), build: .0004 * math.Exp2(between(rng, 0, 5.6)), width: .0004 * math.Exp2(between(rng, 0, 5.6))}
	gap := nearest * math.Pow(farthest/nearest, rng.Float64())
	along := rng.Float64()
	sin, cos := math.Sincos(math.Pi / 2 * along)
	switch rng.IntN(6) {
	case 0: // over the face
		d.rho, d.z = d.inner+along*d.build, d.width/2+gap
	case 1: // outside
		d.rho, d.z = d.inner+d.build+gap, along*d.width/2
	case 2: // in the bore
		d.rho, d.z = d.inner-min(gap, d.inner), along*d.width/2
	case 3: // off the outer edge
		d.rho, d.z = d.inner+d.build+gap*cos, d.width/2+gap*sin
	case 4: // off the inner edge
		d.rho, d.z = max(0, d.inner-gap*cos), d.width/2+gap*sin
	case 5: // on the axis
		d.rho, d.z = 0, along*farthest
	}
	if rng.IntN(2) == 0 {
		d.z = -d.z
	}
	return d
}

// draws runs f on evenly drawn numbers; rapid finds and keeps a seed that fails.
func draws(t *testing.T, n int, f func(t *rapid.T, rng *rand.Rand)) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		for range n {
			f(t, rng)
		}
	})
}

func between(rng *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }

// off is how far (r, z) is from the reference's (xr, xz), as a share of |B|.
func off(r, z, xr, xz float64) float64 { return math.Hypot(r-xr, z-xz) / math.Hypot(xr, xz) }

// The sum over the section, by which tables are made, against the converged one.
func TestOrdersAreEnough(t *testing.T) {
	worst := 0.0
	draws(t, 20, func(t *rapid.T, rng *rand.Rand) {
		d := drawRound(rng, .001, .4)
		xr, xz := roundExact(8, d.inner, d.build, d.width, d.rho, d.z)
		if cr, cz := roundExact(12, d.inner, d.build, d.width, d.rho, d.z); off(xr, xz, cr, cz) > 1e-9 {
			t.Fatalf("the reference has not converged: %.1e", off(xr, xz, cr, cz))
		}
		r, z := RoundWinding(d.inner, d.build, d.width, d.rho, d.z)
		e := off(r, z, xr, xz)
		worst = max(worst, e)
		if !(e <= 2e-7) {
			t.Fatalf("%+v, %.1f mm off the copper: %.1e", d, d.gap()*1e3, e)
		}
	})
	t.Logf("at most %.1e of |B|", worst)
}

// The tables against the converged sum over the section.
func TestRoundTable(t *testing.T) {
	worst := 0.0
	draws(t, 20, func(t *rapid.T, rng *rand.Rand) {
		d := drawRound(rng, .001, 4)
		xr, xz := roundExact(8, d.inner, d.build, d.width, d.rho, d.z)
		table := newRoundTable(d.inner, d.build, d.width)
		r, z := table.at(d.rho, d.z)
		e := off(r*d.rho, z, xr, xz)
		worst = max(worst, e)
		if !(e <= 1e-6) {
			t.Fatalf("%+v, %.1f mm off the copper: %.1e", d, d.gap()*1e3, e)
		}
	})
	t.Logf("at most %.1e of |B|", worst)
}

// drawPath draws an oblong or rectangular winding and a point off it.
func drawPath(rng *rand.Rand, nearest, farthest float64) (w *layout.Winding, at r3.Vec, gap float64) {
	w = &layout.Winding{Shape: layout.Oblong, InnerX: between(rng, .02, .2), InnerY: between(rng, .02, .2), Build: .0004 * math.Exp2(between(rng, 0, 5.6)), Width: .0004 * math.Exp2(between(rng, 0, 5.6))}
	if rng.IntN(2) == 0 {
		w.Shape, w.Corner = layout.Rectangle, min(w.InnerX, w.InnerY)/2*rng.Float64()
	}
	// A place on the inner path, and from there outward, inward or up. Ends and
	// middles are drawn more often than others.
	p, s := pathOf(w), section{build: w.Build, half: w.Width / 2}
	d := nearest * math.Pow(farthest/nearest, rng.Float64())
	often := func() float64 { return []float64{0, 1, .5, rng.Float64(), rng.Float64(), rng.Float64()}[rng.IntN(6)] }
	along := often()
	place, sin, cos := r3.Vec{X: p.lx + p.r, Y: p.ly * along}, 0.0, 1.0
	switch rng.IntN(3) {
	case 1: // the upper side
		place, sin, cos = r3.Vec{X: p.lx * along, Y: p.ly + p.r}, 1, 0
	case 2: // the corner
		sin, cos = math.Sincos(math.Pi / 2 * along)
		place = r3.Vec{X: p.lx + p.r*cos, Y: p.ly + p.r*sin}
	}
	out, up := often()*w.Build, s.half+d
	switch rng.IntN(4) {
	case 1: // outside
		out, up = w.Build+d, s.half*often()
	case 2: // in the bore
		out, up = -min(d, min(w.InnerX, w.InnerY)/2), s.half*often()
	case 3: // off an edge
		out, up = w.Build+d*rng.Float64(), s.half+d
	}
	at = r3.Vec{X: place.X + cos*out, Y: place.Y + sin*out, Z: up}
	if rng.IntN(2) == 0 {
		at.X = -at.X
	}
	if rng.IntN(2) == 0 {
		at.Y, at.Z = -at.Y, -at.Z
	}
	return w, at, s.gap(p.outward(at.X, at.Y), at.Z)
}

// pathExact is the field of a shaped winding by halving, each turn with its arcs
// cut ever finer towards the reader.
func pathExact(n int, w *layout.Winding, at r3.Vec) (b r3.Vec) {
	p := pathOf(w)
	section{build: w.Build, half: w.Width / 2}.halving(n, p.outward(at.X, at.Y), at.Z, func(u, h, share float64) {
		at := r3.Vec{X: at.X, Y: at.Y, Z: at.Z - h}
		r := p.r + u
		var turn r3.Vec
		for q := range 4 {
			at, cx, cy := p.quarter(q, at)
			x, y := at.X-cx, at.Y-cy
			f := arcHalving(n, r, x, y, at.Z, 0, math.Pi/2)
			if cy > 0 {
				bx, bz := side(cy, x-r, at.Y, at.Z)
				f.X += bx
				f.Z += bz
			}
			turn = r3.Add(turn, back(q, f))
		}
		b = r3.Add(b, r3.Scale(perAmpere*share, turn))
	})
	return b
}

func arcHalving(n int, r, x, y, z, from, to float64) r3.Vec {
	mid := (from + to) / 2
	sin, cos := math.Sincos(mid)
	if length := r * (to - from); length > math.Sqrt((x-r*cos)*(x-r*cos)+(y-r*sin)*(y-r*sin)+z*z) && to-from > 1e-6 || to-from > .8 {
		return r3.Add(arcHalving(n, r, x, y, z, from, mid), arcHalving(n, r, x, y, z, mid, to))
	}
	var b r3.Vec
	g := gauss(n)
	for i, v := range g.x {
		sin, cos := math.Sincos(mid + v*(to-from)/2)
		rx, ry := x-r*cos, y-r*sin
		k := g.w[i] * (to - from) / 2 * r / math.Pow(rx*rx+ry*ry+z*z, 1.5)
		b = r3.Add(b, r3.Vec{X: k * cos * z, Y: k * sin * z, Z: -k * (sin*ry + cos*rx)})
	}
	return b
}

// The sum over a shaped winding's sides and corners against the converged one.
func TestPathOrdersAreEnough(t *testing.T) {
	worst := 0.0
	draws(t, 4, func(t *rapid.T, rng *rand.Rand) {
		w, at, gap := drawPath(rng, .001, .4)
		if gap < .001 {
			return // too near another side
		}
		want := pathExact(8, w, at)
		e := r3.Norm(r3.Sub(fieldOfPath(w).at(at), want)) / r3.Norm(want)
		worst = max(worst, e)
		if !(e <= 8e-7) {
			t.Fatalf("%+v, %v, %.1f mm off the copper: %.1e", w, at, gap*1e3, e)
		}
	})
	t.Logf("at most %.1e of |B|", worst)
}

// The multipoles against the sum over sides and corners, from two radii on.
func TestFarField(t *testing.T) {
	worst := 0.0
	draws(t, 1, func(t *rapid.T, rng *rand.Rand) {
		w, _, _ := drawPath(rng, .001, .4)
		f := fieldOfPath(w)
		d := r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		at := r3.Scale(math.Sqrt(f.reach2)*1.0001*math.Exp2(between(rng, 0, 5)), d)
		want := pathExact(6, w, at)
		e := r3.Norm(r3.Sub(f.at(at), want)) / r3.Norm(want)
		worst = max(worst, e)
		if !(e <= 1e-6) {
			t.Fatalf("%+v, %v: %.1e", w, at, e)
		}
	})
	t.Logf("at most %.1e of |B|", worst)
}

// In the copper and within a millimetre of it: the mean over the section has no
// infinities, and the sum over its corners finds it.
func TestInTheCopper(t *testing.T) {
	worst := [2]float64{}
	rng := rand.New(rand.NewPCG(5, 6))
	f := func(lo, hi float64) float64 { return between(rng, lo, hi) }
	for k := range 24 { // few: the reference is slow here
		w := &layout.Winding{Shape: layout.Oblong, InnerX: f(.02, .15), InnerY: f(.02, .15), Build: f(.002, .015), Width: f(.002, .015)}
		u, z := f(-.0005, w.Build+.0005), f(-.5, .5)*(w.Width+.001)
		// |B| may be next to naught in the copper, so the measure is the field at
		// the inner face.
		_, scale := RoundWinding(w.InnerX/2, w.Build, w.Width, w.InnerX/2, 0)
		rho := w.InnerX/2 + u
		xr, xz := roundExact(8, w.InnerX/2, w.Build, w.Width, rho, z)
		r, v := newRoundTable(w.InnerX/2, w.Build, w.Width).at(rho, z)
		round := math.Hypot(r*rho-xr, v-xz) / scale

		p := pathOf(w)
		sin, cos := math.Sincos(f(.01, 1.56))
		at := r3.Vec{X: p.lx + (p.r+u)*cos, Y: p.ly + (p.r+u)*sin, Z: z}
		if k%2 == 0 {
			at = r3.Vec{X: p.lx + p.r + u, Y: p.ly * f(-1, 1), Z: z}
		}
		path := r3.Norm(r3.Sub(fieldOfPath(w).at(at), pathExact(6, w, at))) / scale
		worst[0], worst[1] = max(worst[0], round), max(worst[1], path)
		if !(round <= 1e-4 && path <= 1e-4) {
			t.Errorf("round %.1e, path %.1e of the field at the inner face: %+v, u %g, z %g, at %v", round, path, w, u, z, at)
		}
	}
	t.Logf("at most %.1e of the field at the inner face (round, path)", worst)
}

// fieldOfPath is the field of an oblong or rectangular winding.
func fieldOfPath(w *layout.Winding) *pathField {
	return newPathField(pathOf(w), section{build: w.Build, half: w.Width / 2})
}

// outward is how far outside the inner outline a point lies, negative inside.
func (p path) outward(x, y float64) float64 {
	dx, dy := math.Abs(x)-p.lx, math.Abs(y)-p.ly
	return math.Hypot(max(dx, 0), max(dy, 0)) + min(max(dx, dy), 0) - p.r
}
