package field

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Mu0 is the vacuum magnetic permeability in N A^-2, CODATA 2022.
const Mu0 = 1.25663706127e-6

// Loop returns the field of a thin circular loop of the given radius that
// carries one ampere counter-clockwise seen from +z, at distance rho from its
// axis and height z over its plane: teslas, lengths in metres. The field is
// infinite on the wire; there Loop returns infinities.
//
// With a the radius, q = (a+rho)^2 + z^2, d = (a-rho)^2 + z^2 and the parameter
// m = 4 a rho / q,
//
//	Bz   = mu0 / (2 pi sqrt q) (K + (a^2 - rho^2 - z^2)/d E)
//	Brho = mu0 z / (2 pi rho sqrt q) (-K + (a^2 + rho^2 + z^2)/d E)
//
// (Smythe, Static and Dynamic Electricity, 7.10, from memory). K and E are
// taken apart into the associate integrals B, D and C, so that nothing cancels
// near the axis.
func Loop(radius, rho, z float64) (bRho, bZ float64) {
	if radius <= 0 {
		return 0, 0
	}
	r := math.Abs(rho)
	sum, dif := radius+r, radius-r
	z2 := z * z
	q := sum*sum + z2
	d := dif*dif + z2
	if d == 0 {
		return math.Inf(1), math.Inf(1)
	}
	inv := 1 / (d * q) // the one division
	iq := d * inv
	a2 := 2 * radius
	ar2 := a2 * r
	m := 2 * ar2 * iq
	if m > belowOne {
		m = belowOne
	}
	bD := mathext.CompleteD(m)
	s := (q + d) / 2 // a^2 + rho^2 + z^2
	// B is expressed by D and C, so that no large terms cancel, neither near the
	// axis nor far away.
	if m > 0.04 {
		bB := mathext.CompleteB(m)
		mc := bD - bB // m C
		bZ = a2*(dif*sum+z2)*bD - dif*q*mc
		bRho = ar2*(bB+bD) - s*mc
	} else {
		c := associateC(m)
		bZ = a2 * ((dif*sum+z2)*bD - 2*dif*r*c)
		bRho = ar2 * (2*bD - (m+2*s*iq)*c)
	}
	unit := Mu0 / (2 * math.Pi) * a2 * math.Sqrt(q) * iq * inv
	bZ *= unit
	bRho *= unit * z
	if rho < 0 {
		bRho = -bRho
	}
	return bRho, bZ
}

// belowOne is the largest number below 1. Next to the wire rounding would take m
// to 1, where D is infinite.
const belowOne = 1 - 1.0/(1<<53)

// seriesC are the coefficients of associateC's series, pi/16 2F1(3/2, 3/2; 3; m).
var seriesC = func() (c [11]float64) {
	c[0] = math.Pi / 16
	for n := 1; n < len(c); n++ {
		k := float64(n)
		c[n] = c[n-1] * (k + 0.5) * (k + 0.5) / ((k + 2) * k)
	}
	return c
}()

// associateC is C(m) = (D(m) - B(m))/m, the integral of
// sin^2 cos^2 / (1 - m sin^2)^(3/2) over a quarter turn, for m up to 0.04.
func associateC(m float64) float64 {
	c := &seriesC
	m2 := m * m
	m4 := m2 * m2
	lo := c[0] + c[1]*m + (c[2]+c[3]*m)*m2
	mid := c[4] + c[5]*m + (c[6]+c[7]*m)*m2
	hi := c[8] + c[9]*m + c[10]*m2
	return lo + m4*(mid+m4*hi)
}
