package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"polewise/field/capture"
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
		if d := readings[0].ax[2].d; math.Abs(d-120) > 1.5 {
			t.Errorf("jump of %g after %d: pull %.1f, expected 120", tc.jump, tc.after, d)
		}
	}
}

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
		if d := readings[0].ax[2].d; math.Abs(d-120) > 1.5 {
			t.Errorf("told %d samples late: pull %.1f, expected 120", late, d)
		}
	}
	readings, _, _ := digestSteady(steady(rand.New(rand.NewPCG(4, 4)), 0.4, 0, 12, 30), sigma, mostToldOff)
	least := math.Inf(1)
	for _, r := range readings {
		if r.logW > math.Log(0.02) {
			least = math.Min(least, math.Abs(r.ax[2].d))
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
	if !toggled || jumped || math.Abs(readings[0].ax[2].d-120) > 1.5 || readings[0].logW < math.Log(0.99) {
		t.Errorf("both told late: toggled %v, jumped %v, pull %.1f at %.3f, expected 120", toggled, jumped, readings[0].ax[2].d, math.Exp(readings[0].logW))
	}
	either := map[bool]float64{}
	readings, _, _ = digestSteady(hold(4, 12, 12), sigma, mostToldOff)
	for _, r := range readings {
		either[r.ax[2].d > 0] += math.Exp(r.logW)
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
	if jumped || math.Abs(readings[0].ax[2].d-120) > 1.5 {
		t.Errorf("told off too early: jumped %v, pull %.1f, expected 120", jumped, readings[0].ax[2].d)
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

// TestRestBeforeSwitching: of a rest only what was read far from the switchings counts,
// and a reading or two beside one are no rest.
func TestRestBeforeSwitching(t *testing.T) {
	cut := &capture.Stretches{Drives: []capture.Drive{{T: 0, State: capture.Off}, {T: 2.5, State: capture.On}}}
	rest := func(from float64) (xs []sample) {
		for i := range 25 {
			if at := float64(i) / 10; at >= from {
				xs = append(xs, sample{t: at})
			}
		}
		return xs
	}
	for _, tc := range []struct {
		from float64
		left int
	}{{0, 22}, {2, 2}, {2.35, 0}} {
		if xs, _ := restSamples(cut, rest(tc.from)); len(xs) != tc.left {
			t.Errorf("read from %g s on: %d samples of the rest, expected %d", tc.from, len(xs), tc.left)
		}
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
	if toggled || readings[0].ax[2].vd < vague || math.Abs(readings[0].ax[2].b-760) > 1.5 {
		t.Errorf("told off, and on all the time: toggled %v, %+v", toggled, readings[0].ax[2])
	}
	// Off at first, though told on; nothing is left of what was read with it told off.
	readings, _, jumped := digestSteady(append(level(5, 1, 0, true), level(12, 1, 1, false)...), sigma, mostToldOff)
	if jumped || math.Abs(readings[0].ax[2].d-800) > 1.5 || math.Abs(readings[0].ax[2].b+40) > 1.5 {
		t.Errorf("told on, and off at first: jumped %v, %+v", jumped, readings[0].ax[2])
	}
	// Never read with it on: the pull may be anything.
	readings, toggled, _ = digestSteady(append(level(12, 0, 0, false), level(2, 1, 0, true)...), sigma, mostToldOff)
	if toggled || readings[0].ax[2].vd < 500*500 || math.Abs(readings[0].ax[2].b+40) > 1.5 {
		t.Errorf("told on, and off all the time: toggled %v, %+v", toggled, readings[0].ax[2])
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
		if math.Abs(r.ax[2].d-30) < 3*math.Sqrt(r.ax[2].vd) {
			wide = true
		}
	}
	if !wide {
		t.Errorf("no reading allows the true pull of 30: %+v", readings)
	}
}

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
				if math.Abs(r.ax[2].d+200) < 5 && math.Abs(r.ax[2].b-20) < 5 {
					p += math.Exp(r.logW)
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
			if math.Abs(r.ax[2].d-pull) < 2.5*math.Sqrt(r.ax[2].vd) {
				allowed += math.Exp(r.logW)
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

func TestNoiseSeesThroughAJumpAndQuantisation(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	s := noise([][]sample{steady(rng, 0.6, 300, 14, 30)})
	for a, v := range s {
		if v < 0.4 || v > 0.9 {
			t.Errorf("axis %d: noise %.2f, expected about 0.6", a, v)
		}
	}
	coarse := steady(rng, 0.05, 0, 0, 0)
	for i := range coarse {
		for a := range coarse[i].u {
			coarse[i].u[a] = 0.6 * math.Round(coarse[i].u[a]/0.6)
		}
	}
	for a, v := range noise([][]sample{coarse}) {
		if v < 0.1 {
			t.Errorf("axis %d: noise %.3f is less than quantisation allows", a, v)
		}
	}
}

func TestBackgroundSteps(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	var list []left
	for i := range 20 {
		l := left{factor: i, t: float64(i)}
		for a := range l.b {
			l.b[a] = 2 * rng.NormFloat64()
			if i >= 12 {
				l.b[a] += 30
			}
			l.w[a] = 1 / (3.0 * 3)
		}
		list = append(list, l)
	}
	if cuts := steps(list); len(cuts) != 3 || cuts[1] != 12 {
		t.Errorf("cut at %v, expected one step before the 13th", cuts)
	}
	// A single reading far off is not a step of the background.
	for a := range list[5].b {
		list[5].b[a] = 800
	}
	if cuts := steps(list[:12]); len(cuts) != 2 {
		t.Errorf("a reading that nothing explains was taken for steps at %v", cuts)
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

// TestSwitchedBeforeTold: the supply was on already when the phone was laid down, and told
// to be switched on a moment later. Background and pull were seen together alone.
func TestSwitchedBeforeTold(t *testing.T) {
	plan := plain(t)
	text := `{"type":"start","v":1,"route":"vector"}` + "\n" + `{"type":"drive","t":0,"state":"off"}` + "\n" + `{"type":"hold","t":3,"at":"A1"}` + "\n" + `{"type":"drive","t":3.2,"state":"on"}` + "\n"
	for i := range 14 {
		text += fmt.Sprintf(`{"type":"b","t":%.2f,"uT":[%.2f,4,%.2f]}`+"\n", 3.02+0.1*float64(i), 5+0.2*float64(i%3), -700+0.3*float64(i%4))
	}
	c, err := capture.Read(strings.NewReader(text + `{"type":"lift","t":4.5}`))
	if err != nil {
		t.Fatal(err)
	}
	ev, err := gather(plan, []*capture.Capture{c})
	if err != nil {
		t.Fatal(err)
	}
	h := ev.holds[0]
	if h.toggled || !slices.ContainsFunc(h.readings, func(r reading) bool { return r.ax[2].vd >= vague/2 && r.logW > -3 }) {
		t.Errorf("toggled %v, %+v; expected that all may have been read with the supply on", h.toggled, h.readings)
	}
}

// TestMovedAsItWasRead: a phone drawn away over the whole of a hold has no level. What is
// taken for its pull may be off by all of that; a sensor that needs a second to settle, or
// one that re-zeroed itself, has a level and is none of those.
func TestMovedAsItWasRead(t *testing.T) {
	const pull = 400.0
	for name, tc := range map[string]struct {
		share func(after float64) float64 // of the pull, so long after the supply went on
		moved bool
	}{
		"still":     {func(float64) float64 { return 1 }, false},
		"slow":      {func(s float64) float64 { return 1 - math.Exp(-s/0.3) }, false},
		"re-zeroed": {func(s float64) float64 { return 1 + 0.1*math.Floor(s) }, false},
		"drawn":     {func(s float64) float64 { return 1 - 0.6*s }, true},
	} {
		rng := rand.New(rand.NewPCG(3, 3))
		text := `{"type":"start","v":1,"route":"vector"}` + "\n" + `{"type":"drive","t":0,"state":"off"}` + "\n" + `{"type":"hold","t":0.01,"at":"A1"}` + "\n"
		for i := range 36 {
			at, z := 0.1*float64(i+1), 40.0
			if i == 17 {
				text += fmt.Sprintf(`{"type":"drive","t":%.2f,"state":"on"}`+"\n", at-0.02)
			}
			if i >= 17 {
				z += pull * tc.share(at-1.78)
			}
			text += fmt.Sprintf(`{"type":"b","t":%.2f,"uT":[%.3f,4,%.3f]}`+"\n", at, 5+0.4*rng.NormFloat64(), z+0.4*rng.NormFloat64())
		}
		ev := gathered(t, []string{text + `{"type":"lift","t":3.7}`})
		h := ev.holds[0]
		if h.moved != tc.moved {
			t.Errorf("%s: moved %v", name, h.moved)
		}
		if said := slices.ContainsFunc(ev.notes, func(n string) bool { return strings.Contains(n, "would not stand still") }); said != tc.moved {
			t.Errorf("%s: notes %q", name, ev.notes)
		}
		for _, r := range h.readings {
			if z := r.ax[2]; tc.moved && math.Abs(z.d-pull) > 3*math.Sqrt(z.vd) {
				t.Errorf("%s: pull %.0f with an error of %.0f, was %.0f at first", name, z.d, math.Sqrt(z.vd), pull)
			}
		}
	}
}

// TestRemarksOfManyHolds: what is to be said of ten coils is said once.
func TestRemarksOfManyHolds(t *testing.T) {
	var ev evidence
	for _, d := range []digest{{label: "B1", jumped: true}, {label: "A2", moved: true}, {label: "C3", jumped: true}, {label: "B1", jumped: true}} {
		ev.addHold(d)
	}
	ev.noteRemarks()
	want := []string{
		"The readings over A2 would not stand still: the phone was moved, or something beside it. Lay it down again and read A2 again.",
		"The readings over B1 and C3 jumped: the phone re-zeroed itself, or was lifted too soon. Read them again to be sure.",
	}
	if !slices.Equal(ev.notes, want) {
		t.Errorf("notes:\n%q\nexpected\n%q", ev.notes, want)
	}
}
