package verdict

import (
	"fmt"
	"math"
	"testing"

	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/layout"
)

// TestNeighboursAreScoredWhereTheSensorMayBe: leaving out the places where a node
// cannot have the sensor changes no neighbour's score.
func TestNeighboursAreScoredWhereTheSensorMayBe(t *testing.T) {
	text := "format = 1\nname = \"row\"\n[supply]\nvolts = 2\n[[winding]]\nid = \"r\"\nshape = \"round\"\ninner = 80\nturns = 50\nbuild = 6\nwidth = 8\nwire_awg = 22\n"
	for _, row := range []string{"A", "B"} {
		for i := range 3 {
			text += fmt.Sprintf("[[coil]]\nid = \"%s%d\"\nwinding = \"r\"\nat = [%d, %d]\n", row, i+1, 60+110*i, map[string]int{"A": 60, "B": 170}[row])
		}
		text += fmt.Sprintf("[[string]]\nid = \"%s\"\ncoils = [\"%[1]s1\", \"%[1]s2\", \"%[1]s3\"]\n", row)
	}
	p, err := layout.Parse("row", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	o := rehearsal.Defaults()
	o.OffsetMM = &[2]float64{2, 18}
	o.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "A2"}}
	c := madeUp(t, p, o)
	m, err := Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	e, err := m.engineFor(nil, []*capture.Capture{c})
	if err != nil {
		t.Fatal(err)
	}
	e.giveUp = math.Inf(1) // nothing is given up
	n := e.evaluate(&scored{hyp: m.planned})
	work := e.newWorkspace()
	if likely := e.partsFor(n, false)[0]; 2*len(likely.cells) >= len(e.phones[0].cells) {
		t.Fatalf("%d of %d cells are likely, which is no part of them", len(likely.cells), len(e.phones[0].cells))
	}
	few, checked := n.likely, 0
	for _, s := range e.singles {
		h := n.hyp.with(s)
		if h == nil || muchChanges(n.ampTurns, h.ampTurns()) {
			continue
		}
		n.likely, n.roughAtLikely = few, nil
		got := e.child(n, h, work)
		n.likely, n.roughAtLikely = e.whole, nil
		want := e.child(n, h, work)
		// What is far behind may hide more elsewhere, and does not matter.
		if math.Abs(got-want) > 0.01 && want > n.log-usualGiveUp {
			t.Errorf("%v: %.3f where the sensor may be, %.3f over all places", h.faults, got, want)
		}
		checked++
	}
	if checked < 20 {
		t.Errorf("only %d neighbours were scored", checked)
	}
}

func TestPartOfAPart(t *testing.T) {
	ph := &phone{grid: newGrid(sourceInfo{sd: [2]float64{0.015, 0.025}}, fineCells)}
	ph.view = ph.viewOf([]int{3, 5, 8, 9, 20})
	all := []float64{30, 31, 50, 51, 80, 81, 90, 91, 200, 201} // two numbers a cell
	larger, few := ph.part(ph.viewOf([]int{5, 8, 20})), ph.part(ph.viewOf([]int{8, 20}))
	some := larger.pick(nil, all, 2)
	if got, want := fmt.Sprint(some), "[50 51 80 81 200 201]"; got != want {
		t.Errorf("picked %s, expected %s", got, want)
	}
	if got, want := fmt.Sprint(few.pickFrom(nil, &larger, some, 2)), "[80 81 200 201]"; got != want {
		t.Errorf("picked %s of the part, expected %s", got, want)
	}
	exchangeIn(&few, some[2:], []float64{1, 2, 3, 4}, []float32{30, 31, 50, 51, 80, 81, 90, 91, 200, 201}, 2)
	if got, want := fmt.Sprint(some), "[50 51 1 2 3 4]"; got != want {
		t.Errorf("exchanged to %s, expected %s", got, want)
	}
	for q, k := range larger.places {
		if ph.places[larger.from[q]] != k {
			t.Errorf("place %d of the part is said to be %d of the phone's, which is another", q, larger.from[q])
		}
	}
}
