package verdict

import (
	"math"
	"slices"
)

// A case, or a plan that has the sensor a few millimetres off, moves it away from every
// coil at once, or nearer to all. Coils under it then seem weaker and those beside it
// stronger, or the other way, not all alike, which can look like a fault of whole
// strings, or like weak coils besides the one that is wrong. So where a fault is about to
// be told that the pad as planned, or fewer faults, would hardly explain less well, they
// are held against the readings at other heights too.

const (
	commonHeightSD = 0.002 // metres, over all holds of a check
	contested      = 25.0  // log units by which the pad as planned may fall short
	heightsWithin  = 14.0  // log units of the best that are looked at again
	mostHeights    = 16    // hypotheses that are
	manyHolds      = 60    // more than that outvote what a few have in common
)

// heights are three that stand for all (Gauss and Hermite's), in standard deviations,
// with the logs of their weights; the first is the planned one.
var heights = [...]struct{ sd, logP float64 }{
	{0, math.Log(2. / 3)}, {-math.Sqrt(3), math.Log(1. / 6)}, {math.Sqrt(3), math.Log(1. / 6)},
}

// overHeights averages the best hypotheses over heights where that matters.
func (e *engine) overHeights(list []*scored) []*scored {
	if len(list) == 0 || list[0].hyp.fine() || len(e.ev.holds)+len(e.ev.bearings) == 0 || len(e.ev.holds) > manyHolds || len(e.ev.passes) > 0 {
		return list
	}
	planned := slices.IndexFunc(list, func(s *scored) bool { return s.hyp.fine() })
	if planned < 0 {
		s := &scored{hyp: e.m.planned}
		e.score(s)
		planned = len(list)
		list = append(list, s)
	}
	simpler := slices.ContainsFunc(list, func(s *scored) bool { return len(s.hyp.faults) < len(list[0].hyp.faults) })
	if !simpler || list[planned].log < list[0].log-contested && len(list[0].hyp.faults) < 2 {
		return list
	}
	logs := make([]float64, len(list))
	for i, s := range list {
		logs[i] = s.log + heights[0].logP
	}
	best := list[0].log
	for _, h := range heights[1:] {
		at := e.res
		at.lift = h.sd * commonHeightSD
		o := e.m.newEngine(e.ev, at)
		for p := range o.phones {
			o.phones[p].view = e.phones[p].view
		}
		for i, s := range list {
			if i == planned || i < mostHeights && s.log > best-heightsWithin {
				there := &scored{hyp: s.hyp}
				o.score(there)
				logs[i] = logAdd(logs[i], there.log+h.logP)
			}
		}
	}
	for i, s := range list {
		s.log = logs[i]
	}
	slices.SortStableFunc(list, byLog)
	e.best = list[0].log
	return list
}
