package readings

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestTrailsIn: what a sensor that smooths still reads of the way to a coil is left out; what
// stands still from the first sample is not, nor where the level changes at once, as when a
// phone re-zeroes itself.
func TestTrailsIn(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	hold := func(off func(t float64) float64) (xs []sample) {
		for k := range 30 {
			at := 5 + 0.1*float64(k)
			z := 120 + off(at-5) + 0.4*rng.NormFloat64()
			xs = append(xs, sample{t: at, u: [3]float64{20 + 0.3*off(at-5), -8, z}, s: 1})
		}
		return xs
	}
	for name, c := range map[string]struct {
		off  func(t float64) float64
		left [2]int // samples left out, at least and at most
	}{
		"still":             {func(float64) float64 { return 0 }, [2]int{0, 0}},
		"a tail":            {func(t float64) float64 { return 90 * math.Exp(-t/0.2) }, [2]int{6, 10}},
		"laid down late":    {func(t float64) float64 { return 150 * max(0, 0.6-t) }, [2]int{5, 7}},
		"re-zeroed":         {func(t float64) float64 { return map[bool]float64{true: 25}[t < 0.55] }, [2]int{0, 0}},
		"moving throughout": {func(t float64) float64 { return 40 * t }, [2]int{0, 0}},
	} {
		xs := hold(c.off)
		if n := len(xs) - len(arrived(xs)); n < c.left[0] || n > c.left[1] {
			t.Errorf("%s: %d samples left out, expected %d to %d", name, n, c.left[0], c.left[1])
		}
	}
}
