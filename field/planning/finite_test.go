package planning

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"

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

// TestAnyRowsHaveFigures: coils of any shape in rows and columns, as they are laid
// on a bench, with straight sides in line, centres in line and turned by quarters.
func TestAnyRowsHaveFigures(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shape := rapid.SampledFrom([]layout.Shape{layout.Round, layout.Oblong, layout.Rectangle}).Draw(t, "shape")
		mm := func(name string, lo, hi int) float64 { return 1e-3 * float64(rapid.IntRange(lo, hi).Draw(t, name)) }
		w := layout.Winding{ID: "w", Shape: shape, InnerX: mm("x", 30, 120), InnerY: mm("y", 30, 120), Turns: rapid.IntRange(20, 60).Draw(t, "turns"), Build: 8e-3, Width: 8e-3, AWG: 22, Wire: layout.BareDiameterOfAWG(22)}
		if shape == layout.Round {
			w.InnerY = w.InnerX
		} else if shape == layout.Rectangle && rapid.Bool().Draw(t, "corners") {
			w.Corner = mm("corner", 1, 14)
		}
		pitch := math.Max(w.InnerX, w.InnerY) + 2*w.Build + mm("gap", 1, 40)
		columns, rows := rapid.IntRange(1, 2).Draw(t, "columns"), rapid.IntRange(1, 2).Draw(t, "rows")
		turned := float64(rapid.IntRange(0, 3).Draw(t, "quarters")) * math.Pi / 2
		p := &layout.Plan{Name: "rows", Unit: layout.Millimetre, Supply: layout.Supply{Amps: 0.5}, Above: 6e-3, Windings: []layout.Winding{w}}
		for r := range rows {
			s := layout.String{ID: string(rune('A' + r))}
			for c := range columns {
				s.Coils = append(s.Coils, len(p.Coils))
				p.Coils = append(p.Coils, layout.Coil{ID: fmt.Sprintf("%s%d", s.ID, c+1), North: layout.Up, Turned: turned, At: r2.Vec{X: 0.1 + float64(c)*pitch, Y: 0.1 + float64(r)*pitch}})
			}
			p.Strings = append(p.Strings, s)
		}
		if _, err := Plan(p, Defaults()); err != nil {
			t.Fatal(err) // Plan checks its figures
		}
	})
}
