package desk

import (
	"errors"
	"testing"

	"polewise/field/capture"
	"polewise/field/verdict"
	"polewise/layout"
	"polewise/server/store"
)

// TestMendAsked: no mend goes on from a check that is signed.
func TestMendAsked(t *testing.T) {
	c := &check{verdict: &verdict.Verdict{Outcome: verdict.Fault, Causes: []verdict.Cause{{Mend: []verdict.Mend{{Do: verdict.Flip, ID: "A1"}}}}}}
	if len(c.mendAsked()) != 1 {
		t.Error("no mend is asked for")
	}
	c.signed = &SignedState{}
	if c.mendAsked() != nil {
		t.Error("a mend of a pad that is signed off")
	}
}

// TestReadSinceTheMend: a hold that goes on is no reading yet, and what was thrown out
// before the mend does not come back with it.
func TestReadSinceTheMend(t *testing.T) {
	start := capture.Start{V: 1, Route: capture.Vector}
	s := &source{id: "anna", messages: map[int64][]capture.Line{1: {start,
		capture.Hold{T: 1, Coil: "A1"}, capture.B{T: 2}, capture.Lift{T: 3}, capture.Hold{T: 5, Coil: "A2"}, capture.B{T: 6, UT: [3]float64{1}}, capture.Lift{T: 7},
		capture.Hold{T: 9, Coil: "A3"}, capture.B{T: 10, UT: [3]float64{2}}}}}
	c := &check{plan: &layout.Plan{Coils: []layout.Coil{{ID: "A1"}, {ID: "A2"}, {ID: "A3"}}}, sources: map[string]*source{"anna": s}, order: []string{"anna"}}
	if read := c.readSince(); !read["A1"] || !read["A2"] || read["A3"] {
		t.Errorf("read: %v", read)
	}
	c.thrown = []store.ThrownOut{{Source: "anna", Coil: "A1", T: 1}}
	if b := c.asBefore(nil); len(b.Captures) != 1 || len(b.Captures[0].Cut().Holds) != 1 || b.Captures[0].Cut().Holds[0].Hold.Coil != "A2" {
		t.Errorf("left to the check after the mend: %+v", b.Captures)
	}
}

// TestWorthJudging: what ends a reading asks for a verdict.
func TestWorthJudging(t *testing.T) {
	for _, l := range []capture.Line{capture.Lift{}, capture.PassEnd{}, capture.Reading{}, capture.Ohms{}, capture.Start{}} {
		if !worthJudging([]capture.Line{capture.B{}, l}) {
			t.Errorf("%s changes no verdict", l.Type())
		}
	}
	if worthJudging([]capture.Line{capture.B{}, capture.Hold{}}) {
		t.Error("a hold that only begins asks for one")
	}
}

// TestFedLinesOfTheirCheck: lines made for a check that has ended go nowhere, nor do those for
// one that is signed.
func TestFedLinesOfTheirCheck(t *testing.T) {
	c := &check{Check: store.Check{ID: "1"}, plan: &layout.Plan{Coils: []layout.Coil{{ID: "A1"}}}, sources: map[string]*source{}}
	d := &Desk{check: c, clients: map[*Client]bool{}}
	lines := []capture.Line{capture.Start{V: 1, Route: capture.Vector}}
	if err := d.Receive(t.Context(), "0", "probe", lines); !errors.Is(err, ErrOtherCheck) {
		t.Errorf("another check's lines: %v", err)
	}
	c.signed = &SignedState{}
	if e, ok := d.Receive(t.Context(), "1", "probe", lines).(*ClientError); !ok || e.Code != "signed-off" {
		t.Errorf("after signing: %v", e)
	}
}
