package planning

import (
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/layout"
)

// Each thing that cannot work is told with the number that breaks it; with the
// number that would do, the warning is gone; and the rest is there all the same.
func TestWarnings(t *testing.T) {
	for name, c := range map[string]struct {
		breakIt, mendIt func(*layout.Plan)
		want            string
	}{
		"too many turns in the grooves": {
			func(p *layout.Plan) { p.Windings[0].Turns = 100 },
			func(p *layout.Plan) { p.Windings[0].Build = 7.2e-3 },
			`winding "round".turns: 100 turns lie in 10 layers of 11 and build 6.3 mm even with every turn in the groove below, and the former leaves 6.0 mm. Make the build 6.4 mm, or wind at most 95 turns.`,
		},
		"too many turns, fewer would do": {
			func(p *layout.Plan) { p.Windings[0].Turns = 100 },
			func(p *layout.Plan) { p.Windings[0].Turns = 88 },
			`winding "round".turns: 100 turns lie in 10 layers of 11 and build 6.3 mm even with every turn in the groove below, and the former leaves 6.0 mm. Make the build 6.4 mm, or wind at most 95 turns.`,
		},
		"only with care": {
			func(p *layout.Plan) { p.Windings[0].Turns = 92 },
			func(p *layout.Plan) { p.Windings[0].Build = 6.5e-3 },
			`winding "round".turns: 92 turns lie in 9 layers of 11 and build 6.5 mm when piled up, and the former leaves 6.0 mm. Lay each turn in the groove below, or make the build 6.5 mm.`,
		},
		"more build than the wire makes": {
			func(p *layout.Plan) { p.Windings[0].Build = 8e-3 },
			func(p *layout.Plan) { p.Windings[0].Build = 4.4e-3 },
			`winding "round".build: 60 turns lie in 6 layers of 11 and build 4.3 mm when piled up, and the plan gives 8.0 mm. Make the build 4.4 mm, or what a coil of it measures: ohms and field follow from it.`,
		},
		"wire wider than the former": {
			func(p *layout.Plan) { p.Windings[0].Width, p.Windings[0].Turns = 0.7e-3, 5 },
			func(p *layout.Plan) { p.Windings[0].Width = 0.72e-3 },
			`winding "round".width: the wire is 0.72 mm thick with its enamel, and the former is only 0.70 mm wide. Make the width at least 0.72 mm, or take thinner wire.`,
		},
		"millimetres read as inches": {
			func(p *layout.Plan) {
				p.Unit = layout.Inch
				p.Windings[0].InnerX, p.Windings[0].InnerY = 90*25.4e-3, 90*25.4e-3
			},
			func(p *layout.Plan) {
				p.Unit = layout.Millimetre
				p.Windings[0].InnerX, p.Windings[0].InnerY = 90e-3, 90e-3
			},
			`length_unit: sizes are read as inches, which makes winding "round" 2300 mm across inside. If they are meant as millimetres, write length_unit = "mm".`,
		},
		"ohms that cannot be": {
			func(p *layout.Plan) { p.Windings[0].GivenOhms = 1.3 },
			func(p *layout.Plan) { p.Windings[0].GivenOhms = 1.0 },
			`winding "round".ohms: the plan gives 1.30 ohm, and 60 turns of this wire have 0.96: +36 percent. Measure it again, or put turns and wire right.`,
		},
		"limit below the current": {
			func(p *layout.Plan) { p.Supply.LimitAmps = 1 },
			func(p *layout.Plan) { p.Supply.LimitAmps = 2.1 },
			`supply.limit_amps: 2 V would drive 2.05 A through the pad, and the supply's limit holds it at 1.00 A. Set the limit to 2.1 A, or the supply to 1.0 V; the figures here are for the limit.`,
		},
		"limit below the current set": {
			func(p *layout.Plan) { p.Supply = layout.Supply{Amps: 2, LimitAmps: 1.5} },
			func(p *layout.Plan) { p.Supply.LimitAmps = 2 },
			`supply.limit_amps: the supply is to give 2 A, and its limit holds it at 1.5 A. Set the limit to 2 A or more; the figures here are for the limit.`,
		},
		"wire too hot": {
			func(p *layout.Plan) { p.Supply = layout.Supply{Volts: 10} },
			func(p *layout.Plan) { p.Supply.Volts = 4.5 },
			`supply: coil A1 carries 3.42 A, 10.5 A/mm2 of its wire and some 133 K over the room's temperature; 6 A/mm2 and 60 K are the most a taped bundle should have for long. 1.95 A would do: set the supply to 5.7 V.`,
		},
		"field too weak": {
			func(p *layout.Plan) { p.Supply.Volts = 0.2 },
			func(p *layout.Plan) { p.Supply.Volts = 0.3 },
			`supply: the field over coil B2 is only 45 uT. It takes 0.3 V to reach the 67 uT of the earth's field, 1.1 V for a reading without doubt.`,
		},
		// L/R of string A is 0.604 ms; on for 1 ms it reaches 1 - exp(-1/0.604) = 81
		// percent, and 95 percent take 3.0 times as long, 1.81 ms.
		"pulses too short": {
			func(p *layout.Plan) { p.Supply.Pulsed, p.Supply.Hz, p.Supply.Duty = true, 500, 0.5 },
			func(p *layout.Plan) { p.Supply.Hz = 270 },
			`supply.hz: a pulse of 1 ms ends when string A has reached 81 percent of its current; all currents and fields here are those at the end of the rise. Pulses of 1.8 ms would do: set hz to 270 or less.`,
		},
		"outdone by neighbours": {
			func(p *layout.Plan) { p.Strings[1].LeadOhms = 100 },
			func(p *layout.Plan) { p.Strings[1].LeadOhms = 20 },
			`coil: over B1, B2, B3 the field of the other coils is stronger than its own and the other way: faced as planned, a needle there still shows the other face. Give it more current, by strings of more equal ohms, or more room to the strong coils.`,
		},
		"field too strong for a phone": {
			func(p *layout.Plan) { p.Supply = layout.Supply{Volts: 5, Pulsed: true, Hz: 1, Duty: 0.3} },
			func(p *layout.Plan) { p.Supply.Volts = 4.5 },
			`supply: near coil A1 the field reaches 2194 uT, and a phone's sensor may clip from 2000 uT on. 4.6 V would stay below 2000 uT.`,
		},
	} {
		t.Run(name, func(t *testing.T) {
			p := kennel(t)
			if f := mustPlan(t, p, Defaults()); len(f.Warnings) != 0 {
				t.Fatalf("the demo is warned of: %v", f.Warnings)
			}
			c.breakIt(p)
			f := mustPlan(t, p, Defaults())
			found := false
			for _, w := range f.Warnings {
				found = found || w.String() == c.want
			}
			if !found {
				t.Errorf("got  %v\nwant %s", f.Warnings, c.want)
			}
			if len(f.Windings) != 1 || len(f.Strings) != 3 || len(f.Cards) != 1 || len(f.Ohms) != 13 || len(f.Over.Coils) != 9 {
				t.Errorf("figures are missing: %+v", f)
			}
			c.mendIt(p)
			key, _, _ := strings.Cut(c.want, ": ")
			for _, w := range mustPlan(t, p, Defaults()).Warnings {
				if w.Key == key {
					t.Errorf("mended, and still: %s", w)
				}
			}
		})
	}
}

// A spool that holds less than a coil.
func TestWarnSpool(t *testing.T) {
	o := Defaults()
	o.SpoolKg = 0.05
	f := mustPlan(t, kennel(t), o)
	if len(f.Warnings) != 1 || f.Warnings[0].String() != "spool: a coil of AWG 22 (0.644 mm) takes more wire than the 0.05 kg on a spool. Take a larger spool: a coil is wound from one piece." {
		t.Errorf("%v", f.Warnings)
	}
}

// What cannot be built by the plan file's own rules is still worked out.
func TestUnbuildableIsWorkedOut(t *testing.T) {
	p := kennel(t)
	p.Windings[0].Turns = 500
	p.Coils[1].At = p.Coils[0].At
	p.Coils[1].At = r2.Add(p.Coils[1].At, r2.Vec{X: 0.03})
	f := mustPlan(t, p, Defaults())
	if len(f.Warnings) == 0 || f.Pad.Amps <= 0 || f.Over.Coils[0].BUT[2] == 0 {
		t.Errorf("%+v", f)
	}
}
