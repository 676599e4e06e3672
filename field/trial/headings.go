package trial

import (
	"math"

	"polewise/field/verdict"
)

// headings: a compass put down on two opposite sides of every coil, with the
// supply off and then on.
func (s *session) headings() {
	s.route = "heading"
	r := s.r
	s.lag = r.between(0.4, 1.2)
	if r.chance(0.15) {
		s.lag = r.between(1.2, 2)
	}
	s.bearingSD = r.between(0.3, 1.2)
	s.degStep = pick(r, 0.1, 0.1, 1, 1, 0.5)
	s.gyro = r.chance(0.5)
	s.gyroDrift = r.normal(0.02)
	s.start()
	s.drive("off", 0, 0)
	// East and west of a coil its pull turns the needle most; people know that,
	// but not always where north is.
	north := s.bench.earth
	across := math.Abs(north[1]) > math.Abs(north[0]) // sides along x
	if r.chance(0.2) {
		across = r.chance(0.5)
	}
	read := func(j int, o holdOptions) {
		o.spells = []spell{{"off", r.between(2.5, 4)}, {"on", r.between(2.5, 4)}}
		s.hold(j, o)
	}
	s.take = func(j int, o holdOptions) {
		if o.shift == nil { // asked for without a word on it: beside it as before
			shift := s.beside(j, across, 1, r.between(0.005, 0.02))
			o.shift = &shift
		}
		read(j, o)
	}
	for _, j := range s.order() {
		sides := [2]float64{1, -1}
		if r.chance(0.5) {
			sides = [2]float64{-1, 1}
		}
		for _, side := range sides {
			shift := s.beside(j, across, side, r.between(0.005, 0.02))
			read(j, holdOptions{shift: &shift})
		}
	}
	s.note("lag %.1f s, heading in steps of %.1f deg, turned_deg %v", s.lag, s.degStep, s.gyro)
}

// beside is how far to put the mark from a coil's centre so that the sensor, as
// far as its place is known, lies so far outside the copper.
func (s *session) beside(coil int, across bool, side, outside float64) [2]float64 {
	c := &s.p.coils[coil]
	hx, hy := c.kind.half()
	sin, cos := math.Sincos(c.turned)
	place := [2]float64{0, side * (math.Abs(sin)*hx + math.Abs(cos)*hy + outside)}
	if c.kind.shape == "round" {
		place[1] = side * (hx + outside)
	}
	if across {
		place = [2]float64{side * (math.Abs(cos)*hx + math.Abs(sin)*hy + outside), 0}
		if c.kind.shape == "round" {
			place[0] = side * (hx + outside)
		}
	}
	if s.phone.told != nil {
		o := vec{s.phone.told[0] * 1e-3, s.phone.told[1] * 1e-3, 0}.turned(s.phone.topDeg * math.Pi / 180)
		place[0] -= o[0]
		place[1] -= o[1]
	}
	return [2]float64{math.Round(place[0]*1e3) * 1e-3, math.Round(place[1]*1e3) * 1e-3}
}

// plainHeading is what a person makes of a turned needle: whether it went the
// way the plan says, on both sides together. Less than three degrees is dead.
func (s *session) plainHeading() map[int]verdict.State {
	w, err := s.p.build(nil, nil)
	if err != nil {
		panic("trial: " + err.Error())
	}
	plan := w.drive()
	type needle struct{ sin, cos float64 }
	mean := make([]map[string]*needle, len(s.stops)) // by state of the supply
	for i := range mean {
		mean[i] = map[string]*needle{}
	}
	began := map[int]float64{} // of each stop's present spell
	state := map[int]string{}
	for _, x := range s.samples {
		if x.stop < 0 {
			continue
		}
		if state[x.stop] != x.drive {
			state[x.stop], began[x.stop] = x.drive, x.t
		}
		if x.t < began[x.stop]+1.5 { // the needle still turns
			continue
		}
		n := mean[x.stop][x.drive]
		if n == nil {
			n = &needle{}
			mean[x.stop][x.drive] = n
		}
		sin, cos := math.Sincos(x.deg * math.Pi / 180)
		n.sin, n.cos = n.sin+sin, n.cos+cos
	}
	agree, turned := map[int]float64{}, map[int]float64{}
	claims := map[int]verdict.State{}
	for i, st := range s.stops {
		off, on := mean[i]["off"], mean[i]["on"]
		if off == nil || on == nil {
			continue
		}
		h0 := math.Atan2(off.sin, off.cos)
		went := math.Remainder(math.Atan2(on.sin, on.cos)-h0, 2*math.Pi)
		var o vec
		if s.phone.told != nil {
			o = vec{s.phone.told[0] * 1e-3, s.phone.told[1] * 1e-3, 0}
		}
		top := s.phone.topDeg * math.Pi / 180
		c := &s.p.coils[st.coil]
		at := vec{c.x + st.shift[0], c.y + st.shift[1], s.p.sensorHeight(st.coil)}.plus(o.turned(top))
		north := vec{-math.Sin(h0), math.Cos(h0), 0}.times(25) // level part of the earth's field, phone frame
		both := north.plus(s.p.field(plan.amps, plan.share, at).turned(-top))
		should := math.Remainder(math.Atan2(-both[0], both[1])-h0, 2*math.Pi)
		if should < 0 {
			went = -went
		}
		agree[st.coil] += went
		turned[st.coil] = math.Max(turned[st.coil], math.Abs(went))
	}
	for j := range turned {
		switch {
		case turned[j] < 3*math.Pi/180:
			claims[j] = verdict.StateDead
		case agree[j] > 0:
			claims[j] = verdict.StateAsPlanned
		default:
			claims[j] = verdict.StateReversed
		}
	}
	return claims
}
