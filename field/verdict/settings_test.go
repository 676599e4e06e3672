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

// tellTimes has a capture tell so many times the amps that the supply showed.
func tellTimes(c *capture.Capture, times float64) {
	for i, l := range c.Lines {
		if d, ok := l.(capture.Drive); ok && d.Amps != nil {
			amps := *d.Amps * times
			d.Amps = &amps
			c.Lines[i] = d
		}
	}
}

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
					tellTimes(c, told)
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
				v, account, err := m.AccountUntil(t.Context(), nil, first, second)
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
	v, _, err := m.AccountUntil(t.Context(), before, only(read(12, 0.33), "A2"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range v.Coils {
		if c.State != verdict.StateAsPlanned {
			t.Errorf("%s is called %s: %v", c.ID, c.State, c.P)
		}
	}
}

// TestSupplySetAnewToldLate: after half of the coils the supply is set to half. What it shows is
// told from some hold on only, or on one of two phones only. Nothing is wrong with the pad, and
// so strings are not said to be joined one after the other.
func TestSupplySetAnewToldLate(t *testing.T) {
	const lowered = 6 // holds at the first setting
	read := func(seed uint64, told int, of ...string) *capture.Capture {
		o := careful(seed)
		o.Ohms, o.TellAmps, o.CurrentSD = false, true, 0
		c := capturesOf(kennel(t), o)[0]
		holds, on := 0, false
		var off [3]float64
		for i, l := range c.Lines {
			switch l := l.(type) {
			case capture.Hold:
				holds++
			case capture.Drive:
				on = l.State == capture.On
				switch {
				case holds < told:
					l.Amps = nil
				case holds > lowered && l.Amps != nil:
					half := *l.Amps / 2
					l.Amps = &half
				}
				c.Lines[i] = l
			case capture.B:
				if !on {
					off = l.UT
					continue
				}
				for a := range l.UT {
					if holds > lowered {
						l.UT[a] = off[a] + (l.UT[a]-off[a])/2
					}
				}
				c.Lines[i] = l
			}
		}
		if len(of) > 0 {
			return only(c, of...)
		}
		return c
	}
	for seed := range uint64(4) {
		cases := map[string][]*capture.Capture{
			"from the fourth hold on": {read(seed, 4)},
			"on the other phone":      {only(read(seed, 20), "A1", "A2", "A3", "B1"), only(read(seed+20, 0), "B2", "B3", "C1", "C2", "C3")},
		}
		for name, captures := range cases {
			v, err := verdict.Judge(kennel(t), captures...)
			if err != nil {
				t.Fatal(err)
			}
			rightly(t, name, v, func(string) verdict.State { return verdict.StateAsPlanned })
			if v.Outcome == verdict.Fault {
				t.Errorf("%s, seed %d: %s", name, seed, v.Causes[0].Say)
			}
			if said := strings.Join(v.Notes, " "); !strings.Contains(said, "It is taken to have been set otherwise") {
				t.Errorf("%s: notes: %s", name, said)
			}
		}
	}
}
