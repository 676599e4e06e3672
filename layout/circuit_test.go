package layout

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"testing"

	"pgregory.net/rapid"
)

// network is one of testdata/wiring/networks.json.
type network struct {
	ID, Title string
	Supply    struct {
		Volts      float64
		Amps       float64
		SourceOhms float64 `json:"source_ohms"`
	}
	Parts []struct {
		Kind, Name, From, To string
		Ohms                 *float64
	}
	Solved struct {
		NodeVolts  map[string]float64 `json:"node_volts"`
		CoilAmps   map[string]float64 `json:"coil_amps"`
		JointAmps  map[string]float64 `json:"joint_amps"`
		SupplyAmps float64            `json:"supply_amps"`
	}
}

func networks(t *testing.T) []network {
	t.Helper()
	raw, err := os.ReadFile("testdata/wiring/networks.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Networks []network }
	if err := json.Unmarshal(raw, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Networks) != 19 {
		t.Fatalf("expected 19 networks, found %d", len(file.Networks))
	}
	return file.Networks
}

// closeTo is nearness against a scale that is there even where the answer is 0.
func closeTo(t testing.TB, what string, got, want, scale float64) {
	t.Helper()
	if !(math.Abs(got-want) <= 1e-11*scale) {
		t.Errorf("%s: got %.14g, want %.14g", what, got, want)
	}
}

// Every network as ngspice 39 solved it (source in the file): node voltages,
// currents of coils and joints, and of the supply.
func TestCircuitAgainstNgspice(t *testing.T) {
	for _, n := range networks(t) {
		t.Run(n.ID, func(t *testing.T) {
			c := Circuit{Plus: 1, Volts: n.Supply.Volts, Amps: n.Supply.Amps, SourceOhms: n.Supply.SourceOhms}
			nodes := map[string]int{"0": 0, "p": 1}
			node := func(name string) int {
				if _, ok := nodes[name]; !ok {
					nodes[name] = len(nodes)
				}
				return nodes[name]
			}
			for _, p := range n.Parts {
				ohms := math.Inf(1)
				switch {
				case p.Kind == "wire":
					ohms = 0
				case p.Ohms != nil:
					ohms = *p.Ohms
				}
				c.Parts = append(c.Parts, Part{From: node(p.From), To: node(p.To), Ohms: ohms})
			}
			f, err := c.Solve()
			if err != nil {
				t.Fatal(err)
			}
			for i, p := range n.Parts {
				switch p.Kind {
				case "coil":
					closeTo(t, "current of "+p.Name, f.PartAmps[i], n.Solved.CoilAmps[p.Name], 4)
				case "wire":
					want, ok := n.Solved.JointAmps[p.Name]
					if !ok {
						t.Errorf("no reference for joint %s", p.Name)
					}
					closeTo(t, "current of "+p.Name, f.PartAmps[i], want, 4)
				}
			}
			for name, want := range n.Solved.NodeVolts {
				closeTo(t, "voltage of "+name, f.NodeVolts[nodes[name]], want, 4)
			}
			closeTo(t, "supply", f.SupplyAmps, n.Solved.SupplyAmps, 4)
		})
	}
}

// Whatever the circuit, what flows into a node flows out of it, Ohm's law holds
// in every part, and nothing is ever NaN.
func TestCircuitKirchhoff(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		nodes := rapid.IntRange(2, 8).Draw(t, "nodes")
		c := Circuit{Plus: 1}
		for range rapid.IntRange(0, 14).Draw(t, "parts") {
			p := Part{From: rapid.IntRange(0, nodes-1).Draw(t, "from"), To: rapid.IntRange(0, nodes-1).Draw(t, "to")}
			switch rapid.IntRange(0, 5).Draw(t, "kind") {
			case 0:
				p.Ohms = 0
			case 1:
				p.Ohms = math.Inf(1)
			default:
				p.Ohms = rapid.Float64Range(0.01, 100).Draw(t, "ohms")
			}
			c.Parts = append(c.Parts, p)
		}
		if rapid.Bool().Draw(t, "voltage") {
			c.Volts = rapid.Float64Range(0.1, 24).Draw(t, "volts")
			c.SourceOhms = rapid.SampledFrom([]float64{0, 0.1, 2}).Draw(t, "source")
		} else {
			c.Amps = rapid.Float64Range(0.1, 5).Draw(t, "amps")
		}
		f, err := c.Solve()
		if errors.Is(err, errShorted) {
			if c.Volts == 0 || c.SourceOhms > 0 {
				t.Fatal("a supply that is not ideal is called shorted")
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		scale := math.Abs(f.SupplyAmps) + 1
		leaving := make([]float64, len(f.NodeVolts))
		for i, p := range c.Parts {
			amps := f.PartAmps[i]
			drop := f.NodeVolts[p.From] - f.NodeVolts[p.To]
			switch {
			case math.IsNaN(amps) || math.IsNaN(drop):
				t.Fatalf("part %d: NaN", i)
			case p.Ohms == 0 && drop != 0:
				t.Fatalf("part %d: %g V along a wire", i, drop)
			case math.IsInf(p.Ohms, 1) && amps != 0:
				t.Fatalf("part %d: current through a gap", i)
			case p.Ohms > 0 && !math.IsInf(p.Ohms, 1) && math.Abs(drop-amps*p.Ohms) > 1e-9*scale*p.Ohms:
				t.Fatalf("part %d: %g V at %g A in %g ohm", i, drop, amps, p.Ohms)
			}
			leaving[p.From] += amps
			leaving[p.To] -= amps
		}
		leaving[c.Plus] -= f.SupplyAmps
		leaving[0] += f.SupplyAmps
		for n, amps := range leaving {
			if math.Abs(amps) > 1e-8*scale {
				t.Fatalf("node %d: %g A vanish (supply %g A)", n, amps, f.SupplyAmps)
			}
		}
		if c.Volts != 0 {
			if v := f.NodeVolts[c.Plus] + c.SourceOhms*f.SupplyAmps; math.Abs(v-c.Volts) > 1e-9*c.Volts {
				t.Fatalf("supply of %g V gives %g V", c.Volts, v)
			}
		} else if f.SupplyAmps != c.Amps && f.SupplyAmps != 0 {
			t.Fatalf("supply of %g A gives %g A", c.Amps, f.SupplyAmps)
		}
	})
}

func TestCircuitCorners(t *testing.T) {
	wire := Part{From: 1, To: 0}
	if _, err := (&Circuit{Plus: 1, Volts: 4, Parts: []Part{wire}}).Solve(); !errors.Is(err, errShorted) {
		t.Errorf("an ideal supply across a wire: got %v", err)
	}
	f, err := (&Circuit{Plus: 1, Volts: 4, SourceOhms: 2, Parts: []Part{wire}}).Solve()
	if err != nil || f.PartAmps[0] != 2 {
		t.Errorf("4 V behind 2 ohm across a wire: got %v, %v", f, err)
	}
	f, err = (&Circuit{Plus: 1, Amps: 1.5}).Solve()
	if err != nil || f.SupplyAmps != 0 {
		t.Errorf("a current supply with nothing across it: got %v, %v", f, err)
	}
	f, err = (&Circuit{Plus: 1, Volts: 4, SourceOhms: 1}).Solve()
	if err != nil || f.NodeVolts[1] != 4 || f.SupplyAmps != 0 {
		t.Errorf("a voltage supply with nothing across it: got %v, %v", f, err)
	}
	// An island of a resistance, and a stub on it.
	f, err = (&Circuit{Plus: 1, Volts: 4, Parts: []Part{{1, 0, 2}, {2, 3, 1}, {3, 4, 0}}}).Solve()
	if err != nil || f.PartAmps[0] != 2 || f.PartAmps[1] != 0 || f.PartAmps[2] != 0 {
		t.Errorf("an island: got %v, %v", f, err)
	}
}
