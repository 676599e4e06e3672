package readings

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"polewise/field/capture"
)

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
	got := readLines(t, lines)
	if len(got.holds) != 3 {
		t.Fatalf("%d holds, expected three", len(got.holds))
	}
	for _, h := range got.holds {
		for _, r := range h.Readings {
			z := r.Ax[2]
			if sd := math.Sqrt(z.VD); r.LogW > -3 && math.Abs(z.D-pull) > 4*sd+pull/20 {
				t.Errorf("%s: pull %.0f with an error of %.1f, is %.0f", h.label, z.D, sd, pull)
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
	rest := Middle(readLines(t, lines).Rests)
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
	if rest := Middle(readLines(t, lines).Rests); rest == nil || math.Abs(rest[2]-400) > 3 {
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
		if r.Ax[2].VD > 100*100 {
			open += math.Exp(r.LogW)
		}
	}
	if toggled || open < 0.03 {
		t.Errorf("toggled %v; that the supply was on all the time has weight %.4f, expected three in a hundred at least: %+v", toggled, open, readings)
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

// A supply that follows its switch late and slowly is at rest when it is read, not
// half-way; told off just before a hold, it is still on as the hold begins.
func TestSlowSupply(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	pulls := []float64{300, 290, -310, 280}
	lines := []string{`{"type":"start","v":1,"route":"vector","sensor":{"offset_mm":[0,0],"offset_sd_mm":[2,2]}}`}
	now, level, late := 0.0, 0.0, []float64{0.1, 0.3, 0.45, 0.2, 0.4, 0.25, 0.35, 0.15}
	part := func(pull, to, seconds, late float64) {
		began := now
		for ; now < began+seconds; now += 0.05 {
			if now > began+late {
				level += (to - level) * (1 - math.Exp(-0.05/0.12))
			}
			lines = append(lines, fmt.Sprintf(`{"type":"b","t":%.3f,"uT":[%.2f,%.2f,%.2f]}`, now, 20+0.4*rng.NormFloat64(), 5+0.4*rng.NormFloat64(), -40+pull*level+0.4*rng.NormFloat64()))
		}
	}
	for i, pull := range pulls {
		lines = append(lines, fmt.Sprintf(`{"type":"drive","t":%.3f,"state":"off"}`, now+0.01), fmt.Sprintf(`{"type":"hold","t":%.3f,"at":"A%d"}`, now+0.03, i%3+1))
		now += 0.05
		part(pull, 0, 2, late[2*i])
		lines = append(lines, fmt.Sprintf(`{"type":"drive","t":%.3f,"state":"on"}`, now-0.02))
		part(pull, 1, 2, late[2*i+1])
		lines = append(lines, fmt.Sprintf(`{"type":"lift","t":%.3f}`, now))
		now += 1
	}
	c, err := capture.Read(strings.NewReader(strings.Join(lines, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	got := readCapture(t, c)
	for i, want := range pulls {
		if p := chanceOf(&got.holds[i], want, 0.04); p < 0.9 {
			t.Errorf("hold %d: a pull of %g uT has chance %.3f: %+v", i, want, p, got.holds[i].Readings)
		}
	}
}
