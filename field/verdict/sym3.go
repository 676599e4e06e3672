package verdict

import (
	"math"

	"polewise/field/readings"
)

// Symmetric matrices of three rows, as the spreads of what a sensor reads are.

// sym3 is a symmetric 3 by 3 matrix.
type sym3 struct{ xx, yy, zz, xy, xz, yz float64 }

// add adds w times the product of a vector with itself.
func (s *sym3) add(x, y, z, w float64) {
	s.xx += w * x * x
	s.yy += w * y * y
	s.zz += w * z * z
	s.xy += w * x * y
	s.xz += w * x * z
	s.yz += w * y * z
}

// addSym adds w times another.
func (s *sym3) addSym(o *sym3, w float64) {
	s.xx += w * o.xx
	s.yy += w * o.yy
	s.zz += w * o.zz
	s.xy += w * o.xy
	s.xz += w * o.xz
	s.yz += w * o.yz
}

// times is S v.
func (s *sym3) times(v *[3]float64) [3]float64 {
	return [3]float64{s.xx*v[0] + s.xy*v[1] + s.xz*v[2], s.xy*v[0] + s.yy*v[1] + s.yz*v[2], s.xz*v[0] + s.yz*v[1] + s.zz*v[2]}
}

// between is a^T S b.
func (s *sym3) between(a, b *[3]float64) float64 {
	to := s.times(a)
	return readings.Dot(&to, b)
}

// rows is the matrix written out.
func (s *sym3) rows() [3][3]float64 {
	return [3][3]float64{{s.xx, s.xy, s.xz}, {s.xy, s.yy, s.yz}, {s.xz, s.yz, s.zz}}
}

// adjugate is the matrix's inverse times its determinant.
func (s *sym3) adjugate() (adj sym3, det float64) {
	adj = sym3{
		xx: s.yy*s.zz - s.yz*s.yz, yy: s.xx*s.zz - s.xz*s.xz, zz: s.xx*s.yy - s.xy*s.xy,
		xy: s.xz*s.yz - s.xy*s.zz, xz: s.xy*s.yz - s.xz*s.yy, yz: s.xy*s.xz - s.yz*s.xx,
	}
	return adj, s.xx*adj.xx + s.xy*adj.xy + s.xz*adj.xz
}

// inverse is the matrix's inverse.
func (s *sym3) inverse() sym3 {
	adj, det := s.adjugate()
	var out sym3
	out.addSym(&adj, 1/det)
	return out
}

// chol is the factor of a positive definite matrix.
func (s *sym3) chol() (c chol3) {
	l00 := math.Sqrt(s.xx)
	c.i0 = 1 / l00
	c.l10 = s.xy * c.i0
	c.l20 = s.xz * c.i0
	l11 := math.Sqrt(math.Max(s.yy-c.l10*c.l10, 1e-9))
	c.i1 = 1 / l11
	c.l21 = (s.yz - c.l20*c.l10) * c.i1
	l22 := math.Sqrt(math.Max(s.zz-c.l20*c.l20-c.l21*c.l21, 1e-9))
	c.i2 = 1 / l22
	return c
}

// chol3 is the lower Cholesky factor of a sym3, with reciprocal diagonal.
type chol3 struct{ i0, l10, i1, l20, l21, i2 float64 }

// logDet is the logarithm of the factor's determinant.
func (c *chol3) logDet() float64 { return -math.Log(c.i0 * c.i1 * c.i2) }

// solve returns L^-1 v.
func (c *chol3) solve(x, y, z float64) (a, b, d float64) {
	a = x * c.i0
	b = (y - c.l10*a) * c.i1
	d = (z - c.l20*a - c.l21*b) * c.i2
	return a, b, d
}

const log2pi = 1.8378770664093453
