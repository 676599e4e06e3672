package field

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/layout"
)

// section is the rectangle a winding's copper fills: u runs outward from the
// inner path (0 to build), z along the axis (-width/2 to width/2), metres.
type section struct{ build, half float64 }

// gap is the distance from the section to a point at outward distance u and
// height z; 0 inside.
func (s section) gap(u, z float64) float64 {
	du := math.Max(0, math.Max(-u, u-s.build))
	dz := math.Max(0, math.Abs(z)-s.half)
	return math.Hypot(du, dz)
}

// pieces cuts the section at a point inside it, so that the integrand's
// singularity lies in corners only; outside it is one piece.
func (s section) pieces(u, z float64) (us, zs []float64) {
	us, zs = []float64{0, s.build}, []float64{-s.half, s.half}
	if u > 0 && u < s.build {
		us = []float64{0, u, s.build}
	}
	if z > -s.half && z < s.half {
		zs = []float64{-s.half, z, s.half}
	}
	return us, zs
}

// order is the number of Gauss points along an edge of given length for a point
// at a gap from the section.
func order(edge, gap float64) int {
	switch ratio := gap / math.Max(edge, 1e-12); {
	case ratio > 25:
		return 2
	case ratio > 5:
		return 3
	case ratio > 2:
		return 4
	case ratio > 1:
		return 6
	case ratio > 0.5:
		return 8
	case ratio > 0.2:
		return 12
	default:
		return 20
	}
}

// RoundWinding returns the field of a round winding of rectangular section,
// evenly filled, per ampere-turn: inner radius, radial build and axial width in
// metres, at distance rho from the axis and height z over the mid-plane. It is
// the mean of thin loops over the section (Gauss-Legendre), good to 1e-7 of |B|
// more than a millimetre from the copper; inside it is continuous and finite,
// good to about
// 3e-3.
func RoundWinding(inner, build, width, rho, z float64) (bRho, bZ float64) {
	s := section{build: build, half: width / 2}
	rho = math.Abs(rho)
	u := rho - inner
	gap := s.gap(u, z)
	us, zs := s.pieces(u, z)
	area := build * width
	for i := 1; i < len(us); i++ {
		gu := gauss(order(us[i]-us[i-1], gap))
		mu, hu := (us[i]+us[i-1])/2, (us[i]-us[i-1])/2
		for k := 1; k < len(zs); k++ {
			gz := gauss(order(zs[k]-zs[k-1], gap))
			mz, hz := (zs[k]+zs[k-1])/2, (zs[k]-zs[k-1])/2
			share := hu * hz / area
			for a, xu := range gu.x {
				for b, xz := range gz.x {
					r, h := Loop(inner+mu+hu*xu, rho, z-mz-hz*xz)
					w := gu.w[a] * gz.w[b] * share
					bRho += w * r
					bZ += w * h
				}
			}
		}
	}
	return bRho, bZ
}

// PathWinding returns the field of an oblong or rectangular winding per
// ampere-turn at a point in the coil's own frame (centre at the origin, sides
// along x and y), metres and teslas. A turn at outward distance u is the
// parallel curve of the inner path.
func PathWinding(w *layout.Winding, at r3.Vec) r3.Vec {
	s := section{build: w.Build, half: w.Width / 2}
	p := pathOf(w)
	u := p.outward(at.X, at.Y)
	gap := s.gap(u, at.Z)
	us, zs := s.pieces(u, at.Z)
	area := w.Build * w.Width
	var sum r3.Vec
	for i := 1; i < len(us); i++ {
		gu := gauss(order(us[i]-us[i-1], gap))
		mu, hu := (us[i]+us[i-1])/2, (us[i]-us[i-1])/2
		for k := 1; k < len(zs); k++ {
			gz := gauss(order(zs[k]-zs[k-1], gap))
			mz, hz := (zs[k]+zs[k-1])/2, (zs[k]-zs[k-1])/2
			share := hu * hz / area
			for a, xu := range gu.x {
				for b, xz := range gz.x {
					f := p.turn(mu+hu*xu, r3.Vec{X: at.X, Y: at.Y, Z: at.Z - mz - hz*xz})
					sum = r3.Add(sum, r3.Scale(gu.w[a]*gz.w[b]*share, f))
				}
			}
		}
	}
	return sum
}
