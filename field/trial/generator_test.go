package trial

import (
	"bytes"
	"testing"

	"polewise/field/capture"
	"polewise/layout"
)

// TestCasesFollowTheContract reads every made-up plan and capture with the
// program's own strict parsers.
func TestCasesFollowTheContract(t *testing.T) {
	for _, c := range Conditions() {
		for seed := uint64(1000); seed < 1020; seed++ {
			k, err := Make(c, seed)
			if err != nil {
				t.Fatal(err)
			}
			p, err := layout.Parse("trial.toml", k.PlanTOML)
			if err != nil {
				t.Fatalf("%s, seed %d: %v", c.Name, seed, err)
			}
			got, err := capture.Read(bytes.NewReader(k.Capture))
			if err == nil {
				if e := got.Check(p); e != nil {
					err = e
				}
			}
			if err != nil {
				t.Fatalf("%s, seed %d: %v", c.Name, seed, err)
			}
			if got.Unknown != 0 {
				t.Errorf("%s, seed %d: %d lines of unknown type", c.Name, seed, got.Unknown)
			}
			if len(k.Truth.Coils) != len(p.Coils) {
				t.Fatalf("%s, seed %d: %d coils in the truth, %d in the plan", c.Name, seed, len(k.Truth.Coils), len(p.Coils))
			}
		}
	}
}

// TestSameSeedSameCase: a case can be looked at again.
func TestSameSeedSameCase(t *testing.T) {
	for _, c := range Conditions() {
		a, err := Make(c, 7)
		if err != nil {
			t.Fatal(err)
		}
		b, err := Make(c, 7)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(a.PlanTOML, b.PlanTOML) || !bytes.Equal(a.Capture, b.Capture) {
			t.Errorf("%s: the same seed made another case", c.Name)
		}
	}
}
