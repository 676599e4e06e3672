package verdict

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestFormByStrings: what a pass says of ampere-turns is the same quadratic form whether it is
// worked out coil by coil or by what whole strings have more or less, and some coils besides.
func TestFormByStrings(t *testing.T) {
	const n = 11
	rng := rand.New(rand.NewPCG(2, 5))
	w := &way{h: make([]float64, n), hh: make([]float64, n*n)}
	p := &passFactor{passDigest: &passDigest{aligner: &aligner{}}, strings: [][]int{{0, 1, 2, 3}, {5, 6, 7}}}
	for i := range n {
		w.h[i] = rng.NormFloat64()
		p.near = append(p.near, int32(i))
		p.aligner.planned = append(p.aligner.planned, 50+10*rng.NormFloat64())
		for k := range i + 1 {
			w.hh[i*n+k] = rng.NormFloat64()
			w.hh[k*n+i] = w.hh[i*n+k]
		}
	}
	form := w.seenFrom(p.aligner.planned, p.strings, 0)
	for name, tc := range map[string]struct {
		of     func(i int) float64 // its share of the planned
		listed int                 // coils that remain to be told one by one
	}{
		"as planned":               {func(int) float64 { return 1 }, 0},
		"one coil turned":          {func(i int) float64 { return 1 - 2*b2f(i == 2) }, 1},
		"a string turned":          {func(i int) float64 { return 1 - 2*b2f(i < 4) }, 0},
		"a string dead, one coil":  {func(i int) float64 { return b2f(i < 5 || i > 7) * (1 - 0.5*b2f(i == 9)) }, 1},
		"all less, one turned":     {func(i int) float64 { return 0.7 * (1 - 2*b2f(i == 6)) }, n - 7 + 1},
		"every coil in its manner": {func(i int) float64 { return 1 + 0.1*float64(i) }, n - 2}, // one of each string goes with it
	} {
		at := make([]float64, n)
		for i, x := range p.aligner.planned {
			at[i] = tc.of(i) * x
		}
		p.differ(at)
		quad, lin := form.form(p.shares, p.index, p.turns)
		var wantQuad, wantLin float64
		for i := range n {
			wantLin += w.h[i] * at[i]
			for k := range n {
				wantQuad += at[i] * w.hh[i*n+k] * at[k]
			}
		}
		if math.Abs(quad-wantQuad) > 1e-9*math.Abs(wantQuad)+1e-6 || math.Abs(lin-wantLin) > 1e-9*math.Abs(wantLin)+1e-6 {
			t.Errorf("%s: %.9g and %.9g, coil by coil %.9g and %.9g", name, quad, lin, wantQuad, wantLin)
		}
		if len(p.index) != tc.listed {
			t.Errorf("%s: %d coils are told one by one, expected %d", name, len(p.index), tc.listed)
		}
	}
}

func b2f(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
