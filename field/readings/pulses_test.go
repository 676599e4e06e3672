package readings

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestPulses(t *testing.T) {
	sigma := [3]float64{0.5, 0.5, 0.5}
	for _, hz := range []float64{0.5, 1, 2.3, 4.9, 7.1, 12} {
		for _, duty := range []float64{0.2, 0.5, 0.8} {
			rng := rand.New(rand.NewPCG(5, uint64(hz*100+duty*10)))
			var xs []sample
			phase := rng.Float64()
			for i := range 40 {
				at := float64(i)/10 + 0.004*rng.NormFloat64()
				x := sample{t: float64(i) / 10}
				on := 0.0
				if f := at*hz - phase; f-math.Floor(f) < duty {
					on = 1
				}
				for a := range x.u {
					x.u[a] = 20 - 200*on + 0.5*rng.NormFloat64()
				}
				xs = append(xs, x)
			}
			readings := digestPulses(xs, sigma, hz, duty)
			p := 0.0
			for _, r := range readings {
				if math.Abs(r.Ax[2].D+200) < 5 && math.Abs(r.Ax[2].B-20) < 5 {
					p += math.Exp(r.LogW)
				}
			}
			// At a duty of one half nothing but the background tells the pulse
			// from the pause; otherwise the share of time does.
			least := 0.9
			if duty == 0.5 {
				least = 0.2
			}
			if p < least {
				t.Errorf("%g Hz, duty %g: the true reading has chance %.3f, expected %g", hz, duty, p, least)
			}
		}
	}
}

// TestPulsesOnEdges: where the sampling keeps step with the pulses, it may meet every one
// of them on its edge, and read a part of it. That is no smaller pull.
func TestPulsesOnEdges(t *testing.T) {
	const hz, duty, window, pull = 4, 0.19, 0.012, 60.0
	sigma := [3]float64{0.5, 0.5, 0.5}
	met := 0
	for seed := range uint64(40) {
		rng := rand.New(rand.NewPCG(seed, 3))
		// One sample in five falls at the beginning of a pulse.
		share := func(t float64) (on float64) {
			const parts = 16
			for i := range parts {
				f := (t-window*float64(i)/parts)*hz + 0.01
				if f-math.Floor(f) < duty {
					on += 1.0 / parts
				}
			}
			return on
		}
		var xs []sample
		most := 0.0
		for i := range 35 {
			at := float64(i)/10 + 0.004*rng.NormFloat64()
			on := share(at)
			most = max(most, on)
			x := sample{t: float64(i) / 10}
			for a := range x.u {
				x.u[a] = 20 + pull*on + 0.5*rng.NormFloat64()
			}
			xs = append(xs, x)
		}
		if most < 0.5 || most > 0.95 {
			continue // nothing seen of them, or all there is to see
		}
		met++
		allowed := 0.0
		for _, r := range digestPulses(xs, sigma, hz, duty) {
			if math.Abs(r.Ax[2].D-pull) < 2.5*math.Sqrt(r.Ax[2].VD) {
				allowed += math.Exp(r.LogW)
			}
		}
		if allowed < 0.1 {
			t.Errorf("seed %d: %.2f of the pulse was seen; a pull of %g is allowed by readings of weight %.3f", seed, most, pull, allowed)
		}
	}
	if met < 5 {
		t.Fatalf("only %d of 40 captures met the pulses on their edges", met)
	}
}
