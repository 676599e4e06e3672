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
	// Dimensionless: the radius is the unit of length.
	r, h := math.Abs(rho)/radius, z/radius
	q := (1+r)*(1+r) + h*h
	d := (1-r)*(1-r) + h*h
	if d == 0 {
		return math.Inf(1), math.Inf(1)
	}
	m := 4 * r / q
	s := 1 + r*r + h*h
	bB, bD := mathext.CompleteB(m), mathext.CompleteD(m)
	k := bB + bD
	unit := Mu0 / (2 * math.Pi * radius * math.Sqrt(q))
	// K = B + D and E = B + d/q D, and the terms of B join: d + 1 - r^2 - h^2 = 2(1 - r).
	bZ = unit * (2*(1-r)/d*bB + 2*(1+r)/q*bD)
	bRho = unit * 4 * r * h / (d * q) * (k - 2*s/q*associateC(m, bB, bD))
	if rho < 0 {
		bRho = -bRho
	}
	return bRho, bZ
}

// associateC is C(m) = (D(m) - B(m))/m, the integral of
// sin^2 cos^2 / (1 - m sin^2)^(3/2) over a quarter turn. Near m = 0, where the
// difference cancels, it is summed from its series pi/16 2F1(3/2, 3/2; 3; m).
func associateC(m, b, d float64) float64 {
	if m > 0.1 {
		return (d - b) / m
	}
	sum, term := 1.0, 1.0
	for n := 0.0; n < 24; n++ {
		term *= (1.5 + n) * (1.5 + n) / ((3 + n) * (1 + n)) * m
		sum += term
		if term < 1e-17*sum {
			break
		}
	}
	return math.Pi / 16 * sum
}
