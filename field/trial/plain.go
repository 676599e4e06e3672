package trial

import (
	"math"

	"polewise/field/verdict"
)

// plain scores what a person does without a program: over each coil, the sign
// of the reading with the supply on minus that with it off, along z. Too little
// of it (a tenth of the planned field) is called dead. Where nothing was read
// with the supply off, the reading itself is taken. It tells nothing of weak
// coils, so a weak coil that faces as planned is counted as right when that is
// said. Only coils it has a reading over count.
func (c *Case) plain() (wrong, of int) {
	s := c.session
	var claims map[int]verdict.State
	switch {
	case s.route == "hand":
		claims = s.plainHand()
	case s.route == "heading":
		claims = s.plainHeading()
	default:
		claims = s.plainHold()
	}
	for j, t := range c.Truth.Coils {
		got, ok := claims[j]
		if !ok {
			continue
		}
		of++
		is := t.State
		if is == verdict.StateWeak || is == verdict.StateAsPlanned {
			is = verdict.StateAsPlanned
		}
		if t.State != verdict.StateDead && t.Current < 0 {
			is = verdict.StateReversed
		}
		if got != is {
			wrong++
		}
	}
	return wrong, of
}

type meanOf struct{ sum, n float64 }

func (m *meanOf) add(x float64) { m.sum += x; m.n++ }
func (m meanOf) mean() float64 {
	if m.n == 0 {
		return math.NaN()
	}
	return m.sum / m.n
}

func (s *session) signed(j int, z, share float64) verdict.State {
	planned := s.planned(j) * share
	switch {
	case math.Abs(z) < 0.1*math.Abs(planned):
		return verdict.StateDead
	case z*planned > 0:
		return verdict.StateAsPlanned
	}
	return verdict.StateReversed
}

// planned is the field along z the plan promises over a coil.
func (s *session) planned(j int) float64 {
	w, err := s.p.build(nil, nil)
	if err != nil {
		panic("trial: " + err.Error())
	}
	f := w.drive()
	c := &s.p.coils[j]
	return s.p.field(f.amps, f.share, vec{c.x, c.y, s.p.sensorHeight(j)})[2]
}

func (s *session) plainHold() map[int]verdict.State {
	var rest meanOf
	on, off := map[int]*meanOf{}, map[int]*meanOf{}
	at := func(m map[int]*meanOf, j int) *meanOf {
		if m[j] == nil {
			m[j] = &meanOf{}
		}
		return m[j]
	}
	share := 1.0
	for _, x := range s.samples {
		switch {
		case x.stop < 0:
			if x.drive == "off" || x.drive == "" {
				rest.add(x.uT[2])
			}
			continue
		case s.stops[x.stop].along != nil:
			st := s.stops[x.stop]
			// the coil it would be over at an even speed
			u := (x.t - st.t0) / (st.t1 - st.t0) * float64(len(st.along)-1)
			k := math.Round(u)
			if math.Abs(u-k) < 0.2 {
				at(on, st.along[int(k)]).add(x.uT[2])
			}
			continue
		}
		j := s.stops[x.stop].coil
		if x.drive == "off" || x.drive == "" {
			at(off, j).add(x.uT[2])
		} else {
			at(on, j).add(x.uT[2])
		}
		if x.drive == "pulse" {
			share = s.duty
		}
	}
	claims := map[int]verdict.State{}
	for j, m := range on {
		base := 0.0
		switch {
		case off[j] != nil:
			base = off[j].mean()
		case rest.n > 0:
			base = rest.mean()
		}
		claims[j] = s.signed(j, m.mean()-base, share)
	}
	return claims
}
