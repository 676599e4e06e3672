package verdict

import (
	"math"
	"strings"
	"testing"

	"polewise/layout"
)

// TestOnTheLine: readings agree that a coil lost about as many turns as make it weak. However
// often it is read again, that stays open; what to do about it does not.
func TestOnTheLine(t *testing.T) {
	_, m := warmed(t)
	j := m.plan.CoilIndex("A2")
	lost := func(share float64) *scored {
		return &scored{hyp: newHypothesis(m, []layout.Fault{{Kind: layout.TurnsShorted, ID: "A2", Lost: share}}, 0)}
	}
	dead := &scored{hyp: newHypothesis(m, []layout.Fault{{Kind: layout.CoilShorted, ID: "A2"}}, 0)}
	one := ohmReading{kind: "coil", index: j, ohms: 1, celsius: math.NaN()}
	for _, tc := range []struct {
		name  string
		used  int
		ohms  []ohmReading
		list  []*scored
		route string
		say   string // nothing: another reading may tell
	}{
		{"read often", 4, nil, []*scored{lost(0.2), lost(0.1)}, "ohms", "A2 acts with about 85 % of its turns"},
		{"and measured", 4, []ohmReading{one}, []*scored{lost(0.2), lost(0.1)}, "", "More readings hardly settle it."},
		{"read once", 1, nil, []*scored{lost(0.2), lost(0.1)}, "", ""},
		{"as planned or half", 4, nil, []*scored{{hyp: m.planned}, lost(0.5)}, "", ""},
		{"half", 4, nil, []*scored{lost(0.5), lost(0.45)}, "", ""},
		{"perhaps dead", 4, nil, []*scored{lost(0.2), dead}, "", ""},
	} {
		e := &engine{m: m, ev: &evidence{ohms: tc.ohms}}
		n := e.onTheLine(j, tc.used, tc.list, []float64{0.5, 0.5})
		switch {
		case n == nil && tc.say != "":
			t.Errorf("%s: nothing is said", tc.name)
		case n != nil && (tc.say == "" || n.At != "A2" || string(n.Route) != tc.route || !strings.Contains(n.Why, tc.say)):
			t.Errorf("%s: %+v", tc.name, *n)
		}
	}
}

// TestOhmsNotedTwice: a figure that was noted on the bench and then on the phone is one
// measurement; one that was read again on the same is two.
func TestOhmsNotedTwice(t *testing.T) {
	a := ohmReading{kind: "coil", index: 1, ohms: 1.31, celsius: math.NaN()}
	for _, tc := range []struct {
		name string
		b    ohmReading
		same bool
	}{
		{"the same", ohmReading{kind: "coil", index: 1, ohms: 1.31, celsius: math.NaN()}, true},
		{"another figure", ohmReading{kind: "coil", index: 1, ohms: 1.32, celsius: math.NaN()}, false},
		{"another coil", ohmReading{kind: "coil", index: 2, ohms: 1.31, celsius: math.NaN()}, false},
		{"a string", ohmReading{kind: "string", index: 1, ohms: 1.31, celsius: math.NaN()}, false},
		{"at a temperature", ohmReading{kind: "coil", index: 1, ohms: 1.31, celsius: 20}, false},
	} {
		if got := a.same(tc.b); got != tc.same {
			t.Errorf("%s: %v", tc.name, got)
		}
	}
}
