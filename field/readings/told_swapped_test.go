package readings

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// toggledOver is a hold of four seconds over a coil of so much pull, over a background, in which
// the supply is switched on after a third and off after two thirds; told so, or the wrong way
// round.
func toggledOver(rng *rand.Rand, from float64, at string, background, pull float64, wrong bool) []string {
	state := [2]string{"off", "on"}
	if wrong {
		state = [2]string{"on", "off"}
	}
	var lines []string
	lines = append(lines, fmt.Sprintf(`{"type":"drive","t":%.2f,"state":"%s"}`, from, state[0]), fmt.Sprintf(`{"type":"hold","t":%.2f,"at":"%s"}`, from, at))
	for k := range 42 {
		now := from + 0.02 + 0.1*float64(k)
		on := k >= 14 && k < 28
		if k == 14 || k == 28 {
			lines = append(lines, fmt.Sprintf(`{"type":"drive","t":%.2f,"state":"%s"}`, now-0.01, state[k/14%2]))
		}
		z := background + 0.3*rng.NormFloat64()
		if on {
			z += pull
		}
		lines = append(lines, fmt.Sprintf(`{"type":"b","t":%.2f,"uT":[20.1,%.3f,%.3f]}`, now, 5+0.3*rng.NormFloat64(), z))
	}
	return append(lines, fmt.Sprintf(`{"type":"lift","t":%.2f}`, from+4.3))
}

// TestOnToldForOff: in one hold on and off were told the wrong way round. It is left out, and
// said; those after it are told as they are. A coil that faces the wrong way, and a phone that
// re-zeroed itself, are not taken for that.
func TestOnToldForOff(t *testing.T) {
	for _, tc := range []struct {
		name       string
		wrong      int
		pull, zero []float64
	}{
		{"all told rightly", -1, []float64{300, 280, 310, -290, 305}, []float64{-42, -40, -45, -43, -41}},
		{"the first told wrongly", 0, []float64{300, 280, 310, -290, 305}, []float64{-42, -40, -45, -43, -41}},
		{"the third told wrongly", 2, []float64{300, 280, 310, -290, 305}, []float64{-42, -40, -45, -43, -41}},
		{"a reversed coil told wrongly", 3, []float64{300, 280, 310, -290, 305}, []float64{-42, -40, -45, -43, -41}},
		{"re-zeroed by 70 uT", -1, []float64{300, 280, 310, -290, 305}, []float64{-42, -40, 30, 28, 29}},
		{"hardly any pull", -1, []float64{25, -20, 24, 22, -25}, []float64{-42, -40, -45, -43, -41}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(7, 1))
			lines := []string{`{"type":"start","v":1,"route":"vector"}`}
			coils := []string{"A1", "A2", "A3", "A1", "A2"} // each of the last two read once more
			for k, at := range coils {
				lines = append(lines, toggledOver(rng, 1+6*float64(k), at, tc.zero[k], tc.pull[k], k == tc.wrong)...)
			}
			got := readLines(t, lines)
			var left []int
			for _, h := range got.holds {
				k := int(math.Round((h.from - 1) / 6))
				left = append(left, k)
				if z := h.Readings[0].Ax[2]; math.Abs(z.D-tc.pull[k]) > 6 {
					t.Errorf("hold %d on %s pulls by %.0f uT, is %.0f", k, h.label, z.D, tc.pull[k])
				}
			}
			want := slices.DeleteFunc([]int{0, 1, 2, 3, 4}, func(k int) bool { return k == tc.wrong })
			if !slices.Equal(left, want) {
				t.Errorf("holds %v count, expected %v", left, want)
			}
			said := len(got.SwappedAlways)+len(got.SwappedOnce) > 0
			if said != (tc.wrong >= 0) {
				t.Errorf("told the wrong way round: always over %v, once over %v", got.SwappedAlways, got.SwappedOnce)
			}
		})
	}
}

// TestOnToldForOffFromTheBeginning: whoever never told it rightly has no honest hold to show it
// by, only the earth's field, which is no larger than 65 uT (World Magnetic Model 2025 over the
// surface). A phone with a magnetism of its own reads more with the supply off, and is read as
// it is.
func TestOnToldForOffFromTheBeginning(t *testing.T) {
	for _, tc := range []struct {
		name       string
		wrong      bool
		pull, zero []float64
		count      int
		said       bool
	}{
		{"one hold", true, []float64{-270}, []float64{-44}, 0, true},
		{"three holds", true, []float64{300, 280, -310}, []float64{-42, -40, -45}, 0, true},
		{"told rightly", false, []float64{300, 280, -310}, []float64{-42, -40, -45}, 3, false},
		{"a weak field", true, []float64{60}, []float64{-44}, 1, false},
		{"a phone of its own magnetism", false, []float64{-290, 305, -310}, []float64{300, 302, 298}, 3, false},
		{"the same over coils that all face down", false, []float64{-290, -255, -330, -270}, []float64{300, 302, 298, 301}, 4, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(7, 1))
			lines := []string{`{"type":"start","v":1,"route":"vector"}`}
			for k, at := range []string{"A1", "A2", "A3", "A1"}[:len(tc.pull)] {
				lines = append(lines, toggledOver(rng, 1+6*float64(k), at, tc.zero[k], tc.pull[k], tc.wrong)...)
			}
			got := readLines(t, lines)
			if len(got.holds) != tc.count {
				t.Errorf("%d holds count, expected %d", len(got.holds), tc.count)
			}
			if said := len(got.SwappedAlways)+len(got.SwappedOnce) > 0; said != tc.said {
				t.Errorf("told the wrong way round: always over %v, once over %v", got.SwappedAlways, got.SwappedOnce)
			}
		})
	}
}

// TestRestWithTheSupplyOn: the supply was on while it was told to be off, in a rest, and off
// while it was told to be on over the coils: those read the earth's field, whatever coil they
// lie on, and tell nothing. A phone with a magnetism of its own reads more than that over them.
func TestRestWithTheSupplyOn(t *testing.T) {
	for _, tc := range []struct {
		name  string
		rest  float64
		over  []float64 // read over A1, A2, A3 with the supply told on
		count int
		said  []string
	}{
		{"always the other way round", -485, []float64{-41, -42, -40}, 0, []string{"A1", "A2", "A3"}},
		{"over one coil so far", 403, []float64{-41}, 0, []string{"A1"}},
		{"told rightly", -41, []float64{403, 390, -470}, 3, nil},
		{"told rightly, no current", -41, []float64{-42, -40, -41}, 3, nil},
		{"a phone of its own magnetism", -485, []float64{-41, -930, -921}, 3, nil},
		{"the same without current", -485, []float64{-484, -486, -485}, 3, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(7, 3))
			lines := []string{`{"type":"start","v":1,"route":"vector"}`}
			now := 0.0
			read := func(z float64) {
				for range 25 {
					now += 0.1
					lines = append(lines, fmt.Sprintf(`{"type":"b","t":%.2f,"uT":[12.1,%.3f,%.3f]}`, now, -16+0.3*rng.NormFloat64(), z+0.3*rng.NormFloat64()))
				}
			}
			lines = append(lines, `{"type":"drive","t":0,"state":"off"}`)
			read(tc.rest)
			now += 0.1
			lines = append(lines, fmt.Sprintf(`{"type":"drive","t":%.2f,"state":"on"}`, now))
			for k, z := range tc.over {
				now += 2
				lines = append(lines, fmt.Sprintf(`{"type":"hold","t":%.2f,"at":"A%d"}`, now, k+1))
				read(z)
				now += 0.1
				lines = append(lines, fmt.Sprintf(`{"type":"lift","t":%.2f}`, now))
			}
			got := readLines(t, lines)
			if len(got.holds) != tc.count || !slices.Equal(got.SwappedAlways, tc.said) {
				t.Errorf("%d holds count, expected %d; told the wrong way round over %v, expected %v", len(got.holds), tc.count, got.SwappedAlways, tc.said)
			}
		})
	}
}

// TestWeakCoilReadByAPhoneThatRezeroed: over a weak coil a phone that re-zeroed itself by as much
// as the coil pulls looks as if on and off had been told the wrong way round. It counts.
func TestWeakCoilReadByAPhoneThatRezeroed(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	lines := []string{`{"type":"start","v":1,"route":"vector"}`}
	pull, zero := []float64{300, 280, -45, -290, 305}, []float64{-42, -40, 3, -43, -41}
	for k, at := range []string{"A1", "A2", "A3", "A1", "A2"} {
		lines = append(lines, toggledOver(rng, 1+6*float64(k), at, zero[k], pull[k], false)...)
	}
	got := readLines(t, lines)
	if swapped := slices.Concat(got.SwappedAlways, got.SwappedOnce); len(got.holds) != 5 || len(swapped) > 0 {
		t.Errorf("%d holds count; told the wrong way round over %v", len(got.holds), swapped)
	}
}
