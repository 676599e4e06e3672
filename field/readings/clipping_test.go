package readings

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"polewise/field/capture"
)

// A sensor stops at the end of its own range; what the phone took off or put on when it
// re-zeroed itself moves the level at which that shows. Every such level is a flat top.
func TestFlatTopsOfAPhoneThatReZeroes(t *testing.T) {
	const stops = 160.0 // uT either way, before the offset is put on
	rng := rand.New(rand.NewPCG(8, 3))
	lines := []string{`{"type":"start","v":1,"route":"vector"}`, `{"type":"drive","t":0,"state":"off"}`}
	at := 0.1
	sample := func(z, offset float64) {
		noisy := func(x float64) float64 { return x + 0.4*rng.NormFloat64() }
		z = max(-stops, min(stops, noisy(z)))
		u := [3]float64{noisy(12) + offset, noisy(-31), math.Round((z+offset)/0.2) * 0.2}
		lines = append(lines, fmt.Sprintf(`{"type":"b","t":%.2f,"uT":[%.2f,%.2f,%.2f]}`, at, u[0], u[1], u[2]))
		at += 0.1
	}
	for range 15 {
		sample(-40, 0)
	}
	lines = append(lines, fmt.Sprintf(`{"type":"drive","t":%.2f,"state":"pulse","hz":3.3,"duty":0.6}`, at))
	type held struct{ pull, offset float64 }
	for i, h := range []held{{600, 0}, {-500, 0}, {420, 24}, {90, 24}, {-450, 24}, {700, -18}} {
		lines = append(lines, fmt.Sprintf(`{"type":"hold","t":%.2f,"at":"A%d"}`, at, i+1))
		for k := range 16 {
			if k%5 < 3 {
				sample(-40+h.pull, h.offset)
			} else {
				sample(-40, h.offset)
			}
		}
		lines = append(lines, fmt.Sprintf(`{"type":"lift","t":%.2f}`, at))
	}
	c, err := capture.Read(strings.NewReader(strings.Join(lines, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	for a, tops := range flatTops(c.Cut(), 0) {
		for _, top := range tops {
			found[fmt.Sprintf("axis %d at %.0f, %+.0f", a, top.level, top.sign)] = true
		}
	}
	want := map[string]bool{}
	for _, level := range []float64{160, 184, 142} {
		want[fmt.Sprintf("axis 2 at %.0f, +1", level)] = true
	}
	for _, level := range []float64{-160, -136} {
		want[fmt.Sprintf("axis 2 at %.0f, -1", level)] = true
	}
	for name := range want {
		if !found[name] {
			t.Errorf("no flat top found on %s", name)
		}
	}
	for name := range found {
		if !want[name] {
			t.Errorf("a flat top found on %s, where the sensor did not stop", name)
		}
	}
}

// TestClippedByFewPulses: short pulses, and a phone that was laid down late, leave few
// samples at the end of the range. They are no less clipped.
func TestClippedByFewPulses(t *testing.T) {
	lines := []string{`{"type":"start","v":1,"route":"vector"}`, `{"type":"drive","t":0,"state":"pulse","hz":1,"duty":0.2}`, `{"type":"hold","t":0.05,"at":"A1"}`}
	rng := rand.New(rand.NewPCG(4, 1))
	for k := range 60 {
		z := -40 + 0.4*rng.NormFloat64()
		if k >= 20 && k%10 < 2 {
			z = 320.88
		}
		lines = append(lines, fmt.Sprintf(`{"type":"b","t":%.2f,"uT":[%.2f,%.2f,%.2f]}`, 0.1+0.1*float64(k), 12+0.4*rng.NormFloat64(), -31+0.4*rng.NormFloat64(), z))
	}
	c, err := capture.Read(strings.NewReader(strings.Join(append(lines, `{"type":"lift","t":6.2}`), "\n")))
	if err != nil {
		t.Fatal(err)
	}
	if level := readCapture(t, c).holds[0].Clipped; level != [3]float64{0, 0, 320.88} {
		t.Errorf("clipped at %v, expected z at 320.88", level)
	}
}

// TestHighestByChance: the highest of what a hold read came five times of fourteen, and the
// others lie just short of it: the sensor reads up to there, and further.
func TestHighestByChance(t *testing.T) {
	lines := []string{`{"type":"start","v":1,"route":"vector"}`, `{"type":"drive","t":0,"state":"on"}`, `{"type":"hold","t":0.05,"at":"A1"}`}
	rng := rand.New(rand.NewPCG(4, 1))
	zs := []float64{385.32, 385.32, 385.26, 385.14, 385.32, 385.32, 384.6, 384.84, 384.9, 385.08, 385.14, 385.08, 384.84, 385.32, -35.7, -35.4, -35.58, -35.52, -35.94, -34.8, -35.04, -35.7}
	for k, z := range zs {
		if k == 14 {
			lines = append(lines, `{"type":"drive","t":1.45,"state":"off"}`)
		}
		lines = append(lines, fmt.Sprintf(`{"type":"b","t":%.2f,"uT":[%.2f,%.2f,%.2f]}`, 0.1+0.1*float64(k), 12+0.4*rng.NormFloat64(), -31+0.4*rng.NormFloat64(), z))
	}
	c, err := capture.Read(strings.NewReader(strings.Join(append(lines, `{"type":"lift","t":2.4}`), "\n")))
	if err != nil {
		t.Fatal(err)
	}
	cut := c.Cut()
	if level := clippedIn(cut, &cut.Holds[0], flatTops(cut, 0)); level != [3]float64{} {
		t.Errorf("clipped at %v, expected nowhere", level)
	}
}

// TestFlatForAMoment: a hold with the supply on for a moment only reached the end of the
// sensor's range in it.
func TestFlatForAMoment(t *testing.T) {
	const top = 102.3
	cut := &capture.Stretches{Drives: []capture.Drive{{T: 0, State: capture.Off}, {T: 1.5, State: capture.On}}}
	h := capture.Stretch{}
	for i := range 17 {
		b := capture.B{T: float64(i) / 10, UT: [3]float64{5, 5, 30 + float64(i%3)}}
		if b.T > 1.49 {
			b.UT[2] = top
		}
		h.B = append(h.B, b)
	}
	if level := clippedIn(cut, &h, [3][]flatTop{2: {{top, 1}}}); level != [3]float64{2: top} {
		t.Errorf("flat at %v, expected at %g along z", level, top)
	}
}

// A sensor that goes by steps as coarse as its noise repeats the highest value of
// an axis in which nothing happens: it has not reached the end of its range.
func TestCoarseStepsAreNoFlatTop(t *testing.T) {
	lines := []string{`{"type":"start","v":1,"route":"vector"}`, `{"type":"drive","t":0,"state":"off"}`}
	rng := rand.New(rand.NewPCG(5, 5))
	at := 0.1
	sample := func(z float64) {
		step := func(x float64) float64 { return math.Round((x+0.18*rng.NormFloat64())/0.22) * 0.22 }
		lines = append(lines, fmt.Sprintf(`{"type":"b","t":%.2f,"uT":[%.4f,%.4f,%.4f]}`, at, step(9.2), step(-35), step(z)))
		at += 0.1
	}
	for range 20 {
		sample(-55)
	}
	lines = append(lines, fmt.Sprintf(`{"type":"drive","t":%.2f,"state":"pulse","hz":7.83,"duty":0.33}`, at), fmt.Sprintf(`{"type":"hold","t":%.2f,"at":"A1"}`, at+0.01))
	for i := range 40 {
		z := -55.0
		if i%3 == 0 {
			z = 40
		}
		sample(z)
	}
	lines = append(lines, fmt.Sprintf(`{"type":"lift","t":%.2f}`, at))
	c, err := capture.Read(strings.NewReader(strings.Join(lines, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	for a, tops := range flatTops(c.Cut(), 0) {
		if len(tops) > 0 {
			t.Errorf("axis %d: flat tops %v", a, tops)
		}
	}
}
