package trial

// Condition is a way of taking readings, with the limits a judge has to keep.
type Condition struct {
	Name, Title string
	// WrongAtMost is the share of coils claimed wrongly, UndecidedAtMost that of
	// coils left open, CauseAtLeast that of faulty pads whose first cause is
	// right. Further conditions have no limits but WrongAtMost.
	WrongAtMost, UndecidedAtMost, CauseAtLeast float64
	Limited                                    bool
	record                                     func(s *session)
	supply                                     func(r random, p *pad) // changes the plan's; may be nil
}

// Conditions are those of the table, then further ones.
func Conditions() []Condition {
	return []Condition{
		{"toggled", "rest in each hold, offset known", 1.0 / 10_000, 0.01, 0.99, true, toggled, nil},
		{"one-rest", "one rest, offset known to 5 mm, steel, jumps", 1.0 / 10_000, 0.02, 0.97, true, oneRest, nil},
		{"offset-unknown", "offset unknown", 1.0 / 2_000, 0.05, 0.95, true, offsetUnknown, nil},
	}
}

// toggled: the supply is switched off and on within each hold; the offset is
// known, and in half of the captures the mark is put where the sensor sits.
func toggled(s *session) {
	if s.r.chance(0.5) {
		s.phone.offset = [2]float64{}
	}
	s.phone.tell(s.r, pick(s.r, 0.0, 0, 1, 2, 3))
	s.jump, s.jumpIn = 0.05, 0.02
	s.start()
	s.drive("off", 0, 0)
	if s.r.chance(0.5) {
		s.rest(s.r.between(1, 3))
	}
	for _, j := range s.order() {
		s.hold(j, holdOptions{spells: s.toggles()})
	}
}

// toggles are the supply's states in a hold: off and on, once or more.
func (s *session) toggles() []spell {
	off, on := s.r.between(0.8, 1.6), s.r.between(0.8, 1.6)
	var out []spell
	first, second := spell{"off", off}, spell{"on", on}
	if s.state == "on" || s.r.chance(0.1) {
		first, second = second, first
	}
	out = append(out, first, second)
	if s.r.chance(0.25) {
		out = append(out, first)
	}
	return out
}

// oneRest: a rest before the first hold, then the supply stays on.
func oneRest(s *session) {
	if s.r.chance(0.5) {
		s.phone.offset = [2]float64{}
	}
	s.phone.tell(s.r, 5)
	s.jump, s.jumpIn = 0.08, 0.03
	s.start()
	s.drive("off", 0, 0)
	s.rest(s.r.between(1.5, 4))
	s.drive("on", 0, 0)
	for _, j := range s.order() {
		s.hold(j, holdOptions{length: s.r.between(1.2, 3)})
	}
}

// offsetUnknown: nothing is said of where the sensor sits. The supply is
// toggled in the holds of half of the captures; half turn the phone for a
// second hold on some coils.
func offsetUnknown(s *session) {
	s.jump, s.jumpIn = 0.05, 0.02
	toggle, turn := s.r.chance(0.5), s.r.chance(0.5)
	s.start()
	s.drive("off", 0, 0)
	s.rest(s.r.between(1.5, 4))
	if !toggle {
		s.drive("on", 0, 0)
	}
	again := s.r.between(0.2, 1)
	for _, j := range s.order() {
		o := holdOptions{length: s.r.between(1.2, 3)}
		if toggle {
			o = holdOptions{spells: s.toggles()}
		}
		s.hold(j, o)
		if turn && s.r.chance(again) {
			o.turn = pick(s.r, 180.0, 180, 90, -90)
			if toggle {
				o.spells = s.toggles()
			}
			s.hold(j, o)
		}
	}
	s.note("toggled %v, turned %v", toggle, turn)
}
