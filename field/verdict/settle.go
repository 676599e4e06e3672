package verdict

import "math"

// placeOf is where a phone's sensor sits as hypotheses together have it.
func (e *engine) placeOf(src int, list []*scored) (out Place) {
	p, _ := e.chances(src, list)
	out.SD = [2]float64{math.Inf(1), math.Inf(1)}
	out.moments(e.phones[src], p)
	return out
}

// passPlaceSD is how well a sensor's place has to be known, each axis, for a pass
// to be read as of a phone whose place is known, metres.
const passPlaceSD = 0.009

// settlePlaces finds sensors' places from holds before passes are read, where
// both came in: a pass of a phone whose place is known takes far less work.
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
}
