package verdict_test

import (
	"slices"
	"strings"
	"testing"

	"polewise/field/capture"
	"polewise/layout"
)

// TestTurnedAndNotSaid: a coil, or a string, that was turned between two readings, with
// nobody told, is not called strange: it is said what was seen, and what to do if so. Nothing
// is claimed of it.
func TestTurnedAndNotSaid(t *testing.T) {
	p := kennel(t)
	o := careful(4)
	o.Ohms = false
	sound := capturesOf(p, o)[0]
	for name, tc := range map[string]struct {
		fault layout.Fault
		coils []string
		says  string
	}{
		"coil":   {layout.Fault{Kind: layout.CoilReversed, ID: "A1"}, []string{"A1"}, "A1 was read facing one way, and later the other way."},
		"string": {layout.Fault{Kind: layout.StringReversed, ID: "A"}, []string{"A1", "A2", "A3"}, "A1, A2 and A3 were read facing one way, and later the other way."},
	} {
		o.Faults = []layout.Fault{tc.fault}
		wrong := capturesOf(p, o)[0]
		v := judgedWith(t, wrong, holdsOver(sound, tc.coils, 900)...)
		if notes := strings.Join(v.Notes, " "); !strings.Contains(notes, tc.says) || !strings.Contains(notes, "throw out what was read over") {
			t.Errorf("%s: notes %q", name, notes)
		}
		if v.Next == nil || !slices.Contains(tc.coils, v.Next.At) || !strings.Contains(v.Next.Why, "do not go together") {
			t.Errorf("%s: next %+v", name, v.Next)
		}
		for _, c := range v.Coils {
			if slices.Contains(tc.coils, c.ID) && c.State != "undecided" {
				t.Errorf("%s: %s is called %s", name, c.ID, c.State)
			}
		}
		// Read as before, nothing of it is said.
		v = judgedWith(t, wrong, holdsOver(wrong, tc.coils, 900)...)
		if notes := strings.Join(v.Notes, " "); strings.Contains(notes, "the other way") {
			t.Errorf("%s, read twice alike: notes %q", name, notes)
		}
	}
}

// holdsOver are the holds over some coils, from the switching before each to its lift, so many
// seconds later.
func holdsOver(c *capture.Capture, coils []string, later float64) (out []capture.Line) {
	in := false
	var supply capture.Drive
	for _, line := range c.Lines {
		switch l := line.(type) {
		case capture.Hold:
			if in = slices.Contains(coils, l.Coil); in {
				l.T += later
				supply.T = l.T
				out = append(out, supply, l)
			}
		case capture.Lift:
			if in {
				l.T += later
				out = append(out, l)
			}
			in = false
		case capture.Drive:
			if supply = l; in {
				l.T += later
				out = append(out, l)
			}
		case capture.B:
			if in {
				l.T += later
				out = append(out, l)
			}
		}
	}
	return out
}
