package verdict

import (
	"math"
	"testing"

	"polewise/layout"
)

// TestNothingMoreIsWrongWithADeadCoil: a short in a coil that carries no current shows nowhere.
func TestNothingMoreIsWrongWithADeadCoil(t *testing.T) {
	_, m := warmed(t)
	open := m.planned.with(single{Fault: layout.Fault{Kind: layout.StringOpen, ID: "A"}, logP: math.Log(pStringOpen)})
	if open == nil {
		t.Fatal("no string A")
	}
	for _, f := range []layout.Fault{{Kind: layout.CoilShorted, ID: "A1"}, {Kind: layout.TurnsShorted, ID: "A1", Lost: 0.36}} {
		if h := open.with(single{Fault: f}); h != nil {
			t.Errorf("%v is offered beside an open string", f)
		}
	}
}

// TestSeriesWhereSeriesIsPlanned: strings of a group planned in series are no fault in series.
func TestSeriesWhereSeriesIsPlanned(t *testing.T) {
	p := &layout.Plan{Strings: []layout.String{{ID: "A"}, {ID: "B"}}, Groups: []layout.Group{{ID: "g", Join: layout.Series, Of: []string{"A", "B"}}}}
	if sets := parallelSets(p); len(sets) != 0 {
		t.Errorf("planned side by side: %v", sets)
	}
}
