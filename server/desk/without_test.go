package desk

import (
	"testing"

	"polewise/field/capture"
	"polewise/server/store"
)

// TestSupplySwitchedInAHoldThrownOut: the samples of a hold thrown out go, but what was
// said of the supply meanwhile holds for what comes after it; and nothing of another
// source goes.
func TestSupplySwitchedInAHoldThrownOut(t *testing.T) {
	c, err := capture.FromLines([]capture.Line{
		capture.Start{V: 1, Route: capture.Vector},
		capture.Drive{T: 1, State: capture.Off},
		capture.Hold{T: 2, Coil: "A1"},
		capture.B{T: 2.5},
		capture.Drive{T: 3, State: capture.On},
		capture.B{T: 3.5},
		capture.Lift{T: 4},
		capture.Hold{T: 5, Coil: "A2"},
		capture.B{T: 5.5},
		capture.Lift{T: 6},
	})
	if err != nil {
		t.Fatal(err)
	}
	kept := without(c, "anna", []store.ThrownOut{{Source: "anna", Coil: "A1", T: 2}, {Source: "zelda", Coil: "A2", T: 5}})
	cut := kept.Cut()
	if len(cut.Holds) != 1 || cut.Holds[0].Hold.Coil != "A2" || len(cut.Holds[0].B) != 1 {
		t.Errorf("left are %+v", cut.Holds)
	}
	if d, known := cut.DriveAt(5.5); !known || d.State != capture.On {
		t.Errorf("over A2 the supply is %q (known %v), expected on", d.State, known)
	}
	if len(kept.Numbers) != len(kept.Lines) {
		t.Errorf("%d lines with %d numbers", len(kept.Lines), len(kept.Numbers))
	}
}

// TestFull: a source's lines have an end, that of what can be read again; what is stored
// may be sent again all the same.
func TestFull(t *testing.T) {
	c := &check{sources: map[string]*source{}}
	s := &source{id: "anna", lines: capture.MaxLines - 1, messages: map[int64][]capture.Line{1: nil}}
	if err := c.full(s, 2, 1); err != nil {
		t.Error(err)
	}
	if err := c.full(s, 2, 2); err == nil {
		t.Error("more lines are taken than can be read again")
	}
	if err := c.full(s, 1, 2); err != nil {
		t.Errorf("sent again: %v", err)
	}
}
