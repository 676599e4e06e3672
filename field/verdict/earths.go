package verdict

import (
	"math"
	"slices"
)

// Which horizontal fields of the earth a needle may feel, and which of them stay in play. By
// headings alone they stand in for the scales of the current.

// earth is a horizontal field of the earth, and how likely it is.
type earth struct{ uT, p float64 }

// earthNodes are those in play; coarse: some stand for two.
type earthNodes struct {
	list   []earth
	coarse bool
}

// earths are the horizontal fields a compass may feel: 10 to 42 uT is the
// earth's (World Magnetic Model 2025 over the surface), evenly spread on a log
// scale; more than that is steel in the bench, or a phone that never took its own
// magnetism out.
var earths = []earth{
	{11.3, 0.92 / 6}, {14.3, 0.92 / 6}, {18.2, 0.92 / 6},
	{23.1, 0.92 / 6}, {29.4, 0.92 / 6}, {37.3, 0.92 / 6},
	{49, 0.02}, {65, 0.02}, {140, 0.02}, {320, 0.02},
}

// earthSpreadSD is by how much, relatively, the earth's field differs from the
// common one from hold to hold: steel, and the width of a node.
const earthSpreadSD = 0.15

// earthStepSD is what that widens by where a node stands for two.
const earthStepSD = 0.12

// onlyBearings tells whether headings are all that was read by phone. Current
// and earth's field then come in by their ratio only, and the nodes of the scale
// stand for the earth's field.
func (ev *evidence) onlyBearings() bool {
	return len(ev.bearings) > 0 && len(ev.holds) == 0 && len(ev.passes) == 0
}

// earthScales are the scales of evidence by headings alone: the current's share of
// the plan is taken as one unless the supply shows another.
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
	sc.name()
	return sc
}

// Bounds on the earth's fields that stay in play, log units.
const (
	earthWithin = 6.0 // of the likeliest, of the same beginning
	earthsAlike = 0.7 // between two that may be taken for one
	earthsStay  = 1.4 // between two that may stay so
	farPerOdds  = 5.0 // a beginning so much less likely needs odds of one more to count
)

// narrowEarths leaves out the earth's fields that none of the beginnings goes with, of
// those worth growing from; and takes two and two for one where they make no odds: close
// to strong coils a needle hardly feels the earth. Where those that the last verdict left
// serve nearly as well, they stay: what is known stands for them.
func (e *engine) narrowEarths(beginnings []*node) {
	best := likeliestOf(beginnings)
	all := e.earths.list
	from, to := len(all), 0
	odds := make([]float64, len(all)) // between each and the one after it
	odds[len(all)-1] = math.Inf(1)
	for _, n := range beginnings {
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

// earthSpan is one field of the earth, or two taken for one: from one to before another.
type earthSpan struct{ from, to int }

// earthsLeft are those that stayed in play in the last verdict, of all that there were, by
// the size of the sensor's cells.
type earthsLeft map[earthsKey][]earthSpan

type earthsKey struct {
	step float64
	all  key
}

func nameOfEarths(list []earth) key {
	k := newKey()
	for _, n := range list {
		k.add(n.uT)
	}
	return k
}

// staysFor tells whether fields left before serve for those needed now: they reach as far,
// are hardly more, and none of them takes two for one where that makes odds.
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
