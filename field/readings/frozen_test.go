package readings

import (
	"testing"

	"polewise/field/capture"
)

// TestLastingReading: the one reading with the supply on was taken just after the switching,
// and came again bit for bit until the phone was lifted. Of a sensor that goes by steps, or
// with every axis at a known end, that is a level; of one that does neither it may have
// stopped.
func TestLastingReading(t *testing.T) {
	p := plain(t)
	ends := [3][]flatTop{{{5, 1}}, {{9, 1}}, {{300, 1}}}
	for _, tc := range []struct {
		name   string
		coarse bool
		tops   [3][]flatTop
		z      float64
		until  float64
		want   int
	}{
		{"coarse", true, [3][]flatTop{}, 300, 2.9, 1},
		{"all at their ends", false, ends, 300, 2.9, 1},
		{"neither", false, [3][]flatTop{}, 300, 2.9, 0},
		{"one axis at its end", false, [3][]flatTop{2: {{300, 1}}}, 300, 2.9, 0},
		{"not for long", true, [3][]flatTop{}, 300, 2, 0},
		{"as with the supply off", true, [3][]flatTop{}, 32, 2.9, 0},
	} {
		cut := &capture.Stretches{Drives: []capture.Drive{{T: 0, State: capture.Off}, {T: 1.5, State: capture.On}}}
		h := capture.Stretch{From: 0, To: 3}
		for i := range 15 {
			h.B = append(h.B, capture.B{T: float64(i) / 10, UT: [3]float64{4, 5, 30 + float64(i%3)}})
		}
		h.B = append(h.B, capture.B{T: 1.55, UT: [3]float64{5, 9, tc.z}, Until: tc.until})
		xs := steadySamples(cut, &h, p, guardAfter, mostToldOff)
		if on := perState(xs)[1]; on != 0 {
			t.Fatalf("%d readings with the supply on before lasting ones are looked at", on)
		}
		if got := perState(withLasting(xs, cut, &h, p, tc.tops, tc.coarse))[1]; got != tc.want {
			t.Errorf("%s: %d readings with the supply on, expected %d", tc.name, got, tc.want)
		}
	}
}

// TestOneReadingOfEachState: with no noise each state of the supply has but one reading, taken
// at the switching, which came again until the next. Of a sensor known to repeat itself both
// are levels; not so where one stood through the switching.
func TestOneReadingOfEachState(t *testing.T) {
	p := plain(t)
	cut := &capture.Stretches{Drives: []capture.Drive{{T: -2, State: capture.On}, {T: 0, State: capture.Off}, {T: 1.5, State: capture.On}}}
	for _, tc := range []struct {
		name     string
		coarse   bool
		offUntil float64
		want     [2]int
	}{
		{"known to repeat itself", true, 1.4, [2]int{1, 1}},
		{"not known to", false, 1.4, [2]int{}},
		{"stopped", true, 1.7, [2]int{}},
	} {
		h := capture.Stretch{From: 0, To: 3, B: []capture.B{{T: 0, UT: [3]float64{4, 5, 30}, Until: tc.offUntil}, {T: 1.5, UT: [3]float64{9, 5, 300}, Until: 2.9}}}
		xs := steadySamples(cut, &h, p, guardAfter, mostToldOff)
		if len(xs) != 0 {
			t.Fatalf("%d readings before lasting ones are looked at", len(xs))
		}
		if got := perState(withLasting(xs, cut, &h, p, [3][]flatTop{}, tc.coarse)); got != tc.want {
			t.Errorf("%s: readings off and on %v, expected %v", tc.name, got, tc.want)
		}
	}
}
