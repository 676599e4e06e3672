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
