package verdict_test

import (
	"math"
	"strings"
	"testing"

	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/field/verdict"
	"polewise/layout"
)

// TestSupplySetAnew: a pad is read, and once more after the supply was set to a third, or to
// three times as much. What it showed was told both times: nothing is wrong with the coils
// but what is. Told wrong the second time, though nothing was changed, it makes no coil weak.
func TestSupplySetAnew(t *testing.T) {
	routes := map[string]func(o *rehearsal.Options){
		"holds":    func(o *rehearsal.Options) { o.Rest = rehearsal.RestHolds },
		"one rest": func(o *rehearsal.Options) { o.Rest = rehearsal.RestOnce },
		"passes":   func(o *rehearsal.Options) { o.Passes = true },
		"headings": func(o *rehearsal.Options) { o.Route = capture.Heading },
	}
	for name, route := range routes {
		for _, times := range []float64{0.33, 3} {
			for _, mistold := range []bool{false, true} {
				set := 1.0 // of the plan's volts
				read := func(seed uint64, told float64) *capture.Capture {
					p := kennel(t)
					p.Supply.Volts *= set
					o := passing(seed, layout.Fault{Kind: layout.CoilReversed, ID: "B1"})
					o.Passes, o.TellAmps, o.CurrentSD = false, true, 0
					route(&o)
					c := capturesOf(p, o)[0]
					for i, l := range c.Lines {
						if d, ok := l.(capture.Drive); ok && d.Amps != nil {
							amps := *d.Amps * told
							d.Amps = &amps
							c.Lines[i] = d
						}
					}
					return c
				}
				first := read(1, 1)
				told := times
				if !mistold {
					set, told = times, 1
				}
				second := read(2, told)
				m, err := verdict.Warm(kennel(t))
				if err != nil {
					t.Fatal(err)
				}
				v, account, err := m.Account(nil, first, second)
				if err != nil {
					t.Fatal(err)
				}
				of := name + " at first as planned, then told to be otherwise"
				for _, h := range account.Holds {
					for k, sd := range h.Best.SD {
						if z := math.Abs(h.ReadUT[k]-h.Best.UT[k]) / sd; !mistold && z > 5 {
							t.Errorf("%s, %s axis %d: read %.1f, told to have been expected %.1f +- %.1f", of, h.At, k, h.ReadUT[k], h.Best.UT[k], sd)
						}
					}
				}
				n := rightly(t, of, v, func(id string) verdict.State {
					if id == "B1" {
						return verdict.StateReversed
					}
					return verdict.StateAsPlanned
				})
				if said := strings.Join(v.Notes, " "); !strings.Contains(said, "It is taken to have been set otherwise") {
					t.Errorf("%s: notes: %s", of, said)
				}
				if !mistold && n < 6 {
					t.Errorf("%s, %g times as much: %d of 9 coils are claimed", of, times, n)
				}
			}
		}
	}
}

// TestSupplySetAnewAfterAMend: a coil is turned, and read again with the supply at a third of
// what it was set to. What was read over the others before the mend still counts, for what it
// would have been.
func TestSupplySetAnewAfterAMend(t *testing.T) {
	read := func(seed uint64, set float64, faults ...layout.Fault) *capture.Capture {
		p := kennel(t)
		p.Supply.Volts *= set
		o := careful(seed, faults...)
		o.Ohms, o.TellAmps, o.CurrentSD = false, true, 0
		return capturesOf(p, o)[0]
	}
	m, err := verdict.Warm(kennel(t))
	if err != nil {
		t.Fatal(err)
	}
	before := &verdict.Before{
		Captures: []*capture.Capture{read(11, 1, layout.Fault{Kind: layout.CoilReversed, ID: "A2"})},
		Mend:     []verdict.Mend{{Do: verdict.Flip, ID: "A2"}},
	}
	v, _, err := m.Account(before, only(read(12, 0.33), "A2"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range v.Coils {
		if c.State != verdict.StateAsPlanned {
			t.Errorf("%s is called %s: %v", c.ID, c.State, c.P)
		}
	}
}
