package verdict_test

import (
	"testing"

	"polewise/field/capture"
	"polewise/field/verdict"
	"polewise/layout"
)

// TestSupplySetOtherwise: a supply that shows a sixth of the planned current is
// one set to less, as long as every coil pulls a sixth; it is no open joint. Where
// one string is open as well, that is still found.
func TestSupplySetOtherwise(t *testing.T) {
	p := kennel(t)
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	for _, share := range []float64{0.16, 0.4, 2} {
		for _, tc := range []struct {
			faults  []layout.Fault
			outcome verdict.Outcome
		}{
			{nil, verdict.AsPlanned},
			{[]layout.Fault{{Kind: layout.CoilReversed, ID: "B2"}}, verdict.Fault},
		} {
			o := careful(21, tc.faults...)
			o.Ohms, o.TellAmps = false, true
			less := *p
			less.Supply.Volts *= share
			c := capturesOf(&less, o)
			told := 0.0
			for _, l := range c[0].Lines {
				if d, ok := l.(capture.Drive); ok && d.Amps != nil {
					told = *d.Amps
				}
			}
			if told == 0 {
				t.Fatal("the capture tells no amps")
			}
			v, err := m.Judge(c...)
			if err != nil {
				t.Fatal(err)
			}
			if share < 0.3 && tc.faults == nil && v.Outcome == verdict.Undecided {
				continue // too little field to be sure of every coil
			}
			if v.Outcome != tc.outcome || tc.outcome == verdict.Fault && v.Causes[0].Faults[0].ID != "B2" {
				t.Errorf("%.2f A told, %g of the plan, %v: %s, %+v", told, share, tc.faults, v.Outcome, v.Causes)
			}
		}
	}

	// The same by compass, which wants little current.
	o := careful(22)
	o.Route, o.Ohms, o.TellAmps = capture.Heading, false, true
	for _, share := range []float64{0.1, 0.2} {
		less := *p
		less.Supply.Volts *= share
		for _, tell := range []bool{true, false} {
			o.TellAmps = tell
			v, err := m.Judge(capturesOf(&less, o)...)
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range v.Coils {
				if c.State != verdict.StateAsPlanned && c.State != verdict.StateUndecided {
					t.Errorf("compass, %g of the plan, told %v: %s is called %s", share, tell, c.ID, c.State)
				}
			}
			t.Logf("compass, %g of the plan, told %v: %s, next %+v", share, tell, v.Outcome, v.Next)
		}
	}
}
