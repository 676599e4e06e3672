package trial

import (
	"math"
)

// part is one thing between two nodes of a circuit: a resistance, or with zero
// ohms a joint. Coils are numbered, other parts carry coil = -1.
type part struct {
	from, to int
	ohms     float64
	coil     int
}

// leak is a conductance from every node to the minus terminal, in siemens. It
// keeps pieces that hang in the air from making the equations singular, and
// falsifies nothing above a part in 1e9.
const leak = 1e-12

// nodal finds the current in every part, from its from to its to, with one volt
// between node 1 and node 0, and the current the supply gives. Joints carry no
// figure: their ends are one node.
func nodal(parts []part, nodes int) (amps []float64, total float64) {
	same := make([]int, nodes) // union of joined nodes
	for i := range same {
		same[i] = i
	}
	root := func(i int) int {
		for same[i] != i {
			i = same[i]
		}
		return i
	}
	for _, p := range parts {
		if p.ohms == 0 {
			a, b := root(p.from), root(p.to)
			same[max(a, b)] = min(a, b)
		}
	}
	amps = make([]float64, len(parts))
	if root(1) == root(0) {
		return amps, math.Inf(1)
	}
	// Potentials of every node but the two terminals, by elimination.
	g := make([][]float64, nodes)
	for i := range g {
		g[i] = make([]float64, nodes+1)
		g[i][i] = leak
	}
	for _, p := range parts {
		a, b := root(p.from), root(p.to)
		if p.ohms == 0 || a == b || math.IsInf(p.ohms, 1) {
			continue
		}
		s := 1 / p.ohms
		g[a][a] += s
		g[b][b] += s
		g[a][b] -= s
		g[b][a] -= s
	}
	fix := func(i int, v float64) {
		for j := range g[i] {
			g[i][j] = 0
		}
		g[i][i], g[i][nodes] = 1, v
	}
	fix(root(0), 0)
	fix(root(1), 1)
	for i := range g { // the matrix is diagonally dominant: no pivoting needed
		for j := i + 1; j < nodes; j++ {
			if g[j][i] == 0 {
				continue
			}
			f := g[j][i] / g[i][i]
			for k := i; k <= nodes; k++ {
				g[j][k] -= f * g[i][k]
			}
		}
	}
	volts := make([]float64, nodes)
	for i := nodes - 1; i >= 0; i-- {
		v := g[i][nodes]
		for k := i + 1; k < nodes; k++ {
			v -= g[i][k] * volts[k]
		}
		volts[i] = v / g[i][i]
	}
	for n, p := range parts {
		a, b := root(p.from), root(p.to)
		if p.ohms == 0 || a == b || math.IsInf(p.ohms, 1) {
			continue
		}
		amps[n] = (volts[a] - volts[b]) / p.ohms
		if a == root(1) {
			total += amps[n]
		}
		if b == root(1) {
			total -= amps[n]
		}
	}
	if total < 1e-9 {
		total = 0
	}
	return amps, total
}
