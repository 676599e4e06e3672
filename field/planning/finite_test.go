package planning

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"polewise/layout"
)

func TestFiniteNamesTheFigure(t *testing.T) {
	f := mustPlan(t, kennel(t), Defaults())
	if err := Finite(f); err != nil {
		t.Fatal(err)
	}
	f.Strings[1].Watts = math.Inf(1)
	if err := Finite(f); err == nil || !strings.HasPrefix(err.Error(), "strings[1].watts comes out as +Inf") {
		t.Errorf("%v", err)
	}
	f.Strings[1].Watts = 0
	f.Over.Coils[2].BUT[1] = math.NaN()
	if err := Finite(f); err == nil || !strings.HasPrefix(err.Error(), "over.coils[2].b_uT[1] comes out as NaN") {
		t.Errorf("%v", err)
	}
}

// Whatever a plan's numbers, its figures go into JSON or are refused in words.
func TestFiguresAlwaysGoIntoJSON(t *testing.T) {
	made := 0
	for name, spoil := range map[string]func(*layout.Plan, *layout.Winding){
		"hardly a volt":        func(p *layout.Plan, _ *layout.Winding) { p.Supply = layout.Supply{Volts: 1e-300} },
		"the largest volts":    func(p *layout.Plan, _ *layout.Winding) { p.Supply = layout.Supply{Volts: math.MaxFloat64} },
		"volts beyond squares": func(p *layout.Plan, _ *layout.Winding) { p.Supply = layout.Supply{Volts: 1e200} },
		"hardly an ampere":     func(p *layout.Plan, _ *layout.Winding) { p.Supply = layout.Supply{Amps: 5e-324} },
		"the largest amperes":  func(p *layout.Plan, _ *layout.Winding) { p.Supply = layout.Supply{Amps: math.MaxFloat64} },
		"a source in the way":  func(p *layout.Plan, _ *layout.Winding) { p.Supply.SourceOhms = 1e300 },
		"pulses without end": func(p *layout.Plan, _ *layout.Winding) {
			p.Supply = layout.Supply{Volts: 2, Pulsed: true, Hz: 1e-300, Duty: 0.5}
		},
		"pulses without length": func(p *layout.Plan, _ *layout.Winding) {
			p.Supply = layout.Supply{Volts: 2, Pulsed: true, Hz: 1e300, Duty: 1e-300}
		},
		"the thinnest wire":    func(_ *layout.Plan, w *layout.Winding) { w.Wire, w.Width = 0.01e-3, 100 },
		"the thickest wire":    func(_ *layout.Plan, w *layout.Winding) { w.Wire = 20e-3 },
		"no ohms to speak of":  func(_ *layout.Plan, w *layout.Winding) { w.GivenOhms = 1e-6 },
		"a million ohms":       func(_ *layout.Plan, w *layout.Winding) { w.GivenOhms = 1e6 },
		"as many turns as may": func(_ *layout.Plan, w *layout.Winding) { w.Turns = 100_000 },
		"flat as nothing":      func(_ *layout.Plan, w *layout.Winding) { w.Width, w.Build = 1e-9, 1e-9 },
		"wide as a barn":       func(p *layout.Plan, w *layout.Winding) { w.InnerX, w.InnerY, p.Above = 90, 90, 1 },
	} {
		p := single(1)
		p.Supply = layout.Supply{Volts: 2}
		spoil(p, &p.Windings[0])
		f, err := Plan(p, Defaults())
		if err != nil {
			t.Log(name, "is refused: ", err)
			continue
		}
		made++
		raw, err := json.Marshal(f)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		for _, word := range []string{"NaN", "Inf"} {
			if strings.Contains(string(raw), word) {
				t.Errorf("%s: the figures say %s: %s", name, word, raw)
			}
		}
	}
	if made < 5 {
		t.Errorf("only %d plans gave figures", made)
	}
}
