// Package inductance computes the self and mutual inductance of flat windings:
// round, oblong and rectangular, with their real section, evenly filled.
//
// Everything is in SI and for one ampere in each turn, counter-clockwise seen
// from above in both coils: two coils beside each other then have a negative
// mutual inductance, since the flux of one comes back through the other.
package inductance

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// rule is a Gauss-Legendre rule on the interval from -1 to 1.
type rule struct{ x, w []float64 }

func gauss(n int) rule {
	r := rule{make([]float64, n), make([]float64, n)}
	quad.Legendre{}.FixedLocations(r.x, r.w, -1, 1)
	return r
}

var (
	gauss1  = gauss(1)
	gauss2  = gauss(2)
	gauss3  = gauss(3)
	gauss8  = gauss(8)
	gauss16 = gauss(16)
	gauss24 = gauss(24)
)

// over integrates a function over an interval.
func (r *rule) over(lo, hi float64, f func(float64) float64) float64 {
	mid, half := (lo+hi)/2, (hi-lo)/2
	sum := 0.0
	for i, x := range r.x {
		sum += r.w[i] * f(mid+half*x)
	}
	return half * sum
}

// panels cuts the stretch from 0 to length so that no panel is much longer than
// its distance from the nearer end plus the finest length: what happens near the
// ends on the scale of the finest length is then seen, and the middle is cheap.
func panels(length, finest float64) []float64 {
	if length <= 0 {
		return nil
	}
	cuts := []float64{0}
	for step := math.Max(finest, length/1e4); ; step *= 2 {
		next := cuts[len(cuts)-1] + step
		if next >= length/2 {
			break
		}
		cuts = append(cuts, next)
	}
	n := len(cuts)
	for i := n - 1; i >= 0; i-- {
		cuts = append(cuts, length-cuts[i])
	}
	return cuts
}
