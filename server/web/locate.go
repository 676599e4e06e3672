package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"

	"polewise/field/verdict"
)

// locate finds where the magnetometer sits in the phone that asks, from readings
// that are no part of the check. A phone that goes away stops it.
func (s *Site) locate(w http.ResponseWriter, r *http.Request) {
	var q struct {
		Lines []json.RawMessage `json:"lines"`
	}
	if !s.read(w, r, &q) {
		return
	}
	if !s.wait(w, r, s.locatingTurn) { // of a large pad 20 s of work
		return
	}
	defer s.locatingTurn.done()
	ctx, stop := context.WithCancel(r.Context())
	defer stop()
	defer context.AfterFunc(s.ctx, stop)()
	p, err := s.Desk.Locate(ctx, q.Lines)
	if errors.Is(err, verdict.ErrHalted) {
		s.closing(w) // or the phone has gone, and nobody is told
		return
	}
	s.answer(w, p, err)
}
