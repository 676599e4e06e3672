package verdict_test

import (
	"testing"

	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/field/verdict"
	"polewise/layout"
)

// TestCompassUnderPulses: whether a phone averages a pulsed field or the angles it leads to,
// nobody knows, and beside strong coils they differ by half of the turn. The made-up phone
// averages angles; taken for the other, dead coils were told as planned.
func TestCompassUnderPulses(t *testing.T) {
	p := grid(3, 3)
	p.Supply.Pulsed, p.Supply.Hz, p.Supply.Duty = true, 1, 0.5
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	decided, seeds := 0, []uint64{300, 301, 302, 303, 337, 338}
	for _, seed := range seeds {
		o := rehearsal.Defaults()
		o.Route, o.Seed, o.OffsetMM, o.TellOffsetMM = capture.Heading, seed, &[2]float64{2, 18}, 4
		o.Faults = []layout.Fault{{Kind: layout.StringOpen, ID: "S1"}}
		v, err := m.Judge(capturesOf(p, o)...)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range v.Coils {
			want := verdict.StateAsPlanned
			if c.ID[:2] == "S1" {
				want = verdict.StateDead
			}
			switch c.State {
			case verdict.StateUndecided:
			case want:
				decided++
			default:
				t.Errorf("seed %d: %s is called %s (%.4f), expected %s", o.Seed, c.ID, c.State, c.P[c.State], want)
			}
		}
	}
	if all := len(seeds) * 9; decided < all*3/4 {
		t.Errorf("%d of %d coils are decided", decided, all)
	}
}
