package verdict

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"polewise/layout"
)

// pads with strings, and with groups of strings.
func mendPlan(groups bool) *layout.Plan {
	text := "format = 1\nname = \"m\"\n[supply]\nvolts = 2\n[[winding]]\nid = \"r\"\nshape = \"round\"\ninner = 50\nturns = 40\nbuild = 5\nwidth = 6\nwire_awg = 24\n"
	sizes := []int{1, 2, 3, 2}
	for s, n := range sizes {
		ids := ""
		for k := range n {
			text += fmt.Sprintf("[[coil]]\nid = \"%c%d\"\nwinding = \"r\"\nat = [%d, %d]\n", 'A'+s, k+1, 50+80*k, 50+80*s)
			ids += fmt.Sprintf("\"%c%d\",", 'A'+s, k+1)
		}
		text += fmt.Sprintf("[[string]]\nid = \"%c\"\ncoils = [%s]\n", 'A'+s, ids)
	}
	if groups {
		text += "[[group]]\nid = \"left\"\njoin = \"parallel\"\nof = [\"A\", \"B\"]\n[[group]]\nid = \"right\"\njoin = \"parallel\"\nof = [\"C\", \"D\"]\n[[group]]\nid = \"all\"\njoin = \"series\"\nof = [\"left\", \"right\"]\n"
	}
	p, err := layout.Parse("m", []byte(text))
	if err != nil {
		panic(err)
	}
	return p
}

// mended applies swaps and flips as the faults that undo themselves.
func mended(p *layout.Plan, faults []layout.Fault, mend []Mend) ([]layout.Fault, error) {
	kinds := map[Act]layout.FaultKind{Flip: layout.CoilReversed, SwapString: layout.StringReversed, SwapPad: layout.PadReversed, Rejoin: layout.GroupReversed}
	out := slices.Clone(faults)
	for _, m := range mend {
		kind, ok := kinds[m.Do]
		if !ok {
			return nil, fmt.Errorf("a reversal is not mended by %s", m.Do)
		}
		// Turned twice is not turned.
		same := func(f layout.Fault) bool { return f.Kind == kind && f.ID == m.ID }
		if slices.ContainsFunc(out, same) {
			out = slices.DeleteFunc(out, same)
		} else {
			out = append(out, layout.Fault{Kind: kind, ID: m.ID})
		}
	}
	return out, nil
}

// TestMendIsRightAndFewest solves the mended network for random reversals, and
// counts the actions against all ways of swapping strings, groups and the plug.
func TestMendIsRightAndFewest(t *testing.T) {
	for _, groups := range []bool{false, true} {
		p := mendPlan(groups)
		rapid.Check(t, func(t *rapid.T) {
			var faults []layout.Fault
			for j := range p.Coils {
				if rapid.Bool().Draw(t, p.Coils[j].ID) {
					faults = append(faults, layout.Fault{Kind: layout.CoilReversed, ID: p.Coils[j].ID})
				}
			}
			if rapid.Bool().Draw(t, "string") {
				faults = append(faults, layout.Fault{Kind: layout.StringReversed, ID: "C"})
			}
			if rapid.Bool().Draw(t, "pad") {
				faults = append(faults, layout.Fault{Kind: layout.PadReversed})
			}
			if groups && rapid.Bool().Draw(t, "group") {
				faults = append(faults, layout.Fault{Kind: layout.GroupReversed, ID: "right"})
			}
			mend := mendFor(p, faults)
			after, err := mended(p, faults, mend)
			if err != nil {
				t.Fatal(err)
			}
			cur, err := p.Solve(after...)
			if err != nil {
				t.Fatal(err)
			}
			for j, a := range cur.CoilAmps {
				if a <= 0 {
					t.Fatalf("after %v %s still carries %g A", mend, p.Coils[j].ID, a)
				}
			}
			if best := fewest(p, turned(p, faults), groups); len(mend) > best {
				t.Fatalf("%d actions (%v) where %d would do", len(mend), mend, best)
			}
		})
	}
}

// fewest tries every choice of swapped strings, groups and plug.
func fewest(p *layout.Plan, wrong []bool, groups bool) int {
	best := len(wrong)
	bits := len(p.Strings) + 1
	if groups {
		bits += 2
	}
	for choice := range 1 << bits {
		count := 0
		for b := range bits {
			count += choice >> b & 1
		}
		for s := range p.Strings {
			swap := choice>>s&1 == 1
			if choice>>len(p.Strings)&1 == 1 {
				swap = !swap
			}
			if groups && choice>>(len(p.Strings)+1+s/2)&1 == 1 {
				swap = !swap
			}
			for _, j := range p.Strings[s].Coils {
				if wrong[j] != swap {
					count++
				}
			}
		}
		best = min(best, count)
	}
	return best
}

// TestEveryFaultIsSaidAndMended: each kind of fault there is has words and a mend.
func TestEveryFaultIsSaidAndMended(t *testing.T) {
	p := mendPlan(true)
	m, err := Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	of := map[layout.FaultKind]string{
		layout.CoilReversed: ":C1", layout.StringReversed: ":C", layout.GroupReversed: ":left", layout.PadReversed: "", layout.CoilShorted: ":C1",
		layout.TurnsShorted: ":C1", layout.StringOpen: ":C", layout.CoilOpen: ":C1", layout.StringsInSeries: ":A,B", layout.CoilInWrongString: ":C1,D",
	}
	_, err = layout.ParseFault("?")
	_, kinds, _ := strings.Cut(err.Error(), "a kind of fault: ")
	for kind := range strings.SplitSeq(kinds, ", ") {
		t.Run(kind, func(t *testing.T) {
			f, err := layout.ParseFault(kind + of[layout.FaultKind(kind)])
			if err != nil {
				t.Fatal(err)
			}
			h := newHypothesis(m, []layout.Fault{f}, 0)
			mend := mendFor(p, h.faults)
			if what, how := sayFaults(p, h), sayMend(p, h, mend); what == "" || len(how) == 0 {
				t.Errorf("said %q, to be mended by %v: %q", what, mend, how)
			}
		})
	}
}

// TestMendOfOneString: of a pad of one string swapping its ends and swapping the plug come to
// the same; told is what goes with the cause.
func TestMendOfOneString(t *testing.T) {
	p := mendPlan(false)
	p.Strings = p.Strings[2:3]
	p.Coils = p.Coils[3:6]
	p.Strings[0].Coils = []int{0, 1, 2}
	for _, tc := range []struct {
		fault layout.Fault
		want  Mend
	}{
		{layout.Fault{Kind: layout.PadReversed}, Mend{Do: SwapPad}},
		{layout.Fault{Kind: layout.StringReversed, ID: "C"}, Mend{SwapString, "C"}},
	} {
		if got := mendFor(p, []layout.Fault{tc.fault}); len(got) != 1 || got[0] != tc.want {
			t.Errorf("%s is mended by %v, expected %v", tc.fault.Kind, got, tc.want)
		}
	}
}

// TestMendOfNestedGroups: each group within another is settled once, or sixty of them would
// take years.
func TestMendOfNestedGroups(t *testing.T) {
	p := mendPlan(true)
	inner := "all"
	for n := range 60 {
		id := fmt.Sprintf("g%d", n)
		p.Groups = append(p.Groups, layout.Group{ID: id, Join: layout.Series, Of: []string{inner}})
		inner = id
	}
	got := mendFor(p, []layout.Fault{{Kind: layout.GroupReversed, ID: "left"}, {Kind: layout.CoilReversed, ID: "D2"}})
	slices.SortFunc(got, func(a, b Mend) int { return strings.Compare(string(a.Do), string(b.Do)) })
	if want := []Mend{{Flip, "D2"}, {Rejoin, "left"}}; !slices.Equal(got, want) {
		t.Errorf("found %v, expected %v", got, want)
	}
}
