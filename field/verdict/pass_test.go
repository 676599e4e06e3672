package verdict_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/field/verdict"
	"polewise/layout"
)

// passing is a phone whose sensor has been found, drawn along every row once.
func passing(seed uint64, faults ...layout.Fault) rehearsal.Options {
	o := rehearsal.Defaults()
	o.Seed, o.Faults, o.Passes = seed, faults, true
	o.TellOffsetMM, o.OffsetMM = 3, &[2]float64{2, 12}
	return o
}

// rightly counts the coils that a verdict claims to be what they are; any other claim is
// an error.
func rightly(t *testing.T, of string, v *verdict.Verdict, is func(id string) verdict.State) (n int) {
	t.Helper()
	for _, c := range v.Coils {
		switch want := is(c.ID); c.State {
		case want:
			n++
		case verdict.StateUndecided:
		default:
			t.Errorf("%s: %s is said to be %s with p %.4f, it is %s", of, c.ID, c.State, c.P[c.State], want)
		}
	}
	return n
}

// TestPassOfAnUnknownPhone: where in the phone the sensor sits comes out of the
// passes themselves, however far beside the row that leads it.
func TestPassOfAnUnknownPhone(t *testing.T) {
	p := kennel(t)
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	decided, coils := 0, 0
	for _, tc := range []struct {
		faults   []layout.Fault
		reversed string // the coils that face the wrong way
	}{
		{nil, ""},
		{[]layout.Fault{{Kind: layout.CoilReversed, ID: "B1"}}, "B1"},
		{[]layout.Fault{{Kind: layout.StringReversed, ID: "C"}}, "C1 C2 C3"},
		{[]layout.Fault{{Kind: layout.StringsInSeries, IDs: []string{"A", "B"}}}, ""},
	} {
		for seed, at := range [][2]float64{{0, 35}, {-8, 62}, {14, -10}} {
			o := passing(uint64(seed), tc.faults...)
			o.TellOffsetMM, o.OffsetMM = -1, &at
			v, err := m.Judge(capturesOf(p, o)...)
			if err != nil {
				t.Fatal(err)
			}
			coils += len(v.Coils)
			decided += rightly(t, fmt.Sprintf("%v, sensor at %.0f mm", tc.faults, at), v, func(id string) verdict.State {
				if strings.Contains(tc.reversed, id) {
					return verdict.StateReversed
				}
				return verdict.StateAsPlanned
			})
		}
	}
	if decided < coils*9/10 {
		t.Errorf("%d of %d coils decided, expected nine of ten", decided, coils)
	}
}

// TestPassWithoutRest: where no rest was read, a row that faces the wrong way under
// one background looks much like a sound one under another.
func TestPassWithoutRest(t *testing.T) {
	p := kennel(t)
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	decided := 0
	for _, faults := range [][]layout.Fault{nil, {{Kind: layout.StringReversed, ID: "B"}}, {{Kind: layout.CoilReversed, ID: "A3"}}} {
		for seed := uint64(1); seed <= 4; seed++ {
			o := passing(seed, faults...)
			o.Rest = rehearsal.RestNone
			v, err := m.Judge(capturesOf(p, o)...)
			if err != nil {
				t.Fatal(err)
			}
			decided += rightly(t, fmt.Sprintf("%v, seed %d", faults, seed), v, func(id string) verdict.State {
				for _, f := range faults {
					if id == f.ID || strings.HasPrefix(id, f.ID) {
						return verdict.StateReversed
					}
				}
				return verdict.StateAsPlanned
			})
		}
	}
	if decided < 3*4*9*8/10 {
		t.Errorf("%d of %d coils decided, expected eight of ten", decided, 3*4*9)
	}
}

// TestPassUnderPulses: slow pulses leave coils unseen, and quick ones are averaged by
// the sensor. Nothing is claimed of what was not seen.
func TestPassUnderPulses(t *testing.T) {
	p := kennel(t)
	for _, tc := range []struct {
		hz, duty float64
		noted    bool // that the pulses are too quick
	}{{0.5, 0.5, false}, {1, 0.7, false}, {2, 0.5, false}, {5, 0.5, true}, {10, 0.48, true}} {
		p.Supply.Pulsed, p.Supply.Hz, p.Supply.Duty = true, tc.hz, tc.duty
		for seed := uint64(1); seed <= 3; seed++ {
			v, err := verdict.Judge(p, capturesOf(p, passing(seed, layout.Fault{Kind: layout.CoilReversed, ID: "B2"}))...)
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range v.Coils {
				want := verdict.StateAsPlanned
				if c.ID == "B2" {
					want = verdict.StateReversed
				}
				if c.State != want && c.State != verdict.StateUndecided {
					t.Errorf("%g Hz, seed %d: %s is said to be %s with p %.4f, it is %s", tc.hz, seed, c.ID, c.State, c.P[c.State], want)
				}
			}
			noted := slices.ContainsFunc(v.Notes, func(s string) bool { return strings.Contains(s, "pulses too quick") })
			if noted != tc.noted {
				t.Errorf("%g Hz, seed %d: notes %q", tc.hz, seed, v.Notes)
			}
		}
	}
}

// without takes readings out of every pass: those within a span of its length.
func without(c *capture.Capture, from, to float64) *capture.Capture {
	out := *c
	out.Lines, out.Numbers = nil, nil
	ends := map[float64]float64{} // when each pass began, and when it ended
	began := 0.0
	for _, l := range c.Lines {
		switch l := l.(type) {
		case capture.Pass:
			began = l.T
		case capture.PassEnd:
			ends[began] = l.T
		}
	}
	began = 0
	for i, l := range c.Lines {
		switch l := l.(type) {
		case capture.Pass:
			began = l.T
		case capture.B:
			if end, ok := ends[began]; ok {
				if part := (l.T - began) / (end - began); part > from && part < to {
					continue
				}
			}
		}
		out.Lines, out.Numbers = append(out.Lines, l), append(out.Numbers, c.Numbers[i])
	}
	return &out
}

// TestPassWithAGap: where readings freeze or stop, the phone goes on meanwhile. A
// coil passed in that time may stay undecided; it is not called wrong.
func TestPassWithAGap(t *testing.T) {
	p := kennel(t)
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	reversed := layout.Fault{Kind: layout.CoilReversed, ID: "A1"}
	for seed := uint64(3); seed <= 5; seed++ {
		for _, gap := range [][2]float64{{0.1, 0.45}, {0.5, 0.85}} {
			v, err := m.Judge(without(capturesOf(p, passing(seed))[0], gap[0], gap[1]))
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range v.Coils {
				if c.State != verdict.StateAsPlanned && c.State != verdict.StateUndecided {
					t.Errorf("seed %d, nothing read from %.0f to %.0f %% of each pass: %s is said to be %s with p %.4f, nothing is wrong", seed, 100*gap[0], 100*gap[1], c.ID, c.State, c.P[c.State])
				}
			}
			v, err = m.Judge(without(capturesOf(p, passing(seed, reversed))[0], gap[0], gap[1]))
			if err != nil {
				t.Fatal(err)
			}
			if s := v.Coils[p.CoilIndex("A1")].State; s != verdict.StateReversed && s != verdict.StateUndecided {
				t.Errorf("seed %d, nothing read from %.0f to %.0f %% of each pass: A1 is said to be %s, and is reversed", seed, 100*gap[0], 100*gap[1], s)
			}
		}
	}
}

// shortRows has two coils in a row, close together.
const shortRows = `
format = 1
name = "Two by two"
[outline]
size = [200, 260]
[supply]
volts = 0.6
[[winding]]
id = "w"
shape = "rectangle"
inner = [38, 90]
turns = 20
build = 4
width = 6
wire_awg = 22
[[coil]]
id = "A1"
winding = "w"
at = [60, 70]
[[coil]]
id = "A2"
winding = "w"
at = [115, 70]
[[coil]]
id = "B1"
winding = "w"
at = [60, 180]
[[coil]]
id = "B2"
winding = "w"
at = [115, 180]
[[string]]
id = "A"
coils = ["A1", "A2"]
[[string]]
id = "B"
coils = ["B1", "B2"]
`

// TestPassOverAShortRow: with one coil of two dead, the other is seen either early
// in the pass or late. One of the two must not hide the other.
func TestPassOverAShortRow(t *testing.T) {
	p, err := layout.Parse("short.toml", []byte(shortRows))
	if err != nil {
		t.Fatal(err)
	}
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	decided := 0
	for _, dead := range []string{"A1", "A2", "B1", "B2"} {
		for seed := uint64(1); seed <= 6; seed++ {
			o := passing(seed, layout.Fault{Kind: layout.CoilShorted, ID: dead})
			v, err := m.Judge(capturesOf(p, o)...)
			if err != nil {
				t.Fatal(err)
			}
			decided += rightly(t, fmt.Sprintf("%s is dead, seed %d", dead, seed), v, func(id string) verdict.State {
				if id == dead {
					return verdict.StateDead
				}
				return verdict.StateAsPlanned
			})
		}
	}
	if decided < 48 {
		t.Errorf("%d of 96 coils decided, expected half of them at least", decided)
	}
}

// TestOneMorePass: what a model remembers of passes makes the next verdict faster, and
// nothing else.
func TestOneMorePass(t *testing.T) {
	for _, name := range []string{"passes/offset-known", "passes/offset-unknown"} {
		p := grid(4, 3)
		o := readings()[name]
		o.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "S2C3"}}
		m, err := verdict.Warm(p)
		if err != nil {
			t.Fatal(err)
		}
		for n, c := range stagesOf(t, p, o) {
			live, err := m.Judge(c)
			if err != nil {
				t.Fatal(err)
			}
			fresh, err := verdict.Judge(p, c)
			if err != nil {
				t.Fatal(err)
			}
			for i, want := range fresh.Coils {
				got := live.Coils[i]
				if got.State != want.State {
					t.Errorf("%s: after %d passes coil %s is %s, and %s to a new model", name, n+1, got.ID, got.State, want.State)
				}
				for state, x := range want.P {
					if math.Abs(got.P[state]-x) > 1e-3 {
						t.Errorf("%s: after %d passes coil %s is %s by %.4f, and by %.4f to a new model", name, n+1, got.ID, state, got.P[state], x)
					}
				}
			}
		}
	}
}
