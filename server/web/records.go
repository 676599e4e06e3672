package web

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"polewise/server/desk"
	"polewise/server/record"
	"polewise/server/store"
)

func (s *Site) recordRoutes(r chi.Router) {
	r.Post("/sign-off", s.signOff)
	r.Get("/checks", s.checks)
	r.Get("/checks/export", s.export)
	r.Post("/checks/import", s.importChecks)
	r.Get("/checks/{id}", s.look)
	r.Get("/checks/{id}/compared", s.compared)
	r.Get("/checks/{id}/weighed", s.weighed)
	r.Get("/checks/{id}/holds/{source}/{t}", s.samples)
	r.Get("/checks/{id}/passes/{source}/{t}", s.trace)
	r.Post("/checks/{id}/label", s.label)
	r.Post("/checks/{id}/go-on", s.goOn)
	r.Get("/records/{id}.html", s.recordPage)
	r.Get("/records/{id}.json", s.recordJSON)
	r.Get("/backup", s.backup)
}

func (s *Site) signOff(w http.ResponseWriter, r *http.Request) {
	var q desk.SignOff
	if !s.read(w, r, &q) {
		return
	}
	signed, err := s.Desk.SignOff(r.Context(), q)
	s.answer(w, signed, err)
}

func (s *Site) label(w http.ResponseWriter, r *http.Request) {
	var l store.Label
	if !s.read(w, r, &l) {
		return
	}
	l, err := s.Desk.SetLabel(r.Context(), chi.URLParam(r, "id"), l)
	s.answer(w, l, err)
}

func (s *Site) goOn(w http.ResponseWriter, r *http.Request) {
	if err := s.Desk.GoOn(r.Context(), chi.URLParam(r, "id")); err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, s.Desk.State())
}

// Bounds of the list.
const (
	perPage = 25
	maxPage = 200 // lines
	maxFind = 200 // characters
)

// listQuery reads what a list is asked for; on failure it has answered.
func (s *Site) listQuery(w http.ResponseWriter, r *http.Request) (q store.ListQuery, page int, ok bool) {
	v := r.URL.Query()
	refuse := func(say string) {
		problem(w, http.StatusBadRequest, "bad-list", say, "Shorten it, or load this page again.")
	}
	find := v.Get("find")
	if len(find) > maxFind {
		refuse(fmt.Sprintf("find: at most %d characters.", maxFind))
		return q, 0, false
	}
	q = store.ListQuery{Words: strings.Fields(find), State: v.Get("state"), Sort: v.Get("sort"), Up: v.Get("up") == "1", Limit: perPage}
	switch q.State {
	case "", "signed", "exception", "as-planned", "fault", "undecided", "unread", "rehearsal":
	default:
		refuse(fmt.Sprintf("state: expected signed, exception, as-planned, fault, undecided, unread or rehearsal, found %q.", q.State))
		return q, 0, false
	}
	if q.Sort == "" {
		q.Sort = "began"
	}
	whole := func(key string, least, most, otherwise int) int {
		text := v.Get(key)
		if text == "" {
			return otherwise
		}
		n, err := strconv.Atoi(text)
		if err != nil || n < least || n > most {
			refuse(fmt.Sprintf("%s: expected a whole number from %d to %d, found %q.", key, least, most, text))
			ok = false
		}
		return n
	}
	ok = true
	if page = whole("page", 1, 1_000_000, 1); ok {
		q.Limit = whole("per", 1, maxPage, perPage)
	}
	q.Skip = (page - 1) * q.Limit
	return q, page, ok
}

func (s *Site) checks(w http.ResponseWriter, r *http.Request) {
	q, page, ok := s.listQuery(w, r)
	if !ok {
		return
	}
	list, total, err := s.Store.List(r.Context(), q)
	if errors.Is(err, store.ErrSort) {
		problem(w, http.StatusBadRequest, "bad-list", err.Error()+".", "Load this page again.")
		return
	}
	s.answer(w, map[string]any{"checks": list, "total": total, "page": page, "per": q.Limit, "file": s.Store.Path(), "current": s.Desk.CheckID()}, err)
}

func (s *Site) look(w http.ResponseWriter, r *http.Request) {
	p, err := s.Desk.Look(r.Context(), chi.URLParam(r, "id"))
	s.answer(w, p, err)
}

func (s *Site) compared(w http.ResponseWriter, r *http.Request) {
	c, err := s.Desk.Compare(r.Context(), chi.URLParam(r, "id"))
	s.answer(w, map[string]any{"compared": c}, err)
}

// usualWeighing bounds how long a stored check is judged again: two hundred holds at
// once take up to four minutes.
const usualWeighing = 10 * time.Minute

// weighed tells what was expected of each reading of a check that is over, worked
// out again; of a large one that takes a while. The client stops it by going away.
func (s *Site) weighed(w http.ResponseWriter, r *http.Request) {
	ctx, stop := context.WithTimeout(r.Context(), s.weighing)
	defer stop()
	defer context.AfterFunc(s.ctx, stop)()
	if !s.wait(w, r, s.weighingTurn) {
		return
	}
	defer s.weighingTurn.done()
	out := s.linesTo(w)
	out.line(map[string]any{"progress": map[string]float64{"most_s": s.weighing.Seconds()}})
	k, err := s.Desk.Weigh(ctx, chi.URLParam(r, "id"))
	switch {
	case r.Context().Err() != nil: // nobody is there to be told
	case err != nil && errors.Is(ctx.Err(), context.DeadlineExceeded):
		out.line(s.asClient(&desk.ClientError{Code: "too-long", Say: fmt.Sprintf("What was expected of these readings could not be worked out within %g minutes.", s.weighing.Minutes()), Hint: "Try again while no pad is being read, or save this check's captures and run polewise judge --why on them."}))
	case err != nil:
		out.line(s.asClient(err))
	default:
		out.line(map[string]any{"done": k})
	}
}

// samples are those of one hold, named by its source, the time it began and ?at= its coil.
func (s *Site) samples(w http.ResponseWriter, r *http.Request) {
	t, ok := s.began(w, r)
	if !ok {
		return
	}
	h, err := s.Desk.Samples(r.Context(), chi.URLParam(r, "id"), chi.URLParam(r, "source"), r.URL.Query().Get("at"), t)
	s.answer(w, h, err)
}

// trace is one pass laid along its row, named as a hold is, by its first coil.
func (s *Site) trace(w http.ResponseWriter, r *http.Request) {
	t, ok := s.began(w, r)
	if !ok {
		return
	}
	p, err := s.Desk.Trace(chi.URLParam(r, "id"), chi.URLParam(r, "source"), r.URL.Query().Get("at"), t)
	s.answer(w, p, err)
}

// began is when the reading asked for began; on failure it has answered.
func (s *Site) began(w http.ResponseWriter, r *http.Request) (t float64, ok bool) {
	text := chi.URLParam(r, "t")
	t, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(t) || math.IsInf(t, 0) {
		problem(w, http.StatusBadRequest, "bad-time", fmt.Sprintf("Expected the time a reading began, in seconds, found %q.", text), "Load the page again.")
		return 0, false
	}
	return t, true
}

// signedRecord finds a record; on failure it has answered.
func (s *Site) signedRecord(w http.ResponseWriter, r *http.Request) *store.Record {
	rec, err := s.Store.RecordOf(r.Context(), chi.URLParam(r, "id"))
	if err != nil {
		s.fail(w, err)
		return nil
	}
	if rec == nil {
		problem(w, http.StatusNotFound, "no-record", "There is no signed record of this check.", "Look in the list of checks.")
	}
	return rec
}

func (s *Site) recordPage(w http.ResponseWriter, r *http.Request) {
	rec := s.signedRecord(w, r)
	if rec == nil {
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	// The file carries its own style and drawings and nothing else.
	h.Set("Content-Security-Policy", record.Policy+"; frame-ancestors 'none'")
	if r.URL.Query().Get("save") == "1" {
		attach(w, recordName(rec)+".html")
	}
	s.send(w, rec.HTML)
}

func (s *Site) recordJSON(w http.ResponseWriter, r *http.Request) {
	rec := s.signedRecord(w, r)
	if rec == nil {
		return
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	attach(w, recordName(rec)+".json")
	s.send(w, rec.JSON) // to the byte, or the sum does not match
}

func recordName(r *store.Record) string {
	name := "polewise-record"
	if serial := plainName(r.Serial); serial != "" {
		name += "-" + serial
	}
	return name + "-" + r.SHA256[:12]
}

// plainName keeps what any file system takes.
func plainName(text string) string {
	return strings.Trim(strings.Map(func(c rune) rune {
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == '-', c == '_':
			return c
		}
		return '-'
	}, text), "-")
}

func attach(w http.ResponseWriter, name string) {
	w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", name))
}

func (s *Site) send(w http.ResponseWriter, raw []byte) {
	if _, err := w.Write(raw); err != nil {
		s.Log.Debug("not delivered", "err", err)
	}
}
