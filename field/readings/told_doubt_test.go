package readings

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"polewise/field/capture"
)

// The person taps a moment after the switch, or before it: that is no phone that
// re-zeroed itself. A coil without field whose phone jumped near a switching keeps
// that reading, however.
func TestSupplyToldLate(t *testing.T) {
	sigma := [3]float64{0.4, 0.4, 0.4}
	for _, late := range []int{-5, -2, 2, 5} {
		rng := rand.New(rand.NewPCG(2, uint64(10+late)))
		xs := steady(rng, 0.4, 120, 0, 0)
		for i := range xs {
			xs[i].s = 0
			if i >= 10+late && i < 20 {
				xs[i].s = 1
			}
		}
		readings, toggled, jumped := digestSteady(xs, sigma, mostToldOff)
		if !toggled || jumped || len(readings) == 0 {
			t.Fatalf("told %d samples late: toggled %v, jumped %v, %d readings", late, toggled, jumped, len(readings))
		}
		if d := readings[0].Ax[2].D; math.Abs(d-120) > 1.5 {
			t.Errorf("told %d samples late: pull %.1f, expected 120", late, d)
		}
	}
	readings, _, _ := digestSteady(steady(rand.New(rand.NewPCG(4, 4)), 0.4, 0, 12, 30), sigma, mostToldOff)
	least := math.Inf(1)
	for _, r := range readings {
		if r.LogW > math.Log(0.02) {
			least = math.Min(least, math.Abs(r.Ax[2].D))
		}
	}
	if least > 1.5 {
		t.Errorf("a jump of 30 uT over a coil without field: no pull below %.1f uT is held possible", least)
	}
}

// Off and on both told late: the levels tell which is which, as long as one of them lasted
// longer than anybody taps late by. Where neither did, the hold may read one way or the
// other.
func TestBothSwitchingsToldLate(t *testing.T) {
	sigma := [3]float64{0.4, 0.4, 0.4}
	// Supply on at first, off from the 4th sample on, on again from the 17th; told four
	// samples earlier each time.
	hold := func(off, on, end int) (xs []sample) {
		rng := rand.New(rand.NewPCG(3, uint64(on)))
		for i := range end {
			x := sample{t: float64(i) / 10}
			really := i < off || i >= on
			if i >= on-4 {
				x.s = 1
			}
			x.early = i < 7 || i >= on-4 && i < on+3
			x.soon = i < on-4 && i >= on-11
			for a := range x.u {
				x.u[a] = 20 + 0.4*rng.NormFloat64()
				if really {
					x.u[a] += 120
				}
			}
			xs = append(xs, x)
		}
		return xs
	}
	readings, toggled, jumped := digestSteady(hold(4, 22, 40), sigma, mostToldOff)
	if !toggled || jumped || math.Abs(readings[0].Ax[2].D-120) > 1.5 || readings[0].LogW < math.Log(0.99) {
		t.Errorf("both told late: toggled %v, jumped %v, pull %.1f at %.3f, expected 120", toggled, jumped, readings[0].Ax[2].D, math.Exp(readings[0].LogW))
	}
	either := map[bool]float64{}
	readings, _, _ = digestSteady(hold(4, 12, 12), sigma, mostToldOff)
	for _, r := range readings {
		either[r.Ax[2].D > 0] += math.Exp(r.LogW)
	}
	if min(either[false], either[true]) < 0.005 {
		t.Errorf("told on and off alike late or early: the pull is said to be positive at %.4f, negative at %.4f", either[true], either[false])
	}
}

// The hold began with the supply on, which was told off before it was.
func TestToldOffBeforeItWas(t *testing.T) {
	sigma := [3]float64{0.4, 0.4, 0.4}
	xs := append(steady(rand.New(rand.NewPCG(8, 8)), 0.4, 120, 0, 0)[17:], steady(rand.New(rand.NewPCG(9, 9)), 0.4, 120, 0, 0)[10:20]...)
	for i := range xs {
		xs[i].t = float64(i) / 10
		if i < 3 {
			xs[i].s = 0
		}
		xs[i].early = i < 6
	}
	readings, _, jumped := digestSteady(xs, sigma, mostToldOff)
	if jumped || math.Abs(readings[0].Ax[2].D-120) > 1.5 {
		t.Errorf("told off too early: jumped %v, pull %.1f, expected 120", jumped, readings[0].Ax[2].D)
	}
}

// TestFrozenUntilSwitched: the readings froze, and what was read with the supply told off,
// or on, was read before it was: that is no coil without field.
func TestFrozenUntilSwitched(t *testing.T) {
	sigma := [3]float64{0.4, 0.4, 0.4}
	rng := rand.New(rand.NewPCG(5, 5))
	level := func(n int, told, is float64, early bool) (xs []sample) {
		for range n {
			x := sample{s: told, early: early}
			for a := range x.u {
				x.u[a] = -40 + 800*is + sigma[a]*rng.NormFloat64()
			}
			xs = append(xs, x)
		}
		return xs
	}
	// Read on alone at first, though told off; then on.
	readings, toggled, _ := digestSteady(append(level(2, 0, 1, true), level(12, 1, 1, false)...), sigma, mostToldOff)
	if toggled || readings[0].Ax[2].VD < Vague || math.Abs(readings[0].Ax[2].B-760) > 1.5 {
		t.Errorf("told off, and on all the time: toggled %v, %+v", toggled, readings[0].Ax[2])
	}
	// Off at first, though told on; nothing is left of what was read with it told off.
	readings, _, jumped := digestSteady(append(level(5, 1, 0, true), level(12, 1, 1, false)...), sigma, mostToldOff)
	if jumped || math.Abs(readings[0].Ax[2].D-800) > 1.5 || math.Abs(readings[0].Ax[2].B+40) > 1.5 {
		t.Errorf("told on, and off at first: jumped %v, %+v", jumped, readings[0].Ax[2])
	}
	// Never read with it on: the pull may be anything.
	readings, toggled, _ = digestSteady(append(level(12, 0, 0, false), level(2, 1, 0, true)...), sigma, mostToldOff)
	if toggled || readings[0].Ax[2].VD < 500*500 || math.Abs(readings[0].Ax[2].B+40) > 1.5 {
		t.Errorf("told on, and off all the time: toggled %v, %+v", toggled, readings[0].Ax[2])
	}
}

// TestSwitchedBeforeTold: the supply was on already when the phone was laid down, and told
// to be switched on a moment later. Background and pull were seen together alone.
func TestSwitchedBeforeTold(t *testing.T) {
	text := `{"type":"start","v":1,"route":"vector"}` + "\n" + `{"type":"drive","t":0,"state":"off"}` + "\n" + `{"type":"hold","t":3,"at":"A1"}` + "\n" + `{"type":"drive","t":3.2,"state":"on"}` + "\n"
	for i := range 14 {
		text += fmt.Sprintf(`{"type":"b","t":%.2f,"uT":[%.2f,4,%.2f]}`+"\n", 3.02+0.1*float64(i), 5+0.2*float64(i%3), -700+0.3*float64(i%4))
	}
	c, err := capture.Read(strings.NewReader(text + `{"type":"lift","t":4.5}`))
	if err != nil {
		t.Fatal(err)
	}
	got := readCapture(t, c)
	h := got.holds[0]
	if h.Toggled || !slices.ContainsFunc(h.Readings, func(r Reading) bool { return r.Ax[2].VD >= Vague/2 && r.LogW > -3 }) {
		t.Errorf("toggled %v, %+v; expected that all may have been read with the supply on", h.Toggled, h.Readings)
	}
}
