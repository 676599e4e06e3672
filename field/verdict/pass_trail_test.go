package verdict_test

import (
	"fmt"
	"math"
	"testing"

	"polewise/field/capture"
	"polewise/field/verdict"
	"polewise/layout"
)

// slowed is a capture as a sensor would have read it that follows the field as a
// first-order low-pass does, with a time constant tau in seconds.
func slowed(c *capture.Capture, tau float64) *capture.Capture {
	out := *c
	out.Lines = nil
	var last *capture.B
	for _, l := range c.Lines {
		if b, ok := l.(capture.B); ok {
			if last != nil {
				left := math.Exp(-(b.T - last.T) / tau)
				for q := range b.UT {
					b.UT[q] += left * (last.UT[q] - b.UT[q])
				}
			}
			last = &b
			l = b
		}
		out.Lines = append(out.Lines, l)
	}
	return &out
}

// closeCoils is a pad of coils no wider than a phone moves in a few tenths of a second.
func closeCoils(t *testing.T) *layout.Plan {
	t.Helper()
	text := "format = 1\nname = \"small\"\n[supply]\nvolts = 3\n[[winding]]\nid = \"r\"\nshape = \"round\"\ninner = 40\nturns = 50\nbuild = 5\nwidth = 6\nwire_awg = 24\n"
	for y, s := range []string{"A", "B", "C"} {
		ids := ""
		for x := range 5 {
			text += fmt.Sprintf("[[coil]]\nid = \"%s%d\"\nwinding = \"r\"\nat = [%d, %d]\n", s, x+1, 40+56*x, 40+90*y)
			ids += fmt.Sprintf("\"%s%d\",", s, x+1)
		}
		text += fmt.Sprintf("[[string]]\nid = %q\ncoils = [%s]\n", s, ids)
	}
	p, err := layout.Parse("small", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestPassOfASlowSensor: readings that come late and blurred are laid where they were
// taken. Small coils side by side are where that matters.
func TestPassOfASlowSensor(t *testing.T) {
	p := closeCoils(t)
	states := map[layout.FaultKind]verdict.State{layout.CoilReversed: verdict.StateReversed, layout.CoilShorted: verdict.StateDead}
	for _, tau := range []float64{0.2, 0.3} {
		decided, coils := 0, 0
		for _, fault := range []layout.Fault{{Kind: layout.CoilReversed, ID: "B2"}, {Kind: layout.CoilReversed, ID: "A4"}, {Kind: layout.CoilShorted, ID: "C1"}} {
			v, err := verdict.Judge(p, slowed(capturesOf(p, passing(1, fault))[0], tau))
			if err != nil {
				t.Fatal(err)
			}
			coils += len(v.Coils)
			decided += rightly(t, fmt.Sprintf("%v, %.1f s", fault, tau), v, func(id string) verdict.State {
				if id == fault.ID {
					return states[fault.Kind]
				}
				return verdict.StateAsPlanned
			})
		}
		if decided < coils*9/10 {
			t.Errorf("%.1f s: %d of %d coils decided, expected nine of ten", tau, decided, coils)
		}
	}
}
