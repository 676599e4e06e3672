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

// backgroundGroup is the readings of one phone lying one way, which share a background, with what
// is known of that before any hypothesis: from rests if there are any.
type backgroundGroup struct {
	src    int
	topDeg float64
	mean   [3]float64
	sd     [3]float64
	toFit  bool // some hold of it does not tell its own background
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
	mostRezero   = 3.5  // times that: a phone re-zeroes itself by no more
	heldFrom     = 2.5  // standard deviations from the level beyond which a reading counts for less, by Huber's rule
)

// left is the background that one reading leaves: what is left of it without the pull that a
// hypothesis expects.
type left struct {
	factor int
	t      float64
	b, w   [3]float64 // value and weight (1/variance) per axis
}

// fitBackground moves the backgrounds to where a node's hypothesis leaves them: one level per
// group, with steps where the phone seems to have re-zeroed itself. It reports whether any moved
// by more than matters. Those that stood since the last verdict may lie off by part of what is
// open about them. If planned, the levels are those left with the current as planned. That is
// for the first round: while levels are not known, a wrong current may make up for them, and
// they would then be fitted to it.
func (e *engine) fitBackground(n *node, stood, planned bool) (moved bool) {
	was := slices.Clone(n.bg)
	votes := e.levelGroups(n, planned)
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
	// What the readings lose by a level that is not quite the fitted one counts.
	for _, l := range votes {
		for a, w := range l.w {
			d := n.bg[l.factor].b[a] - fit[l.factor].b[a]
			n.bgLog += w * d * d / 2
		}
	}
	return moved
}

// levelGroups sets the backgrounds of every group that is to be fitted by what its readings leave,
// and returns what they leave.
func (e *engine) levelGroups(n *node, planned bool) (votes []left) {
	n.bgLog = 0
	type spot struct{ cell, scale int }
	spots := make([]spot, len(e.phones))
	for p := range e.phones {
		if spots[p].cell, spots[p].scale = e.likeliest(n, p); planned {
			spots[p].cell, spots[p].scale = e.expected(n, p)
		}
	}
	for g := range e.groups {
		gr := &e.groups[g]
		if !gr.toFit {
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

// expected are the offset cell and the scale to expect before the backgrounds are known: the scale
// with the greatest prior, and where the sensor was told to sit or, where nobody told, the cell
// that is likeliest at that scale.
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

// left is what a factor leaves as background with the phone's sensor in a cell and the current at
// a scale, if it leaves one.
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

// How close a fitted background may lie to what it was to stay so. A hold's own drift is twenty
// times alikeUT, so every reading says the same of both.
const (
	alikeUT    = 0.5 // uT
	alikeShare = 1.1 // by which the variances, drift included, may differ
	// Of one that stood since the last verdict: standard deviations, and the like share.
	stoodSD    = 0.5
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

// settle sets a group's backgrounds, one level for each piece between two steps, and returns the
// log prior of the result: of the first level by what is known of the group, of every later one
// by the level before it.
func (g *backgroundGroup) settle(list []left, bg []background) (log float64) {
	cuts := steps(list)
	mean, sd := g.mean, g.sd
	for c := 0; c+1 < len(cuts); c++ {
		piece := list[cuts[c]:cuts[c+1]]
		var fit background
		for a := range fit.b {
			level, spread := levelOf(piece, a, mean[a], sd[a])
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

// levelOf is the level of one axis of a piece, and its variance, given mean and standard deviation
// before these readings. It is worked out twice, the second time with readings far from the
// level counting for less.
func levelOf(piece []left, axis int, mean, sd float64) (level, variance float64) {
	for again := range 2 {
		p, s := 1/(sd*sd), mean/(sd*sd)
		for _, l := range piece {
			w := l.w[axis]
			if again > 0 {
				if d := math.Abs(l.b[axis]-level) / math.Sqrt(1/w+variance); d > heldFrom {
					w *= heldFrom / d
				}
			}
			p += w
			s += w * l.b[axis]
		}
		level, variance = s/p, 1/p
	}
	return level, variance
}

// steps cuts what readings leave, in order of time, where splitting a piece in two explains more
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

// tamed is a piece in which readings further from its middle than any phone re-zeroes count for
// nothing: what nothing explains must not look like a step.
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

// bestStep finds the cut of a piece that gains most: log units, less the price of a step.
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

// How well a background is known before any hold, uT, one standard deviation (estimates, no
// source).
const (
	unknownSD            = 250.0      // without a rest: the earth's field and a phone's own error, which may be hundreds
	turnedSD, turnedUpSD = 45.0, 14.0 // after a rest with the phone turned otherwise: in the plane, and along its z
	restedSD             = 100.0      // what is known to better than this was told by a rest
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
		gr.mean, gr.sd = *b, e.ev.restSD(src, topDeg, *b)
	}
	e.groups = append(e.groups, gr)
	return len(e.groups) - 1
}

// restSD is how well the middle of a phone's rests tells its background as it lies one way. Rests
// that lie far apart, as where one was taken beside the supply, tell that much less.
func (ev *evidence) restSD(src int, topDeg float64, middle [3]float64) [3]float64 {
	// Nobody knows which way the phone lay during the rest, but it lay flat.
	sd := [3]float64{readings.RestSD, readings.RestSD, readings.RestSD / 2}
	var apart [3]float64
	for _, r := range ev.rests {
		if r.source != src {
			continue
		}
		if !lieAlike(topDeg, r.TopDeg) {
			sd = [3]float64{turnedSD, turnedSD, turnedUpSD}
		}
		for a := range apart {
			apart[a] = math.Max(apart[a], math.Abs(r.B[a]-middle[a]))
		}
	}
	for a := range sd {
		sd[a] = math.Max(sd[a], apart[a])
	}
	return sd
}
