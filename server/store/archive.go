package store

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"
)

// Archived is all that is stored of a check, in the form in which it is exported
// and taken in again. Nothing is lost in it.
type Archived struct {
	ID        string            `json:"id"`
	Began     string            `json:"began"` // RFC 3339, UTC
	PlanName  string            `json:"plan_name"`
	PlanTOML  string            `json:"plan_toml"`
	Rehearsal string            `json:"rehearsal,omitempty"`
	After     string            `json:"after,omitempty"` // the check before the pad was mended
	Mend      json.RawMessage   `json:"mend,omitempty"`  // how it was mended
	Label     *Label            `json:"label,omitempty"`
	Messages  []ArchivedMessage `json:"messages"`
	ThrownOut []Hold            `json:"thrown_out"`
	Holds     []Hold            `json:"holds"`
	Verdicts  []ArchivedVerdict `json:"verdicts"`
	Record    *ArchivedRecord   `json:"record,omitempty"`
}

// ArchivedMessage is a message as received.
type ArchivedMessage struct {
	Source   string            `json:"source"`
	Seq      int64             `json:"seq"`
	Received string            `json:"received"`
	Lines    []json.RawMessage `json:"lines"`
}

// Hold is a hold as the verdict saw it, or any reading that was taken back.
type Hold struct {
	Source  string  `json:"source"`
	Coil    string  `json:"coil"`
	T       float64 `json:"t"`
	Samples int     `json:"samples,omitempty"`
}

// ArchivedVerdict is a verdict as it was reached.
type ArchivedVerdict struct {
	Reached string          `json:"reached"`
	Verdict json.RawMessage `json:"verdict"`
}

// ArchivedRecord is what was signed. The HTML file is made of it anew where it is
// taken in.
type ArchivedRecord struct {
	SHA256 string          `json:"sha256"`
	JSON   json.RawMessage `json:"json"`
}

// Encode writes it compactly, on one line. The same content is always the same
// text.
func (a *Archived) Encode() ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false) // lines and records stay byte for byte
	if err := e.Encode(a); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}

// Archive gathers a check, nil when there is none.
func (s *Store) Archive(ctx context.Context, id string) (*Archived, error) {
	tx, err := s.read.BeginTx(ctx, nil) // one moment's view
	if err != nil {
		return nil, err
	}
	defer tx.Rollback() // it only reads
	a := &Archived{ID: id}
	var plan []byte
	var mend string
	err = tx.QueryRowContext(ctx, "SELECT began, plan_name, plan_toml, rehearsal, after_check, mend FROM checks WHERE id=?", id).Scan(&a.Began, &a.PlanName, &plan, &a.Rehearsal, &a.After, &mend)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	a.PlanTOML = string(plan)
	if mend != "" {
		a.Mend = json.RawMessage(mend)
	}
	var l Label
	switch err := tx.QueryRowContext(ctx, "SELECT serial, note FROM labels WHERE check_id=?", id).Scan(&l.Serial, &l.Note); {
	case err == nil:
		a.Label = &l
	case !errors.Is(err, sql.ErrNoRows):
		return nil, err
	}
	if a.Messages, err = collect(ctx, tx, func(r *sql.Rows) (m ArchivedMessage, err error) {
		var text string
		err = r.Scan(&m.Source, &m.Seq, &m.Received, &text)
		m.Lines = linesOf(text)
		return m, err
	}, "SELECT source, seq, received, lines FROM messages WHERE check_id=? ORDER BY source, seq", id); err != nil {
		return nil, err
	}
	hold := func(r *sql.Rows) (h Hold, err error) {
		err = r.Scan(&h.Source, &h.Coil, &h.T, &h.Samples)
		return h, err
	}
	if a.ThrownOut, err = collect(ctx, tx, hold, "SELECT source, coil, hold_t, 0 FROM thrown_out WHERE check_id=? ORDER BY source, hold_t, coil", id); err != nil {
		return nil, err
	}
	if a.Holds, err = collect(ctx, tx, hold, "SELECT source, coil, hold_t, samples FROM holds WHERE check_id=? ORDER BY source, hold_t, coil", id); err != nil {
		return nil, err
	}
	if a.Verdicts, err = collect(ctx, tx, func(r *sql.Rows) (v ArchivedVerdict, err error) {
		var text string
		err = r.Scan(&v.Reached, &text)
		v.Verdict = json.RawMessage(text)
		return v, err
	}, "SELECT reached, verdict FROM verdicts WHERE check_id=? ORDER BY rowid", id); err != nil {
		return nil, err
	}
	rec, err := scanRecord(tx.QueryRowContext(ctx, recordColumns+" WHERE r.check_id = ?", id))
	if err != nil || rec == nil {
		return a, err
	}
	a.Record = &ArchivedRecord{SHA256: rec.SHA256, JSON: rec.JSON}
	return a, nil
}

// byArrival are the messages in the order in which they came, as their rows tell it.
func (a *Archived) byArrival() []ArchivedMessage {
	came := func(m ArchivedMessage) time.Time {
		t, _ := time.Parse(time.RFC3339Nano, m.Received) // one without came before all others
		return t
	}
	return slices.SortedStableFunc(slices.Values(a.Messages), func(a, b ArchivedMessage) int { return came(a).Compare(came(b)) })
}

// TakeIn stores an archived check that is not there yet, whole or not at all,
// with its record if it has one.
func (s *Store) TakeIn(ctx context.Context, a *Archived, r *Record) error {
	return s.together(ctx, func(tx *sql.Tx) (err error) {
		do := func(query string, args ...any) {
			if err == nil {
				_, err = tx.ExecContext(ctx, query, args...)
			}
		}
		do("INSERT INTO checks ("+checkColumns+") VALUES (?,?,?,?,?,?,?)", a.ID, a.Began, a.PlanName, []byte(a.PlanTOML), a.Rehearsal, a.After, string(a.Mend))
		do("INSERT INTO imported (check_id) VALUES (?)", a.ID)
		if a.Label != nil {
			do("INSERT INTO labels (check_id, serial, note) VALUES (?,?,?)", a.ID, a.Label.Serial, a.Label.Note)
		}
		for _, m := range a.byArrival() {
			do("INSERT INTO messages (check_id, source, seq, lines, received) VALUES (?,?,?,?,?)", a.ID, m.Source, m.Seq, textOf(m.Lines), m.Received)
		}
		for _, h := range a.ThrownOut {
			do("INSERT INTO thrown_out (check_id, source, coil, hold_t) VALUES (?,?,?,?)", a.ID, h.Source, h.Coil, h.T)
		}
		for _, h := range a.Holds {
			do("INSERT INTO holds (check_id, source, coil, hold_t, samples) VALUES (?,?,?,?,?)", a.ID, h.Source, h.Coil, h.T, h.Samples)
		}
		for _, v := range a.Verdicts {
			do("INSERT INTO verdicts (check_id, reached, verdict) VALUES (?,?,?)", a.ID, v.Reached, string(v.Verdict))
		}
		if r != nil && err == nil {
			err = saveRecord(ctx, tx, *r)
		}
		if err != nil {
			return fmt.Errorf("check %s cannot be stored: %w", a.ID, err)
		}
		return nil
	})
}
