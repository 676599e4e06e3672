package desk

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"time"

	"polewise/field/capture"
	"polewise/field/planning"
	"polewise/field/verdict"
	"polewise/layout"
	"polewise/server/record"
	"polewise/server/store"
)

// archiveType and archiveVersion name the form in which checks are exported.
const (
	archiveType    = "polewise-checks"
	archiveVersion = 1
)

// ArchiveHead and ArchiveTail enclose exported checks, which stand one a line
// with commas between.
var (
	ArchiveHead = fmt.Sprintf("{\"type\":%q,\"v\":%d,\"checks\":[\n", archiveType, archiveVersion)
	ArchiveTail = "\n]}\n"
)

// maxArchivedCheck bounds one check of an imported file.
const maxArchivedCheck = 64 << 20

// archived is a check out of a file that was found in order.
type archived struct {
	check  *store.Archived
	record *store.Record
	end    int64 // where it ends in the file
}

// Imported tells what became of the checks of a file.
type Imported struct {
	Taken   []string        `json:"taken"`
	Skipped []string        `json:"skipped"` // here already, the same
	Refused []ImportRefused `json:"refused"`
}

// ImportProgress tells how far an import is.
type ImportProgress struct {
	Step   string `json:"step"`   // looking | taking
	Checks int    `json:"checks"` // gone through
	Bytes  int64  `json:"bytes"`  // of the file
}

// ImportRefused is a check that is here already with other content.
type ImportRefused struct {
	ID  string `json:"id"`
	Say string `json:"say"`
}

// Import takes checks in from a file. The whole file is looked through first:
// with anything wrong in it nothing is taken in. Checks that are here already
// are never changed. Tell is told how far it is, and may be nil. Where it is
// stopped by its context, what was taken in stays, each check whole.
func (d *Desk) Import(ctx context.Context, file io.ReadSeeker, tell func(ImportProgress)) (*Imported, error) {
	if tell == nil {
		tell = func(ImportProgress) {}
	}
	n := 0
	if err := readArchive(file, func(a archived) error {
		n++
		tell(ImportProgress{"looking", n, a.end})
		return ctx.Err()
	}); err != nil {
		return nil, err
	}
	n = 0
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	out := &Imported{Taken: []string{}, Skipped: []string{}, Refused: []ImportRefused{}}
	err := readArchive(file, func(a archived) error {
		n++
		tell(ImportProgress{"taking", n, a.end})
		if err := ctx.Err(); err != nil {
			return err
		}
		here, err := d.store.Archive(ctx, a.check.ID)
		if err != nil {
			return err
		}
		if here == nil {
			out.Taken = append(out.Taken, a.check.ID)
			return d.store.TakeIn(ctx, a.check, a.record)
		}
		ours, err := here.Encode()
		if err != nil {
			return err
		}
		theirs, err := a.check.Encode()
		if err != nil {
			return err
		}
		if bytes.Equal(ours, theirs) {
			out.Skipped = append(out.Skipped, a.check.ID)
		} else {
			out.Refused = append(out.Refused, ImportRefused{a.check.ID, fmt.Sprintf("Check %s of %s is here already with other content. Nothing was overwritten. Keep the file, or take it in with another --data folder.", a.check.ID, a.check.PlanName)})
		}
		return nil
	})
	return out, err
}

// lineCounter counts lines of what the decoder has read past.
type lineCounter struct {
	r    io.Reader
	ends []int64 // offsets of line ends not yet counted off
	at   int64
	done int
}

func (l *lineCounter) Read(p []byte) (int, error) {
	n, err := l.r.Read(p)
	for i, c := range p[:n] {
		if c == '\n' {
			l.ends = append(l.ends, l.at+int64(i))
		}
	}
	l.at += int64(n)
	return n, err
}

// line is the line of an offset, from 1. Offsets must not go back.
func (l *lineCounter) line(offset int64) int {
	k := 0
	for k < len(l.ends) && l.ends[k] < offset {
		k++
	}
	l.ends = l.ends[k:]
	l.done += k
	return l.done + 1
}

func badArchive(line int, format string, args ...any) error {
	return &ClientError{Code: "bad-file", Say: fmt.Sprintf("Line %d: ", line) + fmt.Sprintf(format, args...), Hint: "Nothing was taken in. Export the checks again where they come from, as JSON, and leave the file as it is."}
}

// archiveReader goes through a file of checks. What is wrong with the file comes back as a
// *ClientError.
type archiveReader struct {
	*json.Decoder
	lines *lineCounter
}

// here is the line that is read.
func (r *archiveReader) here() int { return r.lines.line(r.InputOffset()) }

func (r *archiveReader) bad(format string, args ...any) error {
	return badArchive(r.here(), format, args...)
}

// broken puts an error of reading into words.
func (r *archiveReader) broken(err error) error {
	var s *json.SyntaxError
	switch {
	case errors.As(err, &s):
		return r.bad("this is not JSON: %v.", err)
	case errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF):
		return r.bad("the file ends in the middle; it is not whole.")
	}
	return err
}

func (r *archiveReader) expect(want json.Delim, what string) error {
	t, err := r.Token()
	if err != nil {
		return r.broken(err)
	}
	if t != want {
		return r.bad("expected %s, found %v.", what, t)
	}
	return nil
}

// readArchive hands on each check of a file once it is found in order.
func readArchive(file io.Reader, take func(archived) error) error {
	lines := &lineCounter{r: file}
	r := &archiveReader{json.NewDecoder(lines), lines}
	if err := r.expect('{', `a file of checks, {"type":"`+archiveType+`",…}`); err != nil {
		return err
	}
	seen := map[string]bool{}
	for r.More() {
		t, err := r.Token()
		if err != nil {
			return r.broken(err)
		}
		key, _ := t.(string)
		if seen[key] {
			return r.bad("%q stands there twice.", key)
		}
		seen[key] = true
		switch key {
		case "type", "v":
			err = r.form(key)
		case "checks":
			if !seen["type"] || !seen["v"] {
				return r.bad(`expected "type" and "v" before "checks".`)
			}
			err = r.checks(take)
		default:
			err = r.bad(`expected "type", "v" or "checks", found %q.`, key)
		}
		if err != nil {
			return err
		}
	}
	if err := r.expect('}', "the end of the file"); err != nil {
		return err
	}
	if !seen["checks"] {
		return r.bad(`there is no "checks" in this file.`)
	}
	if _, err := r.Token(); !errors.Is(err, io.EOF) {
		return r.bad("something stands after the end.")
	}
	return nil
}

// form reads one of the two values that name the file's form.
func (r *archiveReader) form(key string) error {
	var v any
	if err := r.Decode(&v); err != nil {
		return r.broken(err)
	}
	if key == "type" && v != archiveType {
		return r.bad("type: expected %q, found %v. This is no export of checks.", archiveType, v)
	}
	if key == "v" && v != float64(archiveVersion) {
		return r.bad("v: expected %d, found %v. A newer polewise wrote this file; use that one.", archiveVersion, v)
	}
	return nil
}

// checks reads the list of checks.
func (r *archiveReader) checks(take func(archived) error) error {
	if err := r.expect('[', `a list of checks after "checks"`); err != nil {
		return err
	}
	ids := map[string]bool{}
	for n := 1; r.More(); n++ {
		var raw json.RawMessage
		if err := r.Decode(&raw); err != nil {
			return r.broken(err)
		}
		at := r.here() - bytes.Count(raw, []byte("\n")) // where it begins
		if len(raw) > maxArchivedCheck {
			return badArchive(at, "check %d has %d bytes; at most %d are taken.", n, len(raw), maxArchivedCheck)
		}
		a, err := parseArchived(raw, at)
		if err != nil {
			return err
		}
		if ids[a.check.ID] {
			return badArchive(at, "check %s stands in the file twice.", a.check.ID)
		}
		ids[a.check.ID] = true
		a.end = r.InputOffset()
		if err := take(a); err != nil {
			return err
		}
	}
	return r.expect(']', "the end of the list")
}

var idPattern = regexp.MustCompile(`^[A-Za-z0-9_-]{1,64}$`)

// parseArchived reads one check and looks it through.
func parseArchived(raw []byte, line int) (archived, error) {
	var a store.Archived
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	if err := d.Decode(&a); err != nil {
		at := line
		var ty *json.UnmarshalTypeError
		if errors.As(err, &ty) {
			at += bytes.Count(raw[:min(int(ty.Offset), len(raw))], []byte("\n"))
			return archived{}, badArchive(at, "%s: expected %s, found %s.", ty.Field, ty.Type, ty.Value)
		}
		return archived{}, badArchive(at, "this check cannot be read: %v.", err)
	}
	rec, err := checkArchived(&a)
	if err != nil {
		return archived{}, badArchive(line, "check %s, %v.", a.ID, err)
	}
	return archived{check: &a, record: rec}, nil
}

// checkArchived looks a check through: everything in it is as this program would
// have stored it. Raw JSON is brought to its stored form.
func checkArchived(a *store.Archived) (*store.Record, error) {
	if !idPattern.MatchString(a.ID) {
		return nil, fmt.Errorf("id: expected letters, digits, - and _, at most 64, found %q", a.ID)
	}
	if err := moment("began", a.Began); err != nil {
		return nil, err
	}
	plan, err := layout.Parse("plan_toml", []byte(a.PlanTOML))
	if err != nil {
		return nil, err
	}
	if a.PlanName != plan.Name {
		return nil, fmt.Errorf("plan_name: expected %q as in its plan, found %q", plan.Name, a.PlanName)
	}
	if a.Rehearsal != "" && !idPattern.MatchString(a.Rehearsal) {
		return nil, fmt.Errorf("rehearsal: expected an id, found %q", a.Rehearsal)
	}
	for _, check := range []func(*layout.Plan, *store.Archived) error{checkMend, checkLabel, checkMessages, checkHolds, checkVerdicts} {
		if err := check(plan, a); err != nil {
			return nil, err
		}
	}
	return checkRecord(plan, a)
}

func checkMend(_ *layout.Plan, a *store.Archived) (err error) {
	if a.After == "" {
		if len(a.Mend) > 0 {
			return errors.New("mend: expected none without \"after\"")
		}
		return nil
	}
	if !idPattern.MatchString(a.After) || a.After == a.ID {
		return fmt.Errorf("after: expected the id of another check, found %q", a.After)
	}
	if a.Mend, err = compact(a.Mend); err != nil {
		return fmt.Errorf("mend: %v", err)
	}
	var mend []verdict.Mend
	if err := json.Unmarshal(a.Mend, &mend); err != nil {
		return fmt.Errorf("mend: %v", err)
	}
	return nil
}

func checkLabel(_ *layout.Plan, a *store.Archived) error {
	if a.Label == nil {
		return nil
	}
	for _, f := range []struct {
		key, text string
		most      int
	}{{"label.serial", a.Label.Serial, record.MaxSerial}, {"label.note", a.Label.Note, record.MaxNote}} {
		if got, err := typed(f.key, f.text, f.most); err != nil || got != f.text {
			return fmt.Errorf("%s: expected at most %d printable characters without space around them", f.key, f.most)
		}
	}
	return nil
}

// checkHolds looks through the holds that a verdict saw and those thrown out.
func checkHolds(plan *layout.Plan, a *store.Archived) error {
	for key, list := range map[string]*[]store.Hold{"thrown_out": &a.ThrownOut, "holds": &a.Holds} {
		if *list == nil {
			*list = []store.Hold{}
		}
		slices.SortFunc(*list, func(x, y store.Hold) int {
			return cmp.Or(cmp.Compare(x.Source, y.Source), cmp.Compare(x.T, y.T), cmp.Compare(x.Coil, y.Coil))
		})
		for i, h := range *list {
			known := plan.CoilIndex(h.Coil) >= 0
			if !known && key == "thrown_out" { // an ohmmeter reading that was put right
				_, known = planning.OhmsAgree(plan, h.Coil, nil, nil)
			}
			if !idPattern.MatchString(h.Source) || h.Samples < 0 || !known {
				return fmt.Errorf("%s: expected a source, a coil of the plan and a time, found %q, %q, %g", key, h.Source, h.Coil, h.T)
			}
			if i > 0 && (*list)[i-1].Source == h.Source && (*list)[i-1].T == h.T && (*list)[i-1].Coil == h.Coil {
				return fmt.Errorf("%s: %s at %g s stands there twice", key, h.Coil, h.T)
			}
		}
	}
	return nil
}

func checkVerdicts(plan *layout.Plan, a *store.Archived) (err error) {
	if a.Verdicts == nil {
		a.Verdicts = []store.ArchivedVerdict{}
	}
	for i := range a.Verdicts {
		v := &a.Verdicts[i]
		if err := moment(fmt.Sprintf("verdicts[%d].reached", i), v.Reached); err != nil {
			return err
		}
		if v.Verdict, err = compact(v.Verdict); err != nil {
			return fmt.Errorf("verdicts[%d].verdict: %v", i, err)
		}
		var is verdict.Verdict
		if err := json.Unmarshal(v.Verdict, &is); err != nil {
			return fmt.Errorf("verdicts[%d].verdict: %v", i, err)
		}
		if err := fits(plan, &is); err != nil {
			return fmt.Errorf("verdicts[%d].verdict: %v", i, err)
		}
	}
	return nil
}

func checkMessages(plan *layout.Plan, a *store.Archived) error {
	if a.Messages == nil {
		a.Messages = []store.ArchivedMessage{}
	}
	type key struct {
		source string
		seq    int64
	}
	seen := map[key]bool{}
	for i := range a.Messages {
		m := &a.Messages[i]
		at := fmt.Sprintf("messages[%d]", i)
		if !idPattern.MatchString(m.Source) || m.Seq < 0 || seen[key{m.Source, m.Seq}] {
			return fmt.Errorf("%s: expected a source and a number of its own from 0, found %q, %d", at, m.Source, m.Seq)
		}
		seen[key{m.Source, m.Seq}] = true
		if err := moment(at+".received", m.Received); err != nil {
			return err
		}
		if len(m.Lines) == 0 || len(m.Lines) > maxMessageLines {
			return fmt.Errorf("%s.lines: expected 1 to %d, found %d", at, maxMessageLines, len(m.Lines))
		}
		for k := range m.Lines {
			var err error
			if m.Lines[k], err = compact(m.Lines[k]); err == nil {
				var l capture.Line
				if l, err = capture.ParseLine(m.Lines[k]); err == nil {
					if e := capture.CheckLine(plan, l); e != nil {
						err = e
					}
				}
			}
			if err != nil {
				return fmt.Errorf("%s.lines[%d]: %w", at, k, err)
			}
		}
	}
	slices.SortFunc(a.Messages, func(x, y store.ArchivedMessage) int {
		return cmp.Or(cmp.Compare(x.Source, y.Source), cmp.Compare(x.Seq, y.Seq))
	})
	return nil
}

// checkRecord looks a record through and makes its HTML anew.
func checkRecord(plan *layout.Plan, a *store.Archived) (*store.Record, error) {
	if a.Record == nil {
		return nil, nil
	}
	if a.Rehearsal != "" {
		return nil, errors.New("record: a rehearsal is never signed off")
	}
	var err error
	if a.Record.JSON, err = compact(a.Record.JSON); err != nil {
		return nil, fmt.Errorf("record.json: %v", err)
	}
	if sum := record.Sum(a.Record.JSON); sum != a.Record.SHA256 {
		return nil, fmt.Errorf("record.sha256: expected %s for what stands there, found %s; what was signed has been changed", sum, a.Record.SHA256)
	}
	r, err := record.Decode(a.Record.JSON)
	if err != nil {
		return nil, fmt.Errorf("record.json: %w", err)
	}
	if r.Check.ID != a.ID {
		return nil, fmt.Errorf("record.json: it is that of check %s", r.Check.ID)
	}
	if r.Plan.TOML != a.PlanTOML {
		return nil, errors.New("record.json: its plan is not that of the check")
	}
	if err := fits(plan, r.Verdict); err != nil {
		return nil, fmt.Errorf("record.json: %v", err)
	}
	if open := record.OpenOf(plan, r.Verdict, r.Ohms, nil); r.Exception == nil && !open.Nothing() {
		return nil, fmt.Errorf("record.json: it has no exception, though not all is as planned: %s", openWords(open))
	}
	signed, err := time.Parse(time.RFC3339, r.Signed)
	if err != nil {
		return nil, fmt.Errorf("record.json: signed: %v", err)
	}
	page, err := r.HTML(a.Record.SHA256)
	if err != nil {
		return nil, fmt.Errorf("record.json: %w", err)
	}
	return &store.Record{CheckID: a.ID, Signed: signed, Serial: r.Serial, Maker: r.Maker, Note: r.Note, Exception: r.Exception != nil, SHA256: a.Record.SHA256, JSON: a.Record.JSON, HTML: page}, nil
}

// fits tells whether a verdict is one of this plan.
func fits(plan *layout.Plan, v *verdict.Verdict) error {
	switch v.Outcome {
	case verdict.AsPlanned, verdict.Fault, verdict.Undecided:
	default:
		return fmt.Errorf("outcome: expected as-planned, fault or undecided, found %q", v.Outcome)
	}
	if len(v.Coils) != len(plan.Coils) {
		return fmt.Errorf("expected %d coils as in the plan, found %d", len(plan.Coils), len(v.Coils))
	}
	for i := range v.Coils {
		if v.Coils[i].ID != plan.Coils[i].ID {
			return fmt.Errorf("coils[%d]: expected %s as in the plan, found %q", i, plan.Coils[i].ID, v.Coils[i].ID)
		}
	}
	return nil
}

func moment(key, text string) error {
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil || t.Location() != time.UTC || text[len(text)-1] != 'Z' {
		return fmt.Errorf("%s: expected a time in UTC as in 2024-05-01T12:00:00Z, found %q", key, text)
	}
	return nil
}

func compact(raw json.RawMessage) (json.RawMessage, error) {
	if len(raw) == 0 {
		return nil, errors.New("expected JSON, found nothing")
	}
	var b bytes.Buffer
	if err := json.Compact(&b, raw); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
