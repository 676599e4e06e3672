package planning

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"

	"polewise/layout"
)

// branch is a string as a network analyser sees it: from one node to another.
type branch struct{ from, to int }

// risen integrates the network node by node and branch by branch: Kirchhoff's two laws
// with v = R i + d(L i)/dt in every branch, by the trapezoidal rule (Nagel, SPICE2,
// UCB/ERL M520, 1975, 4.2). It knows nothing of modes and of ways through a pad. Nodes
// count from 0, the supply's minus; the node of that number is plus, behind the supply's
// resistance. It returns the currents of the branches after a time.
func risen(t *testing.T, branches []branch, plus int, volts, source float64, ohms []float64, henries mat.Symmetric, on float64) []float64 {
	t.Helper()
	const steps = 4000
	n, h := len(branches), on/steps
	size := n + plus // currents, then the voltages of the nodes 1 to plus
	now := make([]float64, n)
	gap := make([]float64, n) // voltage over a branch less R i, at the step before
	for step := range steps {
		a, rhs := mat.NewDense(size, size, nil), mat.NewVecDense(size, nil)
		scale, back := 2/h, 1.0
		if step == 0 { // what the nodes have before it is not known: backward Euler
			scale, back = 1/h, 0
		}
		for i, b := range branches {
			a.Set(i, i, a.At(i, i)+ohms[i])
			for k := range branches {
				a.Set(i, k, a.At(i, k)+scale*henries.At(i, k))
				rhs.SetVec(i, rhs.AtVec(i)+scale*henries.At(i, k)*now[k])
			}
			rhs.SetVec(i, rhs.AtVec(i)+back*gap[i])
			for node, sign := range map[int]float64{b.from: -1, b.to: 1} {
				if node > 0 {
					a.Set(i, n+node-1, sign)
					a.Set(n+node-1, i, -sign) // what leaves a node along the branch
				}
			}
		}
		// At plus comes (volts - v) / source from the supply.
		a.Set(n+plus-1, n+plus-1, 1/source)
		rhs.SetVec(n+plus-1, volts/source)
		var x mat.VecDense
		if err := x.SolveVec(a, rhs); err != nil {
			t.Fatal(err)
		}
		at := func(node int) float64 {
			if node == 0 {
				return 0
			}
			return x.AtVec(n + node - 1)
		}
		for i, b := range branches {
			now[i] = x.AtVec(i)
			gap[i] = at(b.from) - at(b.to) - ohms[i]*now[i]
		}
	}
	return now
}

// TestRiseAgainstIntegration holds the currents at the end of a pulse against an
// integration of the whole network: with a supply that has some resistance, strings
// alike and not, side by side and in groups.
func TestRiseAgainstIntegration(t *testing.T) {
	for name, c := range map[string]struct {
		change   func(*layout.Plan)
		branches []branch
		plus     int
	}{
		"side by side":          {func(*layout.Plan) {}, []branch{{1, 0}, {1, 0}, {1, 0}}, 1},
		"unlike, side by side":  {unlike, []branch{{1, 0}, {1, 0}, {1, 0}}, 1},
		"unlike, in two groups": {func(p *layout.Plan) { unlike(p); grouped(p) }, []branch{{2, 1}, {2, 1}, {1, 0}}, 2},
	} {
		for _, source := range []float64{1e-6, 1, 8} {
			p := kennel(t)
			c.change(p)
			p.Supply = layout.Supply{Volts: 12, SourceOhms: source, Pulsed: true, Hz: 400, Duty: 0.3}
			f := mustPlan(t, p, Defaults())
			stringOf := make([]int, len(p.Coils))
			ohms := make([]float64, len(p.Strings))
			for i := range p.Strings {
				ohms[i] = f.Strings[i].Ohms20
				for _, k := range p.Strings[i].Coils {
					stringOf[k] = i
				}
			}
			want := risen(t, c.branches, c.plus, 12, source, ohms, between(p, stringOf, inductances(p)), 0.3/400)
			sum := 0.0
			for i, s := range f.Strings {
				near(t, name+": string "+s.ID, s.PeakAmps, want[i], 1e-3)
				if c.branches[i].from == c.plus {
					sum += s.PeakAmps
				}
			}
			near(t, name+": the pad", f.Pad.PeakAmps, sum, 1e-9)
		}
	}
}

// unlike makes the strings of the demo differ in what they resist.
func unlike(p *layout.Plan) {
	p.Strings[0].LeadOhms += 2
	p.Strings[2].LeadOhms += 0.4
}

// grouped joins the last string in series with the two others.
func grouped(p *layout.Plan) {
	a, b, c := p.Strings[0].ID, p.Strings[1].ID, p.Strings[2].ID
	p.Groups = []layout.Group{{ID: "two", Join: layout.Parallel, Of: []string{a, b}}, {ID: "all", Join: layout.Series, Of: []string{"two", c}}}
}

// TestRiseBehindSourceOhms: strings alike behind a supply with some resistance rise as
// the pad does, L / (R + source), and pulses that are long enough are not warned of.
func TestRiseBehindSourceOhms(t *testing.T) {
	p := kennel(t)
	p.Supply = layout.Supply{Volts: 5, SourceOhms: 1, Pulsed: true, Hz: 300, Duty: 0.3}
	f := mustPlan(t, p, Defaults())
	pad := f.Pad
	near(t, "the pad's time constant", pad.TimeConstantMS, 1e-3*pad.InductanceUH/(pad.Ohms20+1), 1e-2) // the middle string is pulled at a little more
	for _, s := range f.Strings {
		near(t, "string "+s.ID, s.PeakShare, pad.PeakShare, 1e-2)
	}
	if pad.PeakShare < 0.95 {
		t.Fatalf("the pulse is too short to tell: %g", pad.PeakShare)
	}
	for _, w := range f.Warnings {
		if strings.Contains(w.Key, "hz") {
			t.Errorf("warned of: %s", w)
		}
	}
	alone := pad.InductanceUH * 1e-3 / pad.Ohms20 // without the supply's resistance it would be
	if share := 1 - math.Exp(-1/alone); share > 0.95 {
		t.Errorf("it makes no difference here: %g", share)
	}
}

// TestSupplyWattsInPulses: what the supply gives on average is its voltage times the
// current for the share of the time that it flows; the rest of what the pad does not
// turn to heat is turned in the supply's own resistance.
func TestSupplyWattsInPulses(t *testing.T) {
	p := kennel(t)
	p.Supply = layout.Supply{Volts: 12, SourceOhms: 3, Pulsed: true, Hz: 1, Duty: 0.25}
	pad := mustPlan(t, p, Defaults()).Pad
	near(t, "amps", pad.Amps, 12/(3+pad.Ohms20), 1e-9)
	near(t, "watts of the supply", pad.SupplyWatts, 0.25*12*pad.Amps, 1e-9)
	near(t, "watts of the pad", pad.Watts, 0.25*pad.Amps*pad.Amps*pad.Ohms20, 1e-9)
}
