package verdict_test

import (
	"strings"
	"testing"

	"polewise/field/capture"
	"polewise/field/verdict"
	"polewise/layout"
)

// TestMisread: what a meter or a needle shows against all else was read wrongly, most likely.
// Until somebody looked again the pad is not told as planned, and the verdict asks for that.
func TestMisread(t *testing.T) {
	o := careful(3)
	o.Ohms = false
	sound := capturesOf(kennel(t), o)[0]
	number := func(x float64) *float64 { return &x }
	for name, tc := range map[string]struct {
		line, again capture.Line
		next        verdict.Next
		why         string
	}{
		"pad open":         {capture.Ohms{T: 900, Across: "pad"}, capture.Ohms{T: 901, Across: "pad", Ohms: number(0.98)}, verdict.Next{Across: "pad"}, "open across the pad, where everything else says 0.975 ohm"},
		"pad at 20 ohm":    {capture.Ohms{T: 900, Across: "pad", Ohms: number(20)}, capture.Ohms{T: 901, Across: "pad", Ohms: number(0.98)}, verdict.Next{Across: "pad"}, "20 ohm across the pad"},
		"string at 2 Mohm": {capture.Ohms{T: 900, Across: "string:B", Ohms: number(2e6)}, capture.Ohms{T: 901, Across: "string:B", Ohms: number(2.9)}, verdict.Next{At: "B1", Across: "string:B"}, "showed 2000000 ohm, as good as open, across string B, where"},
		"coil ten times":   {capture.Ohms{T: 900, Across: "coil:C2", Ohms: number(9.6)}, capture.Ohms{T: 901, Across: "coil:C2", Ohms: number(0.96)}, verdict.Next{At: "C2"}, "9.6 ohm across coil C2"},
		"face":             {capture.Reading{T: 900, Coil: "B3", Face: capture.South}, capture.Reading{T: 901, Coil: "B3", Face: capture.North}, verdict.Next{At: "B3"}, "south up was read by hand"},
	} {
		v := judgedWith(t, sound, tc.line)
		if v.Outcome != verdict.Undecided || v.Next == nil || !strings.Contains(v.Next.Why, tc.why) || v.Next.Across != tc.next.Across || tc.next.At != "" && v.Next.At != tc.next.At {
			t.Errorf("%s: %s, next %+v", name, v.Outcome, v.Next)
		}
		rightly(t, name, v, func(string) verdict.State { return verdict.StateAsPlanned })
		if v := judgedWith(t, sound, tc.line, tc.again); v.Outcome != verdict.AsPlanned {
			t.Errorf("%s, read again: %s, next %+v, notes %v", name, v.Outcome, v.Next, v.Notes)
		}
		// It is no misreading where it fits, and a fault stays one.
		o.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "A2"}}
		wrong := capturesOf(kennel(t), o)[0]
		o.Faults = nil
		if v := judgedWith(t, wrong, tc.again); v.Outcome != verdict.Fault || len(v.Notes) > 0 {
			t.Errorf("%s, a coil turned: %s, notes %v", name, v.Outcome, v.Notes)
		}
		if v := judgedWith(t, wrong, tc.line); v.Outcome != verdict.Fault || !strings.Contains(strings.Join(v.Notes, " "), tc.why) {
			t.Errorf("%s and a coil turned: %s, notes %v", name, v.Outcome, v.Notes)
		}
	}
}

// judgedWith judges a capture of the demo with more lines at its end.
func judgedWith(t *testing.T, c *capture.Capture, more ...capture.Line) *verdict.Verdict {
	t.Helper()
	out := *c
	out.Lines, out.Numbers = append([]capture.Line{}, c.Lines...), append([]int{}, c.Numbers...)
	for _, l := range more {
		out.Lines, out.Numbers = append(out.Lines, l), append(out.Numbers, len(out.Lines)+1)
	}
	return judgedOf(t, kennel(t), &out)
}

// TestFingersOnTheTips: what a meter shows through fingers and flux is no copper. A coil that
// was measured so in a string without current is told to be the open one, as by OL.
func TestFingersOnTheTips(t *testing.T) {
	const hand = `{"type":"start","v":1,"route":"hand"}
{"type":"reading","t":1,"at":"A1","face":"none"}
{"type":"reading","t":2,"at":"A2","face":"none"}
{"type":"reading","t":3,"at":"A3","face":"none"}
{"type":"reading","t":4,"at":"B1","face":"north"}
{"type":"reading","t":5,"at":"B2","face":"north"}
{"type":"reading","t":6,"at":"B3","face":"north"}
{"type":"reading","t":7,"at":"C1","face":"north"}
{"type":"reading","t":8,"at":"C2","face":"north"}
{"type":"reading","t":9,"at":"C3","face":"north"}
{"type":"ohms","t":20,"across":"coil:A2","ohms":%s}
`
	for _, showed := range []string{"null", "2000000", "40000"} {
		v := judgedLines(t, kennel(t), strings.Replace(hand, "%s", showed, 1))
		if len(v.Causes) == 0 || v.Causes[0].Faults[0].Kind != layout.CoilOpen || v.Causes[0].Faults[0].ID != "A2" {
			t.Errorf("%s ohm: %+v", showed, v.Causes)
		}
	}
}
