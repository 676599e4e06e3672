package web

import (
	"net/http"

	"polewise/field/fieldmap"
	"polewise/layout"
	"polewise/server/desk"
)

// mapPoints is how many points the longer side of a map has.
const mapPoints = 120

// fieldMap is that of the plan on the bench, or of one sent along. Of a large pad
// it takes seconds: a line of JSON now and then tells the share that is done, a last
// one has the map. The client stops it by going away.
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
	if !s.wait(w, r, s.mapTurn) {
		return
	}
	defer s.mapTurn.done()
	out := s.linesTo(w)
	m, err := fieldmap.SamplePage(r.Context(), plan, mapPoints, 100, func(done, of int) {
		out.nowAndThen(map[string]any{"progress": map[string]float64{"share": float64(done) / float64(of)}})
	})
	if err != nil {
		if r.Context().Err() == nil { // somebody is there to be told
			out.line(s.asClient(&desk.ClientError{Code: "no-map", Say: "The field of this plan cannot be worked out: " + err.Error() + ".", Hint: "Put that right in the plan, then try again."}))
		}
		return
	}
	out.line(map[string]any{"done": m})
}
