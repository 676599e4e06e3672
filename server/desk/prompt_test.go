package desk

import (
	"testing"

	"polewise/field/capture"
	"polewise/field/verdict"
	"polewise/server/record"
)

// What the bench asks for says when the phone is not to lie as it usually does, and
// names what is to be measured.
func TestPromptSaysHow(t *testing.T) {
	half, away := 180.0, 0.0
	for want, next := range map[string]verdict.Next{
		"Lay the phone on B2 again.":                            {At: "B2"},
		"Lay the phone on B2 again, turned as drawn.":           {At: "B2", TopDeg: &half},
		"Lay the phone on B2 again, moved as drawn.":            {At: "B2", TopDeg: &away, ShiftMM: []float64{4, -42}},
		"Lay the phone on B2 again, turned and moved as drawn.": {At: "B2", TopDeg: &half, ShiftMM: []float64{4, -42}},
		"Measure the ohms of B2.":                               {At: "B2", Route: "ohms"},
		"Measure the ohms of string B.":                         {At: "B2", Route: "ohms", Across: "string:B"},
		"Measure the ohms of the pad.":                          {At: "B2", Route: "ohms", Across: "pad"},
	} {
		if got := (&check{}).prompt(&verdict.Verdict{Outcome: verdict.Undecided, Next: &next}).Say; got != want {
			t.Errorf("%+v: said %q, expected %q", next, got, want)
		}
	}
}

// It is not told to lay down a phone where there is none, nor on the middle of a coil
// where only a compass is read.
func TestPromptSaysWithWhat(t *testing.T) {
	start := func(r capture.Route) capture.Line { return capture.Start{V: 1, Route: r} }
	for _, k := range []struct {
		want   string
		routes map[string]capture.Route
		fed    string
	}{
		{want: "Lay the phone on B2"},
		{want: "Lay the phone on B2", routes: map[string]capture.Route{"a": capture.Vector, "b": capture.Hand}},
		{want: "Hold the needle or meter over B2", routes: map[string]capture.Route{"a": capture.Hand}},
		{want: "Lay the phone beside B2", routes: map[string]capture.Route{"a": capture.Heading, "b": capture.Hand}},
		{want: "Lay the sensor on B2", routes: map[string]capture.Route{"probe": capture.Vector}, fed: "probe"},
		{want: "Lay the phone on B2", routes: map[string]capture.Route{"probe": capture.Vector, "a": capture.Vector}, fed: "probe"},
	} {
		c := &check{sources: map[string]*source{}}
		for id, r := range k.routes {
			c.take(c.known(id), 1, []capture.Line{start(r)})
		}
		if k.fed != "" {
			c.sources[k.fed].fed = true
		}
		unread := verdict.Verdict{Outcome: verdict.Undecided, Coils: []verdict.Coil{{ID: "B2", State: verdict.StateUndecided}}}
		if got := c.prompt(&unread).Say; got != k.want+"." {
			t.Errorf("%v: said %q, expected %q", k.routes, got, k.want+".")
		}
		again := verdict.Verdict{Outcome: verdict.Undecided, Next: &verdict.Next{At: "B2"}}
		want := k.want + " again."
		if c.byCompass() {
			want = k.want + " again, as it shows."
		}
		if got := c.prompt(&again).Say; got != want {
			t.Errorf("%v: said %q, expected %q", k.routes, got, want)
		}
	}
}

// Of two phones one comes from the plan's end: the bench asks for what the phone asks for that
// read last, and once that is gone for what the other one does.
func TestPromptGoesThePhonesWay(t *testing.T) {
	c := &check{sources: map[string]*source{}}
	v := verdict.Verdict{Outcome: verdict.Undecided}
	for _, id := range []string{"A1", "A2", "A3", "B1", "B2", "B3"} {
		v.Coils = append(v.Coils, verdict.Coil{ID: id, State: verdict.StateUndecided})
	}
	seq := int64(0)
	read := func(phone string, coil int) {
		s := c.known(phone)
		s.online = 1
		at := v.Coils[coil].ID
		seq++
		c.take(s, seq, []capture.Line{capture.Start{V: 1, Route: capture.Vector}, capture.Hold{T: 1, Coil: at}, capture.Lift{T: 4}})
		v.Coils[coil].Used = 1
	}
	asks := func(want, when string) {
		t.Helper()
		if got := c.prompt(&v).At; got != want {
			t.Errorf("%s: asked for %s, expected %s", when, got, want)
		}
	}
	read("a", 0)
	asks("A2", "one phone")
	read("b", 5)
	asks("B2", "the other has read")
	read("a", 1)
	asks("A3", "the first has read on")
	c.sources["a"].online = 0
	asks("B2", "the first has left")
	c.sources["b"].online = 0
	asks("A3", "both have left")
}

// Which row comes next only the phone knows: the bench names no coil in its place.
func TestPromptAlongRows(t *testing.T) {
	c := &check{sources: map[string]*source{}}
	v := verdict.Verdict{Outcome: verdict.Undecided, Coils: []verdict.Coil{{ID: "B1", State: verdict.StateUndecided}}}
	s := c.known("a")
	s.online = 1
	seq := int64(0)
	says := func(want string, lines ...capture.Line) {
		t.Helper()
		seq++
		c.take(s, seq, lines)
		if got := c.prompt(&v).Say; got != want {
			t.Errorf("said %q, expected %q", got, want)
		}
	}
	says("Lay the phone on B1.", capture.Start{V: 1, Route: capture.Vector}, capture.Hold{T: 1, Coil: "A1"}, capture.Lift{T: 4})
	says("Read on as the phone shows.", capture.Pass{T: 6, Along: []string{"A1", "A2"}}, capture.PassEnd{T: 9})
	s.online = 0
	says("Lay the phone on B1.")
	s.online = 1
	says("Lay the phone on B1.", capture.Hold{T: 12, Coil: "A3"}, capture.Lift{T: 15})
}

// What a phone has not ended counts for nothing yet: it may be asking about it.
func TestOpenHoldDoesNotCount(t *testing.T) {
	c := &check{sources: map[string]*source{}}
	c.take(c.known("a"), 1, []capture.Line{capture.Start{V: 1, Route: capture.Vector}, capture.Hold{T: 1, Coil: "A1"}, capture.Lift{T: 4}, capture.Hold{T: 5, Coil: "A2"}, capture.Drive{T: 6, State: capture.On}, capture.B{T: 7}})
	count := func(holds, drives int, when string) {
		t.Helper()
		captures, _ := c.counting()
		if cut := captures[0].Cut(); len(cut.Holds) != holds || len(cut.Drives) != drives {
			t.Errorf("%s: %d holds count, with %d switchings", when, len(cut.Holds), len(cut.Drives))
		}
	}
	count(1, 1, "A2 not ended")
	c.take(c.known("a"), 2, []capture.Line{capture.Lift{T: 8}})
	count(2, 1, "A2 ended")
}

// A compass goes where its phone shows, and the bench asks for the same: first for the other
// side of a coil that one side left open, then for what the verdict asks for, without
// millimetres of its own.
func TestPromptIsThePhonesByCompass(t *testing.T) {
	c := &check{sources: map[string]*source{}}
	lines := []capture.Line{capture.Start{V: 1, Route: capture.Heading}}
	hold := func(coil string, from float64) {
		lines = append(lines, capture.Hold{T: from, Coil: coil}, capture.Bearing{T: from + 1, Deg: 10}, capture.Lift{T: from + 2})
	}
	hold("A1", 1)
	hold("A2", 5)
	c.take(c.known("a"), 1, lines)
	v := verdict.Verdict{Outcome: verdict.Undecided, Next: &verdict.Next{At: "A1", ShiftMM: []float64{49, -18}, Why: "Lay the phone with its mark 49 mm to the right of the middle."},
		Coils: []verdict.Coil{{ID: "A1", State: verdict.StateAsPlanned, Used: 1}, {ID: "A2", State: verdict.StateUndecided, Used: 1}}}
	if p := c.prompt(&v); p.At != "A2" || !p.Shown || p.Say != "Lay the phone beside A2 again, as it shows." {
		t.Errorf("one side of A2 read: asked for %+v", p)
	}
	hold("A2", 9)
	c.take(c.known("a"), 2, lines[7:])
	if p := c.prompt(&v); p.At != "A1" || !p.Shown || p.Why != "A1 is not decided yet. The phone shows where to lie." {
		t.Errorf("both sides of A2 read: asked for %+v", p)
	}
	v.Next = &verdict.Next{At: "A1", Route: "ohms", Across: "pad"}
	if p := c.prompt(&v); p.Do != "ohms" || p.Shown {
		t.Errorf("by ohmmeter: asked for %+v", p)
	}
}

// The sign-off asks for the ohms that the verdict asks for, and for those of the pad where it
// asks for none; what was noted before a mend is said to count no more.
func TestSignOffMeasuresWhatTheVerdictAsks(t *testing.T) {
	open, wiring := &record.Open{Unread: true}, &record.Open{Wiring: "not decided"}
	noted := &verdict.Before{Captures: []*capture.Capture{{Lines: []capture.Line{capture.Ohms{T: 1, Across: "string:B"}}}}}
	const pad, before = "Supply off: measure across the pad's plug.", "Ohms noted before the mend count no more here: joints may have been opened. "
	for _, k := range []struct {
		what   string
		next   *verdict.Next
		before *verdict.Before
		open   *record.Open
		want   string
	}{
		{"nothing asked for", nil, nil, open, pad},
		{"a coil to be read again", &verdict.Next{At: "A1"}, nil, open, pad},
		{"a string", &verdict.Next{At: "B1", Route: "ohms", Across: "string:B"}, nil, open, "Supply off: measure string B, unplugged from the rest."},
		{"a coil", &verdict.Next{At: "A3", Route: "ohms"}, nil, wiring, "Supply off: measure coil A3, unplugged from the rest."},
		{"after a mend, nothing noted before", nil, &verdict.Before{}, open, pad},
		{"after a mend", nil, noted, open, before + pad},
		{"the ohms are there", nil, noted, wiring, ""},
	} {
		if got := (&check{before: k.before}).measure(&verdict.Verdict{Next: k.next}, k.open); got != k.want {
			t.Errorf("%s: said %q, expected %q", k.what, got, k.want)
		}
	}
}
