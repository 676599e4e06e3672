package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"polewise/field/capture"
	"polewise/field/readings"
	"polewise/layout"
)

// plain is a pad of three round coils in one string, 0.5 A.
func plain(t *testing.T) *layout.Plan {
	t.Helper()
	p, err := layout.Load("../readings/testdata/three_in_a_row.toml")
	if err != nil {
		t.Fatal(err)
	}
	return p
}

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
			if z := r.Ax[2]; tc.moved && math.Abs(z.D-pull) > 3*math.Sqrt(z.VD) {
				t.Errorf("%s: pull %.0f with an error of %.0f, was %.0f at first", name, z.D, math.Sqrt(z.VD), pull)
			}
		}
	}
}

// TestSwappedIsSaid: who told on for off once is told of that hold, who never told it rightly
// of all of them at once; and those coils were read, though nothing of it counts.
func TestSwappedIsSaid(t *testing.T) {
	p := plain(t)
	for _, tc := range []struct {
		read readings.Source
		lost []string
		want []string
	}{
		{readings.Source{}, nil, nil},
		{readings.Source{SwappedOnce: []string{"A2"}}, []string{"A2"}, []string{
			"Over A2 the supply was told to be on where the readings are as everywhere with it off: on and off may have been told the wrong way round. That hold is not counted. Read A2 again.",
		}},
		{readings.Source{SwappedAlways: []string{"A1", "A3"}}, []string{"A1", "A3"}, []string{
			"Over A1 and A3 far more than the earth's field was read with the supply told to be off, and no more than that with it told to be on: on and off may have been told the wrong way round. That is not counted. Make sure which way the switch stands, and read them again.",
		}},
	} {
		var ev evidence
		ev.noteSwapped(p, &tc.read)
		if !slices.Equal(ev.notes, tc.want) {
			t.Errorf("notes:\n%q\nexpected\n%q", ev.notes, tc.want)
		}
		for j := range p.Coils {
			if id := p.Coils[j].ID; ev.lost[j] != slices.Contains(tc.lost, id) {
				t.Errorf("%v: %s lost %v", tc.lost, id, ev.lost[j])
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

// A hold whose background lies so far from that of the others that its likelihood is
// no number any more is a stray, and the others count as before.
func TestHoldFarFromTheBackground(t *testing.T) {
	plan := plain(t)
	const hz, duty, background = 0.7, 0.4, -40.0
	rng := rand.New(rand.NewPCG(3, 700))
	seen := pulseSeen(hz, duty, 0.001)
	var lines []string
	say := func(format string, a ...any) { lines = append(lines, fmt.Sprintf(format, a...)) }
	say(`{"type":"start","v":1,"route":"vector","sensor":{"offset_mm":[0,0],"offset_sd_mm":[2,2]}}`)
	say(`{"type":"drive","t":0,"state":"off"}`)
	now := 0.05
	read := func(seconds, pull float64) {
		for end := now + seconds; now < end; now += 0.1 {
			say(`{"type":"b","t":%.3f,"uT":[%.2f,%.2f,%.2f]}`, now, 20+0.4*rng.NormFloat64(), 5+0.4*rng.NormFloat64(), background+pull*seen(now)+0.4*rng.NormFloat64())
		}
	}
	read(2, 0)
	say(`{"type":"drive","t":%.3f,"state":"pulse","hz":%g,"duty":%g}`, now-0.05, hz, duty)
	third := 0.0 // when the third hold began
	for i, pull := range []float64{290, 270, 270} {
		third = now - 0.04
		say(`{"type":"hold","t":%.3f,"at":"A%d"}`, now-0.04, i+1)
		read(4, pull)
		say(`{"type":"lift","t":%.3f}`, now-0.05)
	}
	c, err := capture.Read(strings.NewReader(strings.Join(lines, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	for i, l := range c.Lines {
		if b, ok := l.(capture.B); ok && b.T > third {
			b.UT[2] += 3000
			c.Lines[i] = b
		}
	}
	v, err := Judge(plan, c)
	if err != nil {
		t.Fatal(err)
	}
	for _, coil := range v.Coils {
		for state, p := range coil.P {
			if math.IsNaN(p) {
				t.Errorf("%s: the chance of %s is no number", coil.ID, state)
			}
		}
	}
	if v.Coils[0].State != StateAsPlanned {
		t.Errorf("A1 is %s, though what was read over it is as before", v.Coils[0].State)
	}
	if v.Coils[2].State != StateUndecided {
		t.Errorf("A3 is claimed %s from a hold that fits nothing", v.Coils[2].State)
	}
}

// TestBlurredPulses: pulses nearly as fast as the phone reads, followed slowly, at times that
// are some milliseconds off: neither two levels nor any smoothing fits them, and what they
// seem to swing by is no pull. Their mean tells what there is, once the background is known.
func TestBlurredPulses(t *testing.T) {
	const hz, duty, tau, pull, background = 9.63, 0.21, 0.17, 700.0, -20.0
	rng := rand.New(rand.NewPCG(6, 1))
	seen := pulseSeen(hz, duty, tau)
	var lines []string
	say := func(format string, a ...any) { lines = append(lines, fmt.Sprintf(format, a...)) }
	say(`{"type":"start","v":1,"route":"vector"}`)
	say(`{"type":"drive","t":0,"state":"pulse","hz":%g,"duty":%g}`, hz, duty)
	now := 0.0
	for _, at := range []string{"A1", "A2", "A3"} {
		say(`{"type":"hold","t":%.3f,"at":"%s"}`, now, at)
		for range 32 {
			now += 0.1
			w := seen(now + 0.02*rng.NormFloat64())
			say(`{"type":"b","t":%.3f,"uT":[20,-10,%.3f]}`, now, background+pull*w+0.2*rng.NormFloat64())
		}
		say(`{"type":"lift","t":%.3f}`, now+0.02)
		now += 0.8
	}
	ev := gathered(t, lines)
	if len(ev.holds) != 3 {
		t.Fatalf("%d holds, expected three", len(ev.holds))
	}
	known := toldLevel(background)
	for i := range ev.holds {
		h := holdFactor{digest: &ev.holds[i], rot: rotation(0, [3]float64{0, 0, 1})}
		allowed := 0.0
		for _, p := range h.pulls(&known) {
			if math.Abs(p.d[2]-pull) < 2.5*math.Sqrt(p.c.zz) {
				allowed += math.Exp(p.logW)
			}
		}
		all := 0.0
		for _, p := range h.pulls(&known) {
			all += math.Exp(p.logW)
		}
		if allowed < 0.1*all {
			t.Errorf("%s: a pull of %g is allowed by readings of a share of %.3f", h.label, pull, allowed/all)
		}
	}
}

// pulseSeen is what a sensor that follows with a time constant shows of a train of pulses at a
// time, as a share of one, once it has gone on for long.
func pulseSeen(hz, duty, tau float64) func(t float64) float64 {
	const parts = 2000
	var at [parts]float64
	now := 0.0
	for range 30 {
		for i := range at {
			goal := 0.0
			if float64(i) < duty*parts {
				goal = 1
			}
			now += (goal - now) * (1 - math.Exp(-1/(parts*hz*tau)))
			at[i] = now
		}
	}
	return func(t float64) float64 { return at[int((t*hz-math.Floor(t*hz))*parts)%parts] }
}

// toldLevel is a background as a rest told it, so much along z.
func toldLevel(z float64) background {
	return background{b: [3]float64{20, -10, z}, variance: [3]float64{25, 25, 25}}
}

// TestNoPhoneIsHalfAMetreLong: what is said of how well a place is known is taken for no more
// than a phone's size.
func TestNoPhoneIsHalfAMetreLong(t *testing.T) {
	s := sourceOf(&capture.Capture{Start: capture.Start{Sensor: &capture.Sensor{OffsetMM: &[2]float64{}, OffsetSDMM: &[2]float64{500, 500}}}})
	if s.sd[0] > mostOffsetSD || s.sd[1] > mostOffsetSD {
		t.Errorf("known to %v m", s.sd)
	}
}

// TestPulsedDisplayIsNoOtherSetting: of pulses a display shows some middle; that it shows less
// then than of a steady current is no other setting.
func TestPulsedDisplayIsNoOtherSetting(t *testing.T) {
	steadily, pulsed := 2.0, 1.0
	ev := &evidence{}
	set := ev.readSupply([]*capture.Stretches{{Drives: []capture.Drive{{T: 1, State: capture.On, Amps: &steadily}, {T: 9, State: capture.Pulse, Hz: 1, Duty: 0.5, Amps: &pulsed}}}}, nil)
	if got := set.at(0, 5); ev.setFirst != 0 || len(got) != 1 || got[0] != 1 || len(ev.notes) > 0 {
		t.Errorf("first %g, share %v, notes %q", ev.setFirst, got, ev.notes)
	}
}

// TestWhatAMendLeaves: ohms through a joint that the mend opened say nothing any more; a
// compass beside a coil that was read again neither.
func TestWhatAMendLeaves(t *testing.T) {
	p, _ := warmed(t)
	read := func(text string) *capture.Capture {
		t.Helper()
		c, err := capture.Read(strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	compass := func() string {
		var b strings.Builder
		b.WriteString(`{"type":"start","v":1,"route":"heading"}` + "\n" + `{"type":"drive","t":0,"state":"off"}` + "\n" + `{"type":"hold","t":0.5,"at":"A1","shift_mm":[80,0]}` + "\n")
		for k := range 80 {
			if k == 40 {
				b.WriteString(`{"type":"drive","t":4.55,"state":"on"}` + "\n")
			}
			fmt.Fprintf(&b, `{"type":"heading","t":%.1f,"deg":%d}`+"\n", 0.6+0.1*float64(k), 100+k/40*20)
		}
		b.WriteString(`{"type":"lift","t":9}` + "\n")
		return b.String()
	}
	ohms := ""
	for k, across := range []string{"coil:A1", "coil:B2", "string:B", "pad"} {
		ohms += fmt.Sprintf(`{"type":"ohms","t":%d,"across":%q,"ohms":1}`+"\n", 20+k, across)
	}
	before := &Before{Captures: []*capture.Capture{read(compass() + ohms)}, Mend: []Mend{{Do: Flip, ID: "B2"}}}
	ev, err := gatherAfter(p, before, []*capture.Capture{read(compass())})
	if err != nil {
		t.Fatal(err)
	}
	if len(ev.ohms) != 1 || ev.ohms[0].kind != "coil" || ev.ohms[0].index != p.CoilIndex("A1") {
		t.Errorf("ohms that count: %+v", ev.ohms)
	}
	if len(ev.bearings) != 1 || ev.bearings[0].source != 0 {
		t.Errorf("headings that count: %+v", ev.bearings)
	}
}
