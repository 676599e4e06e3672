package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// TestNeedleDensity holds the density of a needle's turn against draws of what it is the
// density of: the pad's pull at a place that is not quite known, beside the earth's field,
// read with an error. (The law itself: Mardia and Jupp, Directional Statistics, 2000,
// section 3.5.6, from memory; the draws need no law.) Under pulses half of the phones average
// the field, and half the angle.
func TestNeedleDensity(t *testing.T) {
	// Beside a winding the pull falls off within millimetres; the field is one without
	// divergence and curl.
	for name, f := range map[string]nine{
		"strong, along":   {600, 40, 300, -60000, 9000, 20000, 20000, 5000, 45000},
		"strong, against": {-600, 40, -300, 60000, -9000, -20000, -20000, -5000, -45000},
		"as the earth's":  {18, -22, 40, -900, 300, 700, 700, -600, 500},
		"weak":            {3, 2, -9, 100, 50, -80, -80, 30, -60},
	} {
		for _, duty := range []float64{1, 0.4} {
			t.Run(fmt.Sprintf("%s, duty %g", name, duty), func(t *testing.T) { needleDensity(t, &f, duty) })
		}
	}
}

func needleDensity(t *testing.T, f *nine, duty float64) {
	const (
		bins, draws = 36, 400_000
		placeSD     = 0.0042
		base        = 0.003
	)
	b := &bearingFactor{scalesAreEarths: true, shares: []float64{1}, chance: []float64{1}}
	d := bearingDigest{topDeg: 0.4 * 180 / math.Pi, off: 1.1, sdOff: math.Sqrt(base - turnVar), duty: duty}
	pad, north := turningBy(0.4), turningBy(1.1)
	sc := &scales{s: []float64{1}, sd: 0.15, earths: []earth{{20, 1}}}
	var density [bins]float64
	sum := 0.0
	for k := range density {
		const fine = 20
		for q := range fine {
			d.on = d.off + (float64(k)+(float64(q)+0.5)/fine)*2*math.Pi/bins
			b.turns = d.turns()
			var row [1]float64
			b.scores(row[:], f, sc, placeSD)
			density[k] += row[0] * 2 * math.Pi / bins / fine
		}
		sum += density[k]
	}
	if math.Abs(sum-1) > 0.02 {
		t.Errorf("the density sums to %.3f, expected 1", sum)
	}
	rng := rand.New(rand.NewPCG(3, 9))
	var drawn [bins]float64
	for range draws {
		dx, dy, dz := placeSD*rng.NormFloat64(), placeSD*rng.NormFloat64(), heightSD*rng.NormFloat64()
		yx, yy, _ := f.slopeY()
		s := 1 + sc.sd*rng.NormFloat64()
		x := s*f[0] + f[3]*dx + yx*dy + f[6]*dz + levelSD*f[2]*rng.NormFloat64()
		y := s*f[1] + f[4]*dx + yy*dy + f[7]*dz + levelSD*f[2]*rng.NormFloat64()
		px, py := pad.cos*x+pad.sin*y, -pad.sin*x+pad.cos*y
		along, across := -north.sin*px+north.cos*py, -north.sin*py-north.cos*px
		acts, of := duty, 1.0
		if rng.Float64() < 0.5 {
			acts, of = 1, duty
		}
		floor := math.Sqrt(floorTurn) / acts
		along, across = along+floor*rng.NormFloat64(), across+floor*rng.NormFloat64()
		turn := of*math.Atan2(acts*across, 20+acts*along) + math.Sqrt(base)*rng.NormFloat64()
		turn = math.Mod(turn+4*math.Pi, 2*math.Pi)
		drawn[min(bins-1, int(turn/(2*math.Pi)*bins))] += 1.0 / draws
	}
	apart := 0.0
	for k := range density {
		apart += math.Abs(density[k]-drawn[k]) / 2
	}
	t.Logf("%.1f %% of the draws lie elsewhere than the density has them", 100*apart)
	most := 0.03
	if duty < 1 {
		most = 0.08 // which way round an average goes at half a turn is left open
	}
	if apart > most {
		t.Errorf("%.1f %% of the draws lie elsewhere than the density has them, at most %.0f %% allowed\ndensity %.3f\ndrawn   %.3f", 100*apart, 100*most, density, drawn)
	}
}
