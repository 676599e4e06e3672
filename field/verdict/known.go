package verdict

import (
	"math"
)

// likes remembers what factors said: a reading depends on the coils near it
// only, and hypotheses that agree on those are scored once. A hold said the same
// in the verdict before, so that one more reading costs little.
type likes struct {
	log  map[likeKey][]float64
	size int // numbers held
}

// likeKey names a factor; and the ampere-turns near it, its background, the
// scales and the cells in play.
type likeKey struct{ factor, rest key }

// mostLikes bounds the numbers held: 24 MB of them.
const mostLikes = 3 << 20

func (l *likes) find(k likeKey) []float64 { return l.log[k] }

func (l *likes) keep(k likeKey, log []float64) {
	if l.log == nil || l.size+len(log) > mostLikes {
		l.log, l.size = map[likeKey][]float64{}, 0
	}
	l.log[k] = log
	l.size += len(log)
}

// keyOf is where every score begins, and so where a search ends that is no longer
// wanted.
func (e *engine) keyOf(factor int, at []float64, bg *background, sc *scales) likeKey {
	e.m.checkHalt()
	fr := e.factors[factor].frame()
	k := e.phones[fr.src].key
	for _, j := range fr.cols.near {
		k.add(at[j])
	}
	for a := range bg.b {
		k.add(bg.b[a])
		k.add(bg.variance[a])
	}
	k.add(sc.s[0])
	k.add(sc.sd)
	return likeKey{fr.id, k}
}

// identity is equal for equal readings of a hold against equal cells, in this
// verdict or the next.
func (h *holdFactor) identity() key {
	k := newKey()
	g := h.ph.grid
	for _, x := range []float64{float64(h.coil), h.shift[0], h.shift[1], h.topDeg, h.up[0], h.up[1], h.up[2], h.clipped[0], h.clipped[1], h.clipped[2],
		g.x0, g.y0, float64(g.nx), float64(g.ny), float64(g.margin), g.step, g.sd} {
		k.add(x)
	}
	if h.toggled {
		k.add(1)
	}
	for i := range h.readings {
		r := &h.readings[i]
		k.add(r.logW)
		for _, ax := range r.ax {
			for _, x := range []float64{ax.d, ax.vd, ax.b, ax.vb, ax.cv} {
				k.add(x)
			}
		}
	}
	return k
}

// fresh is the identity of what is not recognised again.
func (m *Model) fresh() key {
	m.counted++
	return key(m.counted)
}

// allKnown tells whether nothing has to be worked out to score a neighbour.
func (e *engine) allKnown(n *node, h *hypothesis, sc *scales, work *workspace) bool {
	for _, o := range work.order {
		if e.known.find(e.keyOf(o.factor, h.at, &n.bg[o.factor], sc)) == nil {
			return false
		}
	}
	return true
}

// snap rounds a fitted background to what matters, so that hypotheses whose
// backgrounds differ by less than any reading could tell, and the verdicts that
// follow each other as readings come in, share their likelihoods. The variance
// never counts but on top of a hold's own drift.
func (b *background) snap() {
	for a := range b.b {
		const least = driftSD * driftSD
		b.b[a] = math.Round(b.b[a])
		b.variance[a] = math.Max(snapped(b.variance[a]+least, 1.1)-least, 1)
	}
}

// snapped is the power of step nearest to x.
func snapped(x, step float64) float64 {
	return math.Pow(step, math.Round(math.Log(x)/math.Log(step)))
}
