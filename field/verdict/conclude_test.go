package verdict

import (
	"fmt"
	"strings"
	"testing"

	"polewise/field/capture"
	"polewise/layout"
)

// TestSouthIsMeasuredDown: what a hand meter shows over a south face is a field down.
func TestSouthIsMeasuredDown(t *testing.T) {
	p, m := warmed(t)
	for face, want := range map[capture.Face]float64{capture.North: 300, capture.South: -300} {
		c, err := capture.Read(strings.NewReader(`{"type":"start","v":1,"route":"hand"}` + "\n" + fmt.Sprintf(`{"type":"reading","t":1,"at":"A1","face":%q,"uT":300}`, face) + "\n"))
		if err != nil {
			t.Fatal(err)
		}
		v, err := m.Judge(c)
		if err != nil {
			t.Fatal(err)
		}
		if got := v.Coils[p.CoilIndex("A1")].MeasuredUT; got == nil || *got != want {
			t.Errorf("%s: measured %v, expected %g", face, got, want)
		}
	}
}

// TestPoleInDoubt: the needle is to be made sure of where nothing else was read.
func TestPoleInDoubt(t *testing.T) {
	_, m := warmed(t)
	turned := &hypothesis{of: m, faults: []layout.Fault{{Kind: layout.PadReversed}}}
	e := &engine{m: m, ev: &evidence{faces: []faceReading{{}}}}
	if len(e.poleInDoubt(turned)) != 1 {
		t.Error("by hand alone, and nothing said")
	}
	e.factors = []factor{&holdFactor{}}
	if said := e.poleInDoubt(turned); said != nil {
		t.Errorf("a phone read it too: %q", said)
	}
}
