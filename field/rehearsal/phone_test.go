package rehearsal

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"polewise/field/capture"
	"polewise/layout"
)

func TestPhone(t *testing.T) {
	p := row(2)
	o := exact()
	ph, err := NewPhone(p, o)
	if err != nil {
		t.Fatal(err)
	}
	pull := func(x, y, top float64, down bool) [3]float64 {
		ph.Move(x, y, top, 0, 0, down)
		ph.Drive(capture.Off)
		off, _ := ph.Read(0)
		ph.Drive(capture.On)
		on, _ := ph.Read(0)
		return [3]float64{on[0] - off[0], on[1] - off[1], on[2] - off[2]}
	}
	one := row(1)
	want := onAxis(&one.Windings[0], 1, 10e-3)
	over := pull(100, 100, 0, true)
	if math.Abs(over[2]-want) > 0.05*want { // the neighbour, 150 mm off, takes 1 to 2 percent away
		t.Errorf("over the first coil %v, want about %g", over, want)
	}
	if turned := pull(100, 100, 77, true); math.Abs(turned[2]-over[2]) > 0.01 {
		t.Errorf("turned on the spot: %v, was %v", turned, over)
	}
	if up := pull(100, 100, 0, false); up[2] > over[2]/2 {
		t.Errorf("held up: %v, was %v", up, over)
	}
	if far := pull(100, 900, 0, true); math.Abs(far[2]) > 2 {
		t.Errorf("80 cm off: %v", far)
	}
	ph.Move(100, 100, 0, 0, 0, true)
	before, g := ph.Read(0)
	if math.Abs(g[2]-9.81) > 0.2 || math.Abs(g[0]) > 0.2 {
		t.Errorf("gravity of a phone lying flat: %v", g)
	}
	ph.Move(math.NaN(), 100, 0, 0, 0, true)
	if after, _ := ph.Read(0); after != before {
		t.Errorf("a move to nowhere changed the reading from %v to %v", before, after)
	}
	if d := ph.Drive(capture.Pulse); d.Hz != 1 || d.Duty != 0.5 || d.State != capture.Pulse {
		t.Errorf("pulses %+v", d)
	}
	levels := map[float64]int{}
	for k := range 100 {
		b, _ := ph.Read(0.037 * float64(k))
		levels[b[2]]++
	}
	if len(levels) != 2 {
		t.Errorf("pulses stand at %d levels", len(levels))
	}
}

func TestPlainSignCheck(t *testing.T) {
	p := row(3)
	reversed := []layout.Fault{{Kind: layout.CoilReversed, ID: "A2"}}
	check := func(faults []layout.Fault, offset [2]float64) []string {
		looks, err := PlainSignLooks(p, faults, offset, 0)
		if err != nil {
			t.Fatal(err)
		}
		return Fooled(looks)
	}
	if wrong := check(reversed, [2]float64{}); len(wrong) != 0 {
		t.Errorf("with the sensor at the mark: %v", wrong)
	}
	// Just outside a winding the field points the other way: common practice, no
	// source. 65 mm is outside; y has no neighbours.
	if wrong := check(reversed, [2]float64{0, 65}); !slices.Equal(wrong, []string{"A1", "A2", "A3"}) {
		t.Errorf("with the sensor outside the winding: %v", wrong)
	}
	if wrong := check([]layout.Fault{{Kind: layout.CoilShorted, ID: "A2"}}, [2]float64{}); !slices.Equal(wrong, []string{"A2"}) {
		t.Errorf("a coil without field among others: %v", wrong)
	}
	looks, err := PlainSignLooks(p, reversed, [2]float64{0, 65}, 0)
	if err != nil {
		t.Fatal(err)
	}
	for i, l := range looks {
		truth, says := "as-planned", "reversed"
		if i == 1 {
			truth, says = says, truth
		}
		// Over the mark the field has the sign of the truth; where the sensor is it
		// has the other, and the check believes it.
		if l.Truth != truth || l.Says != says || !l.Wrong || l.MarkUT*l.AmpsShare <= 0 || l.SensorUT*l.AmpsShare >= 0 {
			t.Errorf("%+v", l)
		}
	}
	p.Coils[2].North = layout.Down
	if wrong := check(reversed, [2]float64{}); len(wrong) != 0 {
		t.Errorf("with a coil planned north down: %v", wrong)
	}
}

func TestPickFault(t *testing.T) {
	for _, p := range []*layout.Plan{grid(), row(1)} {
		for _, d := range []Difficulty{Easy, Usual, Hard} {
			kinds := map[string]int{}
			for seed := range uint64(200) {
				pick := func() []layout.Fault {
					f, err := PickFault(p, d, rand.New(rand.NewPCG(seed, 1)))
					if err != nil {
						t.Fatal(err)
					}
					return f
				}
				f := pick()
				if Describe(f) != Describe(pick()) {
					t.Fatal("the same seed picked two faults")
				}
				if len(f) > 0 && !changes(p, f) {
					t.Errorf("%v changes nothing", f)
				}
				if len(f) == 0 {
					kinds["nothing"]++
				}
				for _, x := range f {
					kinds[string(x.Kind)]++
				}
			}
			if d == Easy && kinds["nothing"] > 0 || d != Easy && kinds["nothing"] == 0 {
				t.Errorf("%s: nothing wrong %d times", d, kinds["nothing"])
			}
			if len(p.Coils) == 6 {
				if want := map[Difficulty]int{Easy: 2, Usual: 6, Hard: 8}[d]; len(kinds) < want {
					t.Errorf("%s picks only %v", d, kinds)
				}
			}
		}
	}
	if _, err := PickFault(grid(), "", rand.New(rand.NewPCG(1, 1))); err == nil {
		t.Error("a difficulty nobody knows is taken")
	}
}

// What is hidden in a string of two is told by its simplest name: two coils of it
// turned over are the string reversed, and the string with one of them the other.
func TestPickFaultNamesPairsSimply(t *testing.T) {
	p := grid()
	p.Strings = []layout.String{{ID: "A", Coils: []int{0, 1}}, {ID: "B", Coils: []int{2, 3, 4, 5}}}
	rng := rand.New(rand.NewPCG(4, 4))
	pairs := 0
	for range 3000 {
		for _, d := range []Difficulty{Usual, Hard} {
			faults, err := PickFault(p, d, rng)
			if err != nil {
				t.Fatal(err)
			}
			turned := 0
			for _, f := range faults {
				if f.Kind == layout.CoilReversed && (f.ID == "A1" || f.ID == "A2") || f.Kind == layout.StringReversed && f.ID == "A" {
					turned++
				}
			}
			if turned > 1 {
				t.Fatalf("%s: hidden is %v", d, faults)
			}
			if len(faults) == 2 && turned == 1 {
				pairs++
			}
		}
	}
	if pairs == 0 {
		t.Error("no coil of the pair was ever hidden beside something else")
	}
}

// The meter beside the made-up phone shows what the faults leave.
func TestPhoneOhms(t *testing.T) {
	p := grid()
	o := exact()
	o.Faults = []layout.Fault{{Kind: layout.CoilShorted, ID: "A2"}, {Kind: layout.StringOpen, ID: "B"}}
	ph, err := NewPhone(p, o)
	if err != nil {
		t.Fatal(err)
	}
	c, err := p.Solve(o.Faults...)
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]float64{"coil:A1": c.CoilOhms[0], "coil:A2": 0, "string:A": c.StringOhms[0], "pad": c.PadOhms} {
		// A percent of a meter, and a few hundredths of its leads.
		if got, err := ph.Ohms(name); err != nil || got == nil || math.Abs(*got-want) > 0.04*want+0.12 {
			t.Errorf("%s: %v %v, expected about %g", name, got, err, want)
		}
	}
	if got, err := ph.Ohms("string:B"); err != nil || got != nil {
		t.Errorf("an open string: %v %v", got, err)
	}
	if _, err := ph.Ohms("string:Z"); err == nil {
		t.Error("a string that the plan has not was measured")
	}
}
