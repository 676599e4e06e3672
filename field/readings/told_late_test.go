package readings

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"polewise/field/capture"
)

// switching is a capture of holds of four seconds, in each of which the supply is switched
// off, on, off and on again, told so many seconds after it was (before, if below zero).
func switching(t *testing.T, told func(n int) float64, pull, lag float64) []string {
	t.Helper()
	rng := rand.New(rand.NewPCG(3, 9))
	lines := []string{`{"type":"start","v":1,"route":"vector"}`, `{"type":"drive","t":0,"state":"on"}`}
	const background = -42.0
	seen, n := background+pull, 0
	for k, at := range []string{"A1", "A2", "A3"} {
		from := 2 + 7*float64(k)
		lines = append(lines, fmt.Sprintf(`{"type":"hold","t":%.2f,"at":"%s"}`, from, at))
		at := []float64{from + 0.8, from + 1.9, from + 3, from + 4.2}
		for _, switched := range at {
			state := "off"
			if n%2 == 1 {
				state = "on"
			}
			lines = append(lines, fmt.Sprintf(`{"type":"drive","t":%.2f,"state":"%s"}`, switched+told(n), state))
			n++
		}
		for now := from; now < from+5; now += 0.1 {
			goal := background + pull
			for i, s := range at {
				if now > s {
					goal = background + pull*float64(i%2)
				}
			}
			if lag > 0 {
				seen += (goal - seen) * (1 - math.Exp(-0.1/lag))
			} else {
				seen = goal
			}
			lines = append(lines, fmt.Sprintf(`{"type":"b","t":%.2f,"uT":[20.1,%.3f,%.3f]}`, now, 5+0.3*rng.NormFloat64(), seen+0.3*rng.NormFloat64()))
		}
		lines = append(lines, fmt.Sprintf(`{"type":"lift","t":%.2f}`, from+5))
	}
	return lines
}

// TestSwitchedWhenItShows: whatever moment a switching was told at, a second off at most,
// the pull is what the two levels of a hold lie apart, with its sign.
func TestSwitchedWhenItShows(t *testing.T) {
	for name, tc := range map[string]struct {
		told func(int) float64
		most float64 // seconds
	}{
		"when it was": {func(int) float64 { return 0 }, 0},
		"late":        {func(int) float64 { return 0.9 }, 0.9},
		"early":       {func(int) float64 { return -0.7 }, 0.7},
		"now and then": {func(n int) float64 {
			return [...]float64{0, 0.5, -0.5, 0.4, -0.6}[n%5]
		}, 0.6},
	} {
		for _, lag := range []float64{0, 0.15} {
			for _, pull := range []float64{420, -420} {
				got := readLines(t, switching(t, tc.told, pull, lag))
				if math.Abs(got.ToldOff-tc.most) > 0.15 {
					t.Errorf("told %s: said to be off by %.2f s, expected %.1f", name, got.ToldOff, tc.most)
				}
				if len(got.holds) != 3 {
					t.Fatalf("%s: %d holds", name, len(got.holds))
				}
				for _, h := range got.holds {
					z := h.Readings[0].Ax[2]
					if math.Abs(z.D-pull) > 4*math.Sqrt(z.VD)+0.04*math.Abs(pull) || h.Readings[0].LogW < math.Log(0.5) || h.Jumped {
						t.Errorf("told %s, lag %.2f s, %s: pull %.0f at %.2f, jumped %v; is %.0f", name, lag, h.label, z.D, math.Exp(h.Readings[0].LogW), h.Jumped, pull)
					}
				}
			}
		}
	}
}

// TestOneChangeOfTwoTold: a hold shows one change and two switchings were told near it.
// Which of them it was says which level is off: known from a rest, and not known without.
func TestOneChangeOfTwoTold(t *testing.T) {
	var bs []capture.B
	for k := range 30 {
		z := 400.0
		if k >= 15 {
			z = -40
		}
		bs = append(bs, capture.B{T: 10 + 0.1*float64(k), UT: [3]float64{20, float64(k%3) / 10, z}})
	}
	h := &capture.Stretch{Hold: &capture.Hold{Coil: "A1"}, From: 10, To: 13, B: bs}
	cut := func() *capture.Stretches {
		return &capture.Stretches{Drives: []capture.Drive{{T: 0, State: capture.On}, {T: 10.7, State: capture.Off}, {T: 12.2, State: capture.On}}}
	}
	p, ok := plainly(h)
	if !ok {
		t.Fatal("two levels are not seen")
	}
	if m := p.match(cut(), h, nil); m != nil {
		t.Errorf("without a rest level %d is taken for on", m.on)
	}
	for z, off := range map[float64]float64{-40: -40, 400: 400} {
		c := cut()
		m := p.match(c, h, map[float64][3]float64{h.TopDeg: {20, 0, z}})
		if m == nil || p.level[1-m.on][2] != off {
			t.Fatalf("with %.0f uT at rest: %+v of %v", z, m, p.level)
		}
		m.apply(c)
		for k := 1; k < len(c.Drives); k++ {
			if c.Drives[k].T < c.Drives[k-1].T {
				t.Errorf("switchings are out of order: %v", c.Drives)
			}
		}
	}
}

// TestNotAnotherSwitching: where a hold shows something else than two levels, or one change
// too many, what was told stands.
func TestNotAnotherSwitching(t *testing.T) {
	level := func(levels ...float64) *capture.Stretch {
		h := &capture.Stretch{Hold: &capture.Hold{Coil: "A1"}, From: 10, To: 10 + float64(len(levels))}
		for k, z := range levels {
			for q := range 8 {
				h.B = append(h.B, capture.B{T: 10 + float64(k) + 0.12*float64(q), UT: [3]float64{20, float64(q%3) / 10, z}})
			}
		}
		return h
	}
	told := []capture.Drive{{T: 0, State: capture.On}, {T: 11.4, State: capture.Off}}
	for name, h := range map[string]*capture.Stretch{
		"three levels": level(0, 200, 400), "two changes of one told": level(0, 400, 0), "a small change": level(0, 0, 20, 20),
	} {
		cut := &capture.Stretches{Drives: append([]capture.Drive(nil), told...), Holds: []capture.Stretch{*h}}
		if most := retell(cut); most != 0 || cut.Drives[1].T != told[1].T {
			t.Errorf("%s: %v, %.1f s", name, cut.Drives, most)
		}
	}
}

// TestReZeroedOrSwitched: a hold of which only its beginning was told to be with the supply off
// changes by 40 uT two thirds of a second later. Where the level with the supply off is not
// known that may be a phone that re-zeroed itself as well.
func TestReZeroedOrSwitched(t *testing.T) {
	for _, rest := range []bool{false, true} {
		h := capture.Stretch{Hold: &capture.Hold{Coil: "A1"}, From: 10, To: 13}
		for k := range 30 {
			z := 300.0
			if k >= 7 {
				z = 340
			}
			h.B = append(h.B, capture.B{T: 10 + 0.1*float64(k), UT: [3]float64{70, float64(k%3) / 10, z}})
		}
		cut := &capture.Stretches{Drives: []capture.Drive{{T: 0, State: capture.Off}, {T: 10.1, State: capture.On}}, Holds: []capture.Stretch{h}}
		if rest {
			cut.Rests = []capture.Stretch{{From: 0, To: 2, B: []capture.B{{T: 1, UT: [3]float64{68, 2, 297}}}}}
		}
		retell(cut)
		if moved := cut.Drives[1].T > 10.5; moved != rest {
			t.Errorf("with a rest %v: switched at %.2f s", rest, cut.Drives[1].T)
		}
	}
}

// TestSwitchedTooLate: told a second and a half before it was, the supply came on just before
// the phone was lifted, and a slow sensor had only begun to follow. The coil seemed dead.
func TestSwitchedTooLate(t *testing.T) {
	lines := []string{`{"type":"start","v":1,"route":"vector"}`, `{"type":"drive","t":0,"state":"off"}`, `{"type":"hold","t":5,"at":"A1"}`, `{"type":"drive","t":8.2,"state":"on"}`}
	for k := range 51 {
		at := 5 + 0.1*float64(k)
		z := -44.0
		if at > 9.7 {
			z += 160 * (1 - math.Exp(-(at-9.7)/0.6))
		}
		lines = append(lines, fmt.Sprintf(`{"type":"b","t":%.2f,"uT":[39,%.1f,%.2f]}`, at, -29+0.3*float64(k%3), z))
	}
	lines = append(lines, `{"type":"lift","t":10.1}`)
	for _, h := range readLines(t, lines).holds {
		for _, r := range h.Readings {
			if z := r.Ax[2]; z.VD < 50*50 {
				t.Errorf("a pull of %.0f with an error of %.1f is read, where none was seen", z.D, math.Sqrt(z.VD))
			}
		}
	}
}

// TestFrozenOverSwitchings: the supply was switched four times over a coil, and a slow sensor
// froze over two of them. What is left shows one level and then the other; taken for on and
// off the other way round, every switching would have been told more than a second off, and
// the level with the supply off would be ten times what rests read.
func TestFrozenOverSwitchings(t *testing.T) {
	const tau, pull, background = 0.22, 480.0, -20.0
	rng := rand.New(rand.NewPCG(5, 1))
	var lines []string
	say := func(format string, a ...any) { lines = append(lines, fmt.Sprintf(format, a...)) }
	say(`{"type":"start","v":1,"route":"vector"}`)
	say(`{"type":"drive","t":0,"state":"off"}`)
	seen, frozen := background, 0.0
	drives := []struct {
		at    float64
		state string
	}{{4.2, "on"}, {5.5, "off"}, {7.1, "on"}}
	next, goal := 0, background
	for now := 0.01; now < 8.5; now += 0.05 {
		if next < len(drives) && now > drives[next].at {
			say(`{"type":"drive","t":%.3f,"state":%q}`, now-0.01, drives[next].state)
			if goal = background; drives[next].state == "on" {
				goal += pull
			}
			next++
		}
		if now > 3 && now-0.05 <= 3 {
			say(`{"type":"hold","t":%.3f,"at":"A1"}`, now-0.02)
		}
		seen += (goal - seen) * (1 - math.Exp(-0.05/tau))
		told := seen + 0.3*rng.NormFloat64()
		if now > 5.9 && now < 8.3 {
			if frozen == 0 {
				frozen = told
			}
			told = frozen
		}
		say(`{"type":"b","t":%.3f,"uT":[20,-10,%.3f]}`, now, told)
	}
	say(`{"type":"lift","t":8.6}`)
	h := readLines(t, lines).holds[0]
	for _, r := range h.Readings {
		if z := r.Ax[2]; z.D < 0 && z.VD < 100*100 && r.LogW > math.Log(0.01) {
			t.Errorf("a pull of %.0f uT at weight %.3f, is %.0f", z.D, math.Exp(r.LogW), pull)
		}
	}
}

// TestNoPlateau: the supply was on for less than a slow sensor needs. What it passed on its
// way up, and on its way down again, is no level.
func TestNoPlateau(t *testing.T) {
	h := capture.Stretch{From: 0, To: 4}
	seen := -40.0
	rng := rand.New(rand.NewPCG(2, 2))
	for now := 0.0; now < 4; now += 0.02 {
		goal := -40.0
		if now > 1.4 && now < 2.1 {
			goal = -220
		}
		seen += (goal - seen) * (1 - math.Exp(-0.02/0.25))
		h.B = append(h.B, capture.B{T: now, UT: [3]float64{20, -10, seen + 0.5*rng.NormFloat64()}})
	}
	if p, ok := plainly(&h); ok {
		t.Errorf("levels %.0f are told to be plain; the sensor went past one of them", p.level)
	}
}

// TestSteadyReadingsTellNoLateSwitch: a quiet sensor with coarse steps repeats its reading bit
// for bit as long as nothing changes. That leaves a gap of seconds in which the supply may have
// been switched: told within it, it was when it was told.
func TestSteadyReadingsTellNoLateSwitch(t *testing.T) {
	for _, step := range []float64{1.5, 1.8, 2, 2.4} {
		lines := switching(t, func(int) float64 { return 0 }, 420, 0)
		for i, l := range lines {
			var b struct {
				Type string     `json:"type"`
				T    float64    `json:"t"`
				UT   [3]float64 `json:"uT"`
			}
			if err := json.Unmarshal([]byte(l), &b); err != nil {
				t.Fatal(err)
			}
			if b.Type != "b" {
				continue
			}
			for a, u := range b.UT {
				b.UT[a] = step * math.Round(u/step) // hardly any noise is left
			}
			raw, err := json.Marshal(b)
			if err != nil {
				t.Fatal(err)
			}
			lines[i] = string(raw)
		}
		got := readLines(t, lines)
		if len(got.holds) < 2 || got.ToldOff > 0 {
			t.Errorf("steps of %g: %d holds, told off by %.1f s", step, len(got.holds), got.ToldOff)
		}
	}
}

// TestThirdLevelIsNoSwitching: the readings stopped as the supply was switched on again, and the
// phone re-zeroed itself meanwhile: what follows lies at neither of the hold's two levels. The
// supply was not switched on after the hold; the coil seemed dead, over a background of 265 uT.
func TestThirdLevelIsNoSwitching(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	lines := []string{`{"type":"start","v":1,"route":"vector"}`}
	lines = append(lines, toggledOver(rng, 40, "A2", -25, 290, false)...) // where the background was before
	lines = append(lines, `{"type":"drive","t":50,"state":"on"}`, `{"type":"hold","t":56.51,"at":"A1"}`)
	reads := func(from, to, x, y, z float64) {
		for now := from; now < to; now += 0.1 {
			lines = append(lines, fmt.Sprintf(`{"type":"b","t":%.3f,"uT":[%.3f,%.3f,%.3f]}`, now, x+0.3*rng.NormFloat64(), y+0.3*rng.NormFloat64(), z+0.3*rng.NormFloat64()))
		}
	}
	reads(56.56, 57.8, -20, -50, 245)
	lines = append(lines, `{"type":"drive","t":57.829,"state":"off"}`)
	reads(57.865, 58.1, 12, -36, -18)
	lines = append(lines, `{"type":"drive","t":59.119,"state":"on"}`)
	reads(59.565, 60.4, 4, -35, 262)
	lines = append(lines, `{"type":"lift","t":60.44}`)
	got := readLines(t, lines)
	if len(got.holds) != 2 {
		t.Fatalf("%d holds", len(got.holds))
	}
	for _, r := range got.holds[1].Readings {
		if z := r.Ax[2]; r.LogW > math.Log(0.01) && math.Abs(z.D) < 200 && z.VD < 100*100 {
			t.Errorf("a pull of %.0f uT, sd %.0f, at %.3f", z.D, math.Sqrt(z.VD), math.Exp(r.LogW))
		}
	}
}

// TestEitherPole: a hold that shows one switching, where two as far off were told, may have
// either of its levels with the supply on. Nothing is made of it.
func TestEitherPole(t *testing.T) {
	cut := &capture.Stretches{Drives: []capture.Drive{{T: 0, State: capture.Off}, {T: 4.6, State: capture.On}, {T: 5.6, State: capture.Off}}}
	h := &capture.Stretch{From: 4, To: 7}
	p := plainHold{level: [2][3]float64{{}, {0, 0, 200}}, at: []int{0, 1}, went: []interval{{5, 5.1}}, first: 4, last: 7}
	if m := p.match(cut, h, map[float64][3]float64{}); m != nil {
		t.Errorf("level %d is taken for on", m.on)
	}
	// A rest tells.
	if m := p.match(cut, h, map[float64][3]float64{0: {0, 0, 5}}); m == nil || m.on != 1 {
		t.Errorf("with the background known: %+v", m)
	}
}

// TestSwitchingsStayInOrder: no switching is moved past another.
func TestSwitchingsStayInOrder(t *testing.T) {
	cut := &capture.Stretches{Drives: []capture.Drive{{T: 1, State: capture.Off}, {T: 2, State: capture.On}, {T: 3, State: capture.Off}}}
	m := &matched{moved: map[int]float64{1: 3.4}}
	if most := m.apply(cut); most != 0 || cut.Drives[1].T != 2 || cut.Drives[1].State != capture.On {
		t.Errorf("moved by %g s: %+v", most, cut.Drives)
	}
}
