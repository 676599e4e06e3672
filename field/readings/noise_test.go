package readings

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestNoiseSeesThroughAJumpAndQuantisation(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	s := noise([][]sample{steady(rng, 0.6, 300, 14, 30)})
	for a, v := range s {
		if v < 0.4 || v > 0.9 {
			t.Errorf("axis %d: noise %.2f, expected about 0.6", a, v)
		}
	}
	coarse := steady(rng, 0.05, 0, 0, 0)
	for i := range coarse {
		for a := range coarse[i].u {
			coarse[i].u[a] = 0.6 * math.Round(coarse[i].u[a]/0.6)
		}
	}
	for a, v := range noise([][]sample{coarse}) {
		if v < 0.1 {
			t.Errorf("axis %d: noise %.3f is less than quantisation allows", a, v)
		}
	}
}
