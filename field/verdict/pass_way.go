package verdict

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"

	"polewise/field/readings"
)

// What is kept of an aligned pass: how likely it is as a function of the ampere-turns.

const (
	freeSD     = 2.0 // of the ampere-turns before any reading, as a share of the planned ones
	fitsBetter = 6   // log units by which samples may fit better than they usually do
)

// lane is a pass with the sensor at one distance beside the line.
type lane struct {
	side  float64 // metres to the left of the line
	ways  []way
	begun bool // ways were begun in it, and not only carried over from the lanes beside it
}

// top is the log likelihood of the pass in a lane at best.
func (l *lane) top() float64 {
	top := math.Inf(-1)
	for i := range l.ways {
		top = max(top, l.ways[i].atBest())
	}
	return top
}

// way is one way to understand a pass in a lane: the log likelihood as a function of the near
// coils' ampere-turns a is log - a'Ha/2 + h'a.
type way struct {
	log  float64
	h    []float64
	hh   []float64 // H, row by row
	best []float64 // the ampere-turns that it was found with
	most float64   // h'a - a'Ha/2 of these
	lack float64   // log units by which its samples fall short of what samples that fit come to
	top  float64   // the most that is believed of any ampere-turns: the forms promise too much far from best
}

// atBest is the log likelihood with the ampere-turns that it was found with.
func (w *way) atBest() float64 { return w.log + w.most }

// better makes a better guess from where a walk puts the samples, by least squares.
func (a *aligner) better(l int, g guess, s *seen) guess {
	h, v := a.normal(l, s, true)
	n := len(a.near)
	for i := range n {
		mean, sd := 0.0, freeSD
		if !a.inRow[i] {
			mean, sd = 0.7, 0.7 // what the pass does not go over it can hardly tell
		}
		h.SetSym(i, i, h.At(i, i)+1/(sd*sd))
		v.SetVec(i, v.AtVec(i)+mean/(sd*sd))
	}
	a.addPrior(h, v)
	out := guess{share: make([]float64, n), b: g.b}
	x := v.RawVector().Data
	// Straight from the library beneath: mat.Cholesky works out a condition number too.
	chol, ok := lapack64.Potrf(h.RawSymmetric())
	if !ok {
		copy(out.share, g.share)
		return out
	}
	lapack64.Potrs(chol, blas64.General{Rows: n + 3, Cols: 1, Data: x, Stride: 1})
	copy(out.share, x)
	copy(out.b[:], x[n:])
	return out
}

// moved is the largest change from one guess to another: of a share, or of the
// background in tens of microtesla.
func (g guess) moved(from guess) float64 {
	d := 0.0
	for i := range g.share {
		d = max(d, math.Abs(g.share[i]-from.share[i]))
	}
	for r := range g.b {
		d = max(d, math.Abs(g.b[r]-from.b[r])/10)
	}
	return d
}

// addPrior adds what was known of the background to normal equations.
func (a *aligner) addPrior(h *mat.SymDense, v *mat.VecDense) {
	n := v.Len() - 3
	p := a.groundPrec.rows()
	for r := range p {
		for q := range p {
			if q >= r {
				h.SetSym(n+r, n+q, h.At(n+r, n+q)+p[r][q])
			}
			v.SetVec(n+r, v.AtVec(n+r)+p[r][q]*a.ground[q])
		}
	}
}

// tells is what samples tell of the field at one point: the sum of their precisions, and the sum of
// each one's precision times what it reads.
type tells struct {
	r sym3
	v [3]float64
}

// add adds a sample that reads u with precision r.
func (t *tells) add(r *sym3, u *[3]float64, weight float64) {
	t.r.addSym(r, weight)
	for q, x := range r.times(u) {
		t.v[q] += weight * x
	}
}

// leastWeight is how likely a sample must have been taken at a point to count there.
const leastWeight = 1e-3

// normal are the normal equations for shares and background, given where the samples were taken.
// For climbing, strays pull at the guess as well. Else they have no say, as they have none in how
// likely the pass is, and slips are unknowns too. What samples tell is summed for each point
// first, since the coils' fields there are the same to all.
func (a *aligner) normal(l int, s *seen, climbing bool) (*mat.SymDense, *mat.VecDense) {
	lit := sized(a.walker.lit, a.n)
	clear(lit)
	a.walker.lit = lit
	_, others := a.laneCoils(l)
	var dark tells
	for i := range a.ticks {
		now := &a.ticks[i]
		if now.blank {
			continue
		}
		open := s.open(i, now.s != 0)
		for k, weight := range s.weight[i] {
			if weight < leastWeight || s.stray[i][k] && !climbing {
				continue
			}
			at := s.from[i] + k
			c := a.noise
			if now.s != 0 {
				c = s.spreads[at]
			}
			c.addSym(&open, 1)
			r := c.inverse()
			sees := s.seesPulse(now, &r, at)
			if share := 1 - sees; share >= leastWeight {
				dark.add(&r, &now.pull, weight*share*a.eachCounts)
			}
			if sees >= leastWeight {
				u := now.pull
				for x, o := range others[at][:3] {
					u[x] -= o
				}
				lit[at].add(&r, &u, weight*sees*a.eachCounts)
			}
		}
	}
	if climbing {
		return a.equations(l, lit, &dark, nil)
	}
	return a.equations(l, lit, &dark, s.rows)
}

// open is the covariance of the field that a tick saw, for want of knowing where it was: it
// counts as noise.
func (s *seen) open(tick int, on bool) (open sym3) {
	if !on {
		return open
	}
	var mean [3]float64
	for k, w := range s.weight[tick] {
		for r, f := range s.rows[s.from[tick]+k][:3] {
			mean[r] += w * f
		}
	}
	for k, w := range s.weight[tick] {
		f := &s.rows[s.from[tick]+k]
		open.add(f[0]-mean[0], f[1]-mean[1], f[2]-mean[2], w)
	}
	return open
}

// seesPulse is how likely a sample with precision r saw the supply on if it was taken at a point.
func (s *seen) seesPulse(now *tick, r *sym3, at int) float64 {
	if now.s == 0 || now.s == 1 {
		return now.s
	}
	u := now.pull
	for q := range u {
		u[q] -= s.b[q]
	}
	f := &s.rows[at]
	off := [3]float64{u[0] - f[0], u[1] - f[1], u[2] - f[2]}
	lit := now.s * expDown(max(-300, -r.between(&off, &off)/2))
	dark := (1 - now.s) * expDown(max(-300, -r.between(&u, &u)/2))
	return lit / (lit + dark + 1e-300)
}

// equations are the normal equations of what samples tell with the supply on, at each point of a
// lane, and with it off. The unknowns are shares, slips if the fields that these change are
// given, and background, in that order. They stand until the next are made.
func (a *aligner) equations(l int, lit []tells, dark *tells, fields []nine) (*mat.SymDense, *mat.VecDense) {
	near := len(a.near)
	ground := near // the first of the background
	if fields != nil {
		ground += slips * len(a.coils)
	}
	size := ground + 3
	w := a.walker
	w.hh, w.hv, w.columns = sized(w.hh, size*size), sized(w.hv, size), sized(w.columns, ground)
	hh, hv, g := w.hh, w.hv, w.columns
	clear(hh)
	clear(hv)
	beside, _ := a.laneCoils(l)
	sum := *dark
	for k := range lit {
		t := &lit[k]
		if t.r == (sym3{}) {
			continue
		}
		sum.r.addSym(&t.r, 1)
		for r, x := range t.v {
			sum.v[r] += x
		}
		for q, field := range beside[k*near:][:near] {
			for x := range g[q] {
				g[q][x] = a.planned[q] * float64(field[x])
			}
		}
		from, to := near, near // the slips that there are at this point
		if fields != nil {
			from, to = a.slip(g[near:], k, &fields[k])
			from, to = near+from, near+to
		}
		for p := range g {
			if p >= near && (p < from || p >= to) {
				continue
			}
			rg := t.r.times(&g[p])
			hv[p] += readings.Dot(&g[p], &t.v)
			row := hh[p*size : p*size+size]
			for q := p; q < near; q++ {
				row[q] += readings.Dot(&rg, &g[q])
			}
			for q := max(p, from); q < to; q++ {
				row[q] += readings.Dot(&rg, &g[q])
			}
			for r, x := range rg {
				row[ground+r] += x
			}
		}
	}
	h, v := mat.NewSymDense(size, hh), mat.NewVecDense(size, hv)
	for p, row := range sum.r.rows() {
		for q := p; q < 3; q++ {
			h.SetSym(ground+p, ground+q, row[q])
		}
		v.SetVec(ground+p, sum.v[p])
	}
	return h, v
}

// add adds a guess in a lane to the ways to understand the pass, unless one like it is there. It
// reports whether it did.
func (a *aligner) add(l int, g guess) bool {
	w := a.wayOf(l, g)
	if w == nil || slices.ContainsFunc(a.lanes[l].ways, func(o way) bool { return a.alike(w, &o) }) {
		return false
	}
	a.lanes[l].ways = append(a.lanes[l].ways, *w)
	return true
}

// newWay is a guess in a lane as a way to understand the pass; nil where it makes none.
func (a *aligner) newWay(l int, g guess) *way {
	n := len(a.near)
	s := a.walk(l, g, false)
	full, v := a.normal(l, s, false)
	a.addPrior(full, v)
	h, hv, gain, ok := a.sumOut(full, v, g)
	if !ok {
		return nil
	}
	soften(h, hv)
	w := way{log: s.log + gain, lack: a.lacks(s), h: make([]float64, n), hh: make([]float64, n*n)}
	var db [3]float64
	for r := range db {
		db[r] = g.b[r] - a.ground[r]
	}
	w.log -= 0.5 * (a.groundPrec.xx*db[0]*db[0] + a.groundPrec.yy*db[1]*db[1] + a.groundPrec.zz*db[2]*db[2] + 2*(a.groundPrec.xy*db[0]*db[1]+a.groundPrec.xz*db[0]*db[2]+a.groundPrec.yz*db[1]*db[2]))
	// From shares to ampere-turns; the guess itself keeps its likelihood.
	var quad, lin float64
	for i := range n {
		w.h[i] = hv.AtVec(i) / a.planned[i]
		lin += hv.AtVec(i) * g.share[i]
		for k := range n {
			w.hh[i*n+k] = h.At(i, k) / (a.planned[i] * a.planned[k])
			quad += h.At(i, k) * g.share[i] * g.share[k]
		}
		w.best = append(w.best, g.share[i]*a.planned[i])
	}
	w.log -= lin - quad/2
	w.most = lin - quad/2
	w.top = w.log + w.most + max(w.lack, 0) + fitsBetter
	return &w
}

// alike tells whether two ways to understand a pass come to the same.
func (a *aligner) alike(p, q *way) bool {
	if math.Abs(p.atBest()-q.atBest()) > 0.1 {
		return false
	}
	for i := range p.best {
		if math.Abs(p.best[i]-q.best[i]) > 0.02*math.Abs(a.planned[i]) {
			return false
		}
	}
	return true
}
