package layout

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Part is a two-terminal part of a circuit.
type Part struct {
	From, To int     // nodes
	Ohms     float64 // 0: a wire. +Inf: open, as if it were not there
}

// Circuit is a direct-current network of resistances and wires driven by one
// supply. Nodes are numbered from 0, the supply's minus terminal; Plus is its
// plus terminal. A supply set to a voltage has Volts and the resistance
// SourceOhms in series; one set to a current has Amps, pushed out of Plus.
type Circuit struct {
	Parts      []Part
	Plus       int
	Volts      float64
	Amps       float64 // used when Volts is 0
	SourceOhms float64
}

// Flow is a solved circuit.
type Flow struct {
	NodeVolts  []float64 // against node 0
	PartAmps   []float64 // through each part, from From to To
	SupplyAmps float64   // out of Plus
}

// leastSourceOhms is the resistance below which a supply counts as ideal: its
// inverse would drown everything else in rounding.
const leastSourceOhms = 1e-9

// ErrShorted means that wires alone join the terminals of an ideal voltage
// supply.
var ErrShorted = errors.New("layout: the supply is shorted by a wire and nothing limits its current")

// Solve finds the voltage of every node and the current in every part, by
// nodal analysis: Kirchhoff's current law at every node, wires first joined to
// one node, a Cholesky factorisation of the conductances, then the currents of
// the wires from what flows into their ends.
//
// Parts that hang on nothing, or form an island of their own, carry no current
// (but for rounding) and are given the voltage of whatever they hang on, or 0. A supply set to a
// current that finds no way back delivers none. Where wires form a ring, the
// current within the ring is not determined; the last wire of the ring is then
// given none. Negative or NaN resistances are a mistake of the caller and
// panic.
func (c *Circuit) Solve() (*Flow, error) {
	nodes := c.Plus + 1
	for _, p := range c.Parts {
		if !(p.Ohms >= 0) || p.From < 0 || p.To < 0 {
			panic("layout: a part of a circuit has a negative node or resistance")
		}
		nodes = max(nodes, p.From+1, p.To+1)
	}
	f := &Flow{NodeVolts: make([]float64, nodes), PartAmps: make([]float64, len(c.Parts))}

	// One node for all that wires join; islands for all that parts join.
	joined, island := newForest(nodes), newForest(nodes)
	treeWires := make([]bool, len(c.Parts))
	for i, p := range c.Parts {
		if p.Ohms == 0 {
			treeWires[i] = joined.union(p.From, p.To)
		}
		if !math.IsInf(p.Ohms, 1) {
			island.union(p.From, p.To)
		}
	}
	ideal := c.Volts != 0 && c.SourceOhms < leastSourceOhms
	shorted := joined.find(c.Plus) == joined.find(0)
	if ideal && shorted {
		return nil, ErrShorted
	}
	push := c.Amps // what the supply, seen as a current source, pushes into Plus
	switch {
	case c.Volts != 0 && !ideal:
		push = c.Volts / c.SourceOhms
	case c.Volts == 0 && island.find(c.Plus) != island.find(0):
		push = 0
	}
	if c.Volts != 0 {
		island.union(c.Plus, 0)
	}

	// Number the unknown voltages. Node 0 is known, so is Plus when ideal, and
	// one node of every island that node 0 is no part of.
	unknown := make([]int, nodes)
	for n := range unknown {
		unknown[n] = -1
	}
	known := func(root int) bool {
		return root == joined.find(0) || ideal && root == joined.find(c.Plus) ||
			island.find(root) != island.find(0) && root == joined.find(island.find(root))
	}
	count := 0
	for n := range nodes {
		if root := joined.find(n); root == n && !known(n) {
			unknown[n] = count
			count++
		}
	}
	fixed := func(root int) float64 {
		if ideal && root == joined.find(c.Plus) {
			return c.Volts
		}
		return 0
	}
	if count > 0 {
		g := mat.NewSymDense(count, nil)
		into := mat.NewVecDense(count, nil)
		stamp := func(a, b int, siemens float64) {
			for _, end := range [2][2]int{{a, b}, {b, a}} {
				i, k := unknown[end[0]], unknown[end[1]]
				if i < 0 {
					continue
				}
				g.SetSym(i, i, g.At(i, i)+siemens)
				if k < 0 {
					into.SetVec(i, into.AtVec(i)+siemens*fixed(end[1]))
				} else if i < k {
					g.SetSym(i, k, g.At(i, k)-siemens)
				}
			}
		}
		for _, p := range c.Parts {
			a, b := joined.find(p.From), joined.find(p.To)
			if p.Ohms > 0 && !math.IsInf(p.Ohms, 1) && a != b {
				stamp(a, b, 1/p.Ohms)
			}
		}
		plus := joined.find(c.Plus)
		if c.Volts != 0 && !ideal && !shorted {
			stamp(plus, joined.find(0), 1/c.SourceOhms)
		}
		if i := unknown[plus]; i >= 0 && !ideal {
			into.SetVec(i, into.AtVec(i)+push)
		}
		var chol mat.Cholesky
		if !chol.Factorize(g) {
			return nil, errors.New("layout: the resistances of the circuit are too far apart to be solved")
		}
		if err := chol.SolveVecTo(into, into); err != nil {
			var ill mat.Condition
			if !errors.As(err, &ill) {
				return nil, err
			}
		}
		for n := range nodes {
			if i := unknown[n]; i >= 0 {
				f.NodeVolts[n] = into.AtVec(i)
			}
		}
	}
	for n := range nodes {
		root := joined.find(n)
		if unknown[root] < 0 {
			f.NodeVolts[n] = fixed(root)
		} else {
			f.NodeVolts[n] = f.NodeVolts[root]
		}
	}
	c.currents(f, joined, treeWires, push, ideal)
	return f, nil
}

// currents fills in what flows, from the voltages.
func (c *Circuit) currents(f *Flow, joined *forest, treeWires []bool, push float64, ideal bool) {
	out := make([]float64, len(f.NodeVolts)) // current leaving each node by resistances
	for i, p := range c.Parts {
		if p.Ohms == 0 || math.IsInf(p.Ohms, 1) || joined.find(p.From) == joined.find(p.To) {
			continue
		}
		amps := (f.NodeVolts[p.From] - f.NodeVolts[p.To]) / p.Ohms
		f.PartAmps[i] = amps
		out[p.From] += amps
		out[p.To] -= amps
	}
	switch {
	case ideal:
		// What leaves the joined node at Plus comes from the supply.
		plus := joined.find(c.Plus)
		for n, amps := range out {
			if joined.find(n) == plus {
				f.SupplyAmps += amps
			}
		}
	case c.Volts != 0:
		f.SupplyAmps = (c.Volts - f.NodeVolts[c.Plus]) / c.SourceOhms
	default:
		f.SupplyAmps = push
	}
	out[c.Plus] -= f.SupplyAmps
	out[0] += f.SupplyAmps

	// Every tree of wires is taken down from its ends: a node with a single
	// wire left sends through it whatever does not leave it otherwise.
	degree := make([]int, len(out))
	left := 0
	for i, p := range c.Parts {
		if treeWires[i] {
			degree[p.From]++
			degree[p.To]++
			left++
		}
	}
	for left > 0 {
		for i, p := range c.Parts {
			if !treeWires[i] || degree[p.From] != 1 && degree[p.To] != 1 {
				continue
			}
			if degree[p.From] == 1 {
				f.PartAmps[i] = -out[p.From]
				out[p.To] += out[p.From]
			} else {
				f.PartAmps[i] = out[p.To]
				out[p.From] += out[p.To]
			}
			degree[p.From]--
			degree[p.To]--
			treeWires[i] = false
			left--
		}
	}
}

// forest keeps sets of nodes (union by whichever, paths halved).
type forest struct{ up []int }

func newForest(n int) *forest {
	f := &forest{up: make([]int, n)}
	for i := range f.up {
		f.up[i] = i
	}
	return f
}

func (f *forest) find(n int) int {
	for f.up[n] != n {
		f.up[n] = f.up[f.up[n]]
		n = f.up[n]
	}
	return n
}

// union joins two sets and tells whether they were two.
func (f *forest) union(a, b int) bool {
	a, b = f.find(a), f.find(b)
	if a == b {
		return false
	}
	f.up[a] = b
	return true
}
