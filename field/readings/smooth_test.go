package readings

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A sensor that follows slowly never sees a short pulse whole; the pull is as great all
// the same.
func TestRoundedPulses(t *testing.T) {
	for _, tc := range []struct{ hz, duty, tau float64 }{{0.6, 0.2, 0.2}, {1.3, 0.3, 0.1}, {2.9, 0.6, 0.06}, {7.3, 0.35, 0.08}} {
		c := roundedPulses(t, tc.hz, tc.duty, tc.tau, 300, 280, -310)
		got := readCapture(t, c)
		for i, want := range []float64{300, 280, -310} {
			if p := chanceOf(&got.holds[i], want, 0.1); p < 0.9 {
				t.Errorf("%+v: a pull of %g uT within a tenth has chance %.3f: %+v", tc, want, p, got.holds[i].Readings)
			}
		}
	}
}

// Nothing is made of a sensor that follows at once.
func TestSharpPulsesAreNotRounded(t *testing.T) {
	for _, hz := range []float64{0.6, 2.3, 4.9, 8.1} {
		c := roundedPulses(t, hz, 0.4, 0, 300, 280, -310)
		if by, blurred := smoothingOf(plain(t), c.Cut(), [3]float64{0.4, 0.4, 0.4}, nil); by != nil || blurred {
			t.Errorf("%g Hz: sharp pulses were taken for rounded ones: %+v", hz, by)
		}
	}
}

// TestLiftedBeforeItIsSaid: under rounded pulses a phone is lifted half a second before
// the hold ends, or still moves as it begins. What it read meanwhile lies at neither
// level, and is no part of what the coil does.
func TestLiftedBeforeItIsSaid(t *testing.T) {
	const hz, duty, tau, pull = 0.8, 0.3, 0.06, 250.0
	rng := rand.New(rand.NewPCG(5, 8))
	for _, moved := range []func(t float64) bool{
		func(t float64) bool { return t > 3.45 },
		func(t float64) bool { return t < 0.55 },
	} {
		var xs []sample
		for at := 0.0; at < 4; at += 0.1 {
			w, _ := rounded(at*hz-0.15, hz, duty, tau)
			x := sample{t: at, u: [3]float64{20 + 0.4*rng.NormFloat64(), 5 + 0.4*rng.NormFloat64(), -40 + pull*w + 0.4*rng.NormFloat64()}}
			if moved(at) {
				for a := range x.u {
					x.u[a] = 60 * rng.NormFloat64()
				}
			}
			xs = append(xs, x)
		}
		readings := digestRounded(xs, [3]float64{0.4, 0.4, 0.4}, hz, duty, []smoothing{{tau: tau}})
		if d := readings[0].Ax[2]; math.Abs(d.D-pull) > 8 || math.Sqrt(d.VD) > 8 {
			t.Errorf("a pull of %g was read as %.1f (sd %.1f)", pull, d.D, math.Sqrt(d.VD))
		}
	}
}

// TestFewSamplesAtOnePhase: three samples that all met the pulses at one phase do not
// say which. Whatever is kept of the many pulls that go with them, the others are not
// forgotten: none of them is known.
func TestFewSamplesAtOnePhase(t *testing.T) {
	const hz, duty, tau = 5, 0.24, 0.15
	var xs []sample
	for k := range 3 {
		w, _ := rounded(0.1, hz, duty, tau)
		xs = append(xs, sample{t: float64(k) + 0.02, u: [3]float64{20, 5, -40 + 400*w}})
	}
	sum := 0.0
	for _, r := range digestRounded(xs, [3]float64{0.4, 0.4, 0.4}, hz, duty, []smoothing{{tau: tau}}) {
		sum += math.Exp(r.LogW)
	}
	if sum < 1-leastRest {
		t.Errorf("what is kept of the readings weighs %.3f", sum)
	}
}
