package verdict

import "math"

// placeOf is where a phone's sensor sits as hypotheses together have it.
func (e *engine) placeOf(src int, list []*scored) (out Place) {
	p, _ := e.chances(src, list)
	out.SD = [2]float64{math.Inf(1), math.Inf(1)}
	out.moments(e.phones[src], p)
	return out
}

// A pass says how coils face only where the sensor's place is known well enough:
// an unknown one can be made to fit a row of coils that face otherwise.
const passPlaceSD = 0.009 // metres

// settlePlaces finds the sensors' places from holds before passes are read, and
// leaves out the passes of phones whose place stays unknown.
func (m *Model) settlePlaces(ev *evidence) {
	unsure := func(src int) bool {
		s := &ev.sources[src]
		return math.Max(s.sd[0], s.sd[1]) > passPlaceSD
	}
	var passes, kept []passDigest
	for i := range ev.passes {
		if unsure(ev.passes[i].source) {
			passes = append(passes, ev.passes[i])
		} else {
			kept = append(kept, ev.passes[i])
		}
	}
	if len(passes) == 0 {
		return
	}
	ev.passes = kept
	held := map[int]bool{}
	for i := range ev.holds {
		held[ev.holds[i].source] = true
	}
	var e *engine
	var list []*scored
	for i := range passes {
		src := passes[i].source
		if held[src] && unsure(src) {
			if e == nil {
				e = m.newEngine(ev, fineCells)
				list = e.search()
			}
			if place := e.placeOf(src, list); math.Max(place.SD[0], place.SD[1]) <= passPlaceSD {
				s := &ev.sources[src]
				s.offset, s.sd = place.Offset, place.SD
			}
		}
		if unsure(src) {
			ev.note("The pass from %s is left out: nobody knows where in the phone its sensor sits. Find the sensor first, or lay the phone on two coils.", passes[i].label)
			continue
		}
		ev.passes = append(ev.passes, passes[i])
	}
}
