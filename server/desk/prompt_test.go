package desk

import (
	"testing"

	"polewise/field/verdict"
)

// What the bench asks for says when the phone is not to lie as it usually does, and
// names what is to be measured.
func TestPromptSaysHow(t *testing.T) {
	half, away := 180.0, 0.0
	for want, next := range map[string]verdict.Next{
		"Lay the phone on B2 again.":                            {At: "B2"},
		"Lay the phone on B2 again, turned as drawn.":           {At: "B2", TopDeg: &half},
		"Lay the phone on B2 again, moved as drawn.":            {At: "B2", TopDeg: &away, ShiftMM: []float64{4, -42}},
		"Lay the phone on B2 again, turned and moved as drawn.": {At: "B2", TopDeg: &half, ShiftMM: []float64{4, -42}},
		"Measure the ohms of B2.":                               {At: "B2", Route: "ohms"},
		"Measure the ohms of string B.":                         {At: "B2", Route: "ohms", Across: "string:B"},
		"Measure the ohms of the pad.":                          {At: "B2", Route: "ohms", Across: "pad"},
	} {
		if got := (&check{}).prompt(&verdict.Verdict{Outcome: verdict.Undecided, Next: &next}).Say; got != want {
			t.Errorf("%+v: said %q, expected %q", next, got, want)
		}
	}
}
