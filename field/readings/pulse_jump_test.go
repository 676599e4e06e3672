package readings

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestRezeroedBetweenPulses: where every sample falls between two pulses, a phone that re-zeroes
// itself in the midst of a hold leaves two levels, and the pull is not the step between them.
// Pulses that are there to see are read all the same.
func TestRezeroedBetweenPulses(t *testing.T) {
	const hz, step, pull = 10.0, 15.0, 200.0
	sigma := [3]float64{0.5, 0.5, 0.5}
	for name, c := range map[string]struct {
		duty, every float64
		seen        bool
	}{
		"all between two pulses": {0.2, 0.1, false},
		"at all moments":         {0.4, 0.0237, true},
	} {
		rng := rand.New(rand.NewPCG(8, 8))
		var xs []sample
		for i := range 36 {
			x := sample{t: 0.05 + c.every*float64(i) + 0.002*rng.NormFloat64()}
			up := 0.0
			if x.t*hz-math.Floor(x.t*hz) < c.duty {
				up = pull
			}
			for a := range x.u {
				x.u[a] = 20 + up + sigma[a]*rng.NormFloat64()
				if i >= 16 {
					x.u[a] += step
				}
			}
			xs = append(xs, x)
		}
		none, right := 0.0, 0.0
		for _, r := range digestPulses(xs, sigma, hz, c.duty) {
			d := &r.Ax[2]
			if p := math.Exp(r.LogW); math.Abs(math.Abs(d.D)-step) < 5 && d.VD < 25 {
				none += p
			} else if math.Abs(d.D-pull) < 20+2*math.Sqrt(d.VD) {
				right += p
			}
		}
		if none > 0.001 {
			t.Errorf("%s: the step is taken for the pull with chance %.4f", name, none)
		}
		if c.seen && right < 0.9 {
			t.Errorf("%s: the pull is read with chance %.3f", name, right)
		}
	}
}
