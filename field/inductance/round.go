package inductance

import (
	"math"

	"gonum.org/v1/gonum/mathext"

	"polewise/field"
)

// circles is the mutual inductance in henries of two coaxial circles of radii a
// and b, metres, whose planes lie z apart: Maxwell's
//
//	M = mu0 sqrt(a b) ((2/k - k) K - (2/k) E),  k^2 = 4 a b / ((a+b)^2 + z^2)
//
// (DLMF 19.34), written with the associate integrals B and D of the parameter
// m = k^2, in which K = B + D and K - E = m D, so that less cancels. It is
// infinite for a circle with itself.
func circles(a, b, z float64) float64 {
	q := (a+b)*(a+b) + z*z
	m, m1 := 4*a*b/q, ((a-b)*(a-b)+z*z)/q
	return field.Mu0 * math.Sqrt(a*b*m) * dLessB(m, m1)
}

// dLessB is D - B of the parameter m, with m1 = 1 - m given apart since it is
// what counts near m = 1. There it follows from the first terms of K and E in
// m1 (DLMF 19.12), good to m1 squared.
func dLessB(m, m1 float64) float64 {
	if m1 > 1e-6 {
		return mathext.CompleteD(m) - mathext.CompleteB(m)
	}
	if m1 == 0 {
		return math.Inf(1)
	}
	l := math.Log(4 / math.Sqrt(m1))
	k, e := l+m1/4*(l-1), 1+m1/2*(l-0.5)
	return 2*(k-e)/m - k
}

// roundWinding is the self inductance in henries, for a single turn's worth
// (times turns squared for a winding), of a round winding of rectangular section
// evenly filled: inner radius, radial build and axial width in metres, all
// positive. It is the mean of circles over all pairs of points of the section.
func roundWinding(inner, build, width float64) float64 {
	// The pairs by their distances: s in radius, t in height, both from 0 (each
	// stands for two), and the mean radius in between. The logarithm at s = t = 0
	// is taken by cutting the rectangle of (s, t) along its diagonal and going
	// out from that corner with the cube of the variable.
	mean := func(s, t float64) float64 {
		return gauss8.over(s/2, build-s/2, func(u float64) float64 {
			return circles(inner+u+s/2, inner+u-s/2, t)
		})
	}
	sum := gauss24.over(0, 1, func(v float64) float64 {
		out, jac := v*v*v, 3*v*v*v*v*v
		return jac * (fromKnee(build/width, func(e float64) float64 {
			return (width - width*out*e) * mean(build*out, width*out*e)
		}) + fromKnee(width/build, func(e float64) float64 {
			return (width - width*out) * mean(build*out*e, width*out)
		}))
	})
	return 4 * sum / (build * width)
}

// fromKnee integrates over 0 to 1 what goes like the logarithm of e squared plus
// the knee squared: in a long thin section the far side of the rectangle is
// hardly farther from the corner than the near side for all e below the knee.
// Panels double from there on.
func fromKnee(knee float64, f func(float64) float64) float64 {
	if knee > 0.4 {
		return gauss24.over(0, 1, f)
	}
	sum := gauss16.over(0, knee, f)
	for lo := knee; lo < 1; lo *= 2 {
		sum += gauss16.over(lo, min(1, 2*lo), f)
	}
	return sum
}
