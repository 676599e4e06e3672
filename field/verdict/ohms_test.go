package verdict

import (
	"math"
	"slices"
	"testing"

	"polewise/layout"
)

// TestOhmsOfAWarmPad: ohms are expected at the temperature told: 40 K more are 16 % more.
func TestOhmsOfAWarmPad(t *testing.T) {
	_, m := warmed(t)
	cold, warm := ohmReading{kind: "pad", celsius: 20}, ohmReading{kind: "pad", celsius: 60}
	if got := warm.expected(m.planned) / cold.expected(m.planned); math.Abs(got-1.157) > 0.003 {
		t.Errorf("at 60 C %.3f times the ohms of 20 C", got)
	}
}

// TestFingersOnTheTips: a figure far above all copper is an open wire with fingers on the tips;
// one that a thin winding has is not.
func TestFingersOnTheTips(t *testing.T) {
	p, _ := warmed(t)
	thin := *p // as if so thin a wire led to it that 2 kohm are planned
	thin.Strings = slices.Clone(p.Strings)
	for i := range thin.Strings {
		thin.Strings[i].LeadOhms = 6000
	}
	for _, tc := range []struct {
		plan *layout.Plan
		ohms float64
		want bool
	}{{p, 2e6, true}, {p, 900, false}, {&thin, 2000, false}, {&thin, math.Inf(1), false}} {
		if r := (ohmReading{kind: "pad", ohms: tc.ohms}); r.leaks(tc.plan) != tc.want {
			t.Errorf("%g ohm across the pad, strings of %g ohm of leads: leaks %v", tc.ohms, tc.plan.Strings[0].LeadOhms, !tc.want)
		}
	}
}
