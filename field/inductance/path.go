package inductance

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/field"
	"polewise/layout"
)

// path is the way of one turn, seen from above, in metres: a rectangle with half
// sides hx and hy, and everything on its outer side at distance r. A circle has no
// rectangle. The turn runs counter-clockwise.
type path struct{ hx, hy, r float64 }

// turn is the path of the turn at distance u outside the inner path.
func turn(w *layout.Winding, u float64) path {
	half := w.HalfStraight()
	return path{hx: half.X, hy: half.Y, r: w.CornerRadius() + u}
}

func (p path) round() bool { return p.hx == 0 && p.hy == 0 }

// equalRound is the radius of the circle as long as the path.
func (p path) equalRound() float64 { return 2*(p.hx+p.hy)/math.Pi + p.r }

// area is what the path encloses.
func (p path) area() float64 {
	return 4*p.hx*p.hy + 4*(p.hx+p.hy)*p.r + math.Pi*p.r*p.r
}

// potential is the vector potential of one ampere in the path, tesla metres, at
// a place in its own axes, height z over its plane. It has no part along z.
func (p path) potential(at r2.Vec, z float64) r2.Vec {
	if p.round() {
		return circlePotential(p.r, at, z)
	}
	const k = field.Mu0 / (4 * math.Pi)
	along := func(half, x, aside float64) float64 { // of a straight side
		if half == 0 {
			return 0
		}
		rho := math.Hypot(aside, z)
		if x = math.Abs(x); x > half { // the line may go right through the place
			return math.Log((x + half + math.Hypot(x+half, rho)) / (x - half + math.Hypot(x-half, rho)))
		}
		return math.Asinh((half-x)/rho) + math.Asinh((half+x)/rho)
	}
	a := r2.Vec{
		X: k * (along(p.hx, at.X, at.Y+p.hy+p.r) - along(p.hx, at.X, at.Y-p.hy-p.r)),
		Y: k * (along(p.hy, at.Y, at.X-p.hx-p.r) - along(p.hy, at.Y, at.X+p.hx+p.r)),
	}
	if p.r == 0 {
		return a
	}
	for corner := range 4 {
		from := float64(corner) * math.Pi / 2
		centre := r2.Vec{X: p.hx, Y: p.hy}
		if corner == 1 || corner == 2 {
			centre.X = -centre.X
		}
		if corner >= 2 {
			centre.Y = -centre.Y
		}
		a = r2.Add(a, r2.Scale(k, arc(r2.Sub(at, centre), z, p.r, from)))
	}
	return a
}

// arc integrates the direction of a quarter circle over distance, from an angle
// on, for a point given from the circle's centre.
func arc(at r2.Vec, z, r, from float64) r2.Vec {
	rho, nearest := math.Hypot(at.X, at.Y), math.Atan2(at.Y, at.X)
	near := z*z + (rho-r)*(rho-r) // square of the least distance from the full circle
	lo, hi := from-nearest, from+math.Pi/2-nearest
	if mid := (lo + hi) / 2; mid > math.Pi {
		lo, hi = lo-2*math.Pi, hi-2*math.Pi
	} else if mid < -math.Pi {
		lo, hi = lo+2*math.Pi, hi+2*math.Pi
	}
	// Close by, the angle goes as the hyperbolic sine of the variable, which
	// takes the peak of one over distance away.
	delta := 1.0
	if rho > 0 {
		delta = math.Min(1, math.Sqrt(near/(rho*r)))
	}
	a, b := math.Asinh(lo/delta), math.Asinh(hi/delta)
	mid, half := (a+b)/2, (b-a)/2
	var sum r2.Vec
	for i, x := range gauss16.x {
		sh, ch := math.Sinh(mid+half*x), math.Cosh(mid+half*x)
		phi := delta * sh
		s := math.Sin(phi / 2)
		sin, cos := math.Sincos(phi + nearest)
		w := gauss16.w[i] * half * delta * ch * r / math.Sqrt(near+4*rho*r*s*s)
		sum.X -= w * sin
		sum.Y += w * cos
	}
	return sum
}

// circlePotential is the vector potential of one ampere in a circle:
// mu0/(2 pi) sqrt(a m / rho) (D - B) along the angle (as in circles, which is
// 2 pi rho of it).
func circlePotential(radius float64, at r2.Vec, z float64) r2.Vec {
	rho := math.Hypot(at.X, at.Y)
	if rho == 0 {
		return r2.Vec{}
	}
	q := (radius+rho)*(radius+rho) + z*z
	m, m1 := 4*radius*rho/q, ((radius-rho)*(radius-rho)+z*z)/q
	a := field.Mu0 / (2 * math.Pi) * math.Sqrt(radius*m/rho) * dLessB(m, m1)
	return r2.Vec{X: -a * at.Y / rho, Y: a * at.X / rho}
}

// walk goes along the path from an angle's quarter to the next, piece by piece,
// and integrates what f gives for a place and direction; finest is the length on
// which f changes near the pieces' ends, most the longest panel.
func (p path) walk(quarters int, finest, most float64, f func(at, along r2.Vec) float64) float64 {
	sum := 0.0
	piece := func(length float64, place func(s float64) (at, along r2.Vec)) {
		cuts := panels(length, finest)
		for i := 1; i < len(cuts); i++ {
			n := math.Max(1, math.Ceil((cuts[i]-cuts[i-1])/most))
			step := (cuts[i] - cuts[i-1]) / n
			for k := range int(n) {
				lo := cuts[i-1] + float64(k)*step
				sum += gauss8.over(lo, lo+step, func(s float64) float64 {
					at, along := place(s)
					return f(at, along)
				})
			}
		}
	}
	for q := range quarters {
		// In quarter q the corner's centre is at (sx hx, sy hy); before it comes
		// half of a straight side, after it half of the next.
		sin, cos := []float64{0, 1, 0, -1}[q], []float64{1, 0, -1, 0}[q]
		turned := func(x, y float64) r2.Vec { return r2.Vec{X: cos*x - sin*y, Y: sin*x + cos*y} }
		a, b := p.hx, p.hy
		if q%2 == 1 {
			a, b = b, a
		}
		piece(b, func(s float64) (r2.Vec, r2.Vec) { return turned(a+p.r, s), turned(0, 1) })
		piece(p.r*math.Pi/2, func(s float64) (r2.Vec, r2.Vec) {
			sn, cs := math.Sincos(s / p.r)
			return turned(a+p.r*cs, b+p.r*sn), turned(-sn, cs)
		})
		piece(a, func(s float64) (r2.Vec, r2.Vec) { return turned(a-s, b+p.r), turned(-1, 0) })
	}
	return sum
}
