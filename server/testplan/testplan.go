// Package testplan writes plans for tests, as text: round, oblong or rectangular
// coils in rows, each row a string named A, B and so on, its coils A1, A2.
package testplan

import (
	"fmt"
	"strings"
)

// Grid is coils in rows. Lengths are in millimetres.
type Grid struct {
	Name           string
	Rows, Across   int
	First          [2]float64 // the centre of A1
	Pitch          [2]float64 // from coil to coil, from row to row
	Shape          string     // of all of them, in the plan's words
	Turns, Build   int
	Volts, MaxAmps float64
	Outline        [2]float64 // none where it is zero
	Sense          string     // not told where it is empty
}

// Shapes of coils. Round90 is that of the first demo plan.
const (
	Round90   = "shape = \"round\"\ninner = 90"
	Round70   = "shape = \"round\"\ninner = 70"
	Oblong    = "shape = \"oblong\"\ninner = [70, 50]"
	Rectangle = "shape = \"rectangle\"\ninner = [70, 50]\ncorner = 8"
)

// Many is a plan of rows of twenty coils.
func Many(rows int, shape string) string {
	return Grid{Name: "Many coils", Rows: rows, Across: 20, First: [2]float64{60, 60}, Pitch: [2]float64{108, 112}, Shape: shape, Turns: 40, Build: 5,
		Volts: 12, MaxAmps: 20, Outline: [2]float64{2200, float64(112*rows + 30)}, Sense: "ccw"}.TOML()
}

// Few is a plan of a few of the first demo plan's coils.
func Few(name string, rows, across int, pitch float64) string {
	return Grid{Name: name, Rows: rows, Across: across, First: [2]float64{80, 80}, Pitch: [2]float64{pitch, pitch}, Shape: Round90, Turns: 60, Build: 6, Volts: 2, MaxAmps: 2.5}.TOML()
}

// TOML is the plan's text.
func (g Grid) TOML() string {
	var b strings.Builder
	fmt.Fprintf(&b, "format = 1\nname = %q\nlength_unit = \"mm\"\n", g.Name)
	if g.Outline[0] > 0 {
		fmt.Fprintf(&b, "[outline]\nsize = [%g, %g]\n", g.Outline[0], g.Outline[1])
	}
	fmt.Fprintf(&b, "[supply]\nvolts = %.1f\nlimit_amps = %.1f\n[[winding]]\nid = \"w\"\n%s\nturns = %d\nbuild = %d\nwidth = 8\nwire_awg = 22\n", g.Volts, g.MaxAmps, g.Shape, g.Turns, g.Build)
	for r := range g.Rows {
		var ids []string
		for c := range g.Across {
			id := fmt.Sprintf("%c%d", 'A'+r, c+1)
			ids = append(ids, fmt.Sprintf("%q", id))
			fmt.Fprintf(&b, "[[coil]]\nid = %q\nwinding = \"w\"\nat = [%g, %g]\n", id, g.First[0]+float64(c)*g.Pitch[0], g.First[1]+float64(r)*g.Pitch[1])
			if g.Sense != "" {
				fmt.Fprintf(&b, "sense = %q\n", g.Sense)
			}
		}
		fmt.Fprintf(&b, "[[string]]\nid = \"%c\"\ncoils = [%s]\n", 'A'+r, strings.Join(ids, ", "))
	}
	return b.String()
}
