package verdict

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// A hand that draws a phone along a row slowly slips to the side and lifts the phone: over one
// coil all samples are off by about the same. Near the copper that makes more of a difference
// than anything else, and looks like another current in that coil and its neighbours. So a slip
// aside and one in height at each coil of the row are unknowns of a pass, as its background is,
// and are summed out.

const (
	slipSD = 0.004 // metres aside, at one coil against the pass on the whole
	// woundSD is the share by which a coil may seem stronger or weaker for want of the exact
	// shape it was wound to (an estimate, no source).
	woundSD = 0.03
	slips   = 2 // unknowns at each coil of the row: aside, and in height
)

// spot tells which coils of the row a point of the way lies between: the one before it, and
// the share of the way to the next that it has come.
type spot struct {
	coil int
	come float64
}

// betweenCoils are the spots of points a step apart, the first of them slack before the first coil.
func (d *passDigest) betweenCoils(count int, step, slack float64) []spot {
	ends := make([]float64, len(d.path)) // how far along the way each coil lies
	for i := 1; i < len(ends); i++ {
		ends[i] = ends[i-1] + r2.Norm(r2.Sub(d.path[i], d.path[i-1]))
	}
	out := make([]spot, count)
	for k := range out {
		at := float64(k)*step - slack
		switch next := sort.SearchFloat64s(ends, at); next {
		case 0:
		case len(ends):
			out[k].coil = len(ends) - 1
		default:
			out[k] = spot{next - 1, (at - ends[next-1]) / (ends[next] - ends[next-1])}
		}
	}
	return out
}

// slip writes what the slips at each coil of the row do to the field at point k, per metre, where
// the field is f. It tells which of them do anything there: from one to before another.
func (a *aligner) slip(out [][3]float64, k int, f *nine) (from, to int) {
	_, left := a.directions()
	yx, yy, yz := f.slopeY()
	aside := [3]float64{left.X*f[3] + left.Y*yx, left.X*f[4] + left.Y*yy, left.X*f[5] + left.Y*yz}
	high := [3]float64{f[6], f[7], f[8]}
	b := a.among[k]
	from = slips * b.coil
	to = from
	for _, w := range [2]float64{1 - b.come, b.come} {
		if w == 0 {
			continue
		}
		for x := range aside {
			out[to][x], out[to+1][x] = w*aside[x], w*high[x]
		}
		to += slips
	}
	return from, to
}

// sumOut sums slips and background out of normal equations for shares, slips and background, and
// leaves equations for the shares alone. gain is how many log units the pass gains under a guess
// by what slips and background explain. It is not ok where the equations have no solution.
func (a *aligner) sumOut(full *mat.SymDense, v *mat.VecDense, g guess) (h *mat.SymDense, hv *mat.VecDense, gain float64, ok bool) {
	near, size := len(a.near), v.Len()
	rest, ground := size-near, size-3
	for i := near; i < ground; i += slips {
		for q, sd := range [slips]float64{slipSD, heightSD} {
			full.SetSym(i+q, i+q, full.At(i+q, i+q)+1/(sd*sd))
			gain -= math.Log(sd)
		}
	}
	var of, ofGround mat.Cholesky
	if !of.Factorize(full.SliceSym(near, size)) || !ofGround.Factorize(full.SliceSym(ground, size)) {
		return nil, nil, 0, false
	}
	gain -= (of.LogDet() - ofGround.LogDet()) / 2
	beside := mat.NewDense(near, rest, nil)
	for i := range near {
		for r := range rest {
			beside.Set(i, r, full.At(i, near+r))
		}
	}
	// What the guess leaves for slips and background to explain.
	at := mat.NewVecDense(size, nil)
	copy(at.RawVector().Data, g.share)
	copy(at.RawVector().Data[ground:], g.b[:])
	var left, right mat.VecDense
	left.MulVec(full, at)
	left.SubVec(v, &left)
	open := left.SliceVec(near, size)
	var by, less mat.Dense
	if of.SolveVecTo(&right, open) != nil || of.SolveTo(&by, beside.T()) != nil {
		return nil, nil, 0, false
	}
	gain += mat.Dot(&right, open) / 2
	less.Mul(beside, &by)
	h, hv = mat.NewSymDense(near, nil), mat.NewVecDense(near, nil)
	hv.MulVec(by.T(), v.SliceVec(near, size))
	hv.SubVec(v.SliceVec(0, near), hv)
	for i := range near {
		for k := i; k < near; k++ {
			h.SetSym(i, k, full.At(i, k)-less.At(i, k))
		}
	}
	return h, hv, gain, true
}

// soften makes equations for shares allow for each coil seeming stronger or weaker by woundSD.
func soften(h *mat.SymDense, v *mat.VecDense) {
	n := v.Len()
	sum := mat.NewSymDense(n, nil)
	sum.CopySym(h)
	for i := range n {
		sum.SetSym(i, i, sum.At(i, i)+1/(woundSD*woundSD))
	}
	var chol mat.Cholesky
	if !chol.Factorize(sum) {
		return
	}
	// With H the information and T the spread: H - H (H + 1/T)^-1 H.
	var x, lh mat.Dense
	var xv, lv mat.VecDense
	if chol.SolveTo(&x, h) != nil || chol.SolveVecTo(&xv, v) != nil {
		return
	}
	lh.Mul(h, &x)
	lv.MulVec(h, &xv)
	for i := range n {
		for k := i; k < n; k++ {
			h.SetSym(i, k, h.At(i, k)-(lh.At(i, k)+lh.At(k, i))/2)
		}
	}
	floats.Sub(v.RawVector().Data, lv.RawVector().Data)
}
