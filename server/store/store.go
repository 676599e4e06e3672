// Package store keeps checks, what phones sent and what was concluded, in one
// SQLite file. What a method has returned from without error survives the
// death of the process.
package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	_ "modernc.org/sqlite" // the SQLite driver, without cgo
)

// FileName is the database's name in the data folder. Copying that one file
// while the program is not running is a backup; Backup makes one meanwhile.
const FileName = "polewise.db"

// Store is an open database. It is safe for concurrent use.
type Store struct {
	db   *sql.DB
	read *sql.DB // for long reading, which holds no writer up
	lock *folderLock
	path string
}

// Check is one check of one pad.
type Check struct {
	ID        string
	Began     time.Time
	PlanName  string
	PlanTOML  []byte
	Rehearsal string // id of the rehearsal that feeds it; empty for a real pad
	After     string // id of the check before the pad was mended; empty when it was not
	Mend      string // how it was mended, JSON
}

// checkColumns are those of a Check, in the order of scanCheck.
const checkColumns = "id, began, plan_name, plan_toml, rehearsal, after_check, mend"

// scanCheck reads a check; nil when there is none.
func scanCheck(row *sql.Row) (*Check, error) {
	var c Check
	var began string
	err := row.Scan(&c.ID, &began, &c.PlanName, &c.PlanTOML, &c.Rehearsal, &c.After, &c.Mend)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	c.Began, err = time.Parse(time.RFC3339Nano, began)
	return &c, err
}

// migrations bring an older file up to date, one per value of user_version.
var migrations = []string{
	`CREATE TABLE checks (
		id        TEXT PRIMARY KEY,
		began     TEXT NOT NULL,
		plan_name TEXT NOT NULL,
		plan_toml BLOB NOT NULL,
		rehearsal TEXT NOT NULL DEFAULT ''
	) STRICT;
	CREATE TABLE messages (
		check_id TEXT    NOT NULL REFERENCES checks(id),
		source   TEXT    NOT NULL,
		seq      INTEGER NOT NULL,
		lines    TEXT    NOT NULL, -- JSON Lines as received
		received TEXT    NOT NULL,
		PRIMARY KEY (check_id, source, seq)
	) STRICT;
	CREATE TABLE thrown_out (
		check_id TEXT NOT NULL REFERENCES checks(id),
		source   TEXT NOT NULL,
		coil     TEXT NOT NULL,
		hold_t   REAL NOT NULL,
		PRIMARY KEY (check_id, source, hold_t)
	) STRICT;
	CREATE TABLE verdicts (
		check_id TEXT NOT NULL REFERENCES checks(id),
		reached  TEXT NOT NULL,
		verdict  TEXT NOT NULL
	) STRICT;
	CREATE INDEX verdicts_of ON verdicts(check_id);
	CREATE TABLE holds (
		check_id TEXT NOT NULL REFERENCES checks(id),
		source   TEXT NOT NULL,
		coil     TEXT NOT NULL,
		hold_t   REAL NOT NULL,
		samples  INTEGER NOT NULL,
		PRIMARY KEY (check_id, source, hold_t)
	) STRICT;`,
	dialectsTable,
	recordsMigration,
	`ALTER TABLE checks ADD COLUMN after_check TEXT NOT NULL DEFAULT '';
	ALTER TABLE checks ADD COLUMN mend TEXT NOT NULL DEFAULT '';`,
	settingsTable,
	thrownStay,
	signedStays,
	coilNames,
}

// Open opens the database in a folder and makes both where they do not exist. The
// folder is this program's alone until Close.
func Open(dir string) (*Store, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("cannot make the data folder: %w", err)
	}
	l, err := lock(dir)
	if err != nil {
		return nil, err
	}
	s := &Store{lock: l, path: filepath.Join(dir, FileName)}
	if err := s.open(); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

func (s *Store) open() error {
	sweep(filepath.Dir(s.path))
	if err := setAsideForeignLog(s.path); err != nil {
		return fmt.Errorf("cannot open %s: %w", s.path, err)
	}
	at, err := address(s.path, "journal_mode(WAL)", "synchronous(FULL)", "busy_timeout(5000)", "foreign_keys(1)")
	if err == nil {
		s.db, err = sql.Open("sqlite", at)
	}
	if err != nil {
		return fmt.Errorf("cannot open %s: %w", s.path, err)
	}
	s.db.SetMaxOpenConns(1) // one writer; readers wait microseconds
	if err := s.migrate(); err != nil {
		return fmt.Errorf("cannot use %s: %w", s.path, err)
	}
	if s.read, err = openReader(s.path); err != nil {
		return fmt.Errorf("cannot read %s: %w", s.path, err)
	}
	return nil
}

func (s *Store) migrate() error {
	var version int
	if err := s.db.QueryRow("PRAGMA user_version").Scan(&version); err != nil {
		return err
	}
	if version > len(migrations) {
		return fmt.Errorf("it was written by a newer polewise (format %d, this one knows %d); use that one, or another --data folder", version, len(migrations))
	}
	for ; version < len(migrations); version++ {
		tx, err := s.db.Begin()
		if err != nil {
			return err
		}
		_, err = tx.Exec(migrations[version])
		if err == nil {
			_, err = tx.Exec(fmt.Sprintf("PRAGMA user_version = %d", version+1))
		}
		if err != nil {
			return errors.Join(err, tx.Rollback())
		}
		if err := tx.Commit(); err != nil {
			return err
		}
	}
	return nil
}

// Path is the database's file.
func (s *Store) Path() string { return s.path }

const asidePrefix = ".polewise-aside-"

// Aside makes a file beside the database. Whoever asked for it removes it.
func (s *Store) Aside() (*os.File, error) {
	return os.CreateTemp(filepath.Dir(s.path), asidePrefix+"*")
}

// sweep removes what a killed program left beside the database.
func sweep(dir string) {
	left, _ := os.ReadDir(dir)
	for _, e := range left {
		if strings.HasPrefix(e.Name(), asidePrefix) {
			_ = os.Remove(filepath.Join(dir, e.Name())) // it only takes room
		}
	}
}

// Close closes the database, and leaves the folder to others.
func (s *Store) Close() error {
	var errs []error
	for _, db := range []*sql.DB{s.read, s.db} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	return errors.Join(append(errs, s.lock.Close())...)
}

// NewCheck records the beginning of a check, with what its pad is called already.
func (s *Store) NewCheck(ctx context.Context, c Check, l Label) error {
	return s.together(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "INSERT INTO checks ("+checkColumns+") VALUES (?,?,?,?,?,?,?)",
			c.ID, c.Began.UTC().Format(time.RFC3339Nano), c.PlanName, c.PlanTOML, c.Rehearsal, c.After, c.Mend); err != nil {
			return err
		}
		if l == (Label{}) {
			return nil
		}
		return setLabel(ctx, tx, c.ID, l)
	})
}

// LastCheck returns the check begun last here, or nil when there is none. Which one
// that is its row tells: a clock may have been put back in between.
func (s *Store) LastCheck(ctx context.Context) (*Check, error) {
	return scanCheck(s.db.QueryRowContext(ctx, "SELECT "+checkColumns+" FROM checks WHERE id NOT IN (SELECT check_id FROM imported) ORDER BY rowid DESC LIMIT 1"))
}

// sinceCheck are checks begun here after another, but for rehearsals.
const sinceCheck = "rehearsal = '' AND id NOT IN (SELECT check_id FROM imported) AND rowid > (SELECT rowid FROM checks WHERE id = ?)"

// ReadSince tells whether anything is stored of a check begun after another, rehearsals
// aside. What was taken in from elsewhere was not begun here: no other is after it.
func (s *Store) ReadSince(ctx context.Context, check string) (read bool, err error) {
	err = s.read.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM checks WHERE "+sinceCheck+" AND EXISTS (SELECT 1 FROM messages WHERE check_id = id)) OR EXISTS (SELECT 1 FROM imported WHERE check_id = ?)", check, check).Scan(&read)
	return read, err
}

// LeftOpen is the check begun here of which something was read last, before another, if it
// is not signed and no mend came after it; nil if there is none such.
func (s *Store) LeftOpen(ctx context.Context, before string) (*Check, error) {
	c, err := scanCheck(s.read.QueryRowContext(ctx, "SELECT "+checkColumns+" FROM checks WHERE rehearsal = '' AND id NOT IN (SELECT check_id FROM imported) AND rowid < (SELECT rowid FROM checks WHERE id = ?) AND EXISTS (SELECT 1 FROM messages WHERE check_id = id) ORDER BY rowid DESC LIMIT 1", before))
	if c == nil || err != nil {
		return nil, err
	}
	closed := false
	err = s.read.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM records WHERE check_id = ?) OR EXISTS (SELECT 1 FROM checks WHERE after_check = ?)", c.ID, c.ID).Scan(&closed)
	if closed || err != nil {
		return nil, err
	}
	return c, nil
}

// BringBack makes a check the last begun here.
func (s *Store) BringBack(ctx context.Context, check string) error {
	_, err := s.db.ExecContext(ctx, "UPDATE checks SET rowid = (SELECT MAX(rowid) + 1 FROM checks) WHERE id = ?", check)
	return err
}

// SeqTakenError says that a sequence number is already stored with other lines.
type SeqTakenError struct {
	Seq, Last int64
}

func (e *SeqTakenError) Error() string {
	return fmt.Sprintf("message %d is already stored with other lines; go on from %d", e.Seq, e.Last+1)
}

// Append stores a message's lines. A message already stored is left as it is;
// fresh tells whether this one was new. The same number with other lines is a
// *SeqTakenError.
func (s *Store) Append(ctx context.Context, check, source string, seq int64, lines []json.RawMessage) (fresh bool, err error) {
	text := textOf(lines)
	res, err := s.db.ExecContext(ctx, "INSERT INTO messages (check_id, source, seq, lines, received) VALUES (?,?,?,?,?) ON CONFLICT DO NOTHING",
		check, source, seq, text, time.Now().UTC().Format(time.RFC3339Nano))
	if err != nil {
		return false, err
	}
	if n, err := res.RowsAffected(); err != nil || n == 1 {
		return n == 1, err
	}
	var stored string
	if err := s.db.QueryRowContext(ctx, "SELECT lines FROM messages WHERE check_id=? AND source=? AND seq=?", check, source, seq).Scan(&stored); err != nil {
		return false, err
	}
	if stored != text && !sameLines(stored, text) {
		last, err := s.lastSeq(ctx, check, source)
		if err != nil {
			return false, err
		}
		return false, &SeqTakenError{Seq: seq, Last: last}
	}
	return false, nil
}

// lastSeq is the highest sequence number stored for a source, 0 when none is.
func (s *Store) lastSeq(ctx context.Context, check, source string) (int64, error) {
	var last sql.NullInt64
	err := s.db.QueryRowContext(ctx, "SELECT MAX(seq) FROM messages WHERE check_id=? AND source=?", check, source).Scan(&last)
	return last.Int64, err
}

// Message is a stored message.
type Message struct {
	Source string
	Seq    int64
	Place  int64 // in the order in which they came, whatever clocks said then
	Lines  []json.RawMessage
}

// Messages returns all messages of a check, by source and in order of their
// numbers.
func (s *Store) Messages(ctx context.Context, check string) ([]Message, error) {
	return collect(ctx, s.db, func(r *sql.Rows) (m Message, err error) {
		var text string
		err = r.Scan(&m.Source, &m.Seq, &m.Place, &text)
		m.Lines = linesOf(text)
		return m, err
	}, "SELECT source, seq, rowid, lines FROM messages WHERE check_id=? ORDER BY source, seq", check)
}

// SaveVerdict stores a verdict with the holds it was reached on.
func (s *Store) SaveVerdict(ctx context.Context, check string, verdict []byte, holds []Hold) error {
	return s.together(ctx, func(tx *sql.Tx) error {
		for _, h := range holds {
			if _, err := tx.ExecContext(ctx, "INSERT INTO holds (check_id, source, coil, hold_t, samples) VALUES (?,?,?,?,?) ON CONFLICT DO UPDATE SET samples=excluded.samples",
				check, h.Source, h.Coil, h.T, h.Samples); err != nil {
				return err
			}
		}
		_, err := tx.ExecContext(ctx, "INSERT INTO verdicts (check_id, reached, verdict) VALUES (?,?,?)", check, time.Now().UTC().Format(time.RFC3339Nano), string(verdict))
		return err
	})
}

// LastVerdict returns the verdict of a check reached last, nil when none was.
func (s *Store) LastVerdict(ctx context.Context, check string) ([]byte, error) {
	var v string
	err := s.db.QueryRowContext(ctx, "SELECT verdict FROM verdicts WHERE check_id=? ORDER BY rowid DESC LIMIT 1", check).Scan(&v)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	return []byte(v), err
}
