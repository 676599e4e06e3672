package inductance

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/field"
	"polewise/layout"
)

// Self is the inductance of a winding by itself in henries.
//
// A round one is integrated as it is. Any other is a round one of the same
// section whose turns are as long, plus the difference of the two: close by,
// both are alike, so that the difference is smooth over the section and a few
// points of it will do.
func Self(w *layout.Winding) float64 {
	n2 := float64(w.Turns) * float64(w.Turns)
	inner := turn(w, 0)
	l := roundWinding(inner.equalRound(), w.Build, w.Width)
	if inner.round() {
		return n2 * l
	}
	diff := 0.0
	for i, x := range gauss3.x {
		for k, y := range gauss3.x {
			for h, z := range gauss3.x {
				u, v := w.Build*(1+x)/2, w.Build*(1+y)/2
				// Heights of two points of a width are t apart with a weight that
				// falls from 2 at 0 to 0 at the width: the root makes it even.
				t := w.Width * (1 - math.Sqrt((1-z)/2))
				weight := gauss3.w[i] * gauss3.w[k] * gauss3.w[h] / 8
				diff += weight * excess(turn(w, u), turn(w, v), t)
			}
		}
	}
	return n2 * (l + diff)
}

// excess is the mutual inductance of two turns of a winding, t apart in height,
// less that of the two circles as long as they are.
func excess(a, b path, t float64) float64 {
	m := 4 * b.walk(1, math.Hypot(a.r-b.r, t), math.Inf(1), func(at, along r2.Vec) float64 { return r2.Dot(a.potential(at, t), along) })
	return m - circles(a.equalRound(), b.equalRound(), t)
}

// mutual is the mutual inductance of coils i and j of a plan in henries, both
// with their current counter-clockwise seen from above. The coils must be two
// that do not overlap; for i = j it is Self.
func mutual(p *layout.Plan, i, j int) float64 {
	if i == j {
		return Self(p.WindingOf(i))
	}
	// The field of a round coil is cheaper: it is the one that is walked through.
	a, b := i, j
	if p.WindingOf(b).Shape == layout.Round && p.WindingOf(a).Shape != layout.Round {
		a, b = b, a
	}
	wa, wb := p.WindingOf(a), p.WindingOf(b)
	ca, cb := &p.Coils[a], &p.Coils[b]
	sin, cos := math.Sincos(cb.Turned - ca.Turned)
	sinA, cosA := math.Sincos(ca.Turned)
	d := r2.Sub(cb.At, ca.At)
	centre := r2.Vec{X: cosA*d.X + sinA*d.Y, Y: -sinA*d.X + cosA*d.Y} // of b, in a's axes

	// How near the copper of one may come to that of the other bounds the panels.
	ea, eb := wa.HalfExtent(), wb.HalfExtent()
	free := math.Max(r2.Norm(d)-math.Hypot(ea.X, ea.Y)-math.Hypot(eb.X, eb.Y), 0)
	most := math.Max(free/2, math.Min(wa.Build, wb.Build))

	// Side by side, the sections are taken apart finely; farther off, two radii of
	// each and the mean square of how far apart in height their points are will
	// do; then the mean turn; and from far off, every coil is a dipole.
	ra, rb := math.Hypot(ea.X, ea.Y), math.Hypot(eb.X, eb.Y)
	if r2.Norm(d) > 5*(ra+rb) {
		return float64(wa.Turns) * float64(wb.Turns) * dipoles(wa, wb, r2.Norm(d))
	}
	share := 1.0
	radii, heights := &gauss2, []apart{{math.Sqrt((wa.Width*wa.Width + wb.Width*wb.Width) / 12), 1}}
	if free < 2*math.Max(wa.Build, wb.Build) {
		radii, heights = &gauss3, heightsApart(wa.Width, wb.Width)
	} else if r2.Norm(d) > 2*(ra+rb) {
		radii = &gauss1
		share = meanArea(wa) / turn(wa, wa.Build/2).area() * meanArea(wb) / turn(wb, wb.Build/2).area()
	}
	sum := 0.0
	for k, x := range radii.x {
		for l, y := range radii.x {
			from, to := turn(wa, wa.Build*(1+x)/2), turn(wb, wb.Build*(1+y)/2)
			for _, h := range heights {
				sum += radii.w[k] * radii.w[l] / 4 * h.weight * to.walk(4, most, most, func(at, along r2.Vec) float64 {
					q := r2.Vec{X: centre.X + cos*at.X - sin*at.Y, Y: centre.Y + sin*at.X + cos*at.Y}
					v := r2.Vec{X: cos*along.X - sin*along.Y, Y: sin*along.X + cos*along.Y}
					return r2.Dot(from.potential(q, h.z), v)
				})
			}
		}
	}
	return float64(wa.Turns) * float64(wb.Turns) * share * sum
}

// dipoles is the mutual inductance of two turns far apart in one plane, for a
// single turn each: -mu0 S1 S2 / (4 pi d^3) with S the area of the mean turn, and
// the next term, exact for circles, 9/8 (a^2 + b^2) / d^2 of it (from the loop's
// field in its own plane, mu0 (K - E / (1 - x^2)) / (pi rho) with x = a / rho,
// expanded in x and averaged over the other circle).
func dipoles(a, b *layout.Winding, d float64) float64 {
	sa, sb := meanArea(a), meanArea(b)
	return -field.Mu0 * sa * sb / (4 * math.Pi * d * d * d) * (1 + 9./8*(sa+sb)/(math.Pi*d*d))
}

// meanArea is the area that a winding's turns enclose on average: that of the
// mean turn and a little more, since the outer ones enclose more than the inner
// ones lack.
func meanArea(w *layout.Winding) float64 {
	return turn(w, w.Build/2).area() + math.Pi*w.Build*w.Build/12
}

// apart is a distance in height, and its share of all pairs of points.
type apart struct{ z, weight float64 }

// heightsApart lists how far apart in height points of two widths are: three
// points of each, pairs at equal distance taken together.
func heightsApart(a, b float64) []apart {
	var out []apart
	for i, x := range gauss3.x {
		for k, y := range gauss3.x {
			z, w := math.Abs(a*x-b*y)/2, gauss3.w[i]*gauss3.w[k]/4
			at := slices.IndexFunc(out, func(o apart) bool { return math.Abs(o.z-z) < 1e-9 })
			if at < 0 {
				out = append(out, apart{z, w})
			} else {
				out[at].weight += w
			}
		}
	}
	return out
}

// Matrix is the inductance of every coil of a plan with every other, henries,
// current counter-clockwise seen from above. Coils that lie alike are computed
// once.
func Matrix(p *layout.Plan) [][]float64 {
	n := len(p.Coils)
	out := make([][]float64, n)
	for i := range out {
		out[i] = make([]float64, n)
	}
	self := map[int]float64{}
	type pair struct {
		a, b         int
		x, y, ta, tb int64 // in units of a nanometre and a millionth of a degree
	}
	seen := map[pair]float64{}
	const nano, micro = 1e9, 1e6 * 180 / math.Pi
	for i := range n {
		w := p.Coils[i].Winding
		if _, ok := self[w]; !ok {
			self[w] = Self(&p.Windings[w])
		}
		out[i][i] = self[w]
		for j := range i {
			a, b := &p.Coils[i], &p.Coils[j]
			if a.Winding > b.Winding {
				a, b = b, a
			}
			d := r2.Sub(b.At, a.At)
			key := pair{a.Winding, b.Winding, int64(math.Round(d.X * nano)), int64(math.Round(d.Y * nano)), int64(math.Round(a.Turned * micro)), int64(math.Round(b.Turned * micro))}
			if p.WindingOf(i).Shape == layout.Round && p.WindingOf(j).Shape == layout.Round {
				key = pair{a: a.Winding, b: b.Winding, x: int64(math.Round(r2.Norm(d) * nano))}
			}
			m, ok := seen[key]
			if !ok {
				m = mutual(p, i, j)
				seen[key] = m
			}
			out[i][j], out[j][i] = m, m
		}
	}
	return out
}
