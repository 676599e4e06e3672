package trial

import "fmt"

// Case is one pad, driven and read, with the truth about it.
type Case struct {
	Condition Condition
	PlanTOML  []byte
	Capture   []byte // JSON Lines
	Truth     Truth

	pad     *pad
	session *session
}

// Make makes the case of a condition and a seed: the same two give the same
// case. A seed has the same pad and the same faults under every condition that
// does not ask for another supply.
func Make(c Condition, seed uint64) (*Case, error) {
	p := makePad(newRandom(seed, "case"))
	r := newRandom(seed, c.Name)
	if c.supply != nil {
		c.supply(r, p)
	}
	ill := makeAilment(newRandom(seed, "ailment"), p)
	s, err := newSession(r, p, ill)
	if err != nil {
		return nil, fmt.Errorf("trial: %s, seed %d: %w", c.Name, seed, err)
	}
	c.record(s)
	t, err := p.truth(ill)
	if err != nil {
		return nil, fmt.Errorf("trial: %s, seed %d: %w", c.Name, seed, err)
	}
	t.Seed, t.Condition = seed, c.Name
	t.OffsetMM = [2]float64{s.phone.offset[0] * 1e3, s.phone.offset[1] * 1e3}
	capture := s.capture()
	t.Nuisances = s.notes
	return &Case{Condition: c, PlanTOML: p.toml(), Capture: capture, Truth: t, pad: p, session: s}, nil
}
