package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"

	"github.com/go-chi/chi/v5"

	"polewise/assets"
	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/server/desk"
)

func (s *Site) api(r chi.Router) {
	r.Get("/state", func(w http.ResponseWriter, r *http.Request) { writeJSON(w, http.StatusOK, s.Desk.State()) })
	r.Get("/demos", s.demos)
	r.Get("/convention", s.convention)
	r.Post("/convention", s.setConvention)
	r.Get("/map", s.fieldMap)
	r.Post("/map", s.fieldMap)
	r.Route("/planning", s.planningRoutes)
	r.Route("/readings", s.readings)
	r.Route("/plan", s.planRoutes)
	r.Post("/check", s.newCheck)
	r.Post("/rehearsals", s.newRehearsal)
	r.Get("/rehearsals/{id}/bench", s.rehearsalBench)
	r.Get("/rehearsals/{id}/truth", s.truth)
	r.Post("/captures/undo", s.undo)
	r.Post("/captures/put-back", s.putBack)
	r.Post("/judging/stop", s.stopJudging)
	r.Post("/judging/now", s.judgeNow)
	s.feedRoutes(r)
	s.recordRoutes(r)
}

// planRequest names a plan: as TOML, as one of the demos, or the one in use.
type planRequest struct {
	PlanTOML *string `json:"plan_toml"`
	Demo     *string `json:"demo"`
}

func (s *Site) planOf(q planRequest) (desk.PlanText, error) {
	switch {
	case q.PlanTOML != nil:
		return desk.PlanText{Name: "plan", TOML: []byte(*q.PlanTOML)}, nil
	case q.Demo != nil:
		if d, ok := assets.DemoNamed(*q.Demo); ok {
			return desk.PlanText{Name: d.ID + ".toml", TOML: d.TOML}, nil
		}
		return desk.PlanText{}, &desk.ClientError{Code: "no-demo", Say: fmt.Sprintf("There is no demo plan %q.", *q.Demo), Hint: "Choose one from the list."}
	}
	return desk.PlanText{Name: "plan", TOML: []byte(s.Desk.State().Plan.TOML)}, nil
}

// body reads what a request carries; on failure it has answered.
func body(w http.ResponseWriter, r *http.Request, most int64) ([]byte, bool) {
	raw, err := io.ReadAll(http.MaxBytesReader(w, r.Body, most))
	if err != nil {
		notWhole(w, err, most, "Send less at once.")
		return nil, false
	}
	return raw, true
}

// notWhole answers a request that did not come whole; less says how to send less.
func notWhole(w http.ResponseWriter, err error, most int64, less string) {
	var tooLong *http.MaxBytesError
	if errors.As(err, &tooLong) {
		problem(w, http.StatusRequestEntityTooLarge, "too-long", fmt.Sprintf("At most %d bytes are taken at once.", most), less)
		return
	}
	// A status that says that the same may be sent again.
	problem(w, http.StatusRequestTimeout, "cut-off", "It was cut off on its way: "+err.Error()+".", "Send it again.")
}

// read decodes a request's JSON body; on failure it has answered.
func (s *Site) read(w http.ResponseWriter, r *http.Request, v any) bool {
	raw, ok := body(w, r, maxMessage)
	if !ok || len(raw) == 0 {
		return ok
	}
	if err := json.Unmarshal(raw, v); err != nil {
		e := capture.NotJSON(err)
		e.Remedy = "" // that of a line
		problem(w, http.StatusBadRequest, "not-json", "The request is not JSON as expected: "+e.Error(), "Load the page again, then try again.")
		return false
	}
	return true
}

// okAnswer is told where there is no more to say than that it was done.
var okAnswer = map[string]bool{"ok": true}

// answer tells what a request came to, or why it came to nothing.
func (s *Site) answer(w http.ResponseWriter, v any, err error) {
	if err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, v)
}

func (s *Site) newCheck(w http.ResponseWriter, r *http.Request) {
	var q struct {
		planRequest
		AfterMend *desk.Again `json:"after_mend"`
	}
	if !s.read(w, r, &q) {
		return
	}
	text, err := s.planOf(q.planRequest)
	switch {
	case err == nil && q.planRequest == (planRequest{}) && q.AfterMend != nil:
		err = s.Desk.BeginAfterMend(r.Context(), *q.AfterMend)
	case err == nil && q.planRequest == (planRequest{}):
		err = s.Desk.BeginSame(r.Context())
	case err == nil:
		err = s.Desk.Begin(r.Context(), text, nil)
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, s.Desk.State())
}

func (s *Site) newRehearsal(w http.ResponseWriter, r *http.Request) {
	q := struct {
		planRequest
		Difficulty rehearsal.Difficulty `json:"difficulty"`
		Fault      string               `json:"fault"`
	}{Difficulty: rehearsal.Usual}
	if !s.read(w, r, &q) {
		return
	}
	text, err := s.planOf(q.planRequest)
	if err != nil {
		s.fail(w, err)
		return
	}
	switch q.Difficulty {
	case rehearsal.Easy, rehearsal.Usual, rehearsal.Hard:
	default:
		problem(w, http.StatusBadRequest, "no-difficulty", fmt.Sprintf("Expected easy, usual or hard, found %q.", q.Difficulty), "Choose one of the three.")
		return
	}
	faults, err := hiddenIn(q.Fault)
	if err != nil {
		problem(w, http.StatusBadRequest, "no-fault", err.Error(), "Choose another fault, or let the program hide one.")
		return
	}
	// The rehearsal outlives this request: the site's own end stops it.
	re, err := s.Desk.Rehearse(s.ctx, text, q.Difficulty, faults)
	if err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, map[string]string{"id": re.ID, "phone_page": fmt.Sprintf("/phone/%s/?rehearsal=%s", s.Key, re.ID)})
}

func (s *Site) truth(w http.ResponseWriter, r *http.Request) {
	re := s.Desk.RehearsalByID(chi.URLParam(r, "id"))
	if re == nil {
		problem(w, http.StatusNotFound, "no-rehearsal", "This rehearsal has ended.", "Begin another.")
		return
	}
	t, err := re.Truth()
	s.answer(w, t, err)
}
