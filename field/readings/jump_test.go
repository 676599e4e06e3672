package readings

import (
	"math"
	"math/rand/v2"
	"testing"
)

// steady makes samples of one axis pattern: off, on, off; with a step of the
// phone's own zero after some sample.
func steady(rng *rand.Rand, sigma, pull float64, jumpAfter int, jump float64) []sample {
	var xs []sample
	for i := range 30 {
		x := sample{t: float64(i) / 10}
		if i >= 10 && i < 20 {
			x.s = 1
		}
		for a := range x.u {
			x.u[a] = -40 + pull*x.s + sigma*rng.NormFloat64()
			if jumpAfter > 0 && i >= jumpAfter {
				x.u[a] += jump
			}
		}
		xs = append(xs, x)
	}
	return xs
}

// Noise that wanders by a microtesla or two is no phone that re-zeroes itself.
func TestWanderIsNoJump(t *testing.T) {
	sigma := [3]float64{0.15, 0.15, 0.15}
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(6, seed))
		xs := steady(rng, 0.15, 120, 0, 0)
		var walk [3]float64
		for i := range xs {
			for a := range walk {
				walk[a] += 0.15 * rng.NormFloat64()
				xs[i].u[a] += walk[a]
			}
		}
		for _, some := range [][]sample{xs, xs[10:20]} {
			if readings, _, jumped := digestSteady(some, sigma, mostToldOff); jumped || len(readings) == 0 {
				t.Errorf("seed %d: %d readings, jumped %v", seed, len(readings), jumped)
			}
		}
	}
}

func TestJumpInsideAHold(t *testing.T) {
	sigma := [3]float64{0.4, 0.4, 0.4}
	for _, tc := range []struct {
		after int
		jump  float64
	}{{0, 0}, {5, 25}, {14, -18}, {25, 40}} {
		rng := rand.New(rand.NewPCG(1, uint64(tc.after)))
		readings, toggled, jumped := digestSteady(steady(rng, 0.4, 120, tc.after, tc.jump), sigma, mostToldOff)
		if !toggled || len(readings) == 0 {
			t.Fatalf("jump after %d: toggled %v, %d readings", tc.after, toggled, len(readings))
		}
		if jumped != (tc.after > 0) {
			t.Errorf("jump after %d: told %v", tc.after, jumped)
		}
		if d := readings[0].Ax[2].D; math.Abs(d-120) > 1.5 {
			t.Errorf("jump of %g after %d: pull %.1f, expected 120", tc.jump, tc.after, d)
		}
	}
}

// A jump at the very moment of switching cannot be told from the pull: the hold
// must keep both readings, or a wide error.
func TestJumpAtTheSwitch(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	xs := steady(rng, 0.4, 30, 10, 35)[:20] // off, then on and jumped at once
	readings, _, _ := digestSteady(xs, [3]float64{0.4, 0.4, 0.4}, mostToldOff)
	wide := false
	for _, r := range readings {
		if math.Abs(r.Ax[2].D-30) < 3*math.Sqrt(r.Ax[2].VD) {
			wide = true
		}
	}
	if !wide {
		t.Errorf("no reading allows the true pull of 30: %+v", readings)
	}
}

// TestModestJumpIsTold: a step of two and a half times the noise, in all axes, is told of.
func TestModestJumpIsTold(t *testing.T) {
	told := 0
	for seed := range uint64(20) {
		xs := steady(rand.New(rand.NewPCG(3, seed)), 3, 60, 15, 7.5)
		if _, _, jumped := digestSteady(xs, [3]float64{3, 3, 3}, mostToldOff); jumped {
			told++
		}
	}
	if told < 18 {
		t.Errorf("told of %d of 20", told)
	}
}
