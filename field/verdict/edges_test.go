package verdict

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestFollowsPulses: how slowly a phone follows shows in the edges of pulses, at whatever
// rate it reads, while it goes over coils that face either way.
func TestFollowsPulses(t *testing.T) {
	for _, every := range []float64{0.01, 0.02, 0.1} {
		for _, tau := range []float64{0, 0.1, 0.25} {
			rng := rand.New(rand.NewPCG(2, 8))
			d := &passDigest{pulsed: true, hz: 1, duty: 0.5}
			seen, at := 0.0, 0.0
			for now := 0.0; now < 9; now += 0.005 {
				goal := 0.0
				if now-math.Floor(now) < d.duty {
					goal = 400 * math.Cos(2*math.Pi*now/2.2)
				}
				if tau > 0 {
					seen += (goal - seen) * (1 - math.Exp(-0.005/tau))
				} else {
					seen = goal
				}
				if now >= at {
					at += every
					d.samples = append(d.samples, sample{t: now, u: [3]float64{20, -5, seen + 0.5*rng.NormFloat64()}, s: d.duty})
				}
			}
			got := d.trailsBy()
			// Rather too little is found than too much, and read ten times a second a tenth of
			// a second hardly shows.
			if got > 1.2*tau+0.02 || got < 0.4*tau-every/2 {
				t.Errorf("every %.2f s, %.2f s behind: %.3f s found", every, tau, got)
			}
		}
	}
}
