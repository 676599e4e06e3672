package layout

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
)

func TestCopperWireTable(t *testing.T) {
	f, err := os.Open("testdata/copper_wire.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 9 {
		t.Fatalf("expected the table of eight gauges, found %d rows", len(rows))
	}
	for _, row := range rows[1:] {
		var v [5]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(row[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		d := BareDiameterOfAWG(v[0])
		near(t, "diameter of gauge "+row[0], d, v[1]*1e-3, 2e-7)           // half of the last digit given
		near(t, "printed diameter of gauge "+row[0], d, v[3]*0.0254, 6e-4) // printed to 1e-5 inch, the last digit cut
		perMetre := copperOhmMetres / (math.Pi / 4 * d * d)
		near(t, "resistance of gauge "+row[0], perMetre, v[2]*1e-3, 3e-5) // 1.7241e-8 is 1/58e6 rounded: 2.2e-5
		near(t, "printed resistance of gauge "+row[0], perMetre, v[4]/304.8, 4e-4)
	}
}

// The ends of the gauge that define it (NBS Handbook 100, section 2.1).
func TestGaugeAnchors(t *testing.T) {
	near(t, "No. 36", BareDiameterOfAWG(36), 0.005*0.0254, 1e-15)
	near(t, "No. 0000", BareDiameterOfAWG(-3), 0.46*0.0254, 1e-14)
}

// Done on paper: 60 turns of mean diameter 96 mm are 60 * pi * 0.096 m =
// 18.0956 m; of No. 22 wire, 16.14 ohm for 1000 ft (printed table, as above),
// that is 18.0956 / 304.8 * 16.14 = 0.95821 ohm.
func TestOhmsOfACoil(t *testing.T) {
	w := &Winding{Shape: Round, InnerX: 0.090, InnerY: 0.090, Turns: 60, Build: 0.006, Width: 0.008, Wire: BareDiameterOfAWG(22)}
	near(t, "wire length", w.WireLength(), 18.0956, 1e-5)
	near(t, "ohms", w.Ohms20(), 0.95821, 3e-4)
	w.GivenOhms = 0.97
	if w.Ohms20() != 0.97 {
		t.Errorf("a measured resistance gives way to a computed one: %g", w.Ohms20())
	}
}

// Mean turns of the other shapes, done on paper. A rectangle of 40 by 60 mm
// inside with sharp corners and a build of 6 mm: the middle turn is 3 mm out,
// 2*40 + 2*60 + 2 pi 3 = 218.85 mm. An oblong of 50 by 110 mm: two straights of
// 60 mm and a circle of radius 28 mm, 120 + 2 pi 28 = 295.93 mm.
func TestMeanTurns(t *testing.T) {
	rect := &Winding{Shape: Rectangle, InnerX: 0.040, InnerY: 0.060, Build: 0.006}
	near(t, "rectangle", rect.MeanTurn(), 0.21885, 1e-4)
	oblong := &Winding{Shape: Oblong, InnerX: 0.050, InnerY: 0.110, Build: 0.006}
	near(t, "oblong", oblong.MeanTurn(), 0.29593, 1e-4)
	oblong.InnerX, oblong.InnerY = oblong.InnerY, oblong.InnerX
	near(t, "oblong lying", oblong.MeanTurn(), 0.29593, 1e-4)
}

// Copper gains 0.39 percent per kelvin (common practice, no source; NBS
// Handbook 100 has 0.00393 at 20 C).
func TestTemperature(t *testing.T) {
	near(t, "ten kelvin up", OhmsAt(1, 30), 1.0393, 1e-12)
	near(t, "there and back", OhmsAt20(OhmsAt(0.97, 27), 27), 0.97, 1e-15)
}

// near fails when got is further from want than a fraction of want.
func near(t testing.TB, what string, got, want, fraction float64) {
	t.Helper()
	if !(math.Abs(got-want) <= fraction*math.Abs(want)) {
		t.Errorf("%s: got %.12g, want %.12g within %g of it", what, got, want, fraction)
	}
}
