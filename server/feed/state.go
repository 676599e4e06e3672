package feed

import "time"

// SourceState is what the bench page shows of a source.
type SourceState struct {
	Source    string      `json:"source"`
	SilentS   float64     `json:"silent_s"` // seconds since it said anything
	Live      bool        `json:"live"`
	Pace      float64     `json:"per_second"`
	Counts    Counts      `json:"counts"`
	BadLines  []BadLine   `json:"bad_lines"`
	Numbers   []Seen      `json:"numbers"`
	Proposal  *Proposal   `json:"proposal"`
	Missing   string      `json:"missing"` // the field's numbers, where messages come without them
	Offered   []string    `json:"offered"`
	Dialect   *Dialect    `json:"dialect"`
	Teaching  *TeachState `json:"teaching"`
	UT        *[3]float64 `json:"uT"`
	At        string      `json:"at"`
	Supply    string      `json:"supply"` // off, on, pulse, or empty: not said yet
	InHold    int         `json:"in_hold"`
	Full      bool        `json:"full"` // what lies between holds is no longer kept
	Rehearsal bool        `json:"rehearsal"`
}

// TeachState is how far teaching has come.
type TeachState struct {
	Field   [3]string `json:"field"`
	Named   bool      `json:"named"`
	Steps   []Step    `json:"steps"` // taken
	Looking bool      `json:"looking"`
	Solved  string    `json:"solved"` // in words; empty until solved
	EarthUT float64   `json:"earth_uT"`
	Notes   []string  `json:"notes"`
}

// State lists every source.
func (h *Hub) State() []SourceState {
	out := []SourceState{}
	now := h.now()
	h.each(func(s *source) {
		silent := now.Sub(s.arrived())
		st := SourceState{Source: s.name, SilentS: silent.Seconds(), Live: silent < idleAfter, Pace: s.pace, Counts: s.counts,
			BadLines: append([]BadLine{}, s.bad...), Numbers: s.watch.seen(now), Offered: append([]string{}, s.offered...), Dialect: s.dialect, UT: s.latest}
		if s.dialect == nil && s.teach == nil {
			if now.Sub(s.proposedAt) > time.Second {
				s.proposal, s.proposedAt = s.watch.propose(), now
			}
			st.Proposal = s.proposal
		}
		if t := s.teach; t != nil {
			ts := &TeachState{Field: t.draft.Field, Named: axesNamed(t.draft.Field), Steps: []Step{}, Looking: t.step != nil, Notes: append([]string{}, t.notes...)}
			for _, step := range t.steps {
				ts.Steps = append(ts.Steps, step.Step)
			}
			if t.solved != nil {
				ts.Solved, ts.EarthUT = t.solved.Axes.String(), norm(t.solved.EarthUT)
			}
			st.Teaching = ts
		}
		if s.dialect != nil && s.without >= 50 {
			st.Missing = together(s.dialect.Field)
		}
		f := h.desk.Fed(s.name)
		if s.dialect != nil && f.Device == s.dialect.Name && !s.anew {
			st.At, st.Supply = f.At, string(f.Drive)
		}
		st.InHold, st.Full, st.Rehearsal = s.inHold, s.between >= maxBetween, f.Rehearsal
		out = append(out, st)
	})
	return out
}

// Kept lists every dialect, the latest first.
func (h *Hub) Kept() []*Dialect {
	h.mu.Lock()
	defer h.mu.Unlock()
	return append([]*Dialect{}, h.dialects...)
}
