package verdict

import (
	"maps"
	"math"
	"slices"

	"polewise/field/readings"
)

// Under a phone in a case, or with a plan that has the height a few millimetres off, the sensor
// lies higher over every coil than thought, or lower. Coils under it then seem weaker and those
// beside it stronger, or the other way, and not all alike. That can look like a fault of whole
// strings, or like weak coils besides the one that is wrong. So where a fault is about to be told
// that the pad as planned, or fewer faults, would explain hardly less well, all are held against
// the readings at other heights too.

const (
	commonHeightSD = 0.002 // metres, over all holds of a check
	contested      = 25.0  // log units by which the pad as planned may fall short
	heightsWithin  = 14.0  // log units of the best that are looked at again
	mostHeights    = 16    // hypotheses that are looked at again
	manyHolds      = 60    // more holds than that outvote what a few have in common
)

// heights are the three that stand for all (Gauss-Hermite quadrature), in standard deviations, with
// the logs of their weights; the first is the planned one.
var heights = [...]struct{ sd, logP float64 }{
	{0, math.Log(2. / 3)}, {-math.Sqrt(3), math.Log(1. / 6)}, {math.Sqrt(3), math.Log(1. / 6)},
}

// overHeights averages the best hypotheses over heights where that matters: by headings alone,
// which a height moves by half a log unit, it hardly ever does.
func (e *engine) overHeights(list []*scored) []*scored {
	if len(list) == 0 || list[0].hyp.fine() || len(e.ev.holds) == 0 || len(e.ev.holds)+len(e.ev.bearings)/2 > manyHolds || len(e.ev.passes) > 0 {
		return list
	}
	planned := slices.IndexFunc(list, func(s *scored) bool { return s.hyp.fine() })
	if planned < 0 {
		s := &scored{hyp: e.m.planned}
		e.score(s)
		planned = len(list)
		list = append(list, s)
	}
	if !e.nearTheLine(list) && !e.heightMayTell(list, planned) {
		return list
	}
	there := e.atOtherHeights()
	all := make([]*lifted, len(list))
	for i, s := range list {
		all[i] = &lifted{scored: s, level: s.log}
	}
	best, asPlanned := list[0].log, all[planned]
	// First those that seem likely are looked at. What the heights do for them is put down to the
	// others like them too, or these would fall behind for want of it. Then those are looked at
	// that seem likely by that.
	for range 2 {
		for i, s := range all {
			if s.looked || s != asPlanned && (i >= mostHeights || s.log < all[0].log-heightsWithin) {
				continue
			}
			s.lookAt(there)
		}
		for _, s := range all {
			if !s.looked {
				s.log = s.level + s.like(all, best-heightsWithin)
			}
		}
		slices.SortStableFunc(all, func(a, b *lifted) int { return likelierFirst(a.scored, b.scored) })
	}
	for i, s := range all {
		list[i] = s.scored
	}
	e.best = list[0].log
	return list
}

// atOtherHeights are engines for the same evidence with the sensor at each of the other heights.
func (e *engine) atOtherHeights() (there []*engine) {
	for _, h := range heights[1:] {
		at := e.res
		at.lift = h.sd * commonHeightSD
		o := e.m.newEngine(e.ev, at)
		for p := range o.phones {
			o.phones[p].view = e.phones[p].view
		}
		there = append(there, o)
	}
	return there
}

// nearTheLine tells whether some coil is so near the line between claimed and not claimed that a
// height may decide it.
func (e *engine) nearTheLine(list []*scored) bool {
	const from, to = 0.93, 0.998
	for j, p := range e.sumUp(list, normalise(list)).coils {
		top := slices.Max(slices.Collect(maps.Values(p)))
		if from < top && top < to && e.used(j) > e.measured(j) {
			return true
		}
	}
	return false
}

// lifted is a hypothesis that is held against other heights.
type lifted struct {
	*scored
	level  float64 // its log posterior at the planned height
	looked bool    // at the others too
}

// lookAt averages a hypothesis over the heights, given engines at the others.
func (s *lifted) lookAt(there []*engine) {
	s.looked = true
	s.log = s.level + heights[0].logP
	for k, o := range there {
		t := &scored{hyp: s.hyp}
		o.score(t)
		s.log = readings.LogAdd(s.log, t.log+heights[1+k].logP)
	}
}

// like is the log units that the heights gained for the explanation most like this one, of those
// that were looked at and have no less than a least log posterior at the planned height.
func (s *lifted) like(all []*lifted, least float64) (gain float64) {
	nearest := math.MaxInt
	for _, o := range all {
		if !o.looked || o.level < least {
			continue
		}
		if d := s.hyp.differs(o.hyp); d < nearest {
			nearest, gain = d, o.log-o.level
		}
	}
	return gain
}

// heightMayTell tells whether another height may make the pad as planned, or an explanation with
// fewer faults than the best, as likely as the best. What it falls short by must then lie in
// readings where the two differ by no more than a height may do: no height turns a coil over.
func (e *engine) heightMayTell(list []*scored, planned int) bool {
	best := list[0]
	var found *node
	for i, s := range list {
		short := best.log - s.log
		if i != planned && (i >= mostHeights || len(s.hyp.faults) >= len(best.hyp.faults)) || short > contested && len(best.hyp.faults) < 2 {
			continue
		}
		if found == nil {
			found = e.nodeOf(&scored{hyp: best.hyp})
		}
		other := e.nodeOf(&scored{hyp: s.hyp})
		short -= e.heightExplains(found, other)
		e.slim(other)
		if short < heightDoubt {
			return true
		}
	}
	return false
}

// heightDoubt is how many log units, besides what a height may explain, are worth no look at other
// heights.
const heightDoubt = 9.0

// heightExplains is how many log units of what a node explains less well than another
// lie in readings whose difference a height may account for.
func (e *engine) heightExplains(better, other *node) float64 {
	const (
		times = 6.0 // a difference is left by what placement and current leave open too
		noise = 5.0 // microtesla
	)
	most := heights[2].sd * commonHeightSD
	sum := 0.0
	for i, f := range e.factors {
		src := f.frame().src
		ph := e.phones[src]
		gain := e.logOf(better, i) - e.logOf(other, i)
		if gain <= 0 {
			continue
		}
		cell, _ := e.likeliest(better, src)
		q := ph.slot[ph.middle(ph.cells[cell])]
		a, b := e.fieldOf(better, i)[q], e.fieldOf(other, i)[q]
		var gap, lift float64
		for r := range 3 {
			gap = math.Hypot(gap, a[r]-b[r])
			lift = math.Max(lift, math.Max(math.Abs(a[6+r]), math.Abs(b[6+r])))
		}
		if gap < noise+times*most*lift {
			sum += gain
		}
	}
	return sum
}
