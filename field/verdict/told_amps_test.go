package verdict_test

import (
	"strings"
	"testing"

	"polewise/field/rehearsal"
	"polewise/field/verdict"
	"polewise/layout"
)

// TestAmpsMistold: the figure read off the supply is typed with the point elsewhere, or in
// milliamperes. It is left out, and makes nothing of a sound pad nor hides what is wrong. A
// supply that was really set lower is taken to be.
func TestAmpsMistold(t *testing.T) {
	routes := map[string]func(o *rehearsal.Options){
		"holds":    func(o *rehearsal.Options) { o.Rest = rehearsal.RestHolds },
		"one rest": func(o *rehearsal.Options) { o.Rest = rehearsal.RestOnce },
		"passes":   func(o *rehearsal.Options) { o.Passes = true },
	}
	for name, route := range routes {
		for _, fault := range []bool{false, true} {
			for _, told := range []struct {
				times, set float64
			}{{10, 1}, {1000, 1}, {0.1, 1}, {1, 0.4}} {
				p := kennel(t)
				p.Supply.Volts *= told.set
				o := careful(5)
				o.Ohms, o.TellAmps, o.CurrentSD = false, true, 0
				route(&o)
				if fault {
					o.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "B1"}}
				}
				c := capturesOf(p, o)[0]
				tellTimes(c, told.times)
				v, err := verdict.Judge(kennel(t), c)
				if err != nil {
					t.Fatal(err)
				}
				n := rightly(t, name, v, func(id string) verdict.State {
					if fault && id == "B1" {
						return verdict.StateReversed
					}
					return verdict.StateAsPlanned
				})
				if n < 8 {
					t.Errorf("%s, fault %t, told %g times: %d of 9 coils are claimed, notes %v", name, fault, told.times, n, v.Notes)
				}
				if said := strings.Contains(strings.Join(v.Notes, " "), "That figure is left out"); said != (told.times != 1) {
					t.Errorf("%s, fault %t, told %g times: notes %v", name, fault, told.times, v.Notes)
				}
			}
		}
	}
}
