package trial

import "math"

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
		{"pulsed", "pulsed", 1.0 / 5_000, 0.03, 0.96, true, pulsed, pulsedSupply},
		{"passes", "one pass per row", 1.0 / 2_000, 0.05, 0.95, true, passes, nil},
		{"headings", "headings", 1.0 / 1_000, 0.08, 0.90, true, headingsTold, nil},
		{"hand", "hand and ohms", 1.0 / 1_000, 0.10, 0.90, true, handAndOhms, nil},

		{"no-rest", "no rest at all", 1.0 / 1_000, 1, 0, false, noRest, nil},
		{"rough", "clipped, frozen, gaps, muddled, jumps", 1.0 / 1_000, 1, 0, false, rough, nil},
		{"passes-slow", "one pass per row, a sensor that follows slowly", 1.0 / 2_000, 1, 0, false, passesSlow, nil},
		{"passes-unknown", "one pass per row, offset unknown", 1.0 / 2_000, 0.05, 0.95, false, passesUnknown, nil},
		{"headings-unknown", "headings, offset unknown", 1.0 / 1_000, 1, 0, false, headingsUnknown, nil},
		{"mixed", "some holds, some by hand, ohms, offset unknown", 1.0 / 1_000, 1, 0, false, mixed, nil},
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
	s.take = s.takeToggled
	for _, j := range s.order() {
		s.take(j, holdOptions{})
	}
}

// takeToggled holds a coil with the supply switched in between.
func (s *session) takeToggled(j int, o holdOptions) {
	o.spells = s.toggles()
	s.hold(j, o)
}

// takeOn holds a coil with the supply on all the time.
func (s *session) takeOn(j int, o holdOptions) {
	if s.state != "on" {
		s.drive("on", 0, 0)
	}
	o.length = s.r.between(1.2, 3)
	s.hold(j, o)
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
	s.take = s.takeOn
	for _, j := range s.order() {
		s.take(j, holdOptions{})
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
	s.take = s.takeToggled
	if !toggle {
		s.take = s.takeOn
		s.drive("on", 0, 0)
	}
	again := s.r.between(0.2, 1)
	for _, j := range s.order() {
		s.take(j, holdOptions{})
		if turn && s.r.chance(again) {
			s.take(j, holdOptions{turn: pick(s.r, 180.0, 180, 90, -90)})
		}
	}
	s.note("toggled %v, turned %v", toggle, turn)
}

// pulsedSupply makes the plan's drive pulsed.
func pulsedSupply(r random, p *pad) {
	p.supply.pulsed = true
	p.supply.hz = math.Round(r.logBetween(0.5, 12)*100) / 100
	if r.chance(0.5) { // what a dial offers
		p.supply.hz = pick(r, 0.5, 1.0, 2, 3, 4, 5, 7.83, 8, 10, 12)
	}
	p.supply.duty = math.Round(r.between(0.1, 0.9)*100) / 100
}

// pulsed: the supply pulses all through, of unknown phase; most captures begin
// with a rest.
func pulsed(s *session) {
	if s.r.chance(0.5) {
		s.phone.offset = [2]float64{}
	}
	s.phone.tell(s.r, 5)
	s.jump, s.jumpIn = 0.05, 0.02
	s.start()
	if s.r.chance(0.6) {
		s.drive("off", 0, 0)
		s.rest(s.r.between(1.5, 4))
	}
	s.drive("pulse", s.p.supply.hz, s.p.supply.duty)
	s.take = func(j int, o holdOptions) {
		if s.state != "pulse" {
			s.drive("pulse", s.p.supply.hz, s.p.supply.duty)
		}
		o.length = s.r.between(2.5, 5)
		s.hold(j, o)
	}
	for _, j := range s.order() {
		s.take(j, holdOptions{})
	}
	s.note("pulses %.2f Hz, duty %.2f", s.p.supply.hz, s.p.supply.duty)
}

// passes: a rest, then the phone is drawn along every row once.
func passes(s *session) {
	if s.r.chance(0.5) {
		s.phone.offset = [2]float64{}
	}
	s.phone.tell(s.r, 5)
	s.restAndPass()
}

// passesSlow: what the sensor reads comes a tenth of a second to three tenths late, and
// blurred.
func passesSlow(s *session) {
	s.phone.slow = s.r.between(0.1, 0.3)
	s.note("follows with %.2f s", s.phone.slow)
	passes(s)
}

func passesUnknown(s *session) { s.restAndPass() }

func (s *session) restAndPass() {
	s.jump, s.jumpIn = 0.05, 0.02
	s.start()
	s.drive("off", 0, 0)
	s.rest(s.r.between(1.5, 4))
	s.drive("on", 0, 0)
	s.passRows()
	s.take = s.takeOn
}

func headingsTold(s *session) {
	s.phone.tell(s.r, 5)
	s.headings()
}

func headingsUnknown(s *session) { s.headings() }

// handAndOhms: every coil read twice by hand, then the ohmmeter.
func handAndOhms(s *session) {
	s.route = "hand"
	s.start()
	s.now = 5
	s.drive("on", 0, 0)
	meter := s.r.chance(0.2)
	s.take = func(j int, _ holdOptions) {
		if s.state != "on" {
			s.drive("on", 0, 0)
		}
		s.readByHand(j, meter)
	}
	for range 2 {
		for _, j := range s.order() {
			s.take(j, holdOptions{})
		}
	}
	s.ohmmeter(s.r.chance(0.6))
}

// noRest: the supply is on from first to last.
func noRest(s *session) {
	if s.r.chance(0.5) {
		s.phone.offset = [2]float64{}
	}
	s.phone.tell(s.r, 5)
	s.jump, s.jumpIn = 0.05, 0.02
	s.start()
	s.drive("on", 0, 0)
	for _, j := range s.order() {
		s.hold(j, holdOptions{length: s.r.between(1.2, 3)})
	}
}

// rough: everything a phone and a person can do to readings.
func rough(s *session) {
	s.rough = true
	ph := &s.phone
	switch s.r.IntN(3) {
	case 0:
		ph.offset = [2]float64{}
		ph.tell(s.r, 5)
	case 1:
		ph.tell(s.r, 5)
	}
	ph.freeze, ph.gap, ph.jitter = s.r.between(0.02, 0.10), s.r.between(0.005, 0.03), s.r.between(0.005, 0.03)
	ph.white = s.r.logBetween(0.3, 1.5)
	if s.r.chance(0.3) {
		ph.bias = s.r.direction().times(s.r.between(200, 700))
	}
	most := 0.0
	for j := range s.p.coils {
		most = math.Max(most, math.Abs(s.planned(j)))
	}
	clipped := s.r.chance(0.5)
	if clipped { // below what is there to read, and not the same both ways
		for i := range ph.most {
			// room for the phone's own offset and the earth there always is
			ph.most[i] = math.Max(most*s.r.between(0.4, 1.5), 100) + math.Max(0, ph.bias[i])
			ph.least[i] = -math.Max(most*s.r.between(0.4, 1.5), 100) + math.Min(0, ph.bias[i])
		}
	}
	ph.early = s.r.chance(0.5)
	s.jump, s.jumpIn = 0.2, 0.15
	s.start()
	s.drive("off", 0, 0)
	s.rest(s.r.between(1.5, 4))
	toggle := s.r.chance(0.5)
	if !toggle {
		s.drive("on", 0, 0)
	}
	for _, j := range s.order() {
		if toggle {
			s.hold(j, holdOptions{spells: s.toggles()})
		} else {
			s.hold(j, holdOptions{length: s.r.between(1.2, 3)})
		}
	}
	s.note("toggled %v, clipped %v", toggle, clipped)
}

// mixed: half of the coils held with the supply on, the others read by hand
// once, and the ohmmeter where it is suspect.
func mixed(s *session) {
	s.jump = 0.05
	s.start()
	s.drive("off", 0, 0)
	s.rest(s.r.between(1.5, 4))
	s.drive("on", 0, 0)
	for _, j := range s.order() {
		if s.r.chance(0.6) {
			s.hold(j, holdOptions{length: s.r.between(1.2, 3)})
		} else {
			s.readByHand(j, false)
		}
	}
	s.ohmmeter(false)
}
