package web

import (
	"net/http"

	"polewise/server/desk"
)

// undo throws a reading out: {"at":"B2","source":S,"t":T} the one of source S that
// began at T, a pass by its first coil.
func (s *Site) undo(w http.ResponseWriter, r *http.Request) {
	var q struct {
		desk.Undo
		Source string `json:"source"`
	}
	if !s.read(w, r, &q) {
		return
	}
	if err := s.Desk.ThrowOut(r.Context(), q.Source, q.Undo); err != nil {
		s.fail(w, err)
		return
	}
	s.Desk.PushState() // before the new verdict, which may take a while
	writeJSON(w, http.StatusOK, okAnswer)
}

// putBack makes a reading that was thrown out count again, named likewise.
func (s *Site) putBack(w http.ResponseWriter, r *http.Request) {
	var q struct {
		At     string  `json:"at"`
		Source string  `json:"source"`
		T      float64 `json:"t"`
	}
	if !s.read(w, r, &q) {
		return
	}
	if err := s.Desk.PutBack(r.Context(), q.Source, q.At, q.T); err != nil {
		s.fail(w, err)
		return
	}
	s.Desk.PushState() // before the new verdict, which may take a while
	writeJSON(w, http.StatusOK, okAnswer)
}

// stopJudging stops the verdict being worked out, judgeNow begins it again.
func (s *Site) stopJudging(w http.ResponseWriter, r *http.Request) {
	s.answer(w, okAnswer, s.Desk.StopJudging())
}

func (s *Site) judgeNow(w http.ResponseWriter, r *http.Request) {
	s.Desk.JudgeNow()
	writeJSON(w, http.StatusOK, okAnswer)
}
