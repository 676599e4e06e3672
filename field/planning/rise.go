package planning

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"polewise/layout"
)

// rise is how the currents come up when a supply set to a voltage is switched on. The
// strings pull at each other and share the supply's own resistance, so none of them
// rises by itself: L di/dt + R i = v is solved for all at once, in the network's own
// modes, each of which rises as 1 - exp(-t/tau).
type rise struct {
	tau     []float64   // of each mode, seconds
	strings [][]float64 // what each mode adds to a string's final current, for 1 V
	pad     []float64   // and to the pad's
}

// riseOf solves the network as planned. Henries are those between strings. Without a
// limit on the supply's current: where one holds, all is reached sooner.
func riseOf(p *layout.Plan, ohms []float64, henries *mat.SymDense) *rise {
	through, loops := ways(p)
	n := 1 + len(loops)
	basis := mat.NewDense(len(p.Strings), n, nil)
	for k, way := range append([][]float64{through}, loops...) {
		basis.SetCol(k, way)
	}
	onWays := func(a mat.Matrix) *mat.SymDense {
		var ab, bab mat.Dense
		ab.Mul(a, basis)
		bab.Mul(basis.T(), &ab)
		return symmetrised(&bab)
	}
	r := onWays(mat.NewDiagDense(len(ohms), ohms))
	r.SetSym(0, 0, r.At(0, 0)+p.Supply.SourceOhms) // only what flows through the pad flows through the supply
	var chol mat.Cholesky
	if !chol.Factorize(r) {
		return nil
	}
	// With R = U'U and currents y = U m it reads T dy/dt + y = w, T = U'^-1 L U^-1.
	var u, inverse mat.TriDense
	chol.UTo(&u)
	if inverse.InverseTri(&u) != nil {
		return nil
	}
	var lw, wlw mat.Dense
	lw.Mul(onWays(henries), &inverse)
	wlw.Mul(inverse.T(), &lw)
	var eigen mat.EigenSym
	if !eigen.Factorize(symmetrised(&wlw), true) {
		return nil
	}
	var q, modes, currents mat.Dense
	eigen.VectorsTo(&q)
	modes.Mul(&inverse, &q)
	currents.Mul(basis, &modes)
	out := &rise{tau: eigen.Values(nil)}
	of := func(row mat.Vector) []float64 {
		parts := make([]float64, n)
		for k := range parts {
			parts[k] = row.AtVec(k) * modes.At(0, k) // the supply drives the way through alone
		}
		return parts
	}
	out.pad = of(modes.RowView(0))
	for i := range p.Strings {
		out.strings = append(out.strings, of(currents.RowView(i)))
	}
	return out
}

// symmetrised is a matrix that is symmetric but for rounding.
func symmetrised(a *mat.Dense) *mat.SymDense {
	n, _ := a.Dims()
	out := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			out.SetSym(i, k, (a.At(i, k)+a.At(k, i))/2)
		}
	}
	return out
}

// share is how much of its final current something has after a time.
func (r *rise) share(parts []float64, t float64) float64 {
	reached, all := 0.0, 0.0
	for k, part := range parts {
		all += part
		if tau := r.tau[k]; tau > 0 { // else rounding: at once
			part *= -math.Expm1(-t / tau)
		}
		reached += part
	}
	return reached / all
}

// within is the time by which something has reached a share of its final current.
func (r *rise) within(parts []float64, share float64) float64 {
	slowest := r.tau[len(r.tau)-1] // they come in order
	hi := slowest / 1024
	for hi < 1024*slowest && r.share(parts, hi) < share {
		hi *= 2
	}
	lo := 0.0
	for range 60 {
		if mid := (lo + hi) / 2; r.share(parts, mid) < share {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// ways are the ways in which current can flow through a pad, as currents in its
// strings: one from plus to minus, and the loops beside it, which carry nothing in all.
func ways(p *layout.Plan) (through []float64, loops [][]float64) {
	one := func(i int) []float64 {
		w := make([]float64, len(p.Strings))
		w[i] = 1
		return w
	}
	var of func(id string) ([]float64, [][]float64)
	join := func(kind layout.Join, ids []string) (through []float64, loops [][]float64) {
		for _, id := range ids {
			way, inside := of(id)
			loops = append(loops, inside...)
			if through == nil {
				through = way
				continue
			}
			sum := make([]float64, len(way))
			for i := range way {
				if kind == layout.Series {
					sum[i] = through[i] + way[i]
				} else {
					sum[i] = way[i] - through[i]
				}
			}
			if kind == layout.Series {
				through = sum
			} else {
				loops = append(loops, sum)
			}
		}
		return through, loops
	}
	of = func(id string) ([]float64, [][]float64) {
		if i := p.StringIndex(id); i >= 0 {
			return one(i), nil
		}
		g := &p.Groups[p.GroupIndex(id)]
		return join(g.Join, g.Of)
	}
	if root := p.RootGroup(); root >= 0 {
		return join(p.Groups[root].Join, p.Groups[root].Of)
	}
	return join(layout.Parallel, p.StringIDs())
}
