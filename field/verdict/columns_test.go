package verdict

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"polewise/layout"
)

// bigPad is so many by so many round coils of 80 mm, 110 mm apart, each row a string.
func bigPad(t *testing.T, nx, ny int) *layout.Plan {
	t.Helper()
	var text strings.Builder
	fmt.Fprintf(&text, "format = 1\nname = \"grid\"\n[supply]\nvolts = %g\n[[winding]]\nid = \"r\"\nshape = \"round\"\ninner = 80\nturns = 50\nbuild = 6\nwidth = 8\nwire_awg = 22\n", 0.7*float64(nx))
	for y := range ny {
		var ids []string
		for x := range nx {
			id := fmt.Sprintf("S%dC%d", y+1, x+1)
			fmt.Fprintf(&text, "[[coil]]\nid = %q\nwinding = \"r\"\nat = [%d, %d]\n", id, 60+110*x, 60+110*y)
			ids = append(ids, fmt.Sprintf("%q", id))
		}
		fmt.Fprintf(&text, "[[string]]\nid = \"S%d\"\ncoils = [%s]\n", y+1, strings.Join(ids, ", "))
	}
	p, err := layout.Parse("grid", []byte(text.String()))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestTilesStandForTheirPlaces: the field of distant coils, worked out once for the places of a
// tile, is the sum over all coils at each of them; as planned, and with coils and a string the
// other way round. What one coil may be off in the corner of a tile is bounded, and they add up.
func TestTilesStandForTheirPlaces(t *testing.T) {
	p := bigPad(t, 10, 10)
	m, err := Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	const most = 0.5 // uT, of 500
	for _, known := range []bool{true, false} {
		g := newGrid(sourceInfo{known: known, sd: [2]float64{0.005 + 0.02*flag(!known), 0.005 + 0.03*flag(!known)}}, fineCells)
		cols := m.columnsFor(g, p.CoilIndex("S5C5"), [2]float64{}, 0, nil)
		if cols.close == len(cols.near) || len(cols.beyond) == 0 {
			t.Fatalf("%d of %d coils are close, %d beyond: no test of the others", cols.close, len(cols.near), len(cols.beyond))
		}
		for name, faults := range map[string][]layout.Fault{
			"as planned":        nil,
			"a close coil":      {{Kind: layout.CoilReversed, ID: "S5C6"}},
			"distant coils":     {{Kind: layout.CoilReversed, ID: "S5C8"}, {Kind: layout.CoilReversed, ID: "S2C5"}},
			"a string reversed": {{Kind: layout.StringReversed, ID: "S5"}},
			"the pad reversed":  {{Kind: layout.PadReversed}},
		} {
			h := newHypothesis(m, faults, 0)
			var c change
			c.set(cols, m.planned.ampTurns(), h.ampTurns(), commonShare(m.planned.ampTurns(), h.ampTurns()), 1e-6)
			for k := range cols.count {
				at := cols.place(k)
				got := c.at(cols.plannedAt(k), cols, k)
				var want [3]float64
				for j := range p.Coils {
					b := m.pad.Column(j, at)
					for a, x := range [3]float64{b.X, b.Y, b.Z} {
						want[a] += x * h.ampTurns()[j] * 1e6
					}
				}
				off := math.Hypot(math.Hypot(got[0]-want[0], got[1]-want[1]), got[2]-want[2])
				if off > most {
					t.Fatalf("%s, place known %v: at %.3v off by %.2f uT: %.1f, is %.1f", name, known, at, off, got[:3], want)
				}
			}
		}
	}
}

// flag is 1 where something is so.
func flag(so bool) float64 {
	if so {
		return 1
	}
	return 0
}

// TestColumnsOfTurnedCoils: readings from before a mend have the coils that were turned in it
// the other way round, in the coarse look, whose columns are kept as the largest fields are
// looked for, as in the fine one.
func TestColumnsOfTurnedCoils(t *testing.T) {
	p := bigPad(t, 3, 3)
	m, err := Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	j := p.CoilIndex("S2C2")
	turned := &afterMend{turned: map[int]bool{j: true}, key: "turned"}
	for _, res := range []resolution{fineCells, coarseCells} {
		g := newGrid(sourceInfo{sd: [2]float64{0.02, 0.03}}, res)
		was, is := m.columnsFor(g, j, [2]float64{}, 0, nil), m.columnsFor(g, j, [2]float64{}, 0, turned)
		k := was.count / 2
		for i, coil := range was.near[:was.close] {
			want := was.row(k)[i][2]
			if int(coil) == j {
				want = -want
			}
			if got := is.row(k)[i][2]; got != want {
				t.Errorf("cells of %.0f mm: %s makes %g a turn, expected %g", res.step*1e3, p.Coils[coil].ID, got, want)
			}
		}
	}
}
