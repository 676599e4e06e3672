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
