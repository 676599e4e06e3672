package verdict_test

import (
	"testing"

	"polewise/field/verdict"
	"polewise/layout"
)

// TestBigPadByCompass: of a pad of eighty coils read by compass, a hundred of its holds find
// where the sensor sits, and all of them what is wrong.
func TestBigPadByCompass(t *testing.T) {
	p := grid(10, 8)
	o := readings()["headings/offset-unknown"]
	o.Seed = 5
	o.Faults = []layout.Fault{{Kind: layout.StringReversed, ID: "S3"}, {Kind: layout.CoilReversed, ID: "S6C7"}}
	v := judgedOf(t, p, capturesOf(p, o)...)
	decided := 0
	for _, c := range v.Coils {
		want := verdict.StateAsPlanned
		if c.ID == "S6C7" || c.ID[:2] == "S3" {
			want = verdict.StateReversed
		}
		if c.State == verdict.StateUndecided {
			continue
		}
		decided++
		if c.State != want {
			t.Errorf("%s is called %s, expected %s", c.ID, c.State, want)
		}
	}
	if decided < 70 {
		t.Errorf("%d of 80 coils are decided, expected most", decided)
	}
	if len(v.Causes) == 0 || len(v.Causes[0].Faults) != 2 {
		t.Fatalf("expected the string and the coil, found %+v", v.Causes)
	}
	for _, f := range v.Causes[0].Faults {
		if f.Kind == layout.StringReversed && f.ID != "S3" || f.Kind == layout.CoilReversed && f.ID != "S6C7" {
			t.Errorf("expected S3 and S6C7, found %+v", v.Causes[0].Faults)
		}
	}
}
