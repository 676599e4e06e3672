package web

import (
	"archive/zip"
	"cmp"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"strconv"
	"strings"
	"time"

	"polewise/server/desk"
	"polewise/server/record"
	"polewise/server/store"
)

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
	if err := write(r.Context(), s.fetched(w), ids); err != nil {
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
	f, err := s.Store.Aside()
	if err != nil {
		s.fail(w, err)
		return
	}
	defer drop(f)
	size, err := io.Copy(f, http.MaxBytesReader(w, r.Body, maxImport))
	var here *fs.PathError
	switch {
	case errors.As(err, &here): // of the file laid aside
		s.fail(w, err)
		return
	case err != nil:
		notWhole(w, err, maxImport, "Export fewer checks at once where they come from.")
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
	s.answer(w, done, err)
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
	return map[string]any{"error": s.inWords(err, desk.ClientError{Code: "trouble", Say: "The program could not do that: %v.", Hint: cmp.Or(store.Remedy(err), "Try again. If it stays, look at what the program printed.")})}
}

func drop(f *os.File) {
	_ = f.Close() // nothing is lost with it
	_ = os.Remove(f.Name())
}

// backup sends the whole database as one file, while the program runs.
func (s *Site) backup(w http.ResponseWriter, r *http.Request) {
	f, err := s.Store.Aside()
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
	if _, err := io.Copy(s.fetched(w), f); err != nil {
		s.Log.Debug("backup not delivered", "err", err)
	}
}
