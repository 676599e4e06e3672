package field

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// farField is the field of an oblong or rectangular winding well outside
// the sphere about it, as multipoles: B = -grad of the sum of c_lm Re S_lm with the
// irregular solid harmonics
//
//	S_lm = (l-m)! P_lm(cos theta) e^(i m phi) / r^(l+1)
//
// (without the sign (-1)^m). As the winding is its own mirror image in x, in y
// and, with the current turned round, in z, only odd l and even m occur and no
// sines. With dS_lm/dz = -S_l+1,m and (d/dx +- i d/dy) S_lm = -+S_l+1,m+-1, the
// field needs only S_lm of even l: Bz those of even m, Bx and By those of odd m.
type farField struct {
	radius float64 // of the sphere about the copper
	rows   [farDegree + 1][]farTerm
}

// farDegree is the highest degree l+1 in use, at farRadii.
const farDegree = 22

// farTerm is one S_lm: the field's coefficients, and those that lead from it and
// the one before, S_l-2,m, to the next one, S_l+2,m:
//
//	S_l+2 = (a z^2/r^4 - b/r^2) S_l - c/r^4 S_l-2
//
// from two steps of r^2 S_l+1 = (2l+1) z S_l - (l^2-m^2) S_l-1.
type farTerm struct{ a, b, c, cos, sin float64 }

// newFarField sums the winding's moments
//
//	c_lm = (2 - [m=0]) mu0/4pi 1/(l+1) integral of (r x J) . grad R_lm
//
// with the regular harmonics R_lm = Re r^l P_lm e^(i m phi)/(l+m)!, over an
// eighth of it; the other seven give the same. Gauss's rule is exact along the
// sides, and exact enough everywhere else.
func newFarField(p path, s section) *farField {
	f := &farField{radius: p.radius(s)}
	var moments [farDegree][farDegree]float64 // l, m
	add := func(at, dl r3.Vec) {
		// (r x dl) . grad R = dl . (grad R x r)
		v := r3.Cross(at, dl)
		var re, im [farDegree][farDegree + 1]float64
		regular(at, &re, &im)
		for l := 1; l < farDegree; l += 2 {
			// dR_lm/dz = R_l-1,m; (d/dx + i d/dy) R_lm = -R_l-1,m+1; (d/dx - i d/dy) R_lm = R_l-1,m-1.
			for m := 0; m <= l; m += 2 {
				var dx, dy float64
				if m == 0 {
					dx, dy = -re[l-1][1], -im[l-1][1]
				} else {
					dx, dy = (re[l-1][m-1]-re[l-1][m+1])/2, -(im[l-1][m-1]+im[l-1][m+1])/2
				}
				moments[l][m] += v.X*dx + v.Y*dy + v.Z*re[l-1][m]
			}
		}
	}
	gu, gz, along, round := gauss(6), gauss(5), gauss(12), gauss(20)
	for i, xu := range gu.x {
		r := p.r + s.build/2*(1+xu)
		for k, xz := range gz.x {
			z := s.half / 2 * (1 + xz)
			share := 8 * gu.w[i] / 2 * gz.w[k] / 4 // of the eighth over z > 0
			for n, x := range along.x {
				t, w := (1+x)/2, along.w[n]/2*share
				add(r3.Vec{X: p.lx + r, Y: p.ly * t, Z: z}, r3.Vec{Y: w * p.ly})
				add(r3.Vec{X: p.lx * t, Y: p.ly + r, Z: z}, r3.Vec{X: -w * p.lx})
			}
			for n, x := range round.x {
				sin, cos := math.Sincos(math.Pi / 4 * (1 + x))
				w := round.w[n] * math.Pi / 4 * share * r
				add(r3.Vec{X: p.lx + r*cos, Y: p.ly + r*sin, Z: z}, r3.Vec{X: -w * sin, Y: w * cos})
			}
		}
	}
	c := func(l, m int) float64 {
		if m < 0 || m > l {
			return 0
		}
		k := perAmpere / float64(l+1) * moments[l][m]
		if m > 0 {
			k *= 2
		}
		return k
	}
	odd := 1.0 // (2m-1)!!
	for m := range f.rows {
		for l := m + m%2; l <= farDegree; l += 2 {
			fl, fm := float64(l), float64(m)
			in := (2*fl + 3) * (fl*fl - fm*fm) / (2*fl - 1)
			t := farTerm{a: (2*fl + 3) * (2*fl + 1), b: in + (fl+1)*(fl+1) - fm*fm, c: in * ((fl-1)*(fl-1) - fm*fm)}
			switch {
			case m%2 == 0 && l > 0:
				t.cos = c(l-1, m)
			case m == 1:
				t.cos, t.sin = c(l-1, 0)-c(l-1, 2)/2, c(l-1, 0)+c(l-1, 2)/2
			case m%2 == 1:
				t.cos, t.sin = (c(l-1, m-1)-c(l-1, m+1))/2, (c(l-1, m-1)+c(l-1, m+1))/2
			}
			// The first of a row is taken as 1 (even m) or z/r^2 (odd m).
			first := odd
			if m%2 == 1 {
				first *= 2*fm + 1
			}
			t.cos *= first
			t.sin *= first
			f.rows[m] = append(f.rows[m], t)
		}
		odd *= float64(2*m + 1)
	}
	return f
}

// regular computes the regular solid harmonics of degrees up to farDegree-2.
func regular(at r3.Vec, re, im *[farDegree][farDegree + 1]float64) {
	r2 := r3.Norm2(at)
	c, s := 1.0, 0.0
	for m := 0; m < farDegree-1; m++ {
		before, now := 0.0, 1.0
		for l := m; l < farDegree-1; l++ {
			re[l][m], im[l][m] = now*c, now*s
			before, now = now, (float64(2*l+1)*at.Z*now-r2*before)/float64((l+1)*(l+1)-m*m)
		}
		k := 1 / float64(2*(m+1))
		c, s = (c*at.X-s*at.Y)*k, (c*at.Y+s*at.X)*k
	}
}

// at is the field at a point at least farRadii from the centre.
func (f *farField) at(at r3.Vec) (b r3.Vec) {
	r2 := r3.Norm2(at)
	inv := 1 / r2
	degree := farDegree
	switch ratio2 := r2 / (f.radius * f.radius); {
	case ratio2 > 100:
		degree = 8
	case ratio2 > 30:
		degree = 10
	case ratio2 > 10:
		degree = 14
	case ratio2 > 6:
		degree = 18
	}
	inv2 := inv * inv
	t := at.Z * at.Z * inv2
	wx, wy := at.X*inv, at.Y*inv
	c := math.Sqrt(inv)
	s := 0.0
	for m := 0; m <= degree; m++ {
		row := f.rows[m]
		row = row[:(degree-m-m%2)/2+1]
		before, now := 0.0, 1.0
		var cos, sin float64
		for i := range row {
			k := &row[i]
			cos += k.cos * now
			sin += k.sin * now
			before, now = now, (k.a*t-k.b*inv)*now-k.c*inv2*before
		}
		if m%2 == 0 {
			b.Z += cos * c
		} else {
			b.X += cos * c
			b.Y += sin * s
		}
		c, s = c*wx-s*wy, c*wy+s*wx
	}
	// Rows of odd m begin with z/r^2.
	b.X *= at.Z * inv
	b.Y *= at.Z * inv
	return b
}
