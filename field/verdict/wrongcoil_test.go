package verdict_test

import (
	"fmt"
	"strings"
	"testing"

	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/field/verdict"
	"polewise/layout"
)

// twoSizes is a pad with a row of small coils and a row of large ones.
func twoSizes(t *testing.T) *layout.Plan {
	t.Helper()
	text := "format = 1\nname = \"two sizes\"\n[supply]\namps = 2\n"
	for _, w := range []struct {
		id    string
		inner int
		turns int
	}{{"small", 50, 60}, {"large", 100, 45}} {
		text += fmt.Sprintf("[[winding]]\nid = %q\nshape = \"round\"\ninner = %d\nturns = %d\nbuild = 6\nwidth = 8\nwire_awg = 22\n", w.id, w.inner, w.turns)
	}
	for x := range 4 {
		text += fmt.Sprintf("[[coil]]\nid = \"A%d\"\nwinding = \"small\"\nat = [%d, 60]\n", x+1, 60+140*x)
		text += fmt.Sprintf("[[coil]]\nid = \"B%d\"\nwinding = \"large\"\nat = [%d, 200]\n", x+1, 60+140*x)
	}
	for _, s := range []string{"A", "B"} {
		text += fmt.Sprintf("[[string]]\nid = %q\ncoils = [\"%s1\", \"%s2\", \"%s3\", \"%s4\"]\n", s, s, s, s, s)
	}
	p, err := layout.Parse("two sizes", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// relaid is a made-up capture in which the phone lay on another coil than it says: where the
// hold on from was made, it says to, and the hold on to itself was never made.
func relaid(t *testing.T, made []capture.Line, from, to string) []capture.Line {
	t.Helper()
	var out []capture.Line
	gone, moved := false, 0
	for _, l := range made {
		switch h := l.(type) {
		case capture.Hold:
			gone = h.Coil == to
			if h.Coil == from {
				h.Coil = to
				moved++
			}
			l = h
		case capture.Lift:
			if gone {
				gone = false
				continue
			}
		case capture.Drive:
			out = append(out, l) // the supply was switched all the same
			continue
		}
		if !gone {
			out = append(out, l)
		}
	}
	if moved != 1 {
		t.Fatalf("%d holds on %s, expected one", moved, from)
	}
	return out
}

// wellPlaced is a phone whose sensor is known well, the supply switched in each hold, that does
// not re-zero itself.
func wellPlaced(seed uint64) rehearsal.Options {
	o := rehearsal.Defaults()
	o.Seed, o.Rest, o.OffsetMM, o.TellOffsetMM = seed, rehearsal.RestHolds, &[2]float64{2, 18}, 2
	o.JumpChance, o.JumpInside = 0, 0
	return o
}

// judgedMade is the verdict on a capture that was made up.
func judgedMade(t *testing.T, p *layout.Plan, lines []capture.Line) *verdict.Verdict {
	t.Helper()
	c, err := capture.FromLines(lines)
	if err != nil {
		t.Fatal(err)
	}
	return judgedOf(t, p, c)
}

// TestPhoneOnTheNextCoil: told A2, the phone lay on B2, a larger coil that makes about half the
// field. A2 is not called weak on that: it is to be read once more, since what was read there may
// be B2's. A coil that is weak indeed is not asked for so.
func TestPhoneOnTheNextCoil(t *testing.T) {
	p := twoSizes(t)
	asked := 0
	for seed := range uint64(4) {
		made, err := rehearsal.Make(p, wellPlaced(seed+1))
		if err != nil {
			t.Fatal(err)
		}
		v := judgedMade(t, p, relaid(t, made.Lines, "B2", "A2"))
		for _, k := range v.Coils {
			if k.ID == "A2" && k.State != verdict.StateUndecided {
				t.Errorf("seed %d: A2 claimed %s at %.4f by a hold on B2", seed, k.State, k.P[k.State])
			}
		}
		if v.Next != nil && v.Next.At == "A2" && strings.Contains(v.Next.Why, "what B2 beside it should give") {
			asked++
		}

		o := wellPlaced(seed + 1)
		o.Faults = []layout.Fault{{Kind: layout.TurnsShorted, ID: "A2", Lost: 0.25}}
		if v, err = verdict.Judge(p, capturesOf(p, o)...); err != nil {
			t.Fatal(err)
		}
		if v.Next != nil && strings.Contains(v.Next.Why, "Did the phone lie there") {
			t.Errorf("seed %d: A2 has lost a quarter of its turns, and is asked for as if the phone had lain elsewhere: %s", seed, v.Next.Why)
		}
	}
	if asked < 3 { // in one of the four it may be B2 that is dead as well, and that is read first
		t.Errorf("%d times of four A2 is asked for again for what B2 should give", asked)
	}
}

// TestPhoneOnAStrongerCoil: told B2, the phone lay on A2, a smaller coil that makes about twice
// the field. That is no sign of a fault, but B2 was not read: it is not told as planned. A phone
// that lay where it was told to is not asked whether it did.
func TestPhoneOnAStrongerCoil(t *testing.T) {
	p := twoSizes(t)
	for seed := range uint64(8) {
		made, err := rehearsal.Make(p, wellPlaced(seed+1))
		if err != nil {
			t.Fatal(err)
		}
		for _, elsewhere := range []bool{false, true} {
			lines := made.Lines
			if elsewhere {
				lines = relaid(t, made.Lines, "A2", "B2")
			}
			v := judgedMade(t, p, lines)
			for _, k := range v.Coils {
				if elsewhere && k.ID == "B2" && k.State != verdict.StateUndecided {
					t.Errorf("seed %d: B2 claimed %s at %.4f by a hold on A2", seed, k.State, k.P[k.State])
				}
			}
			if asked := v.Next != nil && strings.Contains(v.Next.Why, "Did the phone lie there"); asked && !elsewhere {
				t.Errorf("seed %d: %s was read where it lies, and is asked for as if it was not: %s", seed, v.Next.At, v.Next.Why)
			}
		}
	}
}
