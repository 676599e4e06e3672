package layout

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// pad is a plan of strings of coils with given resistances, all in parallel.
func pad(s Supply, ohms map[string][]float64, order ...string) *Plan {
	p := &Plan{Name: "test", Unit: Millimetre, Supply: s}
	for _, id := range order {
		str := String{ID: id}
		for k, r := range ohms[id] {
			p.Windings = append(p.Windings, Winding{ID: fmt.Sprintf("w%d", len(p.Windings)), Shape: Round, Turns: 60, GivenOhms: r,
				InnerX: 0.09, InnerY: 0.09, Build: 0.006, Width: 0.008, Wire: 0.64e-3, AWG: math.NaN()})
			str.Coils = append(str.Coils, len(p.Coils))
			p.Coils = append(p.Coils, Coil{ID: fmt.Sprintf("%s%d", id, k+1), Winding: len(p.Windings) - 1, North: Up})
		}
		p.Strings = append(p.Strings, str)
	}
	return p
}

func mustFaults(t testing.TB, texts string) []Fault {
	t.Helper()
	var out []Fault
	for _, s := range strings.Fields(texts) {
		f, err := ParseFault(s)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, f)
	}
	return out
}

// The networks that a plan with faults can express, against what ngspice 39
// found for them (source in testdata/wiring/networks.json).
func TestSolveAgainstNgspice(t *testing.T) {
	three := map[string][]float64{"A": {0.97, 0.97, 0.97}, "B": {0.97, 1.21}, "C": {0.85, 0.97, 1.02, 0.97}}
	four := map[string][]float64{"A": {1.3, 1.1, 0.9, 0.97}, "B": {0.97, 0.97, 1.4, 0.8}}
	volts := Supply{Volts: 4, SourceOhms: 0.12}
	withLeads := pad(volts, three, "A", "B", "C")
	for i, ohms := range []float64{0.05, 0.08, 0.03} {
		withLeads.Strings[i].LeadOhms = ohms
	}
	grouped := pad(volts, map[string][]float64{"A": three["A"], "B": three["B"], "C": three["C"], "D": four["A"]}, "A", "B", "C", "D")
	grouped.Groups = []Group{{"pad", Series, []string{"left", "right"}}, {"left", Parallel, []string{"A", "B"}}, {"right", Parallel, []string{"C", "D"}}}
	cases := map[string]struct {
		plan   *Plan
		faults string
	}{
		"N01": {pad(Supply{Volts: 4}, map[string][]float64{"A": three["A"], "B": three["A"]}, "A", "B"), ""},
		"N02": {withLeads, ""},
		"N03": {pad(volts, three, "A", "B", "C"), "coil-open:A2"},
		"N04": {pad(volts, three, "A", "B", "C"), "coil-shorted:B2"},
		"N05": {pad(volts, three, "A", "B", "C"), "string-reversed:B"},
		"N06": {pad(volts, three, "A", "B", "C"), "strings-in-series:A,B"},
		"N07": {pad(volts, three, "A", "B", "C"), "coil-in-wrong-string:A3,C"},
		"N11": {pad(volts, three, "A", "B"), "coil-reversed:A2"},
		"N12": {pad(Supply{Amps: 1.5}, three, "A", "B", "C"), ""},
		"N13": {pad(Supply{Amps: 1.5}, three, "A", "B", "C"), "coil-open:C1"},
		"N14": {grouped, ""},
		"N15": {grouped, "string-open:D"},
		"N16": {pad(volts, three, "A", "B"), "turns-shorted:B1,0.3"},
		"N18": {pad(volts, four, "A", "B"), "coil-in-wrong-string:A3,B coil-in-wrong-string:A4,B coil-in-wrong-string:B3,A coil-in-wrong-string:B4,A"},
	}
	solved := 0
	for _, n := range networks(t) {
		c, ok := cases[n.ID]
		if !ok {
			continue
		}
		solved++
		t.Run(n.ID, func(t *testing.T) {
			got, err := c.plan.Solve(mustFaults(t, c.faults)...)
			if err != nil {
				t.Fatal(err)
			}
			for id, want := range n.Solved.CoilAmps {
				j := c.plan.CoilIndex(id)
				if n.ID == "N04" && id == "B2" {
					want = 0 // the short carries it, not the winding
				}
				if n.ID == "N05" && id[0] == 'B' {
					want = -math.Abs(want)
				}
				closeTo(t, "current of "+id, got.CoilAmps[j], want, 4)
			}
			closeTo(t, "supply", got.PadAmps, n.Solved.SupplyAmps, 4)
			closeTo(t, "plug", got.PadVolts, n.Solved.NodeVolts["p"], 4)
		})
	}
	if solved != len(cases) {
		t.Errorf("%d of %d cases found", solved, len(cases))
	}
}

// Common practice, no source: of coils of 3.3 ohm, two in series read 6.6, three
// about 9.9; two like coils read twice one, four twice two; and four as two
// strings of two in parallel read what one does.
func TestSeriesByCommonPractice(t *testing.T) {
	for n, want := range map[int]float64{1: 3.3, 2: 6.6, 3: 9.9, 4: 13.2} {
		coils := make([]float64, n)
		for i := range coils {
			coils[i] = 3.3
		}
		c, err := pad(Supply{Volts: 2}, map[string][]float64{"A": coils}, "A").Solve()
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("%d in series", n), c.PadOhms, want, 1e-12)
		near(t, fmt.Sprintf("string of %d", n), c.StringOhms[0], want, 1e-12)
	}
	c, err := pad(Supply{Volts: 2}, map[string][]float64{"A": {3.3, 3.3}, "B": {3.3, 3.3}}, "A", "B").Solve()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "two twos", c.PadOhms, 3.3, 1e-12)
}

// Common practice, no source: a string of two takes two and a half times the
// current of a string of five.
func TestUnequalStrings(t *testing.T) {
	c, err := pad(Supply{Volts: 2}, map[string][]float64{"A": {1, 1}, "B": {1, 1, 1, 1, 1}}, "A", "B").Solve()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "ratio", c.StringAmps[0]/c.StringAmps[1], 2.5, 1e-12)
}

// What each fault does, one by one and together, worked out by hand on two
// strings of two coils of 1 ohm at 2 V: 1 A in each as planned.
func TestFaults(t *testing.T) {
	one := []float64{1, 1}
	cases := []struct {
		faults string
		amps   [4]float64 // of A1 A2 B1 B2
		pad    float64
	}{
		{"", [4]float64{1, 1, 1, 1}, 2},
		{"coil-reversed:A2", [4]float64{1, -1, 1, 1}, 2},
		{"string-reversed:B", [4]float64{1, 1, -1, -1}, 2},
		{"pad-reversed", [4]float64{-1, -1, -1, -1}, 2},
		{"pad-reversed string-reversed:A coil-reversed:A1", [4]float64{-1, 1, -1, -1}, 2},
		{"coil-shorted:A1", [4]float64{0, 2, 1, 1}, 3},
		{"coil-shorted:A1 coil-reversed:A2", [4]float64{0, -2, 1, 1}, 3},
		{"coil-shorted:A1 coil-open:A1", [4]float64{0, 2, 1, 1}, 3}, // the short bridges the break
		{"coil-shorted:A1 coil-open:A2", [4]float64{0, 0, 1, 1}, 1},
		{"string-open:A", [4]float64{0, 0, 1, 1}, 1},
		{"string-open:A string-open:B", [4]float64{}, 0},
		{"coil-open:B2", [4]float64{1, 1, 0, 0}, 1},
		{"turns-shorted:A1,0.5", [4]float64{4. / 3, 4. / 3, 1, 1}, 7. / 3},
		{"strings-in-series:A,B", [4]float64{0.5, 0.5, 0.5, 0.5}, 0.5},
		{"strings-in-series:B,A string-reversed:A", [4]float64{-0.5, -0.5, 0.5, 0.5}, 0.5},
		{"strings-in-series:A,B string-open:A", [4]float64{}, 0},
		{"coil-in-wrong-string:A2,B", [4]float64{2, 2. / 3, 2. / 3, 2. / 3}, 2 + 2./3},
		{"coil-in-wrong-string:A2,B coil-reversed:A2", [4]float64{2, -2. / 3, 2. / 3, 2. / 3}, 2 + 2./3},
		{"coil-in-wrong-string:A2,B string-reversed:B", [4]float64{2, -2. / 3, -2. / 3, -2. / 3}, 2 + 2./3},
		{"coil-in-wrong-string:A2,B coil-in-wrong-string:A1,B", [4]float64{0.5, 0.5, 0.5, 0.5}, 0.5},
		{"coil-in-wrong-string:A2,B coil-in-wrong-string:B1,A", [4]float64{1, 1, 1, 1}, 2},
		{"coil-in-wrong-string:A2,B string-open:B", [4]float64{2, 0, 0, 0}, 2},
	}
	for _, c := range cases {
		t.Run(strings.ReplaceAll(c.faults, " ", "+"), func(t *testing.T) {
			p := pad(Supply{Volts: 2}, map[string][]float64{"A": one, "B": one}, "A", "B")
			got, err := p.Solve(mustFaults(t, c.faults)...)
			if err != nil {
				t.Fatal(err)
			}
			for j, want := range c.amps {
				closeTo(t, "current of "+p.Coils[j].ID, got.CoilAmps[j], want, 1)
			}
			closeTo(t, "supply", got.PadAmps, c.pad, 1)
			closeTo(t, "plug", got.PadVolts, 2, 1)
		})
	}
}

// Shorted turns take their field with them and their ohms.
func TestTurnsShorted(t *testing.T) {
	p := pad(Supply{Amps: 1}, map[string][]float64{"A": {2, 2}}, "A")
	c, err := p.Solve(Fault{Kind: TurnsShorted, ID: "A2", Lost: 0.25})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "turns", c.CoilTurns[1], 45, 1e-12)
	near(t, "ohms", c.CoilOhms[1], 1.5, 1e-12)
	near(t, "ampere-turns", c.AmpereTurns(p, 1), 45, 1e-12)
	c, err = p.Solve(Fault{Kind: CoilShorted, ID: "A1"})
	if err != nil {
		t.Fatal(err)
	}
	if c.AmpereTurns(p, 0) != 0 || c.CoilTurns[0] != 0 || c.CoilOhms[0] != 0 {
		t.Errorf("a shorted coil: %g turns, %g ohm", c.CoilTurns[0], c.CoilOhms[0])
	}
	c, err = p.Solve(Fault{Kind: TurnsShorted, ID: "A1"})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "turns lost by default", c.CoilTurns[0], 60*(1-DefaultLost), 1e-12)
}

// A coil planned north down has negative ampere-turns in the pad frame while
// its current, as planned, is positive.
func TestNorthDown(t *testing.T) {
	p := pad(Supply{Amps: 1}, map[string][]float64{"A": {2, 2}}, "A")
	p.Coils[1].North = Down
	c, err := p.Solve()
	if err != nil {
		t.Fatal(err)
	}
	if c.CoilAmps[1] != 1 || c.AmpereTurns(p, 1) != -60 || c.AmpereTurns(p, 0) != 60 {
		t.Errorf("got %g A and %g, %g ampere-turns", c.CoilAmps[1], c.AmpereTurns(p, 0), c.AmpereTurns(p, 1))
	}
}

func TestSupplyLimits(t *testing.T) {
	one := map[string][]float64{"A": {1, 1}, "B": {1, 1}}
	solve := func(s Supply, faults string) *Currents {
		c, err := pad(s, one, "A", "B").Solve(mustFaults(t, faults)...)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	c := solve(Supply{Volts: 4, LimitAmps: 1}, "")
	near(t, "limited supply", c.PadAmps, 1, 1e-12)
	near(t, "its plug", c.PadVolts, 1, 1e-12)
	near(t, "its coils", c.CoilAmps[0], 0.5, 1e-12)
	c = solve(Supply{Volts: 4, LimitAmps: 1, SourceOhms: 0.3}, "string-open:A")
	near(t, "limited, one string open", c.CoilAmps[2], 1, 1e-12)
	c = solve(Supply{Amps: 3, LimitAmps: 1}, "")
	near(t, "limited current", c.PadAmps, 1, 1e-12)
	c = solve(Supply{Volts: 4, LimitAmps: 10}, "")
	near(t, "limit not reached", c.PadAmps, 4, 1e-12)
	c = solve(Supply{Amps: 1}, "string-open:A string-open:B")
	if c.PadAmps != 0 || c.PadVolts != 0 || !math.IsInf(c.PadOhms, 1) || c.CoilAmps[0] != 0 {
		t.Errorf("a current supply with every string open: %+v", c)
	}
	c = solve(Supply{Volts: 4}, "string-open:A string-open:B")
	if c.PadAmps != 0 || c.PadVolts != 4 || !math.IsInf(c.PadOhms, 1) {
		t.Errorf("a voltage supply with every string open: %+v", c)
	}
	c = solve(Supply{Volts: 4, LimitAmps: 2}, "coil-shorted:A1 coil-shorted:A2")
	if math.IsNaN(c.CoilAmps[2]) || c.PadAmps != 2 || c.CoilAmps[2] <= 0 {
		t.Errorf("a string shorted throughout: %+v", c)
	}
}

// TestShortWithOhmsLeft divides a set current by hand: 0.5 ohm beside 2 ohms take 4
// fifths and a fifth of it.
func TestShortWithOhmsLeft(t *testing.T) {
	c, err := pad(Supply{Amps: 3}, map[string][]float64{"A": {1}, "B": {2}}, "A", "B").Solve(mustFaults(t, "coil-shorted:A1,0.5")...)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "the other string", c.StringAmps[1], 0.6, 1e-12)
	near(t, "the shorted one", c.StringAmps[0], 2.4, 1e-12)
	near(t, "the shorted coil", c.CoilAmps[0], 0, 0)
	near(t, "its ohms", c.CoilOhms[0], 0.5, 1e-12)
	if _, err := pad(Supply{Amps: 3}, map[string][]float64{"A": {1}}, "A").Solve(Fault{Kind: CoilShorted, ID: "A1", Ohms: -1}); err == nil || !strings.Contains(err.Error(), "expected ohms from 0 on") {
		t.Errorf("a short of less than nothing: %v", err)
	}
}

func TestGroupFaults(t *testing.T) {
	p := pad(Supply{Volts: 4}, map[string][]float64{"A": {1}, "B": {1}, "C": {1}, "D": {1}}, "A", "B", "C", "D")
	p.Groups = []Group{{"left", Parallel, []string{"A", "B"}}, {"right", Parallel, []string{"C", "D"}}, {"pad", Parallel, []string{"left", "right"}}}
	solve := func(faults string) *Currents {
		t.Helper()
		c, err := p.Solve(mustFaults(t, faults)...)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	c := solve("group-reversed:left coil-reversed:B1")
	closeTo(t, "A1", c.CoilAmps[0], -4, 4)
	closeTo(t, "B1", c.CoilAmps[1], 4, 4)
	closeTo(t, "C1", c.CoilAmps[2], 4, 4)
	c = solve("group-reversed:pad group-reversed:left")
	closeTo(t, "A1", c.CoilAmps[0], 4, 4)
	closeTo(t, "C1", c.CoilAmps[2], -4, 4)
	c = solve("strings-in-series:left,right")
	closeTo(t, "groups in series", c.PadAmps, 4, 4)
	closeTo(t, "A1", c.CoilAmps[0], 2, 4)
	c = solve("strings-in-series:A,B")
	closeTo(t, "A1", c.CoilAmps[0], 2, 4)
	closeTo(t, "C1", c.CoilAmps[2], 4, 4)
	near(t, "ohms of the group", c.GroupOhms[0], 2, 1e-12)
	near(t, "ohms of the other", c.GroupOhms[1], 0.5, 1e-12)
	near(t, "ohms of the pad", c.PadOhms, 0.4, 1e-12)
	c = solve("coil-in-wrong-string:A1,C group-reversed:right")
	closeTo(t, "A1 takes the way of its new string", c.CoilAmps[0], -2, 4)
}

func TestFaultsThatMakeNoSense(t *testing.T) {
	p := pad(Supply{Volts: 4}, map[string][]float64{"A": {1}, "B": {1}, "C": {1}}, "A", "B", "C")
	grouped := pad(Supply{Volts: 4}, map[string][]float64{"A": {1}, "B": {1}, "C": {1}, "D": {1}}, "A", "B", "C", "D")
	grouped.Groups = []Group{{"left", Parallel, []string{"A", "B"}}, {"pad", Series, []string{"left", "C", "D"}}}
	for _, c := range []struct {
		plan         *Plan
		faults, want string
	}{
		{p, "coil-reversed:Z1", `fault coil-reversed:Z1: the plan has no coil "Z1"`},
		{p, "string-open:A1", `fault string-open:A1: the plan has no string "A1"`},
		{p, "group-reversed:left", `fault group-reversed:left: the plan has no group "left"`},
		{p, "coil-in-wrong-string:A1,A", `fault coil-in-wrong-string:A1,A: coil "A1" is planned in string "A"`},
		{p, "coil-in-wrong-string:A1,Z", `fault coil-in-wrong-string:A1,Z: the plan has no string "Z"`},
		{p, "coil-in-wrong-string:A1,B coil-in-wrong-string:A1,C", `fault coil-in-wrong-string:A1,C: coil "A1" cannot be in two wrong strings`},
		{p, "coil-reversed:A1 coil-reversed:A1", "fault coil-reversed:A1: given twice"},
		{p, "turns-shorted:A1,0.2 turns-shorted:A1,0.3", "fault turns-shorted:A1,0.3: given twice"},
		{p, "pad-reversed pad-reversed", "fault pad-reversed: given twice"},
		{p, "strings-in-series:A,A", `fault strings-in-series:A,A: "A" is named twice`},
		{p, "strings-in-series:A,Z", `fault strings-in-series:A,Z: the plan has no string "Z"`},
		{p, "strings-in-series:A,B strings-in-series:B,C", `fault strings-in-series:B,C: "B" is in another chain already`},
		{grouped, "strings-in-series:A,C", `fault strings-in-series:A,C: expected members of one group, found "C" outside group "left"`},
		{grouped, "strings-in-series:C,D", `fault strings-in-series:C,D: group "pad" joins its members in series as planned`},
		{grouped, "strings-in-series:pad,left", `fault strings-in-series:pad,left: no group joins "pad" with others`},
	} {
		if _, err := c.plan.Solve(mustFaults(t, c.faults)...); err == nil || err.Error() != c.want {
			t.Errorf("%s:\n got %v\nwant %s", c.faults, err, c.want)
		}
	}
}

// drawPlan makes a pad with groups nested at will.
func drawPlan(t *rapid.T) *Plan {
	ohms := map[string][]float64{}
	var order []string
	for i := range rapid.IntRange(1, 6).Draw(t, "strings") {
		id := string(rune('A' + i))
		order = append(order, id)
		ohms[id] = rapid.SliceOfN(rapid.Float64Range(0.2, 5), 1, 5).Draw(t, "ohms")
	}
	var s Supply
	if rapid.Bool().Draw(t, "voltage") {
		s.Volts = rapid.Float64Range(0.5, 12).Draw(t, "volts")
		s.SourceOhms = rapid.SampledFrom([]float64{0, 0.1, 1}).Draw(t, "source")
	} else {
		s.Amps = rapid.Float64Range(0.1, 5).Draw(t, "amps")
	}
	p := pad(s, ohms, order...)
	for i := range p.Strings {
		p.Strings[i].LeadOhms = rapid.SampledFrom([]float64{0, 0.05}).Draw(t, "leads")
	}
	for j := range p.Coils {
		p.Coils[j].North = rapid.SampledFrom([]Face{Up, Down}).Draw(t, "north")
	}
	if rapid.Bool().Draw(t, "grouped") {
		open := order
		for k := 0; len(open) > 1 || k == 0; k++ {
			n := rapid.IntRange(1, len(open)).Draw(t, "members")
			if len(open) > 1 && n == 1 {
				n = 2
			}
			g := Group{ID: fmt.Sprintf("g%d", k), Join: rapid.SampledFrom([]Join{Parallel, Series}).Draw(t, "join"), Of: open[:n:n]}
			p.Groups = append(p.Groups, g)
			open = append(open[n:len(open):len(open)], g.ID)
		}
	}
	return p
}

// drawFaults draws faults that make sense together.
func drawFaults(t *rapid.T, p *Plan) []Fault {
	var out []Fault
	for range rapid.IntRange(0, 4).Draw(t, "faults") {
		f := Fault{Kind: rapid.SampledFrom(faultKinds).Draw(t, "kind")}
		switch f.Kind {
		case StringReversed, StringOpen:
			f.ID = rapid.SampledFrom(p.Strings).Draw(t, "string").ID
		case GroupReversed:
			if len(p.Groups) == 0 {
				continue
			}
			f.ID = rapid.SampledFrom(p.Groups).Draw(t, "group").ID
		case StringsInSeries:
			ids := []string{}
			for i := range p.Strings {
				ids = append(ids, p.Strings[i].ID)
			}
			if len(p.Groups) > 0 {
				ids = rapid.SampledFrom(p.Groups).Draw(t, "group").Of
			}
			f.IDs = ids[:rapid.IntRange(0, len(ids)).Draw(t, "chain")]
		default:
			f.ID = rapid.SampledFrom(p.Coils).Draw(t, "coil").ID
			f.String = rapid.SampledFrom(p.Strings).Draw(t, "to").ID
		}
		if _, err := p.wired(append(out, f)); err == nil {
			out = append(out, f)
		}
	}
	return out
}

// allCoils solves the same pad as Solve does, coil by coil instead of string by
// string: a slower circuit, laid out by code that shares nothing with Solve's
// but the fault's meaning for a single string.
func allCoils(t *rapid.T, p *Plan, w *wiring) *Flow {
	c := Circuit{Plus: 1, Volts: p.Supply.Volts, Amps: p.Supply.Amps, SourceOhms: p.Supply.SourceOhms}
	next := 2
	c.Parts = make([]Part, len(p.Coils)) // by coil, filled in below
	for j := range c.Parts {
		c.Parts[j].Ohms = math.Inf(1)
	}
	var lay func(id string, from, to int)
	lay = func(id string, from, to int) {
		if g := p.GroupIndex(id); g >= 0 {
			done := map[string]bool{}
			at := from
			for k, member := range p.Groups[g].Of {
				if p.Groups[g].Join == Series {
					end := to
					if k < len(p.Groups[g].Of)-1 {
						end, next = next, next+1
					}
					lay(member, at, end)
					at = end
					continue
				}
				if done[member] {
					continue
				}
				row := []string{member}
				for _, chain := range w.chains {
					for _, m := range chain {
						if m == member {
							row = chain
						}
					}
				}
				at := from
				for i, m := range row {
					done[m] = true
					end := to
					if i < len(row)-1 {
						end, next = next, next+1
					}
					lay(m, at, end)
					at = end
				}
			}
			return
		}
		i := p.StringIndex(id)
		lead := p.Strings[i].LeadOhms
		sum := lead
		for _, j := range w.coils[i] {
			sum += p.WindingOf(j).Ohms20() * w.turnsLeft[j]
		}
		lead += math.Max(0, leastStringOhms-sum)
		if w.stringOpen[i] || len(w.coils[i]) == 0 {
			lead = math.Inf(1)
		}
		at := from
		for _, j := range w.coils[i] {
			c.Parts[j] = Part{From: at, To: next, Ohms: p.WindingOf(j).Ohms20() * w.turnsLeft[j]}
			if w.coilOpen[j] && w.turnsLeft[j] > 0 {
				c.Parts[j].Ohms = math.Inf(1)
			}
			at, next = next, next+1
		}
		c.Parts = append(c.Parts, Part{From: at, To: to, Ohms: lead})
	}
	if len(p.Groups) > 0 {
		lay(p.Groups[p.RootGroup()].ID, 1, 0)
	} else {
		ids := []string{}
		for i := range p.Strings {
			ids = append(ids, p.Strings[i].ID)
		}
		p.Groups = []Group{{"all", Parallel, ids}}
		lay("all", 1, 0)
		p.Groups = nil
	}
	f, err := c.Solve()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// Whatever the pad and its faults: the currents are those of the circuit coil
// by coil, and what an ohmmeter would read at the plug drives them.
func TestSolveAgainstEveryCoil(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPlan(t)
		faults := drawFaults(t, p)
		w, err := p.wired(faults)
		if err != nil {
			t.Fatal(err)
		}
		c, err := p.Solve(faults...)
		if err != nil {
			t.Fatal(err)
		}
		f := allCoils(t, p, w)
		scale := math.Abs(f.SupplyAmps) + 0.01
		same := func(what string, got, want float64) {
			if !(math.Abs(got-want) <= 1e-9*scale) {
				t.Fatalf("%s: got %g, want %g (%v)", what, got, want, faults)
			}
		}
		same("supply", c.PadAmps, f.SupplyAmps)
		if !math.IsInf(c.PadOhms, 1) {
			if v := f.NodeVolts[1]; math.Abs(c.PadVolts-v) > 1e-8*v { // a short of a milliohm beside ohms costs digits
				t.Fatalf("plug: got %g V, want %g (%v)", c.PadVolts, v, faults)
			}
			if p.Supply.Volts > 0 {
				same("Ohm's law", c.PadAmps, p.Supply.Volts/(p.Supply.SourceOhms+c.PadOhms))
			}
		} else if c.PadAmps != 0 {
			t.Fatal("current in an open pad")
		}
		for j := range p.Coils {
			want := f.PartAmps[j]
			if w.turnsLeft[j] == 0 {
				want = 0
			}
			same("coil "+p.Coils[j].ID, math.Abs(c.CoilAmps[j]), math.Abs(want))
			// Nothing is exactly nothing: whoever asks for a sign must not be
			// answered by rounding.
			if math.Abs(want) < 1e-12*scale && c.CoilAmps[j] != 0 {
				t.Fatalf("coil %s carries %g A", p.Coils[j].ID, c.CoilAmps[j])
			}
		}
	})
}

// Reversing the pad reverses every coil, whatever else is wrong, and changes
// nothing that the supply could tell.
func TestReversalSymmetry(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPlan(t)
		faults := drawFaults(t, p)
		var still []Fault
		for _, f := range faults {
			if f.Kind != PadReversed {
				still = append(still, f)
			}
		}
		a, err := p.Solve(still...)
		if err != nil {
			t.Fatal(err)
		}
		b, err := p.Solve(append(still, Fault{Kind: PadReversed})...)
		if err != nil {
			t.Fatal(err)
		}
		for j := range p.Coils {
			if a.CoilAmps[j] != -b.CoilAmps[j] || a.AmpereTurns(p, j) != -b.AmpereTurns(p, j) {
				t.Fatalf("coil %s: %g A, reversed %g A", p.Coils[j].ID, a.CoilAmps[j], b.CoilAmps[j])
			}
		}
		if a.PadAmps != b.PadAmps {
			t.Fatalf("supply: %g A, reversed %g A", a.PadAmps, b.PadAmps)
		}
	})
}

func TestParseFault(t *testing.T) {
	for _, s := range []string{"coil-reversed:A1", "pad-reversed", "strings-in-series:A,B,C", "coil-in-wrong-string:A1,B", "turns-shorted:A1", "turns-shorted:A1,0.3", "coil-shorted:A1", "coil-shorted:A1,0.05"} {
		f, err := ParseFault(s)
		if err != nil || f.Text() != s {
			t.Errorf("%s: read as %q, %v", s, f.Text(), err)
		}
	}
	for s, want := range map[string]string{
		"":                         `fault "": expected a kind of fault: coil-reversed, string-reversed, group-reversed, pad-reversed, coil-shorted, turns-shorted, string-open, coil-open, strings-in-series, coil-in-wrong-string`,
		"coil-reverse:A1":          `fault "coil-reverse:A1": expected a kind of fault; did you mean coil-reversed?`,
		"coil-reversed":            `fault "coil-reversed": expected one id, like coil-reversed:ID`,
		"coil-reversed:A1,A2":      `fault "coil-reversed:A1,A2": expected one id, like coil-reversed:ID`,
		"pad-reversed:A":           `fault "pad-reversed:A": expected no id: there is one pad`,
		"turns-shorted:A1,1.5":     `fault "turns-shorted:A1,1.5": expected a share of turns between 0 and 1, like turns-shorted:A1,0.3`,
		"turns-shorted:A1,NaN":     `fault "turns-shorted:A1,NaN": expected a share of turns between 0 and 1, like turns-shorted:A1,0.3`,
		"coil-shorted:A1,-1":       `fault "coil-shorted:A1,-1": expected ohms from 0 on, like coil-shorted:A1,0.05`,
		"strings-in-series:A":      `fault "strings-in-series:A": expected two strings or more, like strings-in-series:A,B`,
		"coil-in-wrong-string:A1":  `fault "coil-in-wrong-string:A1": expected a coil and the string it ended up in, like coil-in-wrong-string:A1,B`,
		"coil-in-wrong-string:A1,": `fault "coil-in-wrong-string:A1,": expected an id, found nothing before or after a comma`,
	} {
		if _, err := ParseFault(s); err == nil || err.Error() != want {
			t.Errorf("%q:\n got %v\nwant %s", s, err, want)
		}
	}
}

// A 20-coil pad is solved thousands of times for a verdict.
func BenchmarkSolve(b *testing.B) {
	ohms := map[string][]float64{}
	var order []string
	for i := range 5 {
		id := string(rune('A' + i))
		order = append(order, id)
		ohms[id] = []float64{0.97, 0.97, 0.97, 0.97}
	}
	p := pad(Supply{Volts: 4, SourceOhms: 0.1}, ohms, order...)
	f := Fault{Kind: CoilReversed, ID: "C2"}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := p.Solve(f); err != nil {
			b.Fatal(err)
		}
	}
}
