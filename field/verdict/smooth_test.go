package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"polewise/field/capture"
	"polewise/layout"
)

// roundedPulses is a capture of holds on A1 and A2 with the supply pulsed, read ten
// times a second by a sensor that follows with a time constant (0: at once). The pull
// is pulls[i] along z in the i-th hold, the background -40.
func roundedPulses(t *testing.T, hz, duty, tau float64, pulls ...float64) *capture.Capture {
	t.Helper()
	rng := rand.New(rand.NewPCG(3, uint64(1000*hz)))
	lines := []string{`{"type":"start","v":1,"route":"vector","sensor":{"offset_mm":[0,0],"offset_sd_mm":[2,2]}}`, `{"type":"drive","t":0,"state":"off"}`}
	const step = 0.001
	now, seen := 0.0, -40.0
	read := func(seconds, pull float64) {
		for k := range int(seconds / step) {
			now += step
			level := -40.0
			if x := now*hz + 0.37; x-math.Floor(x) < duty {
				level += pull
			}
			if tau > 0 {
				seen += (level - seen) * (1 - math.Exp(-step/tau))
			} else {
				seen = level
			}
			if k%100 == 50 {
				lines = append(lines, fmt.Sprintf(`{"type":"b","t":%.3f,"uT":[%.2f,%.2f,%.2f]}`, now, 20+0.4*rng.NormFloat64(), 5+0.4*rng.NormFloat64(), seen+0.4*rng.NormFloat64()))
			}
		}
	}
	read(2, 0)
	lines = append(lines, fmt.Sprintf(`{"type":"drive","t":%.3f,"state":"pulse","hz":%g,"duty":%g}`, now, hz, duty))
	for i, pull := range pulls {
		lines = append(lines, fmt.Sprintf(`{"type":"hold","t":%.3f,"at":"A%d"}`, now, i%3+1))
		read(4, pull)
		lines = append(lines, fmt.Sprintf(`{"type":"lift","t":%.3f}`, now))
	}
	c, err := capture.Read(strings.NewReader(strings.Join(lines, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func plain(t *testing.T) *layout.Plan {
	t.Helper()
	p, err := layout.Parse("plain.toml", []byte(`format = 1
name = "three in a row"
[supply]
amps = 0.5
[[winding]]
id = "w"
shape = "round"
inner = 80
turns = 60
build = 6
width = 8
wire_awg = 22
[[coil]]
id = "A1"
winding = "w"
at = [60, 60]
[[coil]]
id = "A2"
winding = "w"
at = [180, 60]
[[coil]]
id = "A3"
winding = "w"
at = [300, 60]
[[string]]
id = "A"
coils = ["A1", "A2", "A3"]
`))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// chanceOf is how likely a hold has a pull, downward or up, to within a share of it.
func chanceOf(d *digest, want, within float64) (p float64) {
	for _, r := range d.readings {
		if math.Abs(r.ax[2].d-want) < within*math.Abs(want) {
			p += math.Exp(r.logW)
		}
	}
	return p
}

// A sensor that follows slowly never sees a short pulse whole; the pull is as great all
// the same.
func TestRoundedPulses(t *testing.T) {
	plan := plain(t)
	for _, tc := range []struct{ hz, duty, tau float64 }{{0.6, 0.2, 0.2}, {1.3, 0.3, 0.1}, {2.9, 0.6, 0.06}, {7.3, 0.35, 0.08}} {
		c := roundedPulses(t, tc.hz, tc.duty, tc.tau, 300, 280, -310)
		ev, err := gather(plan, []*capture.Capture{c})
		if err != nil {
			t.Fatal(err)
		}
		for i, want := range []float64{300, 280, -310} {
			if p := chanceOf(&ev.holds[i], want, 0.1); p < 0.9 {
				t.Errorf("%+v: a pull of %g uT within a tenth has chance %.3f: %+v", tc, want, p, ev.holds[i].readings)
			}
		}
	}
}

// Nothing is made of a sensor that follows at once.
func TestSharpPulsesAreNotRounded(t *testing.T) {
	for _, hz := range []float64{0.6, 2.3, 4.9, 8.1} {
		c := roundedPulses(t, hz, 0.4, 0, 300, 280, -310)
		if by, blurred := smoothingOf(plain(t), c.Cut(), [3]float64{0.4, 0.4, 0.4}, nil); by != nil || blurred {
			t.Errorf("%g Hz: sharp pulses were taken for rounded ones: %+v", hz, by)
		}
	}
}

// A hold whose background lies so far from that of the others that its likelihood is
// no number any more is a stray, and the others count as before.
func TestHoldFarFromTheBackground(t *testing.T) {
	plan := plain(t)
	c := roundedPulses(t, 0.7, 0.4, 0, 290, 270, 270)
	for i, l := range c.Lines {
		if b, ok := l.(capture.B); ok && b.T > 10 {
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
	if v.Coils[2].State != StateUndecided {
		t.Errorf("A3 is claimed %s from a hold that fits nothing", v.Coils[2].State)
	}
}

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

// A supply that follows its switch late and slowly is at rest when it is read, not
// half-way; told off just before a hold, it is still on as the hold begins.
func TestSlowSupply(t *testing.T) {
	plan := plain(t)
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
	ev, err := gather(plan, []*capture.Capture{c})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range pulls {
		if p := chanceOf(&ev.holds[i], want, 0.04); p < 0.9 {
			t.Errorf("hold %d: a pull of %g uT has chance %.3f: %+v", i, want, p, ev.holds[i].readings)
		}
	}
}

// TestLiftedBeforeItIsSaid: under rounded pulses a phone is lifted half a second before
// the hold ends, or still moves as it begins. What it read meanwhile lies at neither
// level, and is no part of what the coil does.
func TestLiftedBeforeItIsSaid(t *testing.T) {
	const hz, duty, tau, pull = 0.8, 0.3, 0.06, 250.0
	rng := rand.New(rand.NewPCG(5, 8))
	for _, moved := range []func(t float64) bool{
		func(t float64) bool { return t > 3.45 },
		func(t float64) bool { return t < 0.55 },
	} {
		var xs []sample
		for at := 0.0; at < 4; at += 0.1 {
			w, _ := rounded(at*hz-0.15, hz, duty, tau)
			x := sample{t: at, u: [3]float64{20 + 0.4*rng.NormFloat64(), 5 + 0.4*rng.NormFloat64(), -40 + pull*w + 0.4*rng.NormFloat64()}}
			if moved(at) {
				for a := range x.u {
					x.u[a] = 60 * rng.NormFloat64()
				}
			}
			xs = append(xs, x)
		}
		readings := digestRounded(xs, [3]float64{0.4, 0.4, 0.4}, hz, duty, []smoothing{{tau: tau}})
		if d := readings[0].ax[2]; math.Abs(d.d-pull) > 8 || math.Sqrt(d.vd) > 8 {
			t.Errorf("a pull of %g was read as %.1f (sd %.1f)", pull, d.d, math.Sqrt(d.vd))
		}
	}
}

// TestFewSamplesAtOnePhase: three samples that all met the pulses at one phase do not
// say which. Whatever is kept of the many pulls that go with them, the others are not
// forgotten: none of them is known.
func TestFewSamplesAtOnePhase(t *testing.T) {
	const hz, duty, tau = 5, 0.24, 0.15
	var xs []sample
	for k := range 3 {
		w, _ := rounded(0.1, hz, duty, tau)
		xs = append(xs, sample{t: float64(k) + 0.02, u: [3]float64{20, 5, -40 + 400*w}})
	}
	sum := 0.0
	for _, r := range digestRounded(xs, [3]float64{0.4, 0.4, 0.4}, hz, duty, []smoothing{{tau: tau}}) {
		sum += math.Exp(r.logW)
	}
	if sum < 1-leastRest {
		t.Errorf("what is kept of the readings weighs %.3f", sum)
	}
}

// TestBlurredPulses: pulses nearly as fast as the phone reads, followed slowly, at times that
// are some milliseconds off: neither two levels nor any smoothing fits them, and what they
// seem to swing by is no pull. Their mean tells what there is, once the background is known.
func TestBlurredPulses(t *testing.T) {
	const hz, duty, tau, pull, background = 9.63, 0.21, 0.17, 700.0, -20.0
	rng := rand.New(rand.NewPCG(6, 1))
	var lines []string
	say := func(format string, a ...any) { lines = append(lines, fmt.Sprintf(format, a...)) }
	say(`{"type":"start","v":1,"route":"vector"}`)
	say(`{"type":"drive","t":0,"state":"pulse","hz":%g,"duty":%g}`, hz, duty)
	now := 0.0
	for _, at := range []string{"A1", "A2", "A3"} {
		say(`{"type":"hold","t":%.3f,"at":"%s"}`, now, at)
		for range 32 {
			now += 0.1
			w, _ := rounded((now+0.02*rng.NormFloat64())*hz, hz, duty, tau)
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

// toldLevel is a background as a rest told it, so much along z.
func toldLevel(z float64) background {
	return background{b: [3]float64{20, -10, z}, variance: [3]float64{25, 25, 25}}
}
