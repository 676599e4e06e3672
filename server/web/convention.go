package web

import (
	"fmt"
	"net/http"
)

type convention struct {
	OutFace string `json:"out_face"` // "" until it was asked
}

func (s *Site) outFace(r *http.Request) string {
	v, err := s.Store.OutFace(r.Context())
	if err != nil {
		s.Log.Warn("the maker's name for the face is not known", "err", err)
	}
	return v
}

func (s *Site) convention(w http.ResponseWriter, r *http.Request) {
	writeJSON(w, http.StatusOK, convention{s.outFace(r)})
}

func (s *Site) setConvention(w http.ResponseWriter, r *http.Request) {
	var q convention
	if !s.read(w, r, &q) {
		return
	}
	if q.OutFace != "north" && q.OutFace != "south" {
		problem(w, http.StatusBadRequest, "no-face", fmt.Sprintf("Expected north or south for the face that the field comes out of, found %q.", q.OutFace), "Answer the question on the bench page again.")
		return
	}
	if err := s.Store.SetOutFace(r.Context(), q.OutFace); err != nil {
		s.fail(w, err)
		return
	}
	s.Desk.TellBenches(func() any { return map[string]any{"type": "convention", "out_face": q.OutFace} }) // it may have been answered on a phone
	writeJSON(w, http.StatusOK, q)
}
