package field

import "math"

// RoundWinding returns the field of a round winding of rectangular section,
// evenly filled, per ampere-turn: inner radius, radial build and axial width in
// metres, at distance rho from the axis and height z over the mid-plane. It is
// the mean of thin loops over the section (Gauss-Legendre), good to 1e-7 of |B|
// more than a millimetre from the copper, in it and next to it to 1e-4 of the
// field at the inner face. It is slow; a Pad reads it from tables.
func RoundWinding(inner, build, width, rho, z float64) (bRho, bZ float64) {
	rho = math.Abs(rho)
	s := section{build: build, half: width / 2}
	u := rho - inner
	s.each(u, z, s.gap(u, z), acrossSection, func(u, h, share float64) {
		r, v := Loop(inner+u, rho, z-h)
		bRho += share * r
		bZ += share * v
	})
	return bRho, bZ
}
