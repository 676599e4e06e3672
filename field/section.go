package field

import "math"

// section is the rectangle a winding's copper fills: u runs outward from the
// inner path (0 to build), z along the axis (-half to half), metres.
type section struct{ build, half float64 }

// gap is the distance from the section to a point at outward distance u and
// height z; 0 inside.
func (s section) gap(u, z float64) float64 {
	return hypot(max(0, -u, u-s.build), max(0, math.Abs(z)-s.half))
}

// nearGap is the gap below which the section is summed in corners (see corner).
const nearGap = 0.7e-3

// sliver is the share of an edge that is too thin to be summed.
const sliver = 1e-9

// each calls f with points of the section and their shares, which add up to 1,
// such that the sum of a turn's field over them is its mean over the section,
// for a reader at outward distance u and height z, a gap away from the copper.
// The section is cut at the point nearest to the reader, so that what is nearly
// singular lies in corners.
func (s section) each(u, z, gap float64, o orders, f func(u, z, share float64)) {
	cu, cz := min(max(u, 0), s.build), min(max(z, -s.half), s.half)
	us, zs := [3]float64{0, cu, s.build}, [3]float64{-s.half, cz, s.half}
	for i := range 2 {
		a := us[i+1] - us[i]
		for k := range 2 {
			b := zs[k+1] - zs[k]
			if !(a > s.build*sliver && b > 2*s.half*sliver) {
				continue // nothing there, or too little to matter
			}
			if gap < nearGap {
				du, dz := a, b
				if i == 0 {
					du = -a
				}
				if k == 0 {
					dz = -b
				}
				s.corner(cu, cz, du, dz, f)
				continue
			}
			gu, gz := gauss(o.points(a, gap)), gauss(o.points(b, gap))
			share := a * b / 4 / (s.build * 2 * s.half)
			for m, xu := range gu.x {
				for n, xz := range gz.x {
					f(us[i]+a/2*(1+xu), zs[k]+b/2*(1+xz), gu.w[m]*gz.w[n]*share)
				}
			}
		}
	}
}

// corner sums over the rectangle between (cu, cz) and (cu+du, cz+dz) for a
// reader in or next to the corner (cu, cz), where a turn's field grows as one
// over the distance r. The rectangle is halved along its diagonal; in each half
// the leading coordinate is the square of Gauss's variable and the other one is
// the leading one times sinh t, so that dr = s cosh t ds dt takes the 1/r away.
func (s section) corner(cu, cz, du, dz float64, f func(u, z, share float64)) {
	gs, gt := gauss(16), gauss(12)
	area := s.build * 2 * s.half
	a, b := math.Abs(du), math.Abs(dz)
	su, sz := math.Copysign(1, du), math.Copysign(1, dz)
	for half := range 2 {
		lead, other := a, b
		if half == 1 {
			lead, other = b, a
		}
		end := math.Asinh(other / lead)
		for i, x := range gs.x {
			q := (1 + x) / 2
			p := lead * q * q
			wp := gs.w[i] * lead * q
			for k, y := range gt.x {
				t := end / 2 * (1 + y)
				o, jac := p*math.Sinh(t), p*math.Cosh(t)
				share := wp * gt.w[k] * end / 2 * jac / area
				if half == 0 {
					f(cu+su*p, cz+sz*o, share)
				} else {
					f(cu+su*o, cz+sz*p, share)
				}
			}
		}
	}
}

// orders says how many Gauss points along an edge are enough where the gap is
// more than ratio times the edge; the last entry serves all that is nearer.
type orders []struct {
	ratio float64
	n     int
}

// acrossSection is enough for 1e-7 of |B| (measured; see TestOrdersAreEnough).
var acrossSection = orders{{128, 2}, {8, 3}, {2.8, 4}, {1.4, 5}, {1, 6}, {0.7, 7}, {0.5, 8}, {0.35, 10}, {0.25, 11}, {0.177, 13}, {0.125, 16}, {0.0884, 18}, {0.0625, 22}, {0, 28}}

// acrossPath is enough for 5e-7 of |B| from a side or a corner of a path, within
// two radii (measured; see TestPathOrdersAreEnough).
var acrossPath = orders{{20, 2}, {5, 3}, {1.8, 4}, {1.15, 5}, {0.72, 6}, {0.57, 7}, {0.46, 8}, {0.34, 9}, {0.285, 10}, {0.23, 11}, {0.19, 12}, {0.15, 13}, {0.135, 14}, {0.1, 16}, {0.08, 18}, {0.055, 22}, {0, 28}}

func (o orders) points(edge, gap float64) int {
	for _, s := range o[:len(o)-1] {
		if gap > s.ratio*edge {
			return s.n
		}
	}
	return o[len(o)-1].n
}

// hypot is math.Hypot for lengths, which neither overflow nor underflow.
func hypot(x, y float64) float64 { return math.Sqrt(x*x + y*y) }
