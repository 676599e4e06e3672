package verdict_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"polewise/assets/demotest"
	"polewise/field/rehearsal"
	"polewise/field/verdict"
	"polewise/layout"
)

func kennel(t *testing.T) *layout.Plan { return demotest.Plan(t, "kennel") }

// careful is a maker who switches the supply off and on in every hold, with a
// phone whose sensor has been found, and measures ohms as well.
func careful(seed uint64, faults ...layout.Fault) rehearsal.Options {
	o := rehearsal.Defaults()
	o.Seed, o.Faults = seed, faults
	o.Rest, o.TellOffsetMM, o.OffsetMM = rehearsal.RestHolds, 3, &[2]float64{2, 12}
	o.Ohms = true
	return o
}

// TestEveryKindOfFault shows what is said of each fault the contract names: the
// plan is the kennel bed, the capture a careful one.
func TestEveryKindOfFault(t *testing.T) {
	for _, tc := range []struct {
		name   string
		faults []layout.Fault
		states string // of A1 A2 A3 B1 B2 B3 C1 C2 C3: p reversed=r dead=d weak=w
		mend   []verdict.Mend
		says   []string
	}{
		{"nothing wrong", nil, "ppp ppp ppp", nil, nil},
		{"a coil reversed", []layout.Fault{{Kind: layout.CoilReversed, ID: "B2"}}, "ppp prp ppp",
			[]verdict.Mend{{Do: verdict.Flip, ID: "B2"}}, []string{"Coil B2 faces the wrong way.", "Turn B2 over, or swap its two leads."}},
		{"two coils reversed", []layout.Fault{{Kind: layout.CoilReversed, ID: "A1"}, {Kind: layout.CoilReversed, ID: "C3"}}, "rpp ppp ppr",
			[]verdict.Mend{{Do: verdict.Flip, ID: "A1"}, {Do: verdict.Flip, ID: "C3"}}, []string{"Coils A1 and C3 face the wrong way."}},
		{"a string reversed", []layout.Fault{{Kind: layout.StringReversed, ID: "C"}}, "ppp ppp rrr",
			[]verdict.Mend{{Do: verdict.SwapString, ID: "C"}}, []string{"whole string C runs the wrong way", "Swap the two ends of string C"}},
		{"a string reversed and one coil of it turned back", []layout.Fault{{Kind: layout.StringReversed, ID: "C"}, {Kind: layout.CoilReversed, ID: "C2"}}, "ppp ppp rpr",
			[]verdict.Mend{{Do: verdict.Flip, ID: "C1"}, {Do: verdict.Flip, ID: "C3"}}, nil},
		{"the pad reversed", []layout.Fault{{Kind: layout.PadReversed}}, "rrr rrr rrr",
			[]verdict.Mend{{Do: verdict.SwapPad}}, []string{"whole pad runs the wrong way", "at its plug"}},
		{"a coil shorted", []layout.Fault{{Kind: layout.CoilShorted, ID: "A2"}}, "pdp ppp ppp",
			[]verdict.Mend{{Do: verdict.RemakeJoint, ID: "A2"}}, []string{"Coil A2 is shorted", "touching leads"}},
		{"half the turns shorted", []layout.Fault{{Kind: layout.TurnsShorted, ID: "B3", Lost: 0.5}}, "ppp ppw ppp",
			[]verdict.Mend{{Do: verdict.Replace, ID: "B3"}}, []string{"Coil B3 is weak"}},
		{"a string open, the ohmmeter says where", []layout.Fault{{Kind: layout.CoilOpen, ID: "B1"}}, "ppp ddd ppp",
			[]verdict.Mend{{Do: verdict.RemakeJoint, ID: "B1"}}, []string{"Coil B1 is open"}},
		{"a joint of a string open", []layout.Fault{{Kind: layout.StringOpen, ID: "A"}}, "ddd ppp ppp",
			[]verdict.Mend{{Do: verdict.RemakeJoint, ID: "A"}}, []string{"String A carries no current"}},
		{"strings in series", []layout.Fault{{Kind: layout.StringsInSeries, IDs: []string{"A", "B"}}}, "ppp ppp ppp",
			[]verdict.Mend{{Do: verdict.Rejoin, ID: "B"}}, []string{"Strings A and B are joined one after the other"}},
		{"a coil in the wrong string", []layout.Fault{{Kind: layout.CoilInWrongString, ID: "A3", String: "B"}}, "ppp ppp ppp",
			[]verdict.Mend{{Do: verdict.Rejoin, ID: "A3"}}, []string{"Coil A3 is joined into string B instead of A."}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			p := kennel(t)
			v, err := verdict.Judge(p, capturesOf(p, careful(7, tc.faults...))...)
			if err != nil {
				t.Fatal(err)
			}
			letters := map[verdict.State]byte{verdict.StateAsPlanned: 'p', verdict.StateReversed: 'r', verdict.StateDead: 'd', verdict.StateWeak: 'w', verdict.StateUndecided: '?'}
			var states []byte
			for j, c := range v.Coils {
				if j > 0 && j%3 == 0 {
					states = append(states, ' ')
				}
				states = append(states, letters[c.State])
			}
			if string(states) != tc.states {
				t.Errorf("states %s, expected %s", states, tc.states)
			}
			if len(tc.faults) == 0 {
				if v.Outcome != verdict.AsPlanned || len(v.Causes) != 0 {
					t.Errorf("outcome %s, causes %+v", v.Outcome, v.Causes)
				}
				return
			}
			if v.Outcome != verdict.Fault || len(v.Causes) == 0 {
				t.Fatalf("outcome %s with %d causes", v.Outcome, len(v.Causes))
			}
			if !slices.Equal(v.Causes[0].Mend, tc.mend) {
				t.Errorf("mend %v, expected %v", v.Causes[0].Mend, tc.mend)
			}
			for _, s := range tc.says {
				if !strings.Contains(v.Causes[0].Say, s) {
					t.Errorf("says %q, which lacks %q", v.Causes[0].Say, s)
				}
			}
		})
	}
}

// threeAbreast is a pad of round coils K1, K2 and so on in rows of three, and of strings
// S1, S2 and so on with so many of them each.
func threeAbreast(t *testing.T, supply string, counts ...int) *layout.Plan {
	t.Helper()
	text := "format = 1\nname = \"three abreast\"\n[supply]\n" + supply + "\n[[winding]]\nid = \"r\"\nshape = \"round\"\ninner = 80\nturns = 60\nbuild = 6\nwidth = 8\nwire_awg = 23\n"
	k := 0
	for i, count := range counts {
		var ids []string
		for range count {
			text += fmt.Sprintf("[[coil]]\nid = \"K%d\"\nwinding = \"r\"\nat = [%d, %d]\n", k+1, 60+110*(k%3), 60+110*(k/3))
			k++
			ids = append(ids, fmt.Sprintf("%q", fmt.Sprint("K", k)))
		}
		text += fmt.Sprintf("[[string]]\nid = \"S%d\"\nlead_ohms = 0.12\ncoils = [%s]\n", i+1, strings.Join(ids, ", "))
	}
	p, err := layout.Parse("three-abreast", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestShortTakesTheCurrent: a coil that is all its string has is shorted, and the
// supply at its limit. What the short itself comes to decides how little the other
// strings get; nobody knows it, and it is neither weak coils nor a wrong join.
func TestShortTakesTheCurrent(t *testing.T) {
	p := threeAbreast(t, "volts = 2.7\nlimit_amps = 3", 1, 4, 4)
	for _, ohms := range []float64{0, 0.03, 0.08, 0.2} {
		o := careful(5, layout.Fault{Kind: layout.CoilShorted, ID: "K1", Ohms: ohms})
		o.Ohms = false
		v, err := verdict.Judge(p, capturesOf(p, o)...)
		if err != nil {
			t.Fatal(err)
		}
		if len(v.Causes) == 0 || len(v.Causes[0].Faults) != 1 || v.Causes[0].Faults[0].Kind != layout.CoilShorted || v.Causes[0].Faults[0].ID != "K1" {
			t.Errorf("%g ohm left: causes %+v, expected the short alone first", ohms, v.Causes)
			continue
		}
		if want := "string S1, which has no other coil, takes the current that the others should have"; !strings.Contains(v.Causes[0].Say, want) {
			t.Errorf("%g ohm left: says %q, which lacks %q", ohms, v.Causes[0].Say, want)
		}
		for _, c := range v.Coils {
			if truth := map[bool]verdict.State{true: verdict.StateDead, false: verdict.StateAsPlanned}[c.ID == "K1"]; c.State != truth && c.State != verdict.StateUndecided {
				t.Errorf("%g ohm left: %s is called %s", ohms, c.ID, c.State)
			}
		}
	}
}

// TestShortOnASetCurrent: where the supply sets the current of the only string, a coil
// shorted in it changes nothing for the others, and nothing else is said.
func TestShortOnASetCurrent(t *testing.T) {
	p := threeAbreast(t, "amps = 0.8", 4)
	v, err := verdict.Judge(p, capturesOf(p, careful(5, layout.Fault{Kind: layout.CoilShorted, ID: "K2"}))...)
	if err != nil {
		t.Fatal(err)
	}
	if len(v.Causes) == 0 || !strings.Contains(v.Causes[0].Say, "Coil K2 is shorted: it makes no field, and the rest of its string works as before.") {
		t.Errorf("causes %+v", v.Causes)
	}
}

// TestSensorFarOffTheMark is the trap of the trade that fools a plain look at
// the sign: the sensor sits outside every coil and reads the opposite sign over
// each, steadily. A good pad must not be called reversed, nor a reversed pad
// good, whether the offset is told or not.
func TestSensorFarOffTheMark(t *testing.T) {
	p := kennel(t)
	for _, told := range []float64{4, -1} {
		for _, faults := range [][]layout.Fault{nil, {{Kind: layout.PadReversed}}} {
			for seed := range uint64(4) {
				o := rehearsal.Defaults()
				o.Seed, o.Faults, o.TellOffsetMM, o.OffsetMM = seed, faults, told, &[2]float64{5, 66}
				v, err := verdict.Judge(p, capturesOf(p, o)...)
				if err != nil {
					t.Fatal(err)
				}
				wrong := verdict.StateReversed
				if faults != nil {
					wrong = verdict.StateAsPlanned
				}
				for _, c := range v.Coils {
					if c.State == wrong {
						t.Errorf("offset told %v, faults %v, seed %d: %s called %s", told >= 0, faults, seed, c.ID, c.State)
					}
				}
			}
		}
	}
}

// TestUnreadCoilIsNotClaimed: what was not read is not known.
func TestUnreadCoilIsNotClaimed(t *testing.T) {
	p := kennel(t)
	c := capturesOf(p, careful(3))[0]
	var kept = *c
	kept.Lines, kept.Numbers = nil, nil
	for i, l := range c.Lines {
		if l.Type() == "ohms" {
			continue
		}
		if h, ok := l.(interface{ At() float64 }); ok && h.At() > 30 {
			continue
		}
		kept.Lines = append(kept.Lines, l)
		kept.Numbers = append(kept.Numbers, c.Numbers[i])
	}
	v, err := verdict.Judge(p, &kept)
	if err != nil {
		t.Fatal(err)
	}
	unread := 0
	for _, c := range v.Coils {
		if c.Used == 0 {
			unread++
			if c.State != verdict.StateUndecided {
				t.Errorf("%s was not read and is called %s", c.ID, c.State)
			}
		}
	}
	if unread == 0 {
		t.Fatal("every coil was read; the test shows nothing")
	}
	if v.Outcome != verdict.Undecided || v.Next == nil {
		t.Errorf("outcome %s, next %v", v.Outcome, v.Next)
	}
}

// TestNothingReadAtAll: an empty capture claims nothing.
func TestNothingReadAtAll(t *testing.T) {
	p := kennel(t)
	v, err := verdict.Judge(p)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range v.Coils {
		if c.State != verdict.StateUndecided {
			t.Errorf("%s is called %s", c.ID, c.State)
		}
	}
	if v.Outcome != verdict.Undecided {
		t.Errorf("outcome %s", v.Outcome)
	}
}

// TestAloneInAString: shorted turns in a coil alone in its string leave the field
// as planned. That is said with the verdict, until its ohms are known.
func TestAloneInAString(t *testing.T) {
	for _, k := range []struct {
		supply   string
		measured bool
		expect   bool
	}{
		{"volts = 0.6", false, true},
		{"volts = 0.6", true, false},
		{"amps = 1", false, false}, // the others take what it lacks, and its field falls
	} {
		p, err := layout.Parse("alone.toml", []byte(strings.NewReplacer(`coils = ["A1", "A2"]`, `coils = ["A1"]`, `coils = ["B1", "B2"]`, `coils = ["A2", "B1", "B2"]`, "volts = 0.6", k.supply).Replace(shortRows)))
		if err != nil {
			t.Fatal(err)
		}
		m, err := verdict.Warm(p)
		if err != nil {
			t.Fatal(err)
		}
		o := careful(4)
		o.Ohms = k.measured
		v, err := m.Judge(capturesOf(p, o)...)
		if err != nil {
			t.Fatal(err)
		}
		if v.Outcome != verdict.AsPlanned {
			t.Fatalf("%+v: %s, %v", k, v.Outcome, v.Causes)
		}
		if said := slices.ContainsFunc(v.Notes, func(n string) bool { return strings.HasPrefix(n, "A1 is alone in its string") }); said != k.expect {
			t.Errorf("%+v, said %v: %v", k, said, v.Notes)
		}
	}
}
