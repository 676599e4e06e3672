package web

import (
	"encoding/json"
	"fmt"
	"net/http"

	"github.com/go-chi/chi/v5"

	"polewise/field/capture"
	"polewise/server/desk"
)

// readings is what a person enters on the bench page itself: faces read with a
// needle or hand meter, and ohms. The lines are those of any capture by hand, and
// numbered as on the stream.
func (s *Site) readings(r chi.Router) {
	r.Get("/", func(w http.ResponseWriter, r *http.Request) { writeJSON(w, http.StatusOK, s.Desk.Entered()) })
	r.Post("/", s.enter)
	r.Post("/clear", s.clearReadings)
}

// enter takes {"check":ID,"seq":N,"lines":[…]}. What is entered for a coil or a
// place of the ohmmeter takes the place of what was entered for it before.
func (s *Site) enter(w http.ResponseWriter, r *http.Request) {
	var q struct {
		Check *string           `json:"check"`
		Seq   *int64            `json:"seq"`
		Lines []json.RawMessage `json:"lines"`
	}
	if !s.read(w, r, &q) || !s.sameCheck(w, q.Check) {
		return
	}
	message := mustJSON(map[string]any{"seq": q.Seq, "lines": q.Lines})
	_, lines, err := desk.ParseMessage(message)
	if err != nil {
		s.fail(w, err)
		return
	}
	last := -1.0
	at := map[string]float64{}
	for i, l := range lines {
		switch l.(type) {
		case capture.Reading, capture.Ohms:
			// What is taken back is found by its time.
			if l.At() <= last {
				problem(w, http.StatusBadRequest, "bad-line", fmt.Sprintf("Line %d: expected a time after %g, the line's before, found %g.", i+1, last, l.At()), "Give every line a time of its own.")
				return
			}
			last = l.At()
			at[desk.TargetOf(l)] = l.At()
		case capture.Start:
		default:
			problem(w, http.StatusBadRequest, "bad-line", fmt.Sprintf("Line %d: expected a face or ohms, found a line of type %q.", i+1, l.Type()), "Readings of a sensor come over the stream.")
			return
		}
	}
	ack, err := s.Desk.Ingest(r.Context(), desk.BenchSource, message)
	if err != nil {
		s.fail(w, err)
		return
	}
	for target, t := range at {
		if err := s.Desk.Supersede(r.Context(), target, t); err != nil {
			s.fail(w, err)
			return
		}
	}
	writeJSON(w, http.StatusOK, map[string]int64{"ack": ack})
}

// clearReadings takes back what was entered for a coil or a place of the
// ohmmeter: {"check":ID,"target":"A1"} or "coil:A1".
func (s *Site) clearReadings(w http.ResponseWriter, r *http.Request) {
	var q struct {
		Check  *string `json:"check"`
		Target string  `json:"target"`
	}
	if !s.read(w, r, &q) || !s.sameCheck(w, q.Check) {
		return
	}
	s.answer(w, okAnswer, s.Desk.Clear(r.Context(), q.Target))
}

// sameCheck refuses what was entered for a check that has ended.
func (s *Site) sameCheck(w http.ResponseWriter, check *string) bool {
	if check != nil && *check != s.Desk.Entered().Check {
		problem(w, http.StatusConflict, "other-check", "This was meant for a check that has ended.", "Look at the check in progress, and enter it again there.")
		return false
	}
	return true
}
