package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"polewise/field/capture"
)

// gathered is what the lines of a capture over the plain pad say.
func gathered(t *testing.T, lines []string) *evidence {
	t.Helper()
	c, err := capture.Read(strings.NewReader(strings.Join(lines, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	ev, err := gather(plain(t), []*capture.Capture{c})
	if err != nil {
		t.Fatal(err)
	}
	return ev
}

// TestFrozenOnItsWay: a slow sensor, a third of a second behind, froze half a second after
// the supply was switched off over the third coil, and came back with the supply on. Its
// level of off lay a quarter of the pull too high, and the coil seemed weak.
func TestFrozenOnItsWay(t *testing.T) {
	const tau, pull, background = 0.3, 500.0, 40.0
	rng := rand.New(rand.NewPCG(7, 7))
	var lines []string
	say := func(format string, a ...any) { lines = append(lines, fmt.Sprintf(format, a...)) }
	say(`{"type":"start","v":1,"route":"vector"}`)
	seen, now := background, 0.0
	for k, at := range []string{"A1", "A2", "A3"} {
		switched := now
		say(`{"type":"drive","t":%.3f,"state":"off"}`, now)
		say(`{"type":"hold","t":%.3f,"at":"%s"}`, now+0.02, at)
		goal, frozen := background, 0.0
		for range 34 {
			now += 0.1
			if goal == background && now > switched+1.7 {
				say(`{"type":"drive","t":%.3f,"state":"on","amps":1}`, now-0.01)
				goal = background + pull
			}
			seen += (goal - seen) * (1 - math.Exp(-0.1/tau))
			told := seen + 0.3*rng.NormFloat64()
			if k == 2 && now > switched+0.45 && now < switched+2.4 {
				if frozen == 0 {
					frozen = told
				}
				told = frozen
			}
			say(`{"type":"b","t":%.3f,"uT":[20,-10,%.3f]}`, now, told)
		}
		say(`{"type":"lift","t":%.3f}`, now+0.02)
		now += 0.8
	}
	ev := gathered(t, lines)
	if len(ev.holds) != 3 {
		t.Fatalf("%d holds, expected three", len(ev.holds))
	}
	for _, h := range ev.holds {
		for _, r := range h.readings {
			z := r.ax[2]
			if sd := math.Sqrt(z.vd); r.logW > -3 && math.Abs(z.d-pull) > 4*sd+pull/20 {
				t.Errorf("%s: pull %.0f with an error of %.1f, is %.0f", h.label, z.d, sd, pull)
			}
		}
	}
}

// TestStoppedAfterSwitching: the readings stopped for a second just after the supply came
// on. Two that agree are a level; one alone, or two on their way, are none.
func TestStoppedAfterSwitching(t *testing.T) {
	p := plain(t)
	cut := &capture.Stretches{Drives: []capture.Drive{{T: 0, State: capture.Off}, {T: 1.5, State: capture.On}}}
	for _, tc := range []struct {
		name string
		on   []capture.B
		want int
	}{
		{"two that agree", []capture.B{{T: 1.58, UT: [3]float64{5, 5, 300}}, {T: 1.68, UT: [3]float64{5, 5.5, 300.5}}}, 2},
		{"one", []capture.B{{T: 1.58, UT: [3]float64{5, 5, 300}}}, 0},
		{"two on their way", []capture.B{{T: 1.58, UT: [3]float64{5, 5, 150}}, {T: 1.68, UT: [3]float64{5, 5, 230}}}, 0},
	} {
		h := capture.Stretch{From: 0, To: 2.8}
		for i := range 15 {
			h.B = append(h.B, capture.B{T: float64(i) / 10, UT: [3]float64{5, 5, 30 + float64(i%3)}})
		}
		h.B = append(h.B, tc.on...)
		if got := perState(steadySamples(cut, &h, p, guardAfter, mostToldOff))[1]; got != tc.want {
			t.Errorf("%s: %d readings with the supply on, expected %d", tc.name, got, tc.want)
		}
	}
}

// TestRestsThatAreNone: of what is told to be a rest, one was switched off the moment the
// check began and on again before anybody did, so that the supply was on; one ends before a
// sensor that smooths had come down from a coil. The background is that of the others.
func TestRestsThatAreNone(t *testing.T) {
	const tau = 0.2
	var lines []string
	say := func(format string, a ...any) { lines = append(lines, fmt.Sprintf(format, a...)) }
	say(`{"type":"start","v":1,"route":"vector"}`)
	now, seen := 0.01, 400.0
	read := func(seconds, goal float64) {
		for end := now + seconds; now < end; now += 0.02 {
			seen += (goal - seen) * (1 - math.Exp(-0.02/tau))
			say(`{"type":"b","t":%.3f,"uT":[20,-10,%.2f]}`, now, seen+0.2*math.Sin(37*now))
		}
	}
	drive := func(state string) { say(`{"type":"drive","t":%.3f,"state":%q}`, now-0.005, state) }
	drive("off")
	read(0.2, 400)
	drive("on")
	read(0.5, 400)
	read(1.2, 700) // on its way to the first coil
	hold := func(at string) {
		say(`{"type":"hold","t":%.3f,"at":%q}`, now, at)
		read(2, 700)
		say(`{"type":"lift","t":%.3f}`, now)
	}
	hold("A1")
	drive("off")
	read(3, -40)
	drive("on")
	hold("A2")
	drive("off")
	read(0.7, -40)
	rest := gathered(t, lines).restOf(0)
	if rest == nil || math.Abs(rest[2]+40) > 3 {
		t.Errorf("the background is told to be %v, is -40 uT along z", rest)
	}
	// Nothing but the first: better than nothing, since it may be one.
	for i, l := range lines {
		if strings.Contains(l, `"hold"`) {
			lines = lines[:i]
			break
		}
	}
	say(`{"type":"hold","t":1,"at":"A1"}`)
	for i := range 20 {
		say(`{"type":"b","t":%.2f,"uT":[20,-10,700.%d]}`, 1.05+0.1*float64(i), i%7)
	}
	say(`{"type":"lift","t":3.2}`)
	if rest := gathered(t, lines).restOf(0); rest == nil || math.Abs(rest[2]-400) > 3 {
		t.Errorf("with one doubtful rest the background is told to be %v, was read as 400 uT along z", rest)
	}
}

// TestOffAtTheLast: the supply was told to be off a moment before the phone was lifted, and
// still was on. What was read over the coil is no background.
func TestOffAtTheLast(t *testing.T) {
	sigma := [3]float64{0.3, 0.3, 0.3}
	rng := rand.New(rand.NewPCG(8, 5))
	var xs []sample
	for i := range 60 {
		// A sensor that smooths has not quite come to 1778 at first.
		z := 1778 - 3*math.Exp(-float64(i)/8)
		x := sample{t: float64(i) * 0.05, s: 1}
		if i > 56 {
			x.s, x.early = 0, true
		}
		x.soon = x.s == 1 && i > 42
		for a := range x.u {
			x.u[a] = [3]float64{6, 40, z}[a] + sigma[a]*rng.NormFloat64()
		}
		xs = append(xs, x)
	}
	readings, toggled, _ := digestSteady(xs, sigma, mostToldOff)
	open := 0.0 // weight of the pull being open
	for _, r := range readings {
		if r.ax[2].vd > 100*100 {
			open += math.Exp(r.logW)
		}
	}
	if toggled || open < 0.03 {
		t.Errorf("toggled %v; that the supply was on all the time has weight %.4f, expected three in a hundred at least: %+v", toggled, open, readings)
	}
}

// TestDisplayReadOften: a display that is off is off every time. Read twelve times it tells
// hardly more than once; once the supply was set otherwise what it showed last counts.
func TestDisplayReadOften(t *testing.T) {
	lines := []string{`{"type":"start","v":1,"route":"vector"}`}
	for i := range 12 {
		lines = append(lines, fmt.Sprintf(`{"type":"drive","t":%d,"state":"on","amps":%.3f}`, i, 0.5+0.004*float64(i%3)), fmt.Sprintf(`{"type":"drive","t":%d.5,"state":"off"}`, i))
	}
	ev := gathered(t, lines)
	if len(ev.amps) != 1 || math.Abs(ev.amps[0].amps-0.504) > 1e-9 || ev.amps[0].sd() < 0.02*0.5 {
		t.Errorf("the display is told to have said %+v, expected 0.504 A, to 2 %% at least", ev.amps)
	}
	lines = append(lines, `{"type":"drive","t":20,"state":"on","amps":0.9}`)
	if ev := gathered(t, lines); len(ev.amps) != 1 || ev.amps[0].amps != 0.9 {
		t.Errorf("set otherwise, the display is told to have said %+v, expected 0.9 A", ev.amps)
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
	open := func(h *digest) bool { // the pull is not known by itself
		return len(h.readings) == 1 && h.readings[0].ax[2].vd > 100*100
	}
	if ev := gathered(t, capture(0.0213, 0.1, 6)); !open(&ev.holds[0]) || math.Abs(ev.holds[0].readings[0].ax[2].b-80) > 20 {
		t.Errorf("47 readings a second, times rounded to 0.1 s, 6 Hz: %+v, expected a mean of 80 uT and nothing more", ev.holds[0].readings)
	}
	for name, lines := range map[string][]string{
		"47 readings a second, rounded to 0.1 s, 1 Hz":  capture(0.0213, 0.1, 1),
		"10 readings a second to the moment, 3 Hz":      capture(0.1, 0.1, 3),
		"47 readings a second, rounded to 0.1 ms, 6 Hz": capture(0.0213, 0.0001, 6),
	} {
		h := &gathered(t, lines).holds[0]
		// Where readings lie on edges a slow sensor may be thought of too.
		if p := chanceOf(h, 400, 0.1); p < 0.49 {
			t.Errorf("%s: a pull of 400 uT within a tenth has chance %.3f: %+v", name, p, h.readings)
		}
	}
}

// TestLevelNeverReached: a slow sensor froze a moment after the supply was switched on, for
// good. The last reading before that is no level.
func TestLevelNeverReached(t *testing.T) {
	cut := &capture.Stretches{Drives: []capture.Drive{{T: 0, State: capture.Off}, {T: 1.5, State: capture.On}}}
	h := capture.Stretch{From: 0, To: 3}
	for i := range 15 {
		h.B = append(h.B, capture.B{T: float64(i) / 10, UT: [3]float64{20, -10, -44 + 0.3*float64(i%3)}})
	}
	for i, z := range []float64{-12, 22, 54} {
		h.B = append(h.B, capture.B{T: 1.6 + float64(i)/10, UT: [3]float64{22, -8, z}})
	}
	if of := byState(steadySamples(cut, &h, plain(t), 0.77, mostToldOff)); len(of[0]) == 0 || len(of[1]) != 0 {
		t.Errorf("with the supply on %+v count, expected none", of[1])
	}
	// One that stands where those before it stood is one.
	for i := range 3 {
		h.B[15+i].UT[2] = 54 - 0.2*float64(i)
	}
	if of := byState(steadySamples(cut, &h, plain(t), 0.77, mostToldOff)); len(of[1]) == 0 {
		t.Error("a level reached at once was left out")
	}
}
