package verdict

import (
	"math"
)

// likes remembers what factors said: a reading depends on the coils near it
// only, and hypotheses that agree on those are scored once.
type likes struct {
	log  map[likeKey][]float64
	size int // numbers held
}

// likeKey names a factor, the ampere-turns near it, its background and the
// scales.
type likeKey struct {
	factor int
	rest   key
}

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
	k := newKey()
	for _, j := range e.factors[factor].frame().cols.near {
		k.add(at[j])
	}
	for a := range bg.b {
		k.add(bg.b[a])
		k.add(bg.variance[a])
	}
	k.add(sc.s[0])
	k.add(sc.sd)
	return likeKey{factor, k}
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
// backgrounds differ by less than any reading could tell share their likelihoods.
func (b *background) snap() {
	for a := range b.b {
		b.b[a] = math.Round(b.b[a])
		const step = 1.1
		b.variance[a] = math.Pow(step, math.Round(math.Log(math.Max(b.variance[a], 1e-3))/math.Log(step)))
	}
}
