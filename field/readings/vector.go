package readings

import (
	"math"
	"slices"
)

// Dot is the scalar product of two vectors.
func Dot(a, b *[3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// times is a matrix times a vector.
func times(m *[3][3]float64, v *[3]float64) (out [3]float64) {
	for p := range out {
		out[p] = Dot(&m[p], v)
	}
	return out
}

// Gap is how far two fields lie apart.
func Gap(a, b [3]float64) float64 {
	d := [3]float64{a[0] - b[0], a[1] - b[1], a[2] - b[2]}
	return sizeOf(d)
}

// sizeOf is the size of a field.
func sizeOf(u [3]float64) float64 { return math.Sqrt(Dot(&u, &u)) }

// medianOf is the middle of samples, each axis by itself.
func medianOf(xs []sample) (m [3]float64) {
	v := make([]float64, len(xs))
	for a := range m {
		for i := range xs {
			v[i] = xs[i].u[a]
		}
		m[a] = Median(v)
	}
	return m
}

// Median is the middle of some numbers, the mean of the two in the middle where there are two;
// NaN of none.
func Median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	w := slices.Clone(v)
	slices.Sort(w)
	if len(w)%2 == 1 {
		return w[len(w)/2]
	}
	return (w[len(w)/2-1] + w[len(w)/2]) / 2
}

// invert3 inverts a symmetric positive definite matrix and returns the
// logarithm of its determinant.
func invert3(m [3][3]float64) (inv [3][3]float64, logDet float64, ok bool) {
	// Scaled to a unit diagonal first: b and J differ by orders of magnitude.
	var s [3]float64
	for i := 0; i < 3; i++ {
		if m[i][i] <= 0 {
			return inv, 0, false
		}
		s[i] = 1 / math.Sqrt(m[i][i])
	}
	a, b, c := m[0][1]*s[0]*s[1], m[0][2]*s[0]*s[2], m[1][2]*s[1]*s[2]
	det := 1 + 2*a*b*c - a*a - b*b - c*c
	if det <= 1e-15 {
		return inv, 0, false
	}
	inv = [3][3]float64{
		{(1 - c*c) / det, (b*c - a) / det, (a*c - b) / det},
		{(b*c - a) / det, (1 - b*b) / det, (a*b - c) / det},
		{(a*c - b) / det, (a*b - c) / det, (1 - a*a) / det},
	}
	logDet = math.Log(det)
	for i := 0; i < 3; i++ {
		logDet -= 2 * math.Log(s[i])
		for j := 0; j < 3; j++ {
			inv[i][j] *= s[i] * s[j]
		}
	}
	return inv, logDet, true
}

// LogAdd is the logarithm of the sum of two numbers given as theirs.
func LogAdd(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	if b < a-40 || math.IsInf(b, -1) {
		return a // the other is lost in rounding
	}
	return a + math.Log1p(math.Exp(b-a))
}

// Snapped is the power of step nearest to x, both above zero. Numbers that hardly differ become
// the same, and what follows from them need not be worked out again.
func Snapped(x, step float64) float64 {
	return math.Pow(step, math.Round(math.Log(x)/math.Log(step)))
}
