package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"
)

// recordsMigration keeps what was signed: the database itself refuses to change
// a record, or to add to a check that has one.
const recordsMigration = `CREATE TABLE records (
		check_id  TEXT PRIMARY KEY REFERENCES checks(id),
		signed    TEXT NOT NULL,
		serial    TEXT NOT NULL,
		maker     TEXT NOT NULL,
		note      TEXT NOT NULL,
		exception INTEGER NOT NULL, -- 1: signed with a written exception
		sha256    TEXT NOT NULL,    -- of json
		json      TEXT NOT NULL,
		html      TEXT NOT NULL
	) STRICT;
	CREATE TABLE labels ( -- what a person calls a pad before it is signed
		check_id TEXT PRIMARY KEY REFERENCES checks(id),
		serial   TEXT NOT NULL,
		note     TEXT NOT NULL
	) STRICT;
	CREATE TABLE imported (
		check_id TEXT PRIMARY KEY REFERENCES checks(id)
	) STRICT;
	CREATE INDEX records_serial ON records(serial);
	CREATE TRIGGER records_stay BEFORE UPDATE ON records BEGIN
		SELECT RAISE(ABORT, 'what is signed stays as it is');
	END;
	CREATE TRIGGER records_kept BEFORE DELETE ON records BEGIN
		SELECT RAISE(ABORT, 'what is signed stays as it is');
	END;
	CREATE TRIGGER labels_closed BEFORE INSERT ON labels
		WHEN EXISTS (SELECT 1 FROM records WHERE check_id = NEW.check_id) BEGIN
		SELECT RAISE(ABORT, 'the check is signed off');
	END;
	CREATE TRIGGER labels_stay BEFORE UPDATE ON labels
		WHEN EXISTS (SELECT 1 FROM records WHERE check_id = NEW.check_id) BEGIN
		SELECT RAISE(ABORT, 'the check is signed off');
	END;
	CREATE TRIGGER messages_closed BEFORE INSERT ON messages
		WHEN EXISTS (SELECT 1 FROM records WHERE check_id = NEW.check_id)
		AND NOT EXISTS (SELECT 1 FROM messages WHERE check_id = NEW.check_id AND source = NEW.source AND seq = NEW.seq) BEGIN
		SELECT RAISE(ABORT, 'the check is signed off');
	END;
	` + thrownClosed + `
	CREATE TRIGGER verdicts_closed BEFORE INSERT ON verdicts
		WHEN EXISTS (SELECT 1 FROM records WHERE check_id = NEW.check_id) BEGIN
		SELECT RAISE(ABORT, 'the check is signed off');
	END;`

// thrownClosed keeps a signed check from having anything more thrown out.
const thrownClosed = `CREATE TRIGGER thrown_out_closed BEFORE INSERT ON thrown_out
		WHEN EXISTS (SELECT 1 FROM records WHERE check_id = NEW.check_id) BEGIN
		SELECT RAISE(ABORT, 'the check is signed off');
	END;`

// thrownStay keeps what was thrown out of a signed check from being put back.
const thrownStay = `CREATE TRIGGER thrown_out_stay BEFORE DELETE ON thrown_out
	WHEN EXISTS (SELECT 1 FROM records WHERE check_id = OLD.check_id) BEGIN
	SELECT RAISE(ABORT, 'the check is signed off');
END;`

// signedStays keeps what a record was made of as it was. A record in the place of
// another one is an insert to SQLite.
var signedStays = `CREATE TRIGGER records_once BEFORE INSERT ON records
	WHEN EXISTS (SELECT 1 FROM records WHERE check_id = NEW.check_id) BEGIN
	SELECT RAISE(ABORT, 'what is signed stays as it is');
END;` + staysSigned("checks", "id") + staysSigned("messages", "check_id") + staysSigned("verdicts", "check_id")

// staysSigned are the triggers of a table that let nothing of a signed check be changed.
func staysSigned(table, check string) string {
	var b strings.Builder
	for _, change := range []string{"UPDATE", "DELETE"} {
		fmt.Fprintf(&b, `CREATE TRIGGER %[1]s_%[3]s_signed BEFORE %[3]s ON %[1]s
	WHEN EXISTS (SELECT 1 FROM records WHERE check_id = OLD.%[2]s) BEGIN
	SELECT RAISE(ABORT, 'the check is signed off');
END;`, table, check, change)
	}
	return b.String()
}

// Record is a signed check: its document as JSON and as HTML, and what is
// searched for in lists.
type Record struct {
	CheckID             string
	Signed              time.Time
	Serial, Maker, Note string
	Exception           bool
	SHA256              string
	JSON, HTML          []byte
}

// Label is what a person calls a pad before it is signed.
type Label struct {
	Serial string `json:"serial"`
	Note   string `json:"note"`
}

func openReader(path string) (*sql.DB, error) {
	at, err := address(path, "busy_timeout(5000)", "query_only(1)")
	if err != nil {
		return nil, err
	}
	db, err := sql.Open("sqlite", at)
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(2)
	return db, nil
}

// SaveRecord signs a check. A check is signed once. Its serial number goes back to
// the checks of the same pad before it was mended, where these have none.
func (s *Store) SaveRecord(ctx context.Context, r Record) error {
	return s.together(ctx, func(tx *sql.Tx) error {
		if err := saveRecord(ctx, tx, r); err != nil || r.Serial == "" {
			return err
		}
		_, err := tx.ExecContext(ctx, serialBack, r.CheckID, r.Serial)
		return err
	})
}

const serialBack = `WITH RECURSIVE chain(id) AS (
		SELECT after_check FROM checks WHERE id = ?1
		UNION SELECT c.after_check FROM chain JOIN checks c ON c.id = chain.id)
	INSERT INTO labels (check_id, serial, note) SELECT c.id, ?2, '' FROM chain JOIN checks c ON c.id = chain.id
		WHERE NOT EXISTS (SELECT 1 FROM records r WHERE r.check_id = c.id)
	ON CONFLICT(check_id) DO UPDATE SET serial = excluded.serial WHERE labels.serial = ''`

func saveRecord(ctx context.Context, in querier, r Record) error {
	_, err := in.ExecContext(ctx, "INSERT INTO records (check_id, signed, serial, maker, note, exception, sha256, json, html) VALUES (?,?,?,?,?,?,?,?,?)",
		r.CheckID, r.Signed.UTC().Format(time.RFC3339), r.Serial, r.Maker, r.Note, r.Exception, r.SHA256, string(r.JSON), string(r.HTML))
	return err
}

// RecordOf returns a check's record, nil when it is not signed.
func (s *Store) RecordOf(ctx context.Context, check string) (*Record, error) {
	return scanRecord(s.read.QueryRowContext(ctx, recordColumns+" WHERE r.check_id = ?", check))
}

const recordColumns = "SELECT r.check_id, r.signed, r.serial, r.maker, r.note, r.exception, r.sha256, r.json, r.html FROM records r"

func scanRecord(row *sql.Row) (*Record, error) {
	var r Record
	var signed, text, page string
	err := row.Scan(&r.CheckID, &signed, &r.Serial, &r.Maker, &r.Note, &r.Exception, &r.SHA256, &text, &page)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	r.JSON, r.HTML = []byte(text), []byte(page)
	r.Signed, err = time.Parse(time.RFC3339, signed)
	return &r, err
}

// EarlierRecord returns the record signed last, before a time, of the same serial
// number; without a serial number that of the same plan. Nil when there is none.
func (s *Store) EarlierRecord(ctx context.Context, check, serial string, plan []byte, before time.Time) (*Record, error) {
	where, what := "r.serial = ?", any(serial)
	if serial == "" {
		where, what = "c.plan_toml = ?", any(plan)
	}
	return scanRecord(s.read.QueryRowContext(ctx, recordColumns+" JOIN checks c ON c.id = r.check_id WHERE "+where+" AND r.check_id <> ? AND r.signed <= ? ORDER BY r.signed DESC LIMIT 1",
		what, check, before.UTC().Format(time.RFC3339)))
}

// SetLabel keeps what a person calls the pad of a check.
func (s *Store) SetLabel(ctx context.Context, check string, l Label) error {
	return setLabel(ctx, s.db, check, l)
}

func setLabel(ctx context.Context, in querier, check string, l Label) error {
	_, err := in.ExecContext(ctx, "INSERT INTO labels (check_id, serial, note) VALUES (?,?,?) ON CONFLICT DO UPDATE SET serial=excluded.serial, note=excluded.note", check, l.Serial, l.Note)
	return err
}

// LabelOf returns what a person calls the pad of a check.
func (s *Store) LabelOf(ctx context.Context, check string) (Label, error) {
	var l Label
	err := s.db.QueryRowContext(ctx, "SELECT serial, note FROM labels WHERE check_id=?", check).Scan(&l.Serial, &l.Note)
	return l, orNone(err)
}

// CheckByID returns a check, nil when there is none.
func (s *Store) CheckByID(ctx context.Context, id string) (*Check, error) {
	return scanCheck(s.read.QueryRowContext(ctx, "SELECT "+checkColumns+" FROM checks WHERE id=?", id))
}

// AfterMend returns the id of the check after the pad of another was mended, and when
// it began; both are empty where there is none.
func (s *Store) AfterMend(ctx context.Context, check string) (id, began string, err error) {
	err = s.read.QueryRowContext(ctx, "SELECT id, began FROM checks WHERE after_check = ? ORDER BY began LIMIT 1", check).Scan(&id, &began)
	return id, began, orNone(err)
}

// Listed is a line of the list of checks.
type Listed struct {
	ID        string `json:"id"`
	Began     string `json:"began"`
	PlanName  string `json:"plan_name"`
	Rehearsal bool   `json:"rehearsal"`
	Imported  bool   `json:"imported"`
	Serial    string `json:"serial"`
	Note      string `json:"note"`
	Maker     string `json:"maker"`
	Signed    string `json:"signed"`
	SHA256    string `json:"sha256"`
	State     string `json:"state"` // signed | exception | as-planned | fault | undecided | unread
	// Mended is the check after the pad was mended, MendedBegan when it began;
	// both are empty where there is none.
	Mended      string `json:"mended"`
	MendedBegan string `json:"mended_began"`
	// Coils of the plan, and how many of them the last verdict has readings of; 0 without one.
	Coils int `json:"coils"`
	Read  int `json:"read"`
}

// ListQuery asks for a part of the list of checks.
type ListQuery struct {
	Words []string // all of them in the plan's name, serial number, note, maker, state or date, as this computer shows it
	State string   // a state, "rehearsal", or "" for every check with readings
	Sort  string   // began | plan | serial | state | signed
	Up    bool     // smallest first
	Limit int
	Skip  int
}

// listed is the list as a table. Only the verdict reached last counts.
const listed = `SELECT c.id AS id, c.began AS began, c.plan_name AS plan, c.rehearsal <> '' AS rehearsal,
	EXISTS (SELECT 1 FROM imported i WHERE i.check_id = c.id) AS imported,
	COALESCE(r.serial, l.serial, '') AS serial, COALESCE(r.note, l.note, '') AS note, COALESCE(r.maker, '') AS maker,
	COALESCE(r.signed, '') AS signed, COALESCE(r.sha256, '') AS sha256,
	CASE WHEN r.exception = 1 THEN 'exception' WHEN r.exception = 0 THEN 'signed'
	ELSE COALESCE((SELECT json_extract(v.verdict, '$.outcome') FROM verdicts v WHERE v.check_id = c.id ORDER BY v.rowid DESC LIMIT 1),
		CASE WHEN EXISTS (SELECT 1 FROM messages m WHERE m.check_id = c.id) THEN 'undecided' ELSE 'unread' END) END AS state,
	COALESCE(n.id, '') AS mended, COALESCE(n.began, '') AS mended_began
	FROM checks c LEFT JOIN records r ON r.check_id = c.id LEFT JOIN labels l ON l.check_id = c.id
	LEFT JOIN (SELECT after_check, id, MIN(began) AS began FROM checks WHERE after_check <> '' GROUP BY after_check) n ON n.after_check = c.id`

// stateWords are what the page calls the states, to be searched for.
const stateWords = `CASE state WHEN 'signed' THEN 'signed off as planned' WHEN 'exception' THEN 'signed off with exception' WHEN 'as-planned' THEN 'as planned not signed'
	WHEN 'fault' THEN 'fault' WHEN 'unread' THEN 'nothing read' ELSE state END || CASE WHEN rehearsal THEN ' rehearsal' ELSE '' END`

var sorts = map[string]string{"began": "began", "plan": "plan COLLATE NOCASE", "serial": "serial COLLATE NOCASE", "state": "state", "signed": "signed"}

// ErrSort says that a list cannot be sorted so.
var ErrSort = errors.New("sort: expected began, plan, serial, state or signed")

func (q ListQuery) where() (string, []any) {
	where, args := []string{"1"}, []any{}
	switch q.State {
	case "":
		where = append(where, "state <> 'unread'")
	case "rehearsal":
		where = append(where, "rehearsal AND state <> 'unread'")
	default:
		where, args = append(where, "state = ?"), append(args, q.State)
	}
	for _, w := range q.Words {
		where = append(where, "instr(folded(plan || ' ' || serial || ' ' || note || ' ' || maker || ' ' || wall(began) || ' ' || wall(signed) || ' ' || id || ' ' || "+stateWords+"), ?) > 0")
		args = append(args, strings.ToLower(w))
	}
	return strings.Join(where, " AND "), args
}

// List returns a part of the list of checks, and how many there are in all.
func (s *Store) List(ctx context.Context, q ListQuery) (list []Listed, total int, err error) {
	by, ok := sorts[q.Sort]
	if !ok {
		return nil, 0, ErrSort
	}
	way := "DESC"
	if q.Up {
		way = "ASC"
	}
	where, args := q.where()
	list, err = collect(ctx, s.read, func(r *sql.Rows) (l Listed, err error) {
		err = r.Scan(&total, &l.ID, &l.Began, &l.PlanName, &l.Rehearsal, &l.Imported, &l.Serial, &l.Note, &l.Maker, &l.Signed, &l.SHA256, &l.State, &l.Mended, &l.MendedBegan, &l.Coils, &l.Read)
		return l, err
	}, fmt.Sprintf(`WITH listed AS MATERIALIZED (%s), found AS MATERIALIZED (SELECT * FROM listed WHERE %s),
		page AS MATERIALIZED (SELECT (SELECT COUNT(*) FROM found), id, began, plan, rehearsal, imported, serial, note, maker, signed, sha256, state, mended, mended_began FROM found ORDER BY %s %s, began %s, id LIMIT ? OFFSET ?)
		SELECT page.*, COALESCE(json_array_length(v.verdict, '$.coils'), 0), (SELECT COUNT(*) FROM json_each(v.verdict, '$.coils') c WHERE c.value ->> 'used' > 0)
		FROM page LEFT JOIN verdicts v ON v.rowid = (SELECT MAX(rowid) FROM verdicts WHERE check_id = page.id) ORDER BY %s %s, began %s, page.id`, listed, where, by, way, way, by, way, way),
		append(args, q.Limit, q.Skip)...)
	if err != nil {
		return nil, 0, err
	}
	if len(list) == 0 && q.Skip > 0 { // past the end: the number is still wanted
		err = s.read.QueryRowContext(ctx, fmt.Sprintf("SELECT COUNT(*) FROM (%s) WHERE %s", listed, where), args...).Scan(&total)
	}
	return list, total, err
}

// IDs lists the checks that a query finds, the oldest first.
func (s *Store) IDs(ctx context.Context, q ListQuery) ([]string, error) {
	where, args := q.where()
	return collect(ctx, s.read, func(r *sql.Rows) (id string, err error) {
		err = r.Scan(&id)
		return id, err
	}, fmt.Sprintf("SELECT id FROM (%s) WHERE %s ORDER BY began, id", listed, where), args...)
}

// Backup writes the whole database as it is now to a new file. Phones may go on
// sending meanwhile.
func (s *Store) Backup(ctx context.Context, to string) error {
	at, err := address(s.path, "busy_timeout(5000)")
	if err != nil {
		return err
	}
	db, err := sql.Open("sqlite", at)
	if err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, "VACUUM INTO ?", to)
	return errors.Join(err, db.Close())
}
