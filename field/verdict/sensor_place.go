package verdict

import (
	"math"
	"slices"

	"polewise/field/readings"

	"gonum.org/v1/gonum/spatial/r2"
)

// Where a phone's sensor sits, as all hypotheses together have it.

// placeOf is the place of a phone's sensor by a list of hypotheses.
func (e *engine) placeOf(src int, list []*scored) (out Place) {
	p, _ := e.chances(src, list)
	out.SD = [2]float64{math.Inf(1), math.Inf(1)}
	out.moments(e.phones[src], p)
	return out
}

// passPlaceSD is how well a sensor's place has to be known, each axis, for a pass
// to be read as of a phone whose place is known, metres.
const passPlaceSD = 0.009

// settlePlaces finds the places of sensors from holds before passes are aligned, where a phone
// read both and its place is not known: aligning then takes far less work.
func (m *Model) settlePlaces(ev *evidence) {
	unsure := func(src int) bool {
		s := &ev.sources[src]
		return math.Max(s.sd[0], s.sd[1]) > passPlaceSD
	}
	held := map[int]bool{}
	for i := range ev.holds {
		held[ev.holds[i].source] = true
	}
	passes := ev.passes
	ev.passes = nil
	var e *engine
	var list []*scored
	for i := range passes {
		src := passes[i].source
		if !held[src] || !unsure(src) {
			continue
		}
		if e == nil {
			e = m.newEngine(ev, fineCells)
			list = e.search()
		}
		if place := e.placeOf(src, list); math.Max(place.SD[0], place.SD[1]) <= passPlaceSD {
			s := &ev.sources[src]
			s.offset, s.sd = place.Offset, place.SD
		}
	}
	ev.passes = passes
	m.leaveTurning(ev)
}

// How far beside a way that turns the sensor may have gone and still tell the coils apart, one
// standard deviation, as a share of half a coil.
const (
	mostAside    = 0.35 // over the whole way
	mostAsideLeg = 0.25 // on any leg, where it is not known well where the sensor sits
)

// leaveTurning leaves out passes whose way turns so far that the sensor may have gone anywhere
// beside it.
func (m *Model) leaveTurning(ev *evidence) {
	ev.passes = slices.DeleteFunc(ev.passes, func(d passDigest) bool {
		var square, length, most float64
		src := &ev.sources[d.source]
		for i := 1; i < len(d.path); i++ {
			leg := r2.Sub(d.path[i], d.path[i-1])
			aside := d.asideSD(src, r2.Unit(leg))
			square += aside * aside * r2.Norm(leg)
			length += r2.Norm(leg)
			most = max(most, aside)
		}
		half, told := leastHalf(m.plan, d.coils), max(src.sd[0], src.sd[1]) <= passPlaceSD
		if math.Sqrt(square/length) <= mostAside*half && (told || most <= mostAsideLeg*half) {
			return false
		}
		ev.lose(d.coils...)
		ev.note("The pass from %s turns, and where its sensor went is not known well enough for such coils. Draw the phone along straight rows.", d.label)
		return true
	})
}

// chances are how likely the sensor sits in each of a phone's cells in play, by all hypotheses
// together; and the node of the best one.
func (e *engine) chances(src int, list []*scored) (p []float64, first *node) {
	weights := normalise(list)
	p = make([]float64, len(e.phones[src].cells))
	for i, s := range list[:min(len(list), maxLocated)] {
		if weights[i] < locatedShare {
			break
		}
		n := e.evaluate(&scored{hyp: s.hyp})
		if first == nil {
			first = n
		}
		logs, total := e.cellLogs(n, src), math.Inf(-1)
		for _, l := range logs {
			total = readings.LogAdd(total, l)
		}
		for c, l := range logs {
			p[c] += weights[i] * math.Exp(l-total)
		}
	}
	return p, first
}
