package desk

import (
	"slices"

	"polewise/field/capture"
	"polewise/server/store"
)

// source is one phone or feed.
type source struct {
	id       string
	messages map[int64][]capture.Line
	came     map[placed]int // the place of each reading of the ohmmeter in the order of the check
	last     int64
	first    int64 // the least number of a message that begins with a start line
	started  bool
	online   int // connections
	device   string
	route    capture.Route
	latest   *capture.B
	at       string // coil of the open hold
	over     string // coil of the last hold that ended
	overAt   int    // when that was, by the messages of the check
	count    int    // samples in it
	drawn    bool   // its last reading was a pass: it is drawn along rows
	drive    capture.DriveState
	lastT    float64
	fed      bool // no phone: its lines are made here
}

// placed names a reading among those of a source, as it is taken back: a clock that
// begins anew gives the same time again.
type placed struct {
	at string // its coil, the first of a pass, or across what an ohmmeter was
	t  float64
}

// readingOf names the reading that a line begins, or is; false for other lines.
func readingOf(l capture.Line) (of placed, ok bool) {
	switch l := l.(type) {
	case capture.Hold:
		return placed{l.Coil, l.T}, true
	case capture.Pass:
		return placed{l.Along[0], l.T}, true
	case capture.Reading:
		return placed{l.Coil, l.T}, true
	case capture.Ohms:
		return placed{l.Across, l.T}, true
	}
	return placed{}, false
}

// source is the source of a name, in the list from now on.
func (c *check) source(id string) *source {
	s := c.known(id)
	c.list(s)
	return s
}

// known is the source of a name; one that nothing came from yet is not in the list.
func (c *check) known(id string) *source {
	if s, ok := c.sources[id]; ok {
		return s
	}
	return &source{id: id, messages: map[int64][]capture.Line{}, came: map[placed]int{}}
}

func (c *check) list(s *source) {
	if _, ok := c.sources[s.id]; !ok {
		c.sources[s.id] = s
		c.order = append(c.order, s.id)
	}
}

// take adds lines of a source that are stored, and follows what the phone does.
func (c *check) take(s *source, seq int64, lines []capture.Line) {
	c.list(s)
	if _, ok := s.messages[seq]; ok {
		return
	}
	c.messages++
	s.messages[seq] = lines
	c.lines += len(lines)
	s.last = max(s.last, seq)
	if len(lines) > 0 && lines[0].Type() == (capture.Start{}).Type() && (!s.started || seq < s.first) {
		s.first = seq
	}
	for _, l := range lines {
		s.lastT = max(s.lastT, l.At())
		switch l := l.(type) {
		case capture.Start:
			s.started, s.device, s.route, s.at, s.count, s.drawn = true, l.Device, l.Route, "", 0, false
			s.drive, s.lastT = "", 0
		case capture.Drive:
			s.drive = l.State
		case capture.B:
			s.latest = &l
			s.count++
		case capture.Bearing:
			s.count++
		case capture.Hold:
			s.at, s.count, s.drawn = l.Coil, 0, false
		case capture.Pass:
			s.drawn = true
		case capture.Lift:
			if s.at != "" {
				s.over, s.overAt = s.at, c.messages
			}
			s.at, s.count = "", 0
		case capture.Ohms:
			s.came[placed{l.Across, l.T}] = c.messages
		}
	}
}

// captures puts a source's lines in order and parts them at every start line.
func (s *source) captures(thrown []store.ThrownOut) []*capture.Capture {
	seqs := make([]int64, 0, len(s.messages))
	for q := range s.messages {
		seqs = append(seqs, q)
	}
	slices.Sort(seqs)
	var out []*capture.Capture
	var run []capture.Line
	flush := func() {
		if len(run) == 0 {
			return
		}
		if c, err := capture.FromLines(run); err == nil {
			out = append(out, c)
		}
		run = nil
	}
	for _, q := range seqs {
		for _, l := range s.messages[q] {
			if _, ok := l.(capture.Start); ok {
				flush()
			}
			run = append(run, l)
		}
	}
	flush()
	for i, c := range out {
		out[i] = without(c, s.id, thrown)
	}
	return out
}

// without leaves out the holds and passes that were thrown out, with their samples, and what
// was entered by hand.
func without(c *capture.Capture, source string, thrown []store.ThrownOut) *capture.Capture {
	drop := map[placed]bool{}
	for _, t := range thrown {
		if t.Source == source {
			drop[placed{t.Coil, t.T}] = true
		}
	}
	if len(drop) == 0 {
		return c
	}
	kept := *c
	kept.Lines, kept.Numbers = nil, nil
	dropping := false
	for i, l := range c.Lines {
		of, _ := readingOf(l)
		switch l.(type) {
		case capture.Hold, capture.Pass:
			dropping = drop[of]
		case capture.Reading, capture.Ohms:
			if drop[of] {
				continue
			}
		}
		_, lift := l.(capture.Lift)
		_, end := l.(capture.PassEnd)
		_, drive := l.(capture.Drive)
		if !dropping || drive {
			kept.Lines = append(kept.Lines, l)
			kept.Numbers = append(kept.Numbers, c.Numbers[i])
		}
		if lift || end {
			dropping = false
		}
	}
	return &kept
}

// ended leaves out the hold or pass that a source is still at: the phone may be asking
// whether it is one, as where the field over a coil does not change.
func ended(c *capture.Capture, source string) *capture.Capture {
	var open []store.ThrownOut
	cut := c.Cut()
	for _, h := range cut.Holds {
		if h.Open {
			open = append(open, store.ThrownOut{Source: source, Coil: h.Hold.Coil, T: h.Hold.T})
		}
	}
	for _, p := range cut.Passes {
		if p.Open {
			open = append(open, store.ThrownOut{Source: source, Coil: p.Pass.Along[0], T: p.Pass.T})
		}
	}
	return without(c, source, open)
}

// sent is what was sent in a check and not thrown out, with the source of each capture.
func (c *check) sent() (captures []*capture.Capture, sources []string) {
	for _, id := range c.order {
		for _, cap := range c.sources[id].captures(c.thrown) {
			captures, sources = append(captures, cap), append(sources, id)
		}
	}
	return captures, sources
}

// counting is what counts of that.
func (c *check) counting() (captures []*capture.Capture, sources []string) {
	captures, sources = c.sent()
	for i, cap := range captures {
		captures[i] = ended(cap, sources[i])
	}
	return captures, sources
}
