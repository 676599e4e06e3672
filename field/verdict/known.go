package verdict

import (
	"math"
	"slices"

	"polewise/field/readings"
)

// What is kept within a verdict and from one to the next, so that one more reading costs little:
// what factors said, which cells were in play, and where backgrounds were left.

// likes remembers what factors said. A reading depends only on the coils near it, and hypotheses
// that agree on those share what it says. When that gets too much, the half that was not asked
// for longest is forgotten.
type likes struct {
	said  map[likeKey]*said
	size  int    // numbers held in it
	most  int    // numbers that may be
	asked uint64 // how often anything was asked for or put in
}

// said is what a factor said under one hypothesis.
type said struct {
	log     []float32 // as factor.like has it; single precision is fine enough, and half as large
	asked   uint64    // likes.asked as it was last asked for
	ceiling float64   // NaN: not worked out
	// The background that the factor leaves at the cell and scale last asked about.
	cell, scale int // -1: never asked
	left        left
	leaves      bool // it leaves one
}

// newSaid keeps what a factor said.
func newSaid(log []float64) *said {
	s := &said{log: make([]float32, len(log)), ceiling: math.NaN(), cell: -1}
	for q, v := range log {
		s.log[q] = float32(v)
	}
	return s
}

// at is the log likelihood at a cell and scale: q is cell*scales+scale.
func (s *said) at(q int) float64 { return float64(s.log[q]) }

// likeKey names what a factor said by the factor, and by all else that this depends on: the
// ampere-turns of the coils near it, its background, the scales and the cells scored.
type likeKey struct{ factor, rest key }

// Bounds on what likes holds: 34 MB, by which a pad read by headings finds everything again. A
// large pad needs the memory for other things, and finds most again in 6 MB.
const (
	mostLikes      = 1 << 23
	mostLikesLarge = 3 << 19
	largePad       = 50 // coils
	saidSize       = 48 // numbers that an entry takes beside its own
)

// likesOf makes room for what factors say of a pad of so many coils.
func likesOf(coils int) likes {
	l := likes{said: map[likeKey]*said{}, most: mostLikes}
	if coils > largePad {
		l.most = mostLikesLarge
	}
	return l
}

// find is what was kept under a key; nil where nothing was.
func (l *likes) find(k likeKey) *said {
	s := l.said[k]
	if s != nil {
		l.asked++
		s.asked = l.asked
	}
	return s
}

// keep remembers what a factor said.
func (l *likes) keep(k likeKey, s *said) {
	size := len(s.log) + saidSize
	if l.size+size > l.most {
		l.forget()
	}
	l.asked++
	s.asked = l.asked
	l.said[k] = s
	l.size += size
}

// forget lets go of the half that was not asked for longest.
func (l *likes) forget() {
	when := make([]uint64, 0, len(l.said))
	for _, s := range l.said {
		when = append(when, s.asked)
	}
	slices.Sort(when)
	for k, s := range l.said {
		if s.asked <= when[len(when)/2] {
			delete(l.said, k)
			l.size -= len(s.log) + saidSize
		}
	}
}

// keyOf names what a factor says of ampere-turns in the cells of a view.
func (e *engine) keyOf(factor int, at []float64, in *view, bg *background, sc *scales) likeKey {
	fr := e.factors[factor].frame()
	k := in.key
	for _, j := range fr.cols.near {
		k.mix(at[j])
	}
	for a := range bg.b {
		k.mix(bg.b[a])
		k.mix(bg.variance[a])
	}
	k.join(sc.key)
	return likeKey{fr.id, k}
}

// views are the cells that were in play in the last verdict, by phone and grid, and those of them
// where a hypothesis had the sensor. As long as they serve they stay, since what is known was
// said for them.
type views map[viewKey]view

type viewKey struct {
	src, ox, oy  int
	x0, y0, step float64
	hyp          uint64 // hypothesis.key; 0: of all
}

// viewSpare is how many times as many cells as are needed may stay.
const viewSpare = 2.5

// mostViews bounds the views held: 2 MB of them.
const mostViews = 1 << 9

// of is a view of cells of a phone. The one of the last verdict serves where it has all cells that
// are needed, not too many more, and none that may not be in it; else there is a new one of all
// that are wanted.
func (v views) of(src int, ph *phone, hyp uint64, needed, wanted []int, mayBe func(cell int) bool) view {
	k := viewKey{src, ph.ox, ph.oy, ph.x0, ph.y0, ph.step, hyp}
	last, ok := v[k]
	if ok && float64(len(last.cells)) <= viewSpare*float64(len(needed)) && includes(last.cells, needed) && !slices.ContainsFunc(last.cells, func(c int) bool { return !mayBe(c) }) {
		return last
	}
	if len(v) >= mostViews {
		clear(v)
	}
	v[k] = ph.viewOf(wanted)
	return v[k]
}

// includes tells whether a sorted list has all of another.
func includes(all, some []int) bool {
	for _, c := range some {
		at, ok := slices.BinarySearch(all, c)
		if !ok {
			return false
		}
		all = all[at+1:]
	}
	return true
}

// levels remembers the backgrounds that hypotheses were left with. Fitting begins from them the
// next time, also in the verdict after one more hold: mostly they stand as they were, and what
// was said under them is known.
type levels struct {
	of   map[levelsKey]levelled
	size int // backgrounds held
}

type levelsKey struct {
	hyp  uint64  // hypothesis.key
	step float64 // of the cells
}

// levelled is the backgrounds of one hypothesis.
type levelled struct {
	factors []key // by frame.id
	bg      []background
	by      key  // engine.id of the one that fitted them
	stood   bool // that one took them over from an earlier verdict
}

// mostLevels bounds the backgrounds held: 4 MB of them.
const mostLevels = 1 << 16

// keep remembers backgrounds, and forgets all others when they get too many.
func (l *levels) keep(k levelsKey, v levelled) {
	if was, ok := l.of[k]; ok {
		l.size -= len(was.bg)
	}
	if l.of == nil || l.size+len(v.bg) > mostLevels {
		l.of, l.size = map[levelsKey]levelled{}, 0
	}
	l.of[k] = v
	l.size += len(v.bg)
}

// keepLevels remembers a node's backgrounds.
func (e *engine) keepLevels(n *node, stood bool) {
	if e.fitsBackgrounds() {
		e.m.levels.keep(levelsKey{n.hyp.key, e.res.step}, levelled{e.identities(), slices.Clone(n.bg), e.id, stood})
	}
}

// begin sets a node's backgrounds to where its hypothesis left them last, if those are to be
// recalled: those of new readings to that of the nearest in time. Where nothing is remembered, or
// is to be, they begin from the prior. It reports whether they stem from an earlier verdict.
func (e *engine) begin(n *node, recall bool) (stood bool) {
	var last levelled
	remembered := false
	if recall {
		last, remembered = e.m.levels.of[levelsKey{n.hyp.key, e.res.step}]
	}
	ids := e.identities()
	at := make([]int, len(ids)) // in last
	for i, id := range ids {
		if at[i] = i; i >= len(last.factors) || last.factors[i] != id {
			at[i] = slices.Index(last.factors, id)
		}
	}
	for i, f := range e.factors {
		near := -1
		if at[i] >= 0 {
			near = i
		}
		for q, o := range e.factors {
			if at[i] < 0 && at[q] >= 0 && o.frame().group == f.frame().group && (near < 0 || math.Abs(o.time()-f.time()) < math.Abs(e.factors[near].time()-f.time())) {
				near = q
			}
		}
		if near >= 0 {
			n.bg[i] = last.bg[at[near]]
			continue
		}
		n.bg[i] = e.groups[f.frame().group].prior()
		n.bg[i].snap()
	}
	return remembered && (last.stood || last.by != e.id)
}

// identities are the factors' ids.
func (e *engine) identities() []key {
	ids := make([]key, len(e.factors))
	for i, f := range e.factors {
		ids[i] = f.frame().id
	}
	return ids
}

// fitsBackgrounds tells whether any background has to be fitted: some hold does not tell its own.
func (e *engine) fitsBackgrounds() bool {
	return slices.ContainsFunc(e.groups, func(g backgroundGroup) bool { return g.toFit })
}

// identity is equal for equal readings of a hold against equal cells, in this
// verdict or the next.
func (h *holdFactor) identity() key {
	k := newKey()
	g := h.ph.grid
	for _, x := range []float64{float64(h.coil), h.shift[0], h.shift[1], h.topDeg, h.up[0], h.up[1], h.up[2], h.clipped[0], h.clipped[1], h.clipped[2],
		g.x0, g.y0, float64(g.nx), float64(g.ny), float64(g.margin), g.step, g.sd, g.lift} {
		k.add(x)
	}
	if h.toggled {
		k.add(1)
	}
	for i := range h.readings {
		r := &h.readings[i]
		k.add(r.LogW)
		k.add(r.share)
		for _, ax := range r.Ax {
			for _, x := range []float64{ax.D, ax.VD, ax.B, ax.VB, ax.CV} {
				k.add(x)
			}
		}
	}
	return k
}

// fresh is a key that nothing else of the model has.
func (m *Model) fresh() key {
	m.counted++
	return key(m.counted)
}

// snap rounds a fitted background to what matters. Hypotheses whose backgrounds differ by less than
// any reading could tell then share what factors said, and so do verdicts that follow each other
// as readings come in. The variance only counts on top of a hold's own drift.
func (b *background) snap() {
	for a := range b.b {
		const least = driftSD * driftSD
		b.b[a] = math.Round(b.b[a])
		b.variance[a] = math.Max(readings.Snapped(b.variance[a]+least, 1.1)-least, 1)
	}
}
