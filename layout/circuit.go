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

// errShorted means that wires alone join the terminals of an ideal voltage
// supply.
var errShorted = errors.New("layout: the supply is shorted by a wire and nothing limits its current")

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
	n := nodal{Circuit: c, nodes: c.Plus + 1}
	n.gather()
	if n.ideal && n.shorted {
		return nil, errShorted
	}
	n.number()
	f := &Flow{NodeVolts: make([]float64, n.nodes), PartAmps: make([]float64, len(c.Parts))}
	if n.count > 0 {
		volts, err := n.solve()
		if err != nil {
			return nil, err
		}
		for node := range n.nodes {
			if i := n.unknown[node]; i >= 0 {
				f.NodeVolts[node] = volts.AtVec(i)
			}
		}
	}
	for node := range n.nodes {
		root := n.joined.find(node)
		if n.unknown[root] < 0 {
			f.NodeVolts[node] = n.fixed(root)
		} else {
			f.NodeVolts[node] = f.NodeVolts[root]
		}
	}
	n.currents(f)
	return f, nil
}

// nodal is a circuit on its way to being solved.
type nodal struct {
	*Circuit
	nodes          int
	joined, island *forest // one node for all that wires join; islands for all that parts join
	treeWires      []bool  // the wires that make no ring
	ideal          bool    // the supply has a voltage and no resistance
	shorted        bool    // wires alone join its terminals
	push           float64 // what the supply, seen as a current source, pushes into Plus
	unknown        []int   // the number of each node whose voltage is to be found, else -1
	count          int     // of these
}

// gather finds what wires and parts join, and what the supply is in that.
func (n *nodal) gather() {
	c := n.Circuit
	for _, p := range c.Parts {
		if !(p.Ohms >= 0) || p.From < 0 || p.To < 0 {
			panic("layout: a part of a circuit has a negative node or resistance")
		}
		n.nodes = max(n.nodes, p.From+1, p.To+1)
	}
	n.joined, n.island = newForest(n.nodes), newForest(n.nodes)
	n.treeWires = make([]bool, len(c.Parts))
	for i, p := range c.Parts {
		if p.Ohms == 0 {
			n.treeWires[i] = n.joined.union(p.From, p.To)
		}
		if !math.IsInf(p.Ohms, 1) {
			n.island.union(p.From, p.To)
		}
	}
	n.ideal = c.Volts != 0 && c.SourceOhms < leastSourceOhms
	n.shorted = n.joined.find(c.Plus) == n.joined.find(0)
	n.push = c.Amps
	switch {
	case c.Volts != 0 && !n.ideal:
		n.push = c.Volts / c.SourceOhms
	case c.Volts == 0 && n.island.find(c.Plus) != n.island.find(0):
		n.push = 0
	}
	if c.Volts != 0 {
		n.island.union(c.Plus, 0)
	}
}

// number numbers the unknown voltages. Node 0 is known, so is Plus when the supply is
// ideal, and one node of every island that node 0 is no part of.
func (n *nodal) number() {
	n.unknown = make([]int, n.nodes)
	for node := range n.unknown {
		n.unknown[node] = -1
	}
	known := func(root int) bool {
		return root == n.joined.find(0) || n.ideal && root == n.joined.find(n.Plus) ||
			n.island.find(root) != n.island.find(0) && root == n.joined.find(n.island.find(root))
	}
	for node := range n.nodes {
		if root := n.joined.find(node); root == node && !known(node) {
			n.unknown[node] = n.count
			n.count++
		}
	}
}

// fixed is a known node's voltage.
func (n *nodal) fixed(root int) float64 {
	if n.ideal && root == n.joined.find(n.Plus) {
		return n.Volts
	}
	return 0
}

// solve finds the unknown voltages, in the order of their numbers.
func (n *nodal) solve() (*mat.VecDense, error) {
	g, into := n.conductances()
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
	return into, nil
}

// conductances are what joins the unknown nodes, and what flows into each of them from
// the supply and from the known ones.
func (n *nodal) conductances() (g *mat.SymDense, into *mat.VecDense) {
	g, into = mat.NewSymDense(n.count, nil), mat.NewVecDense(n.count, nil)
	stamp := func(a, b int, siemens float64) {
		for _, end := range [2][2]int{{a, b}, {b, a}} {
			i, k := n.unknown[end[0]], n.unknown[end[1]]
			if i < 0 {
				continue
			}
			g.SetSym(i, i, g.At(i, i)+siemens)
			if k < 0 {
				into.SetVec(i, into.AtVec(i)+siemens*n.fixed(end[1]))
			} else if i < k {
				g.SetSym(i, k, g.At(i, k)-siemens)
			}
		}
	}
	for _, p := range n.Parts {
		a, b := n.joined.find(p.From), n.joined.find(p.To)
		if p.Ohms > 0 && !math.IsInf(p.Ohms, 1) && a != b {
			stamp(a, b, 1/p.Ohms)
		}
	}
	plus := n.joined.find(n.Plus)
	if n.Volts != 0 && !n.ideal && !n.shorted {
		stamp(plus, n.joined.find(0), 1/n.SourceOhms)
	}
	if i := n.unknown[plus]; i >= 0 && !n.ideal {
		into.SetVec(i, into.AtVec(i)+n.push)
	}
	return g, into
}

// currents fills in what flows, from the voltages.
func (n *nodal) currents(f *Flow) {
	out := make([]float64, len(f.NodeVolts)) // current leaving each node by resistances
	for i, p := range n.Parts {
		if p.Ohms == 0 || math.IsInf(p.Ohms, 1) || n.joined.find(p.From) == n.joined.find(p.To) {
			continue
		}
		amps := (f.NodeVolts[p.From] - f.NodeVolts[p.To]) / p.Ohms
		f.PartAmps[i] = amps
		out[p.From] += amps
		out[p.To] -= amps
	}
	switch {
	case n.ideal:
		// What leaves the joined node at Plus comes from the supply.
		plus := n.joined.find(n.Plus)
		for node, amps := range out {
			if n.joined.find(node) == plus {
				f.SupplyAmps += amps
			}
		}
	case n.Volts != 0:
		f.SupplyAmps = (n.Volts - f.NodeVolts[n.Plus]) / n.SourceOhms
	default:
		f.SupplyAmps = n.push
	}
	out[n.Plus] -= f.SupplyAmps
	out[0] += f.SupplyAmps
	n.wires(f, out)
}

// wires fills in the currents of wires, from what leaves each node otherwise: every tree
// of wires is taken down from its ends, where a node with a single wire left sends
// through it whatever does not leave it.
func (n *nodal) wires(f *Flow, out []float64) {
	degree := make([]int, len(out))
	left := 0
	for i, p := range n.Parts {
		if n.treeWires[i] {
			degree[p.From]++
			degree[p.To]++
			left++
		}
	}
	for left > 0 {
		for i, p := range n.Parts {
			if !n.treeWires[i] || degree[p.From] != 1 && degree[p.To] != 1 {
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
			n.treeWires[i] = false
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
