package field

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/layout"
)

// path is the inner outline of an oblong or rectangular winding: a rectangle
// of straight lengths 2*lx and 2*ly between corner arcs of radius r.
type path struct{ lx, ly, r float64 }

func pathOf(w *layout.Winding) path {
	r := w.Corner
	if w.Shape != layout.Rectangle {
		r = math.Min(w.InnerX, w.InnerY) / 2
	}
	return path{lx: w.InnerX/2 - r, ly: w.InnerY/2 - r, r: r}
}

// outward is how far outside the inner outline a point lies, negative inside.
func (p path) outward(x, y float64) float64 {
	dx, dy := math.Abs(x)-p.lx, math.Abs(y)-p.ly
	return math.Hypot(math.Max(dx, 0), math.Max(dy, 0)) + math.Min(math.Max(dx, dy), 0) - p.r
}

// turn is the field of one turn, the parallel curve at u, carrying one ampere
// counter-clockwise, at a point relative to the turn's plane.
func (p path) turn(u float64, at r3.Vec) r3.Vec {
	r := p.r + u
	x, y := p.lx+r, p.ly+r // the straight sides lie at +-x and +-y
	var b r3.Vec
	if p.lx > 0 {
		b = r3.Add(b, segment(r3.Vec{X: p.lx, Y: y}, r3.Vec{X: -p.lx, Y: y}, at))
		b = r3.Add(b, segment(r3.Vec{X: -p.lx, Y: -y}, r3.Vec{X: p.lx, Y: -y}, at))
	}
	if p.ly > 0 {
		b = r3.Add(b, segment(r3.Vec{X: x, Y: -p.ly}, r3.Vec{X: x, Y: p.ly}, at))
		b = r3.Add(b, segment(r3.Vec{X: -x, Y: p.ly}, r3.Vec{X: -x, Y: -p.ly}, at))
	}
	if r > 0 {
		for q := 0; q < 4; q++ {
			b = r3.Add(b, p.arc(q, r, at))
		}
	}
	return b
}

// segment is the field of a straight filament from p to q carrying one ampere
// (Hanson and Hirshman, Physics of Plasmas 9 (2002) 4410, eq. 9, from memory).
// It is zero on the filament's own line and infinite on the filament.
func segment(p, q, at r3.Vec) r3.Vec {
	ri, rf := r3.Sub(at, p), r3.Sub(at, q)
	i, f := r3.Norm(ri), r3.Norm(rf)
	den := i * f * (i*f + r3.Dot(ri, rf))
	c := r3.Cross(ri, rf)
	if den == 0 || r3.Norm2(c) == 0 {
		return r3.Vec{}
	}
	return r3.Scale(Mu0/(4*math.Pi)*(i+f)/den, c)
}

// arc is the field of corner q (0: +x +y, counter-clockwise from there), a
// quarter circle of radius r, by Gauss-Legendre along the arc.
func (p path) arc(q int, r float64, at r3.Vec) r3.Vec {
	cx, cy := p.lx, p.ly
	if q == 1 || q == 2 {
		cx = -cx
	}
	if q >= 2 {
		cy = -cy
	}
	// Distance to the full circle, for the order. Close to the arc it is cut.
	dx, dy := at.X-cx, at.Y-cy
	gap := math.Hypot(math.Hypot(dx, dy)-r, at.Z)
	n, parts := 8, 1
	switch ratio := gap / r; {
	case ratio > 2:
	case ratio > 0.8:
		n = 14
	case ratio > 0.3:
		n, parts = 16, 2
	case ratio > 0.1:
		n, parts = 16, 4
	case ratio > 0.03:
		n, parts = 16, 8
	default:
		n, parts = 20, 16
	}
	g := gauss(n)
	var b r3.Vec
	step := math.Pi / 2 / float64(parts)
	for k := 0; k < parts; k++ {
		mid := float64(q)*math.Pi/2 + (float64(k)+0.5)*step
		for i, x := range g.x {
			sin, cos := math.Sincos(mid + x*step/2)
			rx, ry := dx-r*cos, dy-r*sin
			d2 := rx*rx + ry*ry + at.Z*at.Z
			w := g.w[i] / (d2 * math.Sqrt(d2))
			// dl = r (-sin, cos, 0) dphi; dl x (rx, ry, z).
			b.X += w * cos * at.Z
			b.Y += w * sin * at.Z
			b.Z -= w * (sin*ry + cos*rx)
		}
	}
	return r3.Scale(Mu0/(4*math.Pi)*r*step/2, b)
}
