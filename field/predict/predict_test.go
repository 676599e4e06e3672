package predict

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/layout"
)

// byHand is worked on paper. Two strings of one coil each, 1 ohm a coil, side by
// side on 3 V behind 1 ohm: the pad is 0.5 ohm and takes 2 A at 1 V, 1 A a coil.
// Each coil is 100 turns at a radius of 50 mm, hardly thicker than a thread; the
// sensor lies 50 mm over its middle.
const byHand = `
format = 1
name = "by hand"
[supply]
volts = 3
source_ohms = 1
[sensor]
above = 49.95
[[winding]]
id = "w"
shape = "round"
inner = 99.9
turns = 100
build = 0.1
width = 0.1
wire_mm = 0.01
ohms = 1
[[coil]]
id = "left"
winding = "w"
at = [100, 100]
[[coil]]
id = "right"
winding = "w"
at = [1100, 100]
north = "down"
[[string]]
id = "L"
coils = ["left"]
[[string]]
id = "R"
coils = ["right"]
`

func TestByHand(t *testing.T) {
	plan, err := layout.Parse("by-hand.toml", []byte(byHand))
	if err != nil {
		t.Fatal(err)
	}
	p, err := Predict(plan, []r3.Vec{{X: 0.1, Y: 0.1, Z: 0.05}, {X: 0.6, Y: 0.1, Z: 0}})
	if err != nil {
		t.Fatal(err)
	}
	near := func(what string, got, want, off float64) {
		t.Helper()
		if !(math.Abs(got-want) <= off) {
			t.Errorf("%s: %.6g, by hand %.6g", what, got, want)
		}
	}
	near("pad ohm", p.Pad.Ohms, 0.5, 1e-12)
	near("pad A", p.Pad.Amps, 2, 1e-12)
	near("pad V", p.Pad.Volts, 1, 1e-12)
	// On the axis of a loop, mu0 N I R^2 / (2 (R^2 + z^2)^1.5) with R = z = 50 mm:
	// 4 pi 1e-7 x 100 x 0.0025 / (2 x 0.005^1.5) = 444.29 uT. The other coil, a
	// metre off and facing the other way, adds mu0 m / (4 pi r^3) with m = 100 x
	// 1 A x pi R^2: 1e-7 x 0.7854 = 0.079 uT, in the sense of this coil's own
	// pull. Half a tenth of that is left for what a dipole is not.
	const pull, other = 444.29, 0.079
	for i, sign := range []float64{1, -1} {
		c := p.Coils[i]
		near(c.ID+" A", c.Amps, 1, 1e-12)
		near(c.ID+" ohm", c.Ohms, 1, 1e-12)
		near(c.ID+" Bz", c.BzUT, sign*(pull+other), 0.01)
		near(c.ID+" z", c.AtMM[2], 50, 1e-9)
		near(p.Strings[i].ID+" A", p.Strings[i].Amps, 1, 1e-12)
		near(p.Strings[i].ID+" ohm", p.Strings[i].Ohms, 1, 1e-12)
	}
	near("the point over the left coil", p.Points[0].BUT[2], p.Coils[0].BzUT, 1e-6)
	// Half way between two coils that face opposite ways nothing is vertical.
	near("half way", p.Points[1].BUT[2], 0, 1e-6)
}

// What comes out infinite is refused in words, and never printed.
func TestNoNumberIsRefused(t *testing.T) {
	plan, err := layout.Parse("by-hand.toml", []byte(byHand))
	if err != nil {
		t.Fatal(err)
	}
	plan.Supply.Volts = math.Inf(1)
	if _, err := Predict(plan, nil); err == nil || !strings.Contains(err.Error(), "comes out as") {
		t.Errorf("%v", err)
	}
}
