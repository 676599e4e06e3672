package verdict_test

import (
	"os"
	"strings"
	"testing"

	"polewise/field/capture"
	"polewise/field/verdict"
	"polewise/layout"
)

// only keeps the holds over some coils of a capture.
func only(c *capture.Capture, coils ...string) *capture.Capture {
	out := *c
	out.Lines, out.Numbers = nil, nil
	skip := false
	for i, l := range c.Lines {
		switch l := l.(type) {
		case capture.Hold:
			skip = !strings.Contains(" "+strings.Join(coils, " ")+" ", " "+l.Coil+" ")
		case capture.Pass:
			skip = false
		}
		_, drive := l.(capture.Drive)
		if !skip || drive {
			out.Lines, out.Numbers = append(out.Lines, l), append(out.Numbers, c.Numbers[i])
		}
		if _, lift := l.(capture.Lift); lift {
			skip = false
		}
	}
	return &out
}

// TestAfterAMend: two coils faced the wrong way and were turned. What was read
// over the others before still counts, what was read over the two does not, and
// nothing is said of the pad before every coil was read once more.
func TestAfterAMend(t *testing.T) {
	p := kennel(t)
	quiet := func(seed uint64, faults ...layout.Fault) *capture.Capture {
		o := careful(seed, faults...)
		o.Ohms = false
		return capturesOf(p, o)[0]
	}
	wrong := quiet(11, layout.Fault{Kind: layout.CoilReversed, ID: "A2"}, layout.Fault{Kind: layout.CoilReversed, ID: "B2"})
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	found, err := m.Judge(wrong)
	if err != nil || found.Outcome != verdict.Fault || len(found.Causes[0].Mend) != 2 {
		t.Fatalf("%+v, %v", found, err)
	}
	before := &verdict.Before{Captures: []*capture.Capture{wrong}, Mend: found.Causes[0].Mend}
	judge := func(captures ...*capture.Capture) *verdict.Verdict {
		t.Helper()
		v, _, err := m.AccountUntil(t.Context(), before, captures...)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	states := func(v *verdict.Verdict) string {
		s := ""
		for _, c := range v.Coils {
			s += string(c.State[:1])
		}
		return s
	}

	v := judge()
	if got := states(v); got != "auaauaaaa" || v.Outcome != verdict.Undecided || v.Next == nil || v.Next.At != "A2" || !strings.Contains(v.Next.Why, "mended") {
		t.Errorf("before any new reading: %s, %s, next %+v", got, v.Outcome, v.Next)
	}
	mended := quiet(12)
	v = judge(only(mended, "A2", "B2"))
	if got := states(v); got != "aaaaaaaaa" || v.Outcome != verdict.Undecided || v.Next == nil || v.Next.At != "A1" || !strings.Contains(v.Next.Why, "every row") {
		t.Errorf("the two read again: %s, %s, next %+v", got, v.Outcome, v.Next)
	}
	if v = judge(mended); v.Outcome != verdict.AsPlanned {
		t.Errorf("all read again: %s, %s, next %+v", states(v), v.Outcome, v.Next)
	}

	// Another coil was turned by mistake as well, and one of the two was not.
	botched := quiet(13, layout.Fault{Kind: layout.CoilReversed, ID: "B2"}, layout.Fault{Kind: layout.CoilReversed, ID: "C2"})
	v = judge(only(botched, "A2", "B2"))
	// Nothing is known any more of those nobody was to turn: one of them was.
	if got := states(v); got != "uauuruuuu" || v.Outcome == verdict.AsPlanned || !strings.Contains(strings.Join(v.Notes, " "), "B2 was mended and is not") {
		t.Errorf("one of two turned: %s, %s, %q", got, v.Outcome, v.Notes)
	}
	// Before anything else is turned, those beside the one that is still wrong are read.
	if v.Next == nil || v.Next.At == "A2" || v.Next.At == "B2" || !strings.Contains(v.Next.Why, "turned in its place") {
		t.Errorf("one of two turned: next is %+v, expected one beside B2", v.Next)
	}
	v = judge(botched)
	if got := states(v); got != "aaaaraara" || v.Outcome != verdict.Fault {
		t.Errorf("all read again: %s, %s", got, v.Outcome)
	}

	// A mend that changes the currents makes what was read before worthless.
	before.Mend = []verdict.Mend{{Do: verdict.RemakeJoint, ID: "A2"}}
	v = judge(only(mended, "A2"))
	if got := states(v); got[1] != 'a' || strings.Count(got, "u") != 8 || !strings.Contains(strings.Join(v.Notes, " "), "Read every coil again") {
		t.Errorf("after a joint was remade: %s, notes %v", got, v.Notes)
	}
	if v = judge(mended); v.Outcome != verdict.AsPlanned || len(v.Notes) > 0 {
		t.Errorf("all read since a joint was remade: %s, notes %v", v.Outcome, v.Notes)
	}
}

// TestAfterAMendByNeedle: ohms of what a mend opened no longer count, which is said until it is
// measured again; and nobody without a phone is told to draw one along a row.
func TestAfterAMendByNeedle(t *testing.T) {
	ohms := func(across string, ohms float64) capture.Line {
		return capture.Ohms{T: 90, Across: across, Ohms: &ohms}
	}
	taps := func(turned string, more ...capture.Line) *capture.Capture {
		t.Helper()
		lines := []capture.Line{capture.Start{V: 1, Route: capture.Hand}}
		for i, at := range []string{"A1", "A2", "A3", "B1", "B2", "B3", "C1", "C2", "C3"} {
			face := "north"
			if at[:1] == turned {
				face = "south"
			}
			lines = append(lines, capture.Reading{T: float64(2*i + 1), Coil: at, Face: capture.Face(face)})
		}
		c, err := capture.FromLines(append(lines, more...))
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	m, err := verdict.Warm(kennel(t))
	if err != nil {
		t.Fatal(err)
	}
	before := &verdict.Before{
		Captures: []*capture.Capture{taps("B", ohms("string:A", 2.95), ohms("string:B", 2.95))},
		Mend:     []verdict.Mend{{Do: verdict.SwapString, ID: "B"}},
	}
	since, err := capture.FromLines([]capture.Line{capture.Start{V: 1, Route: capture.Hand}, capture.Reading{T: 1, Coil: "B1", Face: "north"}, capture.Reading{T: 3, Coil: "B2", Face: "north"}, capture.Reading{T: 5, Coil: "B3", Face: "north"}})
	if err != nil {
		t.Fatal(err)
	}
	v, _, err := m.AccountUntil(t.Context(), before, since)
	if err != nil {
		t.Fatal(err)
	}
	if said := strings.Join(v.Notes, " "); !strings.Contains(said, "ohms of string B noted before the mend no longer count") {
		t.Errorf("notes %q", v.Notes)
	}
	if v.Next == nil || strings.Contains(v.Next.Why, "row") || !strings.Contains(v.Next.Why, "before the mend only") {
		t.Errorf("next %+v", v.Next)
	}
	if v, _, err = m.AccountUntil(t.Context(), before, taps("", ohms("string:B", 2.95))); err != nil {
		t.Fatal(err)
	}
	if said := strings.Join(v.Notes, " "); strings.Contains(said, "no longer count") {
		t.Errorf("measured again: %q", v.Notes)
	}
}

// TestAfterSwappingAGroup: a group's two ends are swapped where it joins the rest. That turns
// its coils and changes no current: what was read over the other group goes on to count.
func TestAfterSwappingAGroup(t *testing.T) {
	raw, err := os.ReadFile("../../assets/demo/kennel.toml")
	if err != nil {
		t.Fatal(err)
	}
	text := string(raw) + "\n[[group]]\nid = \"left\"\njoin = \"parallel\"\nof = [\"A\", \"B\"]\n[[group]]\nid = \"bed\"\njoin = \"parallel\"\nof = [\"left\", \"C\"]\n"
	p, err := layout.Parse("groups.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	o := careful(11, layout.Fault{Kind: layout.GroupReversed, ID: "left"})
	o.Ohms = false
	wrong := capturesOf(p, o)[0]
	o.Faults, o.Seed = nil, 12
	mended := capturesOf(p, o)[0]
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	found, err := m.Judge(wrong)
	if err != nil || found.Outcome != verdict.Fault {
		t.Fatalf("%+v, %v", found, err)
	}
	v, _, err := m.AccountUntil(t.Context(), &verdict.Before{Captures: []*capture.Capture{wrong}, Mend: []verdict.Mend{{Do: verdict.Rejoin, ID: "left"}}}, only(mended, "A1", "A2", "A3", "B1", "B2", "B3"))
	if err != nil {
		t.Fatal(err)
	}
	if n := rightly(t, "a group swapped", v, func(string) verdict.State { return verdict.StateAsPlanned }); n != 9 || len(v.Notes) > 0 {
		t.Errorf("%d of 9 coils are claimed, notes %v", n, v.Notes)
	}
}

// TestAfterAMendByPasses: what was read by drawing the phone along a row before a mend does not
// count after it, and that is said; the ohms of what the mend left alone do.
func TestAfterAMendByPasses(t *testing.T) {
	o := passing(11, layout.Fault{Kind: layout.CoilReversed, ID: "B2"})
	wrong := capturesOf(kennel(t), o)[0]
	ohms := 1.6 // of a coil that is planned with 0.96
	wrong.Lines, wrong.Numbers = append(wrong.Lines, capture.Ohms{T: 900, Across: "coil:A1", Ohms: &ohms}), append(wrong.Numbers, len(wrong.Lines)+1)
	quiet := careful(12)
	quiet.Ohms = false
	m, err := verdict.Warm(kennel(t))
	if err != nil {
		t.Fatal(err)
	}
	v, _, err := m.AccountUntil(t.Context(), &verdict.Before{Captures: []*capture.Capture{wrong}, Mend: []verdict.Mend{{Do: verdict.Flip, ID: "B2"}}}, only(capturesOf(kennel(t), quiet)[0], "B2"))
	if err != nil {
		t.Fatal(err)
	}
	said := strings.Join(v.Notes, " ")
	if v.Next == nil || !strings.Contains(v.Next.Why, "was read before the mend only") || !strings.Contains(said, "along a row before the mend no longer counts") {
		t.Errorf("next %+v, notes %v", v.Next, v.Notes)
	}
	if !strings.Contains(said, "1.6 ohm across coil A1") {
		t.Errorf("of ohms from before the mend nothing is said: %v", v.Notes)
	}
}
