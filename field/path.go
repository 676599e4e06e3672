package field

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/layout"
)

// path is the inner outline of an oblong or rectangular winding: a rectangle
// of straight lengths 2*lx and 2*ly between corner arcs of radius r. A turn at
// outward distance u is the parallel curve.
//
// It is summed in eight parts, a side and a corner to each quarter turn q. In a
// quarter's own frame, turned by q times 90 degrees, the side lies at the right
// and carries its current along +y, and the corner goes on from its upper end.
type path struct{ lx, ly, r float64 }

func pathOf(w *layout.Winding) path {
	half := w.HalfStraight()
	return path{lx: half.X, ly: half.Y, r: w.CornerRadius()}
}

// radius is that of the sphere about the copper.
func (p path) radius(s section) float64 {
	return hypot(hypot(p.lx, p.ly)+p.r+s.build, s.half)
}

// quarter gives a point in quarter q's frame, and the centre of its corner.
func (p path) quarter(q int, at r3.Vec) (local r3.Vec, cx, cy float64) {
	switch q {
	case 0:
		return at, p.lx, p.ly
	case 1:
		return r3.Vec{X: at.Y, Y: -at.X, Z: at.Z}, p.ly, p.lx
	case 2:
		return r3.Vec{X: -at.X, Y: -at.Y, Z: at.Z}, p.lx, p.ly
	default:
		return r3.Vec{X: -at.Y, Y: at.X, Z: at.Z}, p.ly, p.lx
	}
}

// back turns a field in quarter q's frame into the coil's.
func back(q int, b r3.Vec) r3.Vec {
	switch q {
	case 0:
		return b
	case 1:
		return r3.Vec{X: -b.Y, Y: b.X, Z: b.Z}
	case 2:
		return r3.Vec{X: -b.X, Y: -b.Y, Z: b.Z}
	default:
		return r3.Vec{X: b.Y, Y: -b.X, Z: b.Z}
	}
}

// perAmpere is mu0 / 4 pi.
const perAmpere = Mu0 / (4 * math.Pi)

// winding is the field of the whole section per ampere-turn.
func (p path) winding(s section, at r3.Vec) r3.Vec {
	var sum r3.Vec
	var nodes arcNodes
	for q := range 4 {
		at, cx, cy := p.quarter(q, at)
		var b r3.Vec
		if cy > 0 {
			u := at.X - cx - p.r
			gap := hypot(s.gap(u, at.Z), max(0, math.Abs(at.Y)-cy))
			s.each(u, at.Z, gap, acrossPath, func(v, h, share float64) {
				x, z := side(cy, u-v, at.Y, at.Z-h)
				b.X += share * x
				b.Z += share * z
			})
		}
		x, y := at.X-cx, at.Y-cy
		gap := hypot(cornerGap(s, p.r, x, y), max(0, math.Abs(at.Z)-s.half))
		arc := nodes.towards(p.r+s.build, x, y, gap)
		s.each(hypot(x, y)-p.r, at.Z, gap, acrossPath, func(v, h, share float64) {
			f := arc.field(p.r+v, x, y, at.Z-h)
			b.X += share * f.X
			b.Y += share * f.Y
			b.Z += share * f.Z
		})
		sum = r3.Add(sum, back(q, b))
	}
	return r3.Scale(perAmpere, sum)
}

// side is the field, over mu0/4pi, of a straight filament of half length b along
// y that carries one ampere along +y, at (x, z) off its line and y off its
// middle (Hanson and Hirshman, Physics of Plasmas 9 (2002) 4410, eq. 9, from
// memory). It is zero on the filament's own line.
func side(b, x, y, z float64) (bx, bz float64) {
	off := x*x + z*z
	if off == 0 {
		return 0, 0
	}
	lo, hi := y+b, y-b
	r1, r2 := math.Sqrt(off+lo*lo), math.Sqrt(off+hi*hi)
	var k float64
	if lo*hi < 0 { // beside the filament, where their sum cancels
		k = (lo*r2 - hi*r1) / (r1 * r2 * off)
	} else {
		k = 2 * b * (r1 + r2) / (r1 * r2 * (r1*r2 + off + lo*hi))
	}
	return k * z, -k * x
}

// cornerGap is how far (x, y) lies in plan from the copper of a corner about the
// origin, from radius r to r plus the build in the first quadrant.
func cornerGap(s section, r, x, y float64) float64 {
	in, out := hypot(max(0, x), max(0, y)), hypot(min(0, x), min(0, y))
	return hypot(out, max(0, max(r-in, in-r-s.build)))
}
