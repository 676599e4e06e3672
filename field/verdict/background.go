package verdict

import (
	"cmp"
	"math"
	"slices"

	"polewise/field/readings"
)

// background is what a phone reads with the supply off, as far as a hypothesis
// lets it be known.
type background struct {
	b        [3]float64 // phone frame, uT
	variance [3]float64
}

// backgroundGroup is the prior of one group's background, from rests if any.
type backgroundGroup struct {
	src     int
	topDeg  float64
	mean    [3]float64
	sd      [3]float64
	settles bool // some factor in it needs the background
}

// prior is the background before any hypothesis.
func (g *backgroundGroup) prior() background {
	return background{b: g.mean, variance: [3]float64{g.sd[0] * g.sd[0], g.sd[1] * g.sd[1], g.sd[2] * g.sd[2]}}
}

// needsBackground is a factor that cannot tell the pad's pull from the
// background by itself.
type needsBackground interface {
	// residual returns the background the factor would see at an offset cell
	// and a scale, phone frame, with its variance.
	residual(field []nine, cell int, scale float64, bg *background, sc *scales) (b, variance [3]float64, ok bool)
}

const (
	rezeroChance = 0.08 // that a phone re-zeroes itself between two holds
	rezeroSD     = 20.0 // by how much, per axis, uT (like the line before an estimate, no source)
	mostRezero   = 3.5  // times that: further off no phone re-zeroes itself
	heldFrom     = 2.5  // standard deviations from the level, from which a reading counts for less, by Huber's rule
)

// left is the background that one reading leaves under a hypothesis.
type left struct {
	factor int
	t      float64
	b, w   [3]float64 // value and weight (1/variance) per axis
}

// fitBackground moves the backgrounds to where a node's hypothesis leaves them:
// one level per group, with steps where the phone seems to have re-zeroed
// itself. It reports whether any moved by more than matters: those that stood in
// the last verdict may be off by some of what is open about them anyway. At first the
// levels are taken as they are with the current as planned: where they are not known yet,
// another current makes up for that, and the levels that go with it for the current.
func (e *engine) fitBackground(n *node, stood, first bool) bool {
	was := slices.Clone(n.bg)
	votes := e.levelGroups(n, first)
	moved := false
	fit := slices.Clone(n.bg)
	for i := range n.bg {
		if n.bg[i].alike(&was[i], stood) {
			n.bg[i] = was[i]
			continue
		}
		n.bg[i].snap()
		moved = true
	}
	if !stood {
		return moved
	}
	// What the readings lose by a level that is not quite the fitted one.
	for _, l := range votes {
		for a, w := range l.w {
			d := n.bg[l.factor].b[a] - fit[l.factor].b[a]
			n.bgLog += w * d * d / 2
		}
	}
	return moved
}

// levelGroups levels the backgrounds of every group that needs it by what its readings leave,
// and returns these.
func (e *engine) levelGroups(n *node, first bool) (votes []left) {
	n.bgLog = 0
	type spot struct{ cell, scale int }
	spots := make([]spot, len(e.phones))
	for p := range e.phones {
		if spots[p].cell, spots[p].scale = e.likeliest(n, p); first {
			spots[p].cell, spots[p].scale = e.expected(n, p)
		}
	}
	for g := range e.groups {
		gr := &e.groups[g]
		if !gr.settles {
			continue
		}
		var list []left
		for i, f := range e.factors {
			fr := f.frame()
			r, ok := f.(needsBackground)
			if fr.group != g || !ok {
				continue
			}
			s := spots[fr.src]
			if l, ok := e.left(n, i, r, s.cell, s.scale); ok {
				list = append(list, l)
			}
		}
		if len(list) == 0 {
			continue
		}
		slices.SortFunc(list, func(a, b left) int { return cmp.Compare(a.t, b.t) })
		n.bgLog += gr.settle(list, n.bg)
		e.levelOthers(n, g, list)
		votes = append(votes, list...)
	}
	return votes
}

// levelOthers gives the readings of a group that leave no background the level of the nearest
// in time.
func (e *engine) levelOthers(n *node, group int, list []left) {
	for i, f := range e.factors {
		if f.frame().group != group || slices.ContainsFunc(list, func(l left) bool { return l.factor == i }) {
			continue
		}
		near := list[0]
		for _, l := range list {
			if math.Abs(l.t-f.time()) < math.Abs(near.t-f.time()) {
				near = l
			}
		}
		n.bg[i] = n.bg[near.factor]
	}
}

// expected are the offset cell and the scale to expect before the backgrounds are known:
// where the sensor was said to sit, or, where nobody said, the likeliest at that scale.
func (e *engine) expected(n *node, src int) (cell, scale int) {
	scale = slices.Index(n.sc.lp, slices.Max(n.sc.lp))
	ph := e.phones[src]
	told := ph.offsets() <= fewCells
	top := math.Inf(-1)
	for c, k := range ph.cells {
		v := ph.prior[k]
		if !told {
			v += n.tot[src][c*len(n.sc.s)+scale]
		}
		if v > top {
			top, cell = v, c
		}
	}
	return cell, scale
}

// left is what a factor leaves as background with the phone's sensor in a cell and
// the current at a scale.
func (e *engine) left(n *node, factor int, r needsBackground, cell, scale int) (left, bool) {
	s := n.said[factor]
	if s.cell != cell || s.scale != scale {
		s.cell, s.scale = cell, scale
		var v [3]float64
		s.left.b, v, s.leaves = r.residual(e.fieldOf(n, factor), cell, n.sc.s[scale], &n.bg[factor], &n.sc)
		for a := range v {
			s.left.w[a] = 1 / (v[a] + driftSD*driftSD)
		}
	}
	l := s.left
	l.factor, l.t = factor, e.factors[factor].time()
	return l, s.leaves
}

// Backgrounds closer than this say the same of every reading: a hold's own drift
// is twenty times that. Those of a search need not be fitted any closer.
const (
	alikeUT    = 0.5
	alikeShare = 1.1 // of the variance with the drift
	stoodSD    = 0.5 // of what is open about a level that stood in the last verdict
	stoodShare = 1.3
)

// alike tells whether a fitted background may as well stay what it was.
func (b *background) alike(was *background, stood bool) bool {
	const drift = driftSD * driftSD
	slack, most := 0.0, alikeShare
	if stood {
		slack, most = stoodSD, stoodShare
	}
	for a := range b.b {
		share := (b.variance[a] + drift) / (was.variance[a] + drift)
		if math.Abs(b.b[a]-was.b[a]) > math.Max(alikeUT, slack*math.Sqrt(b.variance[a])) || share > most || share < 1/most {
			return false
		}
	}
	return true
}

// settle levels a group's backgrounds piece by piece and returns the log prior
// of the result: the first level against the rest, every later one against the
// level before it.
func (g *backgroundGroup) settle(list []left, bg []background) float64 {
	cuts := steps(list)
	log := 0.0
	mean := g.mean
	sd := g.sd
	for c := 0; c+1 < len(cuts); c++ {
		piece := list[cuts[c]:cuts[c+1]]
		var fit background
		for a := 0; a < 3; a++ {
			prec := 1 / (sd[a] * sd[a])
			sum := mean[a] * prec
			// Twice, the second time with readings far from the level held back.
			level, spread := sum/prec, 1/prec
			for pass := 0; pass < 2; pass++ {
				p, s := 1/(sd[a]*sd[a]), mean[a]/(sd[a]*sd[a])
				for _, l := range piece {
					w := l.w[a]
					if pass > 0 {
						if d := math.Abs(l.b[a]-level) / math.Sqrt(1/w+spread); d > heldFrom {
							w *= heldFrom / d
						}
					}
					p += w
					s += w * l.b[a]
				}
				level, spread = s/p, 1/p
			}
			fit.b[a], fit.variance[a] = level, spread
			d := (level - mean[a]) / sd[a]
			log += -d*d/2 - 0.5*math.Log(sd[a]*sd[a]/spread)
		}
		if c > 0 {
			log += math.Log(rezeroChance)
		}
		for _, l := range piece {
			bg[l.factor] = fit
		}
		mean, sd = fit.b, [3]float64{rezeroSD, rezeroSD, rezeroSD}
	}
	return log
}

// steps cuts a row of backgrounds where splitting a piece in two explains more
// than a step costs; it returns the bounds of the pieces.
func steps(list []left) []int {
	cuts := []int{0, len(list)}
	var split func(lo, hi, depth int)
	split = func(lo, hi, depth int) {
		if hi-lo < 2 || depth > 12 {
			return
		}
		at, gain := bestStep(tamed(list[lo:hi]))
		if gain <= 0 {
			return
		}
		cuts = append(cuts, lo+at)
		split(lo, lo+at, depth+1)
		split(lo+at, hi, depth+1)
	}
	split(0, len(list), 0)
	slices.Sort(cuts)
	return cuts
}

// tamed returns a piece with readings further from its middle than any phone
// re-zeroes left out of account: what nothing explains must not look like a step.
func tamed(piece []left) []left {
	out := slices.Clone(piece)
	v := make([]float64, len(piece))
	for a := 0; a < 3; a++ {
		for i := range piece {
			v[i] = piece[i].b[a]
		}
		mid := readings.Median(v)
		for i := range out {
			if math.Abs(piece[i].b[a]-mid) > mostRezero*rezeroSD {
				out[i].w = [3]float64{1e-9, 1e-9, 1e-9}
			}
		}
	}
	return out
}

// bestStep finds the cut of a piece that gains most, log units net of the
// step's own price.
func bestStep(piece []left) (at int, gain float64) {
	var w, wb [3]float64 // of everything
	for _, l := range piece {
		for a := range w {
			w[a] += l.w[a]
			wb[a] += l.w[a] * l.b[a]
		}
	}
	gain = math.Inf(-1)
	var lw, lwb [3]float64
	for k := 0; k+1 < len(piece); k++ {
		v := math.Log(rezeroChance)
		for a := range lw {
			lw[a] += piece[k].w[a]
			lwb[a] += piece[k].w[a] * piece[k].b[a]
			rw, rwb := w[a]-lw[a], wb[a]-lwb[a]
			// A step of size d with prior N(0, rezeroSD^2), seen with variance s.
			d := lwb[a]/lw[a] - rwb/rw
			s := 1/lw[a] + 1/rw
			v += d*d/2*(1/s-1/(s+rezeroSD*rezeroSD)) - 0.5*math.Log(1+rezeroSD*rezeroSD/s)
		}
		// One reading alone is no level.
		if k >= 1 && k+2 < len(piece) && v > gain {
			at, gain = k+1, v
		}
	}
	return at, gain
}

// By how much a background may lie off what is taken for it before any hold, uT, one standard
// deviation (estimates, no source): the earth's field and a phone's own error, which may be
// hundreds, where nothing is known; and after a rest in which the phone was turned otherwise,
// in the plane and along its z. What is known to better than restedSD was told by a rest.
const (
	unknownSD            = 250.0
	turnedSD, turnedUpSD = 45.0, 14.0
	restedSD             = 100.0
)

// groupFor finds or makes the background group of a phone lying one way.
func (e *engine) groupFor(src int, topDeg float64) int {
	for g := range e.groups {
		if e.groups[g].src == src && lieAlike(topDeg, e.groups[g].topDeg) {
			return g
		}
	}
	gr := backgroundGroup{src: src, topDeg: topDeg, sd: [3]float64{unknownSD, unknownSD, unknownSD}}
	if b := e.ev.restOf(src); b != nil {
		gr.mean = *b
		// Nobody knows which way the phone lay during the rest, but it lay flat.
		gr.sd = [3]float64{readings.RestSD, readings.RestSD, readings.RestSD / 2}
		for _, r := range e.ev.rests {
			if r.source == src && !lieAlike(topDeg, r.TopDeg) {
				gr.sd = [3]float64{turnedSD, turnedSD, turnedUpSD}
			}
		}
		// Rests that lie far apart, as where one was taken beside the supply, tell that much
		// less.
		for _, r := range e.ev.rests {
			for a := range gr.sd {
				if r.source == src {
					gr.sd[a] = math.Max(gr.sd[a], math.Abs(r.B[a]-gr.mean[a]))
				}
			}
		}
	}
	e.groups = append(e.groups, gr)
	return len(e.groups) - 1
}
