package readings

import (
	"math/rand/v2"
	"testing"
)

// TestNoisyAxis: how far a sample may lie from its level hangs on how noisy the sensor is, not
// on which of its axes is.
func TestNoisyAxis(t *testing.T) {
	const gap, quiet, loud = 25, 0.3, 4
	var used [3]int
	for noisy := range used {
		rng := rand.New(rand.NewPCG(1, 2))
		sigma := [3]float64{quiet, quiet, quiet}
		sigma[noisy] = loud
		var xs []sample
		var label []int
		for i := range 40 {
			x := sample{t: float64(i) * 0.103}
			for a := range x.u {
				x.u[a] = sigma[a] * rng.NormFloat64()
			}
			x.u[(noisy+1)%3] += gap * float64(i%2)
			xs, label = append(xs, x), append(label, i%2)
		}
		for _, u := range levelsOf(xs, label, gap, sigma, 1).used {
			if u {
				used[noisy]++
			}
		}
	}
	if used != [3]int{40, 40, 40} {
		t.Errorf("of 40 samples at their levels %v count where x, y and z are noisy", used)
	}
}
