package readings

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"polewise/field/capture"
)

// Readings that come in a heap after a stall were taken before their time.
func TestHeapAfterAStall(t *testing.T) {
	var bs []capture.B
	for i := range 10 {
		bs = append(bs, capture.B{T: float64(i) / 10})
	}
	for i := range 6 { // what was read from 1.0 to 1.5 s comes at once
		bs = append(bs, capture.B{T: 1.5 + 0.002*float64(i), UT: [3]float64{float64(i), 0, 0}})
	}
	for i := range 10 {
		bs = append(bs, capture.B{T: 1.6 + float64(i)/10})
	}
	got := unhurried(bs)
	if len(got) != 21 || got[10].UT[0] != 5 {
		t.Errorf("of 10 readings, 6 in a heap and 10 more %d are left, the last of the heap among them: %v", len(got), got)
	}
	if even := unhurried(bs[:10]); len(even) != 10 {
		t.Errorf("of 10 readings in good order %d are left", len(even))
	}
}

// TestRoundedTimes: a browser that rounds times to a tenth of a second gives many readings the
// same. They are no heap; and of quick pulses nobody knows which of them were read in one.
// A sensor that reads ten times a second to the moment is not taken for that.
func TestRoundedTimes(t *testing.T) {
	capture := func(every, step float64, hz int) (lines []string) {
		lines = []string{`{"type":"start","v":1,"route":"vector"}`, `{"type":"drive","t":0,"state":"off"}`}
		rng := rand.New(rand.NewPCG(4, 4))
		for now := 0.0; now < 3; now += every {
			lines = append(lines, fmt.Sprintf(`{"type":"b","t":%.4f,"uT":[20,-10,%.2f]}`, math.Round(now/step)*step, -40+0.3*rng.NormFloat64()))
		}
		lines = append(lines, fmt.Sprintf(`{"type":"drive","t":3,"state":"pulse","hz":%d,"duty":0.3}`, hz), `{"type":"hold","t":3.05,"at":"A1"}`)
		for now := 3.1; now < 7; now += every {
			level := -40.0
			if now*float64(hz)-math.Floor(now*float64(hz)) < 0.3 {
				level = 360
			}
			lines = append(lines, fmt.Sprintf(`{"type":"b","t":%.4f,"uT":[20,-10,%.2f]}`, math.Round(now/step)*step, level+0.3*rng.NormFloat64()))
		}
		return append(lines, `{"type":"lift","t":7.1}`)
	}
	open := func(h *held) bool { // the pull is not known by itself
		return len(h.Readings) == 1 && h.Readings[0].Ax[2].VD > 100*100
	}
	if got := readLines(t, capture(0.0213, 0.1, 6)); !open(&got.holds[0]) || math.Abs(got.holds[0].Readings[0].Ax[2].B-80) > 20 {
		t.Errorf("47 readings a second, times rounded to 0.1 s, 6 Hz: %+v, expected a mean of 80 uT and nothing more", got.holds[0].Readings)
	}
	for name, lines := range map[string][]string{
		"47 readings a second, rounded to 0.1 s, 1 Hz":  capture(0.0213, 0.1, 1),
		"10 readings a second to the moment, 3 Hz":      capture(0.1, 0.1, 3),
		"47 readings a second, rounded to 0.1 ms, 6 Hz": capture(0.0213, 0.0001, 6),
	} {
		h := &readLines(t, lines).holds[0]
		// Where readings lie on edges a slow sensor may be thought of too.
		if p := chanceOf(h, 400, 0.1); p < 0.49 {
			t.Errorf("%s: a pull of 400 uT within a tenth has chance %.3f: %+v", name, p, h.Readings)
		}
	}
}
