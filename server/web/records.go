package web

import (
	"archive/zip"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
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
	if err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, signed)
}

func (s *Site) label(w http.ResponseWriter, r *http.Request) {
	var l store.Label
	if !s.read(w, r, &l) {
		return
	}
	l, err := s.Desk.SetLabel(r.Context(), chi.URLParam(r, "id"), l)
	if err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, l)
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
	if err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, map[string]any{"checks": list, "total": total, "page": page, "per": q.Limit, "file": s.Store.Path(), "current": s.Desk.CheckID()})
}

func (s *Site) look(w http.ResponseWriter, r *http.Request) {
	p, err := s.Desk.Look(r.Context(), chi.URLParam(r, "id"))
	if err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, p)
}

func (s *Site) compared(w http.ResponseWriter, r *http.Request) {
	c, err := s.Desk.Compare(r.Context(), chi.URLParam(r, "id"))
	if err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, map[string]any{"compared": c})
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
	if !s.turn(w, r, s.weighingTurn) {
		return
	}
	defer done(s.weighingTurn)
	out := s.linesTo(w)
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

// samples are those of one hold, named by its source and the time it began.
func (s *Site) samples(w http.ResponseWriter, r *http.Request) {
	t, ok := s.began(w, r)
	if !ok {
		return
	}
	h, err := s.Desk.Samples(r.Context(), chi.URLParam(r, "id"), chi.URLParam(r, "source"), t)
	if err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, h)
}

// trace is one pass laid along its row, named as a hold is.
func (s *Site) trace(w http.ResponseWriter, r *http.Request) {
	t, ok := s.began(w, r)
	if !ok {
		return
	}
	p, err := s.Desk.Trace(chi.URLParam(r, "id"), chi.URLParam(r, "source"), t)
	if err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, p)
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

// maxChosen bounds the checks named in one address.
const maxChosen = 500

// export writes chosen checks, or those that a search finds: as=json loses
// nothing, as=csv has coils and claims, as=captures the lines as phones sent
// them.
func (s *Site) export(w http.ResponseWriter, r *http.Request) {
	var ids []string
	if chosen := r.URL.Query().Get("ids"); chosen != "" {
		ids = strings.Split(chosen, ",")
		if len(ids) > maxChosen {
			problem(w, http.StatusBadRequest, "too-many", fmt.Sprintf("At most %d checks can be named at once.", maxChosen), "Search for them instead, and export all that is found.")
			return
		}
		for _, id := range ids {
			if c, err := s.Store.CheckByID(r.Context(), id); err != nil || c == nil {
				problem(w, http.StatusNotFound, "no-check", fmt.Sprintf("There is no check %q here.", id), "Look in the list of checks.")
				return
			}
		}
	} else {
		q, _, ok := s.listQuery(w, r)
		if !ok {
			return
		}
		var err error
		if ids, err = s.Store.IDs(r.Context(), q); err != nil {
			s.fail(w, err)
			return
		}
	}
	write, name, kind := s.exportJSON, "polewise-checks.json", "application/json; charset=utf-8"
	switch as := r.URL.Query().Get("as"); as {
	case "", "json":
	case "csv":
		write, name, kind = s.exportCSV, "polewise-coils.csv", "text/csv; charset=utf-8"
	case "captures":
		write, name, kind = s.exportCaptures, "polewise-captures.zip", "application/zip"
	default:
		problem(w, http.StatusBadRequest, "bad-form", fmt.Sprintf("as: expected json, csv or captures, found %q.", as), "Load this page again.")
		return
	}
	w.Header().Set("Content-Type", kind)
	attach(w, name)
	if err := write(r.Context(), w, ids); err != nil {
		// Half of it is on its way already: end it so that nobody takes it for whole.
		s.Log.Error("the export broke off", "err", err)
		panic(http.ErrAbortHandler)
	}
}

func (s *Site) exportJSON(ctx context.Context, w io.Writer, ids []string) error {
	if _, err := io.WriteString(w, desk.ArchiveHead); err != nil {
		return err
	}
	for i, id := range ids {
		a, err := s.archive(ctx, id)
		if err != nil {
			return err
		}
		text, err := a.Encode()
		if err != nil {
			return err
		}
		if i > 0 {
			text = append([]byte(",\n"), text...)
		}
		if _, err := w.Write(text); err != nil {
			return err
		}
	}
	_, err := io.WriteString(w, desk.ArchiveTail)
	return err
}

func (s *Site) archive(ctx context.Context, id string) (*store.Archived, error) {
	a, err := s.Store.Archive(ctx, id)
	if err == nil && a == nil {
		err = fmt.Errorf("check %s is gone", id)
	}
	return a, err
}

func (s *Site) exportCSV(ctx context.Context, w io.Writer, ids []string) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true // RFC 4180
	if err := out.Write([]string{"check", "began", "plan", "rehearsal", "serial", "signed", "exception", "outcome", "coil", "string", "north", "claim", "p", "expected_uT", "measured_uT", "readings"}); err != nil {
		return err
	}
	for _, id := range ids {
		p, err := s.Desk.Look(ctx, id)
		if err != nil {
			return err
		}
		rows := [][]string{}
		signed, exception := "", ""
		if k := p.SignOff.Signed; k != nil {
			signed = k.Signed
			if k.Exception != nil {
				exception = k.Exception.Reason
			}
		}
		rehearsal := ""
		if p.Check.Rehearsal != "" {
			rehearsal = "rehearsal"
		}
		for i, c := range p.Plan.Coils {
			row := []string{id, p.Check.Began, cell(p.Plan.Name), rehearsal, cell(p.SignOff.Label.Serial), signed, cell(exception), "", c.ID, c.String, c.North, "undecided", "", "", "", "0"}
			if v := p.Verdict; v != nil && i < len(v.Coils) {
				k := v.Coils[i]
				row[7], row[11] = string(v.Outcome), string(record.Claim(k))
				best := 0.0
				for _, q := range k.P {
					best = max(best, q)
				}
				row[12], row[13], row[15] = number(best), number(k.ExpectedUT), strconv.Itoa(k.Used)
				if k.MeasuredUT != nil {
					row[14] = number(*k.MeasuredUT)
				}
			}
			rows = append(rows, row)
		}
		if err := out.WriteAll(rows); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// cell keeps a spreadsheet from taking what a person typed for a formula.
func cell(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t\r", rune(text[0])) {
		return "'" + text
	}
	return text
}

// exportCaptures writes one file of JSON Lines per source and start line, with
// the plan beside it, so that polewise judge can be run on them.
func (s *Site) exportCaptures(ctx context.Context, w io.Writer, ids []string) error {
	out := zip.NewWriter(w)
	for _, id := range ids {
		a, err := s.archive(ctx, id)
		if err != nil {
			return err
		}
		began, err := time.Parse(time.RFC3339Nano, a.Began)
		if err != nil {
			return err
		}
		var f io.Writer
		file := func(name string) (err error) {
			f, err = out.CreateHeader(&zip.FileHeader{Name: id + "/" + name, Method: zip.Deflate, Modified: began})
			return err
		}
		if err := file("plan.toml"); err != nil {
			return err
		}
		if _, err := io.WriteString(f, a.PlanTOML); err != nil {
			return err
		}
		source, parts := "", 0
		for _, m := range a.Messages {
			for _, l := range m.Lines {
				if m.Source != source || desk.IsStart(l) {
					if m.Source != source {
						source, parts = m.Source, 0
					}
					parts++
					if err := file(fmt.Sprintf("%s-%d.jsonl", source, parts)); err != nil {
						return err
					}
				}
				if _, err := f.Write(append(l, '\n')); err != nil {
					return err
				}
			}
		}
	}
	return out.Close()
}

// maxImport bounds an imported file.
const maxImport = 1 << 30

// importChecks takes a file of checks in. It is laid aside first, so that it can
// be looked through before anything is stored.
func (s *Site) importChecks(w http.ResponseWriter, r *http.Request) {
	f, err := s.aside("import")
	if err != nil {
		s.fail(w, err)
		return
	}
	defer drop(f)
	size, err := io.Copy(f, http.MaxBytesReader(w, r.Body, maxImport))
	if err != nil {
		problem(w, http.StatusRequestEntityTooLarge, "too-long", fmt.Sprintf("The file did not come whole, or has more than %d bytes.", maxImport), "Take it in again. If it is too large, export fewer checks at once where it comes from.")
		return
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		s.fail(w, err)
		return
	}
	if r.URL.Query().Get("follow") == "1" {
		s.followImport(w, r, f, size)
		return
	}
	done, err := s.Desk.Import(r.Context(), f, nil)
	if err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, done)
}

// followImport answers with a line of JSON now and then that tells how far the
// import is, and a last one with what came of it. The client stops it by going
// away.
func (s *Site) followImport(w http.ResponseWriter, r *http.Request, f *os.File, size int64) {
	out := s.linesTo(w)
	done, err := s.Desk.Import(r.Context(), f, func(p desk.ImportProgress) {
		out.nowAndThen(map[string]any{"progress": p, "size": size})
	})
	if err != nil {
		out.line(s.asClient(err))
		return
	}
	out.line(map[string]any{"done": done})
}

// asClient puts an error into the form of an answer.
func (s *Site) asClient(err error) map[string]any {
	var c *desk.ClientError
	if !errors.As(err, &c) {
		s.Log.Error("request failed", "err", err)
		c = &desk.ClientError{Code: "trouble", Say: "The program could not do that: " + err.Error(), Hint: "Try again. If it stays, look at what the program printed."}
	}
	return map[string]any{"error": c}
}

// aside makes a file beside the database that is gone again soon.
func (s *Site) aside(what string) (*os.File, error) {
	return os.CreateTemp(filepath.Dir(s.Store.Path()), ".polewise-"+what+"-*")
}

func drop(f *os.File) {
	_ = f.Close() // nothing is lost with it
	_ = os.Remove(f.Name())
}

// backup sends the whole database as one file, while the program runs.
func (s *Site) backup(w http.ResponseWriter, r *http.Request) {
	f, err := s.aside("backup")
	if err != nil {
		s.fail(w, err)
		return
	}
	defer drop(f)
	// SQLite takes an empty file that exists.
	if err := s.Store.Backup(r.Context(), f.Name()); err != nil {
		s.fail(w, err)
		return
	}
	info, err := f.Stat()
	if err != nil {
		s.fail(w, err)
		return
	}
	w.Header().Set("Content-Type", "application/vnd.sqlite3")
	w.Header().Set("Content-Length", strconv.FormatInt(info.Size(), 10))
	attach(w, "polewise-"+time.Now().Format("2006-01-02")+".db")
	if _, err := io.Copy(w, f); err != nil {
		s.Log.Debug("backup not delivered", "err", err)
	}
}
