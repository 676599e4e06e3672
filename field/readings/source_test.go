package readings

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"polewise/field/capture"
	"polewise/layout"
)

// plain is a pad of three round coils in one string, 0.5 A.
func plain(t *testing.T) *layout.Plan {
	t.Helper()
	p, err := layout.Load("testdata/three_in_a_row.toml")
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// held is what was made of a hold.
type held struct {
	label string // its coil
	from  float64
	Hold
}

// was is what was made of a capture: its source, and the holds that tell anything.
type was struct {
	*Source
	holds []held
}

// readLines is what the lines of a capture over the plain pad say.
func readLines(t *testing.T, lines []string) was {
	t.Helper()
	c, err := capture.Read(strings.NewReader(strings.Join(lines, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	return readCapture(t, c)
}

// readCapture is what a capture over the plain pad says.
func readCapture(t *testing.T, c *capture.Capture) was {
	t.Helper()
	cut := c.Cut()
	full := 0.0
	if s := c.Start.Sensor; s != nil {
		full = s.FullScaleUT
	}
	got := was{Source: Of(plain(t), cut, full)}
	for i := range cut.Holds {
		h := &cut.Holds[i]
		if said := got.Hold(i); len(said.Readings) > 0 {
			got.holds = append(got.holds, held{h.Hold.Coil, h.From, said})
		}
	}
	return got
}

// chanceOf is how likely a hold has a pull, downward or up, to within a share of it.
func chanceOf(h *held, want, within float64) (p float64) {
	for _, r := range h.Readings {
		if math.Abs(r.Ax[2].D-want) < within*math.Abs(want) {
			p += math.Exp(r.LogW)
		}
	}
	return p
}

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

// TestClear: a sample counts for a pass where the supply is known, was not just switched, and no
// axis lies at the end of its range.
func TestClear(t *testing.T) {
	s := Source{
		plan: plain(t),
		cut:  &capture.Stretches{Drives: []capture.Drive{{T: 1, State: capture.Off}, {T: 3, State: capture.On}}},
		tops: [3][]flatTop{2: {{300, 1}}},
	}
	for _, tc := range []struct {
		at, z float64
		state capture.DriveState
		ok    bool
	}{
		{0.5, 40, "", false},
		{2, 40, capture.Off, true},
		{2.95, 40, capture.Off, false},
		{3.1, 40, capture.On, false},
		{4, 40, capture.On, true},
		{4, 300, capture.On, false},
	} {
		drive, ok := s.Clear(&capture.B{T: tc.at, UT: [3]float64{5, 5, tc.z}})
		if ok != tc.ok || drive.State != tc.state {
			t.Errorf("%g uT at %g s: supply %q, counts %v", tc.z, tc.at, drive.State, ok)
		}
	}
}
