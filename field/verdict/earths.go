package verdict

import (
	"math"
	"slices"
)

// A heading tells the pad's field only against the earth's. Nobody knows how strong that is where
// the pad lies: a few values stand for all. By headings alone they take the place of the scales of
// the current, and those that nothing goes with are left out.

// earth is a horizontal field of the earth, and how likely it is.
type earth struct{ uT, p float64 }

// earthNodes are those in play.
type earthNodes struct {
	list   []earth
	coarse bool // some of them stand for two of earths
}

// earths are the horizontal fields that a compass may feel: 10 to 42 uT is the earth's (World
// Magnetic Model 2025 over the surface), evenly spread on a log scale. More than that is steel in
// the bench, or a phone that never took its own magnetism out.
var earths = []earth{
	{11.3, 0.92 / 6}, {14.3, 0.92 / 6}, {18.2, 0.92 / 6},
	{23.1, 0.92 / 6}, {29.4, 0.92 / 6}, {37.3, 0.92 / 6},
	{49, 0.02}, {65, 0.02}, {140, 0.02}, {320, 0.02},
}

// How far the earth's field over a hold may lie off the value that stands for it, one standard
// deviation as a share of it.
const (
	earthSpreadSD = 0.15 // steel nearby, and the step from one value to the next
	earthStepSD   = 0.12 // besides, where one stands for two
)

// onlyBearings tells whether headings are all that was read by phone. Current and earth's field
// then show by their ratio alone, and the scales stand for the earth's field.
func (ev *evidence) onlyBearings() bool {
	return len(ev.bearings) > 0 && len(ev.holds) == 0 && len(ev.passes) == 0
}

// earthScales are the scales of evidence by headings alone, one for each of the earth's fields. The
// current is taken to be as planned, unless the supply shows another.
func (e *engine) earthScales(h *hypothesis) scales {
	sc := scales{s: make([]float64, len(e.earths.list)), lp: make([]float64, len(e.earths.list)), sd: math.Hypot(earthSpreadSD, scaleSD), earths: e.earths.list}
	if e.earths.coarse {
		sc.sd = math.Hypot(sc.sd, earthStepSD)
	}
	display, share := 0.0, 1.0
	if r, ok := e.setOtherwise(h); ok || e.ev.firstShare() != 1 {
		share = r
	}
	if n := len(e.ev.amps); n > 0 {
		if a := e.ev.amps[n-1]; h.currents().PadAmps > 0 {
			display = scalePrior(a.amps/h.currents().PadAmps*e.ev.firstShare()) - math.Log(h.currents().PadAmps)
		} else { // nothing flows, whatever is set
			display = logNormal(a.amps, 0, a.sd())
		}
	}
	for i, n := range e.earths.list {
		sc.s[i] = share / n.uT
		sc.lp[i] = math.Log(n.p) + display
	}
	sc.setKey()
	return sc
}

// Bounds on the earth's fields that stay in play, log units.
const (
	earthWithin = 6.0 // of the likeliest, under the same base
	earthsAlike = 0.7 // odds between two that may be taken for one
	earthsStay  = 1.4 // odds between two that may stay so
	farPerOdds  = 5.0 // for each so much that a base is less likely than the best, odds count for one less
)

// narrowEarths leaves out the earth's fields that none of the bases worth growing from goes with,
// and takes two neighbours for one where it makes no odds: close to strong coils a needle hardly
// feels the earth. Where those that the last verdict left serve nearly as well they stay, since
// what is known was said for them.
func (e *engine) narrowEarths(bases []*node) {
	all := e.earths.list
	from, to, odds := e.earthsNeeded(bases)
	if from >= to {
		return
	}
	var left []earthSpan
	for m := from; m < to; m++ {
		s := earthSpan{m, m + 1}
		if m+1 < to && odds[m] < earthsAlike && all[m].p == all[m+1].p && !e.earths.coarse {
			s.to++
			m++
		}
		left = append(left, s)
	}
	of := earthsKey{step: e.res.step, all: nameOfEarths(all)}
	if last := e.m.earths[of]; staysFor(last, left, odds) {
		left = last
	}
	e.m.earths[of] = left
	nodes := earthNodes{coarse: e.earths.coarse || len(left) < left[len(left)-1].to-left[0].from}
	for _, s := range left {
		n := all[s.from]
		if o := all[s.to-1]; s.to-s.from > 1 {
			n = earth{math.Sqrt(n.uT * o.uT), n.p + o.p}
		}
		nodes.list = append(nodes.list, n)
	}
	e.earths = nodes
}

// earthsNeeded are the earth's fields, from one to before another, that any of the bases worth
// growing from goes with; and for each the most log units that any base tells it from the one
// after it by.
func (e *engine) earthsNeeded(bases []*node) (from, to int, odds []float64) {
	best := likeliestOf(bases)
	from = len(e.earths.list)
	odds = make([]float64, from)
	odds[from-1] = math.Inf(1)
	for _, n := range bases {
		if n.log < best-baseWithin {
			continue
		}
		each := make([]float64, len(n.sc.s))
		for m := range each {
			each[m] = e.totalAt(e.wholeCells, n.tot, &n.sc, m)
		}
		top := slices.Max(each)
		for m, v := range each {
			if v > top-earthWithin {
				from, to = min(from, m), max(to, m+1)
			}
			if m > 0 {
				odds[m-1] = max(odds[m-1], math.Abs(v-each[m-1])-(best-n.log)/farPerOdds)
			}
		}
	}
	return from, to, odds
}

// earthSpan is one field of the earth, or two taken for one: from one in a list to before another.
type earthSpan struct{ from, to int }

// earthsLeft are those that stayed in play in the last verdict.
type earthsLeft map[earthsKey][]earthSpan

// earthsKey says of which list they are, and for which size of the sensor's cells.

type earthsKey struct {
	step float64
	all  key
}

// nameOfEarths is equal for equal lists.
func nameOfEarths(list []earth) key {
	k := newKey()
	for _, n := range list {
		k.add(n.uT)
	}
	return k
}

// staysFor tells whether fields left by the last verdict serve for those needed now: they reach as
// far, are hardly more, and none of them takes two for one that are told apart.
func staysFor(last, need []earthSpan, odds []float64) bool {
	if len(last) == 0 || len(last) > len(need)+1 {
		return false
	}
	from, to := need[0].from, need[len(need)-1].to
	if last[0].from > from || last[len(last)-1].to < to {
		return false
	}
	return !slices.ContainsFunc(last, func(s earthSpan) bool {
		return s.to-s.from > 1 && odds[s.from] >= earthsStay && s.to > from && s.from < to
	})
}
