package trial

import (
	"fmt"
	"math"

	"polewise/field/verdict"
)

// readByHand holds a compass needle or a hand meter over a coil's centre and
// writes down which face is up. One reading in a hundred is wrong.
func (s *session) readByHand(j int, meter bool) {
	r := s.r
	c := &s.p.coils[j]
	at := vec{c.x + r.normal(0.004), c.y + r.normal(0.004), s.p.sensorHeight(j) + r.between(0, 0.01)}
	up := s.p.field(s.amps, s.share, at)[2]
	planned := math.Abs(s.planned(j))
	face := "north"
	switch {
	case math.Abs(up) < r.between(0.15, 0.3)*planned: // the needle hardly moves
		face = "none"
	case up < 0:
		face = "south"
	}
	if r.chance(0.01) {
		was := face
		for face == was {
			face = pick(r, "north", "south", "none")
		}
		s.note("%s read wrongly as %s, is %s", c.id, face, was)
	}
	extra := ""
	if meter {
		extra = fmt.Sprintf(`,"uT":%s`, number(math.Abs(up)*(1+r.normal(0.05))+math.Abs(r.normal(5)), 0))
	}
	s.now += r.between(3, 8)
	s.write(s.now, false, `{"type":"reading","t":%s,"at":%q,"face":%q%s}`, number(s.now, 3), c.id, face, extra)
	s.hands[j] = append(s.hands[j], face)
}

// measure puts an ohmmeter across a coil, string, group or the pad. It is good
// to 1.5 percent and 0.05 ohm.
func (s *session) measure(across string) (readsAsPlanned bool) {
	r := s.r
	s.now += r.between(3, 8)
	s.across = append(s.across, across)
	celsius := ""
	warm := 20.0
	if s.tellWarm {
		warm = math.Round(s.warm + r.normal(1))
		celsius = `,"celsius":` + number(warm, 0)
	}
	is := s.wired.measure(across)
	should := s.plannedWiring().measure(across) * (1 + growPerKelvin*(warm-20))
	if math.IsInf(is, 1) {
		s.write(s.now, false, `{"type":"ohms","t":%s,"across":%q,"ohms":null%s}`, number(s.now, 3), across, celsius)
		return false
	}
	limit := 0.015*is + 0.05
	read := math.Max(0, is+math.Min(math.Max(r.normal(limit/2), -limit), limit))
	s.write(s.now, false, `{"type":"ohms","t":%s,"across":%q,"ohms":%s%s}`, number(s.now, 3), across, number(read, 2), celsius)
	return math.Abs(read-should) < 0.05+0.06*should
}

// ohmmeter measures the pad and what is below it: everything, or only what is
// suspect.
func (s *session) ohmmeter(everything bool) {
	s.tellWarm = s.r.chance(0.8)
	if s.state == "on" {
		s.drive("off", 0, 0)
	}
	s.measure("pad")
	for _, g := range s.p.groups {
		if g.id != s.p.groups[s.p.rootGroup()].id {
			s.measure("group:" + g.id)
		}
	}
	for i, str := range s.p.strings {
		suspect := !s.measure("string:" + str.id)
		for _, j := range s.wired.chain[i] { // the coils found in it
			if everything || suspect {
				s.measure("coil:" + s.p.coils[j].id)
			}
		}
	}
}

func (s *session) plannedWiring() *wired {
	w, err := s.p.build(nil, nil)
	if err != nil {
		panic("trial: " + err.Error())
	}
	return w
}

// plainHand takes the first reading of each coil for what it says.
func (s *session) plainHand() map[int]verdict.State {
	claims := map[int]verdict.State{}
	for j, faces := range s.hands {
		up := faces[0] == "north"
		switch {
		case faces[0] == "none":
			claims[j] = verdict.StateDead
		case up != s.p.coils[j].down:
			claims[j] = verdict.StateAsPlanned
		default:
			claims[j] = verdict.StateReversed
		}
	}
	return claims
}
