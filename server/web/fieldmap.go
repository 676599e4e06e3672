package web

import (
	"net/http"

	"polewise/field/fieldmap"
	"polewise/layout"
)

// mapPoints is how many points the longer side of a map has.
const mapPoints = 120

// fieldMap is that of the plan on the bench, or of one sent along.
func (s *Site) fieldMap(w http.ResponseWriter, r *http.Request) {
	var q planRequest
	if r.Method == http.MethodPost && !s.read(w, r, &q) {
		return
	}
	text, err := s.planOf(q)
	if err != nil {
		s.fail(w, err)
		return
	}
	plan, err := layout.Parse(text.Name, text.TOML)
	if plan == nil {
		s.fail(w, err)
		return
	}
	m, err := fieldmap.SamplePage(r.Context(), plan, mapPoints, 100)
	if err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, m)
}
