package planning

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"polewise/assets/demotest"
	"polewise/field"
	"polewise/layout"
)

// kennel is nine round coils of 60 turns of AWG 22 in three strings of three.
func kennel(t testing.TB) *layout.Plan { return demotest.Plan(t, "kennel") }

// single is one round coil driven at so many amperes.
func single(amps float64) *layout.Plan {
	return &layout.Plan{Name: "single", Unit: layout.Millimetre, Supply: layout.Supply{Amps: amps}, Above: 6e-3,
		Windings: []layout.Winding{{ID: "w", Shape: layout.Round, InnerX: 0.09, InnerY: 0.09, Turns: 60, Build: 6e-3, Width: 8e-3, Wire: layout.BareDiameterOfAWG(22), AWG: 22}},
		Coils:    []layout.Coil{{ID: "A1", North: layout.Up, At: r2.Vec{X: 0.1, Y: 0.1}}},
		Strings:  []layout.String{{ID: "A", Coils: []int{0}}}}
}

func mustPlan(t testing.TB, p *layout.Plan, o Options) *Figures {
	t.Helper()
	f, err := Plan(p, o)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func near(t testing.TB, what string, got, want, fraction float64) {
	t.Helper()
	if !(math.Abs(got-want) <= fraction*math.Abs(want)) {
		t.Errorf("%s: got %.8g, want %.8g within %g of it", what, got, want, fraction)
	}
}

// The largest diameters over enamel of IEC 60317-0-1, grade 2 (from memory).
func TestOverEnamel(t *testing.T) {
	for bare, over := range map[float64]float64{0.4: 0.462, 0.5: 0.569, 0.8: 0.885, 1.0: 1.094} {
		if got := overEnamel(bare*1e-3) * 1e3; math.Abs(got-over) > 0.01 {
			t.Errorf("wire of %g mm: %g mm over its enamel, want %g", bare, got, over)
		}
	}
}

// Laid on paper: wire of 1 mm over its enamel, 4 wide.
func TestLayers(t *testing.T) {
	bare := 0.0
	for lo, hi := 0.5e-3, 1e-3; hi-lo > 1e-15; { // the bare wire that is 1 mm over its enamel
		bare = (lo + hi) / 2
		if overEnamel(bare) > 1e-3 {
			hi = bare
		} else {
			lo = bare
		}
	}
	for _, c := range []struct {
		width           float64
		turns           int
		perLayer, count int
		square, tight   float64
	}{
		{4e-3, 4, 4, 1, 1, 1},
		{4e-3, 12, 4, 3, 3, 1 + 3*0.8660254}, // in the grooves 4, 3, 4 and 1: higher than three piled up
		{4e-3, 11, 4, 3, 3, 1 + 2*0.8660254}, // 4, 3, 4
		{4.5e-3, 12, 4, 3, 3, 1 + 2*0.8660254},
		{4.5e-3, 13, 4, 4, 4, 1 + 3*0.8660254},
		{1.2e-3, 3, 1, 3, 3, 3}, // no room to lie in a groove
		{0.9e-3, 3, 0, 0, 0, 0},
	} {
		perLayer, count, square, tight := layers(&layout.Winding{Width: c.width, Turns: c.turns, Wire: bare})
		if perLayer != c.perLayer || count != c.count || math.Abs(square*1e3-c.square) > 1e-6 || math.Abs(tight*1e3-math.Min(c.tight, c.square)) > 1e-6 {
			t.Errorf("%d turns in %g mm: %d in %d layers, %g or %g mm high", c.turns, c.width*1e3, perLayer, count, square*1e3, tight*1e3)
		}
	}
}

// The demo's coil, done on paper: 60 turns of mean diameter 96 mm are 18.096 m,
// with two tails of 150 mm 18.396 m. AWG 22 weighs 1.945 lb for 1000 ft (NBS
// Handbook 100 table, from memory), 2.894 g/m: 53.2 g. Ohms: 16.14 for 1000 ft
// (printed table in HyperPhysics) make 0.958 at 20 C and, at 0.39 percent a
// kelvin (common practice, no source), 0.996 at 30 C. Inductance: 611.14 uH
// (quadrature and Lyle's formula).
func TestWindingFigures(t *testing.T) {
	o := Defaults()
	o.RoomCelsius = 30
	w := mustPlan(t, kennel(t), o).Windings[0]
	near(t, "wire", w.WireM, 18.096, 1e-4)
	near(t, "cut", w.CutM, 18.396, 1e-4)
	near(t, "grams", w.CopperGrams, 53.2, 2e-3)
	near(t, "ohms", w.Ohms20, 0.958, 1e-3)
	near(t, "ohms at 30 C", w.OhmsRoom, 0.996, 1e-3)
	near(t, "inductance", w.InductanceUH, 611.142, 1e-6)
	if w.Coils != 9 || w.Turns != 60 || w.TurnsPerLayer != 11 || w.Layers != 6 || w.Measured {
		t.Errorf("%+v", w)
	}
}

// Currents add up, power is volts times amperes, and the short string of the
// cushion takes about two and a half times what the long one takes (common
// practice, no source: two coils against five; here the leads differ a little).
func TestStringFigures(t *testing.T) {
	f := mustPlan(t, demotest.Plan(t, "cushion"), Defaults())
	a, b := f.Strings[0], f.Strings[1]
	near(t, "ratio", a.Amps/b.Amps, 2.5, 0.01)
	near(t, "sum", a.Amps+b.Amps, f.Pad.Amps, 1e-9)
	near(t, "shares", a.Share+b.Share, 1, 1e-9)
	near(t, "heat", a.Watts+b.Watts, f.Pad.Watts, 1e-9)
	near(t, "power", f.Pad.Watts, f.Pad.Volts*f.Pad.Amps, 1e-9)
	if f.Pad.Limited {
		t.Error("limited, at 1.1 of 2 A")
	}
}

// Two coils far apart have their own L over R, 611.14 uH over 0.958 ohm. Side by
// side and facing alike, each takes from the other's flux; facing opposite ways,
// each adds to it. In series the inductances add up.
func TestTimeConstants(t *testing.T) {
	p := single(0)
	p.Supply = layout.Supply{Volts: 1, Pulsed: true, Hz: 100, Duty: 0.1}
	p.Coils = append(p.Coils, layout.Coil{ID: "A2", North: layout.Up, At: r2.Vec{X: 5, Y: 0.1}})
	p.Strings[0].Coils = []int{0, 1}
	apart := mustPlan(t, p, Defaults()).Strings[0]
	near(t, "two apart", apart.InductanceUH, 2*611.142, 1e-5)
	near(t, "their time constant", apart.TimeConstantMS, 1e-3*611.142/0.95838, 1e-4)
	// 1 ms of pulse at a time constant of 0.638 ms.
	near(t, "peak", apart.PeakShare, 1-math.Exp(-1/0.63768), 1e-4)
	near(t, "peak current", apart.PeakAmps, apart.PeakShare*apart.Amps, 1e-9)

	p.Coils[1].At.X = 0.205
	alike := mustPlan(t, p, Defaults())
	p.Coils[1].North = layout.Down
	opposite := mustPlan(t, p, Defaults())
	if !(alike.Strings[0].InductanceUH < 0.95*apart.InductanceUH && opposite.Strings[0].InductanceUH > 1.05*apart.InductanceUH) {
		t.Errorf("apart %g uH, alike %g, opposite %g", apart.InductanceUH, alike.Strings[0].InductanceUH, opposite.Strings[0].InductanceUH)
	}
	near(t, "what one takes the other adds", alike.Strings[0].InductanceUH+opposite.Strings[0].InductanceUH, 2*apart.InductanceUH, 1e-3)

	// In parallel, each its own string: the pad has half of one's and the same
	// time constant, with the neighbour's pull in both.
	p.Coils[1].North = layout.Up
	p.Strings = []layout.String{{ID: "A", Coils: []int{0}}, {ID: "B", Coils: []int{1}}}
	parallel := mustPlan(t, p, Defaults())
	near(t, "parallel", parallel.Pad.InductanceUH, alike.Strings[0].InductanceUH/4, 1e-9)
	near(t, "time constant", parallel.Pad.TimeConstantMS, alike.Strings[0].TimeConstantMS, 1e-9)
	// A meter on one of them does not see the other.
	near(t, "unplugged", parallel.Strings[0].InductanceUH, 611.142, 1e-6)
	// Set to a current the supply forces it; what a voltage would do is told all the same.
	p.Supply = layout.Supply{Amps: 1, Pulsed: true, Hz: 1000, Duty: 0.1}
	forced := mustPlan(t, p, Defaults()).Strings[0]
	near(t, "forced", forced.TimeConstantMS, parallel.Strings[0].TimeConstantMS, 1e-9)
	if forced.PeakShare != 1 {
		t.Errorf("forced, and only %g of it reached", forced.PeakShare)
	}

	p.Supply = layout.Supply{Volts: 1}
	if f := mustPlan(t, p, Defaults()); f.Pad.PeakShare != 1 || f.Strings[0].PeakShare != 1 {
		t.Error("a steady drive that does not reach its own current")
	}
}

// onAxis is the textbook's field on the axis of a round coil, mu0 I R^2 / 2
// (R^2+z^2)^(3/2) summed over the section, microtesla.
func onAxis(w *layout.Winding, amps, z float64) float64 {
	const n = 100
	sum := 0.0
	for i := range n {
		for k := range n {
			r := w.InnerX/2 + w.Build*(float64(i)+0.5)/n
			h := z + w.Width*((float64(k)+0.5)/n-0.5)
			sum += r * r / (2 * math.Pow(r*r+h*h, 1.5))
		}
	}
	return 4e-7 * math.Pi * amps * float64(w.Turns) * sum / (n * n) * 1e6
}

func TestFieldOver(t *testing.T) {
	p := single(0.7)
	f := mustPlan(t, p, Defaults())
	near(t, "over the centre", f.Over.Coils[0].BUT[2], onAxis(&p.Windings[0], 0.7, 10e-3), 1e-4)
	if f.Over.Evenness != 1 || f.Over.Weakest != "A1" || f.Over.Coils[0].MostUT < f.Over.Coils[0].BUT[2] {
		t.Errorf("%+v", f.Over)
	}
	if f.Over.LeastUT >= f.Over.MeanUT || f.Over.MeanUT >= f.Over.MostUT || f.Over.Spread <= 0 {
		t.Errorf("%+v", f.Over)
	}
	// However large the coil, the strongest spot is found: it lies near the winding.
	p.Windings[0].InnerX, p.Windings[0].InnerY = 0.3, 0.3
	most := 0.0
	for x := range 400 {
		most = math.Max(most, r3.Norm(field.NewPad(p).At([]float64{0.7 * 60}, r3.Vec{X: 0.1 + float64(x)/2000, Y: 0.1, Z: 10e-3})))
	}
	near(t, "strongest spot", mustPlan(t, p, Defaults()).Over.Coils[0].MostUT, 1e6*most, 0.02)
	// A short string beside a long one: the fields differ by the currents, and the
	// weaker coils lose more to their neighbours.
	if f = mustPlan(t, demotest.Plan(t, "cushion"), Defaults()); f.Over.Evenness > 0.4 || f.Over.Evenness < 0.3 {
		t.Errorf("evenness %g of strings at 2.5 to 1", f.Over.Evenness)
	}
}

// Driven hard, the distance is where the field on the axis falls to 0.5 mT: on
// the axis it reaches farthest, twice as far as in the plane far off (dipole).
func TestKeepOnTheAxis(t *testing.T) {
	p := single(60)
	w := &p.Windings[0]
	lo, hi := 0.01, 2.0
	for range 60 {
		if mid := (lo + hi) / 2; onAxis(w, 60, mid) > 500 {
			lo = mid
		} else {
			hi = mid
		}
	}
	want := (lo - w.Width/2) * 1e3 // from the top of the copper
	keep := mustPlan(t, p, Defaults()).Keep
	if got := keep.DistanceMM; math.Abs(got-want) > 1.5 {
		t.Errorf("keep %g mm away, want %g", got, want)
	}
	if says := fmt.Sprintf("falls below 0.5 mT within %.0f mm of it", keep.DistanceMM); !strings.Contains(keep.Say, says) {
		t.Errorf("%q, not %q", keep.Say, says)
	}
	if got := mustPlan(t, single(0.001), Defaults()).Keep.DistanceMM; got != 0 {
		t.Errorf("keep %g mm away from a milliampere", got)
	}
	const static = "That limit is for a static field"
	if strings.Contains(keep.Say, static) {
		t.Errorf("of a steady drive: %s", keep.Say)
	}
	p.Supply.Pulsed, p.Supply.Hz, p.Supply.Duty = true, 1, 0.5
	if say := mustPlan(t, p, Defaults()).Keep.Say; !strings.Contains(say, static) {
		t.Errorf("of a pulsed drive: %s", say)
	}
}

// Nowhere beyond the distance is the field stronger, for any demo.
func TestKeepHolds(t *testing.T) {
	for _, id := range []string{"kennel", "cushion", "ring", "bolster", "mat"} {
		p := demotest.Plan(t, id)
		f := mustPlan(t, p, Defaults())
		c, err := p.Solve()
		if err != nil {
			t.Fatal(err)
		}
		turns := make([]float64, len(p.Coils))
		lo, hi := r2.Vec{X: math.Inf(1), Y: math.Inf(1)}, r2.Vec{X: math.Inf(-1), Y: math.Inf(-1)}
		for j := range turns {
			turns[j] = c.AmpereTurns(p, j)
			e := p.WindingOf(j).HalfExtent()
			r := math.Max(e.X, e.Y) // however it is turned
			at := p.Coils[j].At
			lo = r2.Vec{X: math.Min(lo.X, at.X-r), Y: math.Min(lo.Y, at.Y-r)}
			hi = r2.Vec{X: math.Max(hi.X, at.X+r), Y: math.Max(hi.Y, at.Y+r)}
		}
		pad := field.NewPad(p)
		d := f.Keep.DistanceMM*1e-3 + 0.5e-3
		rapid.Check(t, func(t *rapid.T) {
			at := r3.Vec{X: rapid.Float64Range(lo.X-0.1, hi.X+0.1).Draw(t, "x"), Y: rapid.Float64Range(lo.Y-0.1, hi.Y+0.1).Draw(t, "y"), Z: rapid.Float64Range(-0.1, 0.1).Draw(t, "z")}
			out := r3.Vec{X: math.Max(0, math.Max(lo.X-at.X, at.X-hi.X)), Y: math.Max(0, math.Max(lo.Y-at.Y, at.Y-hi.Y)), Z: math.Max(0, math.Abs(at.Z)-4e-3)}
			if r3.Norm(out) < d { // too near to say anything of: go straight up from there
				at.Z, out.Z = math.Copysign(4e-3+d, at.Z), d
			}
			if b := r3.Norm(pad.At(turns, at)); b > 0.5e-3 {
				t.Fatalf("%s: %g mT at %v, %g mm from the box", id, b*1e3, at, r3.Norm(out)*1e3)
			}
		})
	}
}

// What is recommended does what it says: solved anew with the supply so set, the
// fields are those promised.
func TestCheckCurrent(t *testing.T) {
	for _, id := range []string{"kennel", "cushion", "ring", "bolster", "mat", "limited"} {
		var p *layout.Plan
		if id == "limited" { // at its limit the pad takes 2.487 V, which is not rounded up
			p = demotest.Plan(t, "kennel")
			p.Supply.Volts, p.Supply.LimitAmps = 6, 2.55
		} else {
			p = demotest.Plan(t, id)
		}
		f := mustPlan(t, p, Defaults())
		for name, s := range map[string]Setting{"raw": f.Check.Raw, "compass": f.Check.Compass} {
			set := *p
			set.Supply = layout.Supply{Volts: s.Volts, LimitAmps: s.LimitAmps, SourceOhms: p.Supply.SourceOhms}
			g := mustPlan(t, &set, Defaults())
			near(t, id+" "+name+": amperes shown", g.Pad.Amps, s.Amps, 1e-6)
			if most := p.Supply.LimitAmps; most > 0 && s.LimitAmps > most {
				t.Errorf("%s %s: %s, of a supply that gives %g A at most", id, name, s.Say, most)
			}
			if g.Pad.Limited != s.HoldAmps {
				t.Errorf("%s %s: limit holds %v, said %v", id, name, g.Pad.Limited, s.HoldAmps)
			}
			least, most := math.Inf(1), 0.0
			for _, o := range g.Over.Coils {
				if name == "raw" {
					least, most = math.Min(least, math.Abs(o.BUT[2])), math.Max(most, o.MostUT)
				} else {
					least, most = math.Min(least, o.AsideUT[0]), math.Max(most, o.AsideUT[1])
				}
			}
			near(t, id+" "+name+": weakest", s.LeastUT, least, 1e-6)
			near(t, id+" "+name+": strongest", s.MostUT, most, 1e-6)
			if !s.Good {
				t.Errorf("%s %s: %s", id, name, s.Say)
			}
			if name == "raw" && (least < 147 || most > 2000) {
				t.Errorf("%s raw: %g to %g uT", id, least, most)
			}
			if name == "compass" && (least < 9.8 || most > 61.2) {
				t.Errorf("%s compass: %g to %g uT", id, least, most)
			}
		}
	}
}

// Strings too unequal for one setting of a compass are told so, with the second
// setting.
func TestCheckCurrentTooUneven(t *testing.T) {
	p := single(0)
	p.Supply = layout.Supply{Volts: 2}
	p.Coils = append(p.Coils, layout.Coil{ID: "B1", North: layout.Up, At: r2.Vec{X: 0.4, Y: 0.1}})
	p.Strings = append(p.Strings, layout.String{ID: "B", Coils: []int{1}, LeadOhms: 20})
	s := mustPlan(t, p, Defaults()).Check.Compass
	if s.Good || s.Least != "B1" || s.Most != "A1" || !strings.Contains(s.Say, "read coil B1 again at ") {
		t.Errorf("%+v", s)
	}
	// A second setting that would burn the other coil is none.
	p.Strings[1].LeadOhms = 2000
	if s = mustPlan(t, p, Defaults()).Check.Compass; s.Good || !strings.Contains(s.Say, "coil A1 would get warm: read that coil another way") {
		t.Errorf("%+v", s)
	}
}

// Pulses on for a quarter of the time warm like half their current: twice as much of it
// may flow.
func TestCheckUnderPulsesMayBeHarder(t *testing.T) {
	most := func(s layout.Supply) float64 {
		p := single(0)
		s.Volts = 0.1
		p.Supply = s
		j, err := newJob(p, Defaults())
		if err != nil {
			t.Fatal(err)
		}
		times, why := j.mostDrive()
		if why != "coil A1 would get warm" {
			t.Error(why)
		}
		return times
	}
	near(t, "pulsed", most(layout.Supply{Pulsed: true, Hz: 1, Duty: 0.25}), 2*most(layout.Supply{}), 1e-9)
}

// The demo's leads, on paper: rows 150 mm apart, 15 percent of slack, rounded up
// to 5 mm: 172.5 becomes 175. From the plug at the corner to A1 at (90, 390) are
// 480 mm, 552 with slack: 555. From A3 at (390, 390) back 780, 897: 900.
func TestCutList(t *testing.T) {
	f := mustPlan(t, kennel(t), Defaults())
	want := map[string]float64{"A1 minus>A2 plus": 175, "A2 minus>A3 plus": 175, "plug plus>A1 plus": 555, "A3 minus>plug minus": 900,
		"plug plus>B1 plus": 380, "B3 minus>plug minus": 725, "plug plus>C1 plus": 210, "C3 minus>plug minus": 555}
	got := map[string]float64{}
	sum := 0.0
	for _, l := range f.Cut.Leads {
		got[l.From+">"+l.To] = l.LengthMM
		sum += l.LengthMM
	}
	for k, v := range want {
		if got[k] != v {
			t.Errorf("%s: %g mm, want %g", k, got[k], v)
		}
	}
	if len(got) != 12 {
		t.Errorf("%d leads, want 12", len(got))
	}
	near(t, "all leads", f.Cut.LeadM, sum*1e-3, 1e-9)
}

// Every join of the plan is made by leads and nothing else: with each lead a
// wire, each coil a resistance, the circuit has the resistance that was solved.
func TestLeadsMakeTheCircuit(t *testing.T) {
	for _, id := range []string{"kennel", "cushion", "ring", "bolster", "mat"} {
		p := demotest.Plan(t, id)
		for i := range p.Strings {
			p.Strings[i].LeadOhms = 0
		}
		f := mustPlan(t, p, Defaults())
		nodes := map[string]int{"plug minus": 0, "plug plus": 1}
		node := func(name string) int {
			if _, ok := nodes[name]; !ok {
				nodes[name] = len(nodes)
			}
			return nodes[name]
		}
		c := layout.Circuit{Plus: 1, Volts: 1, SourceOhms: 1}
		for j := range p.Coils {
			c.Parts = append(c.Parts, layout.Part{From: node(p.Coils[j].ID + " plus"), To: node(p.Coils[j].ID + " minus"), Ohms: p.WindingOf(j).Ohms20()})
		}
		for _, l := range f.Cut.Leads {
			c.Parts = append(c.Parts, layout.Part{From: node(l.From), To: node(l.To)})
		}
		flow, err := c.Solve()
		if err != nil {
			t.Fatal(err)
		}
		near(t, id+": ohms", flow.NodeVolts[1]/flow.SupplyAmps, f.Pad.Ohms20, 1e-9)
	}
}

// Nine coils of 55.4 g (53.2 of copper and 4 percent of enamel) on spools of 0.1
// kg: one to a spool. Of 0.5 kg and the same 4 percent, 520 g: nine are 498, one
// spool. Of 0.05 kg, none is whole.
func TestSpools(t *testing.T) {
	for kg, want := range map[float64]Spool{0.5: {Spools: 1, Whole: true}, 0.1: {Spools: 9, Whole: true}, 0.25: {Spools: 3, Whole: true}, 0.05: {Spools: 18, Whole: false}} {
		o := Defaults()
		o.SpoolKg = kg
		s := mustPlan(t, kennel(t), o).Cut.Spools
		if len(s) != 1 || s[0].Spools != want.Spools || s[0].Whole != want.Whole || s[0].Wire != "AWG 22 (0.644 mm)" {
			t.Errorf("spools of %g kg: %+v", kg, s)
		}
	}
	// Coils of two kinds share a spool.
	if s := mustPlan(t, demotest.Plan(t, "bolster"), Defaults()).Cut.Spools; len(s) != 1 || s[0].Spools != 1 {
		t.Errorf("bolster: %+v", s)
	}
}

func TestOhmsSheet(t *testing.T) {
	o := Defaults()
	o.RoomCelsius = 30
	f := mustPlan(t, demotest.Plan(t, "mat"), o)
	if len(f.Ohms) != 20+4+3+1 {
		t.Fatalf("%d lines", len(f.Ohms))
	}
	for _, l := range f.Ohms {
		near(t, l.Across, l.Room, l.Ohms20*1.0393, 1e-9)
		if !(l.Low < l.Room && l.Room < l.High) {
			t.Errorf("%+v", l)
		}
	}
	// Two strings in parallel twice in series: like one string.
	near(t, "pad", f.Ohms[27].Ohms20, f.Ohms[20].Ohms20, 1e-9)
}

// Which lead gets the plus, by the right hand: fingers with the current, thumb
// to the north face. Current in at the start of a coil wound counter-clockwise
// runs counter-clockwise: thumb up.
func TestCards(t *testing.T) {
	for _, c := range []struct {
		sense layout.Sense
		north layout.Face
		want  string
	}{
		{layout.CounterClockwise, layout.Up, startLead}, {layout.Clockwise, layout.Up, finishLead},
		{layout.CounterClockwise, layout.Down, finishLead}, {layout.Clockwise, layout.Down, startLead},
		{layout.SenseUnknown, layout.Up, UnknownLead}, {layout.SenseUnknown, layout.Down, UnknownLead},
	} {
		if got := plusLead(c.sense, c.north); got != c.want {
			t.Errorf("wound %q, north %d: plus at %q, want %q", c.sense, c.north, got, c.want)
		}
	}
	f := mustPlan(t, demotest.Plan(t, "ring"), Defaults())
	if len(f.Cards) != 2 || fmt.Sprint(f.Cards[0].Coils, f.Cards[1].Coils) != "[R1 R3 R5 R7] [R2 R4 R6 R8]" {
		t.Fatalf("cards %+v", f.Cards)
	}
	if f.Cards[0].PlusLead != startLead || f.Cards[1].PlusLead != finishLead {
		t.Errorf("plus at %s and %s", f.Cards[0].PlusLead, f.Cards[1].PlusLead)
	}
	for _, want := range []string{"round former, 70 mm across", "cheeks 8 mm apart", "wire 0.6 mm, 17.5 m for one coil with tails of 150 mm"} {
		if got := fmt.Sprint(f.Cards[0].Set); !contains(f.Cards[0].Set, want) {
			t.Errorf("to set: %s, not %q", got, want)
		}
	}
	if want := "1.13 ohm at 20 C (1.05 to 1.21)"; !contains(f.Cards[0].Measure, want) {
		t.Errorf("to measure: %v, not %q", f.Cards[0].Measure, want)
	}
	// Who plans in inches sets a former in inches.
	inches := single(1)
	inches.Unit, inches.Windings[0].InnerX = layout.Inch, 3*0.0254
	if set := mustPlan(t, inches, Defaults()).Cards[0].Set; !contains(set, "round former, 76.2 mm (3 in) across") {
		t.Errorf("to set: %q", set)
	}
	// Two turns of thick wire: pi 21.5 mm twice and both tails are 435 mm, which nobody
	// cuts to 0.4 m, of 1.0237 mm and so 2.8 milliohm; with 0.095 mm of enamel each lies
	// in a layer of its own.
	p := single(1)
	p.Windings[0] = layout.Winding{ID: "two", Shape: layout.Round, InnerX: 0.02, InnerY: 0.02, Turns: 2, Build: 1.5e-3, Width: 2e-3, Wire: layout.BareDiameterOfAWG(18), AWG: 18}
	two := mustPlan(t, p, Defaults()).Cards[0]
	for _, want := range []struct {
		in  []string
		has string
	}{
		{two.Set, "wire AWG 18 (1.024 mm), 0.5 m for one coil with tails of 150 mm"},
		{two.Count, "2 layers of 1 turn, about 2.2 mm high when piled up, 2.1 mm with each turn in the groove below; the plan gives them 1.5 mm"},
		{two.Measure, "0.0028 ohm at 20 C (0 to 0.053)"},
	} {
		if !contains(want.in, want.has) {
			t.Errorf("got %q, want %q", want.in, want.has)
		}
	}
}

func contains(list []string, s string) bool {
	for _, l := range list {
		if l == s {
			return true
		}
	}
	return false
}

func TestOptionsRefused(t *testing.T) {
	for want, turn := range map[string]func(*Options){
		"room temperature in C: expected a number from -40 to 80, found NaN":     func(o *Options) { o.RoomCelsius = math.NaN() },
		"kilograms on a spool: expected a number from 0.01 to 1000, found 0":     func(o *Options) { o.SpoolKg = 0 },
		"slack of leads in percent: expected a number from 0 to 500, found -100": func(o *Options) { o.LeadSlack = -1 },
	} {
		o := Defaults()
		turn(&o)
		if _, err := Plan(kennel(t), o); err == nil || err.Error() != want {
			t.Errorf("got %v, want %s", err, want)
		}
	}
}

func BenchmarkPlan(b *testing.B) {
	for _, id := range []string{"kennel", "mat", "bolster"} {
		b.Run(id, func(b *testing.B) {
			p := demotest.Plan(b, id)
			for b.Loop() {
				mustPlan(b, p, Defaults())
			}
		})
	}
}

// TestTurnsUnseen: of three strings of three equal coils side by side, the pad's ohms are a
// coil's. A coil that loses a share x of its turns loses as much of its ohms, so its string has
// 3-x of them and the pad, by Ohm's law, (9-3x)/(9-2x); the meter's own share of an ohm, which
// the bounds have as well, weighs a little more then.
func TestTurnsUnseen(t *testing.T) {
	p := kennel(t)
	c, err := p.Solve()
	if err != nil {
		t.Fatal(err)
	}
	warm := 20.0
	noted := func(ends string, of float64) Noted { return Noted{ends, &of, &warm} }
	a, ok := OhmsAgree(p, "pad", &c.PadOhms, &warm)
	if !ok {
		t.Fatal("no pad")
	}
	pad := TurnsUnseen(p, []Noted{noted("pad", c.PadOhms)})
	// With x of its turns gone the plan's upper bound comes down to what was read.
	down := func(x float64) float64 { return (9 - 3*x) / (9 - 2*x) }
	slack := a.High/c.PadOhms - 1
	if got := 1/down(pad) - 1; got > slack+5e-3 || 1/down(pad+unseenStep)-1 < slack-5e-3 {
		t.Errorf("%.0f %% unseen takes %.1f %% off the pad, whose bounds leave %.1f %%", 100*pad, 100*got, 100*slack)
	}
	byStrings := TurnsUnseen(p, []Noted{noted("pad", c.PadOhms), noted("string:A", c.StringOhms[0]), noted("string:B", c.StringOhms[1]), noted("string:C", c.StringOhms[2])})
	if !(byStrings < pad) {
		t.Errorf("with the strings measured too %.0f %% go unseen, by the pad alone %.0f %%", 100*byStrings, 100*pad)
	}
	all := []Noted{}
	for j := range p.Coils {
		all = append(all, noted("coil:"+p.Coils[j].ID, c.CoilOhms[j]))
	}
	if each := TurnsUnseen(p, all); !(each < byStrings) {
		t.Errorf("with each coil measured %.0f %% go unseen, by the strings %.0f %%", 100*each, 100*byStrings)
	}
	if one := TurnsUnseen(p, append(all[:8:8], noted("pad", c.PadOhms))); math.Abs(one-pad) > 1e-9 {
		t.Errorf("with one coil left out %.0f %% go unseen, by the pad alone %.0f %%", 100*one, 100*pad)
	}
	if none := TurnsUnseen(p, nil); none < 0.94 {
		t.Errorf("nothing measured tells of %.0f %%", 100*none)
	}
}

func TestHenries(t *testing.T) {
	for uH, want := range map[float64]string{0.14619: "0.146 uH", 611.14: "611 uH", 999.7: "1 mH", 1802.4: "1.8 mH", 405420: "405 mH", 999700: "1 H", 2.012e6: "2.01 H"} {
		if got := Henries(uH); got != want {
			t.Errorf("%g uH: %s, want %s", uH, got, want)
		}
	}
}
