package verdict_test

import (
	"os"
	"slices"
	"testing"

	"polewise/field/capture"
	"polewise/field/verdict"
	"polewise/layout"
)

// TestPassBesideTheWinding: made-up passes of a sensor that went along the edge of the
// windings. Aligned to other ways of wiring alone, one row of each spoke against the
// truth by a hundred log units, and others' coils were claimed wrongly.
func TestPassBesideTheWinding(t *testing.T) {
	for name, want := range map[string]struct {
		causes   []layout.FaultKind
		reversed string // the coil that is, alone; all where it is empty
	}{
		"pad-turned":        {[]layout.FaultKind{layout.PadReversed}, ""},
		"joined-and-turned": {[]layout.FaultKind{layout.StringsInSeries, layout.CoilReversed}, "B2"},
	} {
		p, err := layout.Load("testdata/" + name + ".toml")
		if err != nil {
			t.Fatal(err)
		}
		f, err := os.Open("testdata/" + name + ".jsonl")
		if err != nil {
			t.Fatal(err)
		}
		c, err := capture.Read(f)
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		v, err := verdict.Judge(p, c)
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range v.Coils {
			is := verdict.StateAsPlanned
			if want.reversed == "" || k.ID == want.reversed {
				is = verdict.StateReversed
			}
			if k.State != is && k.State != verdict.StateUndecided {
				t.Errorf("%s: %s is %s, claimed %s at %.4f", name, k.ID, is, k.State, k.P[k.State])
			}
		}
		if v.Outcome != verdict.Fault {
			t.Errorf("%s: %s", name, v.Outcome)
			continue
		}
		var causes []layout.FaultKind
		for _, f := range v.Causes[0].Faults {
			causes = append(causes, f.Kind)
		}
		if !slices.Equal(causes, want.causes) {
			t.Errorf("%s: %s", name, v.Causes[0].Say)
		}
	}
}
