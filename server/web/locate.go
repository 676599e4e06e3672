package web

import (
	"encoding/json"
	"net/http"
)

// locate finds where the magnetometer sits in the phone that asks, from readings
// that are no part of the check.
func (s *Site) locate(w http.ResponseWriter, r *http.Request) {
	var q struct {
		Lines []json.RawMessage `json:"lines"`
	}
	if !s.read(w, r, &q) {
		return
	}
	if !s.turn(w, r, s.planningTurn) { // a second of work: one at a time
		return
	}
	defer done(s.planningTurn)
	p, err := s.Desk.Locate(q.Lines)
	if err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, p)
}
