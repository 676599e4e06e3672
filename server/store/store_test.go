package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

func lines(s ...string) []json.RawMessage {
	var out []json.RawMessage
	for _, l := range s {
		out = append(out, json.RawMessage(l))
	}
	return out
}

// opened is a store in a folder of its own, until the test ends.
func opened(t *testing.T) *Store {
	t.Helper()
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func TestMessagesAreKeptOnceAndInOrder(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if c, err := s.LastCheck(ctx); err != nil || c != nil {
		t.Fatalf("a new store has a check: %v %v", c, err)
	}
	check := Check{ID: "one", Began: time.Now(), PlanName: "pad", PlanTOML: []byte("format = 1\n")}
	if err := s.NewCheck(ctx, check, Label{}); err != nil {
		t.Fatal(err)
	}
	for _, seq := range []int64{2, 1, 2, 3} { // out of order, and one twice
		fresh, err := s.Append(ctx, "one", "a", seq, lines(`{"n":`+string(rune('0'+seq))+`}`))
		if err != nil {
			t.Fatal(err)
		}
		if again := seq == 2 && !fresh; fresh == again {
			t.Errorf("message %d: fresh %v", seq, fresh)
		}
	}
	if _, err := s.Append(ctx, "nowhere", "a", 1, lines(`{}`)); err == nil {
		t.Error("a message of a check that does not exist was stored")
	}
	if fresh, err := s.Append(ctx, "one", "a", 4, lines(`{"n":0.10,"of":[1,2]}`)); err != nil || !fresh {
		t.Error(fresh, err)
	}
	if fresh, err := s.Append(ctx, "one", "a", 4, lines(`{"of":[1,2.0],"n":0.1}`)); err != nil || fresh {
		t.Errorf("the same lines, spelled otherwise: %v, %v", fresh, err)
	}
	var taken *SeqTakenError
	if _, err := s.Append(ctx, "one", "a", 3, lines(`{"n":9}`)); !errors.As(err, &taken) || taken.Last != 4 {
		t.Errorf("the same number with other lines: %v", err)
	}
	if err := s.ThrowOut(ctx, "one", ThrownOut{Source: "a", Coil: "A1", T: 5}); err != nil {
		t.Fatal(err)
	}
	if err := s.SaveVerdict(ctx, "one", []byte(`{"outcome":"fault"}`), []Hold{{Source: "a", Coil: "A1", T: 5, Samples: 20}}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}

	s, err = Open(dir) // as after a restart
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	got, err := s.LastCheck(ctx)
	if err != nil || got == nil || got.ID != "one" || string(got.PlanTOML) != "format = 1\n" || !got.Began.Equal(check.Began) {
		t.Fatalf("check %+v, %v", got, err)
	}
	messages, err := s.Messages(ctx, "one")
	if err != nil || len(messages) != 4 {
		t.Fatalf("%d messages, %v", len(messages), err)
	}
	for i, m := range messages {
		if m.Seq != int64(i+1) || len(m.Lines) != 1 {
			t.Errorf("message %d: %+v", i, m)
		}
	}
	thrown, err := s.ThrownOut(ctx, "one")
	if err != nil || len(thrown) != 1 || thrown[0].T != 5 {
		t.Errorf("thrown out: %v %v", thrown, err)
	}
	if v, err := s.LastVerdict(ctx, "one"); err != nil || string(v) != `{"outcome":"fault"}` {
		t.Errorf("verdict %s, %v", v, err)
	}
}

// TestLastCheckUnderAClockPutBack: a computer without a clock of its own may begin a
// check at a time before that of the one before.
func TestLastCheckUnderAClockPutBack(t *testing.T) {
	s := opened(t)
	now := time.Now()
	for _, c := range []Check{{ID: "first", Began: now}, {ID: "second", Began: now.Add(-24 * time.Hour)}} {
		c.PlanTOML = []byte("a plan")
		if err := s.NewCheck(t.Context(), c, Label{}); err != nil {
			t.Fatal(err)
		}
	}
	if last, err := s.LastCheck(t.Context()); err != nil || last == nil || last.ID != "second" {
		t.Errorf("begun last is %+v, %v", last, err)
	}
}

func TestFileOfANewerProgram(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	s.Close()
	db, err := sql.Open("sqlite", filepath.Join(dir, FileName))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("PRAGMA user_version = 99"); err != nil {
		t.Fatal(err)
	}
	db.Close()
	if _, err := Open(dir); err == nil || !strings.Contains(err.Error(), "newer polewise") {
		t.Errorf("got %v; expected words about a newer program", err)
	}
}

// TestSweepsWhatAKilledProgramLeft: files put aside by a program that was killed go.
func TestSweepsWhatAKilledProgramLeft(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	f, err := s.Aside()
	if err != nil {
		t.Fatal(err)
	}
	f.Close()
	s.Close()
	if s, err = Open(dir); err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := os.Stat(f.Name()); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("it is still there: %v", err)
	}
}

// TestBackupPutBack: what a killed program left beside the database is not written over
// a backup put in its place.
func TestBackupPutBack(t *testing.T) {
	ctx := context.Background()
	dir, killed := t.TempDir(), t.TempDir()
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	check := func(id string) {
		t.Helper()
		if err := s.NewCheck(ctx, Check{ID: id, Began: time.Now(), PlanTOML: []byte("a plan")}, Label{}); err != nil {
			t.Fatal(err)
		}
	}
	check("kept")
	backup := filepath.Join(t.TempDir(), "backup.db")
	if err := s.Backup(ctx, backup); err != nil {
		t.Fatal(err)
	}
	check("of later")
	// As a kill leaves it, with the backup in the place of the database.
	for from, to := range map[string]string{backup: FileName, s.Path() + "-wal": FileName + "-wal"} {
		raw, err := os.ReadFile(from)
		if err != nil || len(raw) == 0 {
			t.Fatalf("%s: %d bytes, %v", from, len(raw), err)
		}
		if err := os.WriteFile(filepath.Join(killed, to), raw, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for range 2 { // and after a start that used it
		back, err := Open(killed)
		if err != nil {
			t.Fatal(err)
		}
		last, err := back.LastCheck(ctx)
		if err != nil || last == nil || last.ID != "kept" {
			t.Errorf("the check begun last is %+v, %v; expected that of the backup", last, err)
		}
		if err := back.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// TestDamaged: of a damaged file it is said how a backup is put back.
func TestDamaged(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, FileName), []byte(strings.Repeat("no database ", 1000)), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := Open(dir)
	if !Damaged(err) || !strings.Contains(Remedy(err), "put the backup in its place") || !strings.Contains(Remedy(err), FileName+"-wal") {
		t.Errorf("%v: %q", err, Remedy(err))
	}
	if full := (&os.PathError{Op: "write", Path: "aside", Err: syscall.ENOSPC}); !strings.Contains(Remedy(full), "make room") {
		t.Errorf("%v: %q", full, Remedy(full))
	}
	if err := errors.New("another"); Damaged(err) || Remedy(err) != "" {
		t.Errorf("%v is damaged: %q", err, Remedy(err))
	}
}

// A pad found wrong, mended, mended again and signed: its checks know of each other,
// and the serial number it was signed with is theirs too. What one of them was called
// by a person stays.
func TestChecksOfAMendedPad(t *testing.T) {
	ctx := context.Background()
	s := opened(t)
	began := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	for i, c := range []Check{{ID: "wrong"}, {ID: "named", After: "wrong"}, {ID: "unnamed", After: "named"}, {ID: "right", After: "unnamed"}, {ID: "other"}} {
		c.Began, c.PlanName, c.PlanTOML = began.Add(time.Duration(i)*time.Minute), "pad", []byte("format = 1\n")
		if err := s.NewCheck(ctx, c, Label{}); err != nil {
			t.Fatal(err)
		}
	}
	for check, l := range map[string]Label{"named": {"K-1", "first try"}, "unnamed": {"", "second try"}} {
		if err := s.SetLabel(ctx, check, l); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.SaveRecord(ctx, Record{CheckID: "right", Signed: began.Add(time.Hour), Serial: "K-7", Maker: "AB", SHA256: "00", JSON: []byte("{}"), HTML: []byte("")}); err != nil {
		t.Fatal(err)
	}
	list, _, err := s.List(ctx, ListQuery{State: "unread", Sort: "began", Up: true, Limit: 10})
	if err != nil {
		t.Fatal(err)
	}
	got := map[string][3]string{}
	for _, l := range list {
		got[l.ID] = [3]string{l.Serial, l.Note, l.Mended}
	}
	for id, want := range map[string][3]string{"wrong": {"K-7", "", "named"}, "named": {"K-1", "first try", "unnamed"}, "unnamed": {"K-7", "second try", "right"}, "other": {}} {
		if got[id] != want {
			t.Errorf("%s: %q, expected %q", id, got[id], want)
		}
	}
	if id, at, err := s.AfterMend(ctx, "unnamed"); err != nil || id != "right" || at == "" {
		t.Errorf("after the mend of the third: %q at %q, %v", id, at, err)
	}
	if id, _, err := s.AfterMend(ctx, "right"); err != nil || id != "" {
		t.Errorf("after the one signed: %q, %v", id, err)
	}
}

// TestFoundByDate: a check is found by the date that the page shows, that of the
// computer's clock on the wall, in summer and winter; and by letters of any case.
func TestFoundByDate(t *testing.T) {
	zone := time.Local
	defer func() { time.Local = zone }()
	ctx := context.Background()
	s := opened(t)
	for id, began := range map[string]time.Time{"spring": time.Date(2026, 5, 4, 23, 0, 0, 0, time.UTC), "odd": time.Date(2026, 8, 1, 2, 30, 0, 0, time.UTC)} {
		if err := s.NewCheck(ctx, Check{ID: id, Began: began, PlanName: "Bett Größe 2", PlanTOML: []byte("x")}, Label{}); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.SaveRecord(ctx, Record{CheckID: "odd", Signed: time.Date(2026, 8, 2, 1, 0, 0, 0, time.UTC), Serial: "K-1", Maker: "AB", SHA256: "00", JSON: []byte("{}"), HTML: []byte("")}); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		east  int // hours
		state string
		words string
		want  int
	}{
		{9, "unread", "2026-05-05", 1}, {9, "unread", "2026-05-05 08:00", 1}, {9, "unread", "2026-05-04", 0},
		{0, "unread", "2026-05-04", 1}, {-8, "unread", "2026-05-04", 1},
		{-8, "signed", "2026-07-31", 1}, {-8, "signed", "2026-08-01", 1}, {-8, "signed", "2026-08-02", 0}, // begun, signed
		{0, "unread", "GRÖßE", 1}, {0, "unread", "größe", 1}, {0, "signed", "k-1 ab OFF", 1}, {0, "signed", "k-2", 0},
	} {
		time.Local = time.FixedZone("", 3600*c.east)
		q := ListQuery{State: c.state, Sort: "began", Limit: 5, Words: strings.Fields(c.words)}
		list, total, err := s.List(ctx, q)
		ids, otherErr := s.IDs(ctx, q)
		if err != nil || otherErr != nil || total != c.want || len(list) != c.want || len(ids) != c.want {
			t.Errorf("%+d h, %q: %d found (%v), %d to export (%v), expected %d", c.east, c.words, total, err, len(ids), otherErr, c.want)
		}
	}
}

// TestSignedStays: the database itself keeps what was signed, and what it was made of,
// from being changed, added to or written over.
func TestSignedStays(t *testing.T) {
	ctx := context.Background()
	s := opened(t)
	for _, id := range []string{"signed", "open"} {
		if err := s.NewCheck(ctx, Check{ID: id, Began: time.Now(), PlanName: "pad", PlanTOML: []byte("x")}, Label{}); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Append(ctx, id, "a", 1, lines(`{}`)); err != nil {
			t.Fatal(err)
		}
		if err := s.SaveVerdict(ctx, id, []byte(`{}`), nil); err != nil {
			t.Fatal(err)
		}
		if err := s.ThrowOut(ctx, id, ThrownOut{Source: "a", Coil: "A1", T: 1}); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.SaveRecord(ctx, Record{CheckID: "signed", Signed: time.Now(), Maker: "AB", SHA256: "00", JSON: []byte("{}"), HTML: []byte("")}); err != nil {
		t.Fatal(err)
	}
	if fresh, err := s.Append(ctx, "signed", "a", 1, lines(`{}`)); err != nil || fresh {
		t.Errorf("what is stored is not acknowledged again: %v, %v", fresh, err)
	}
	for _, change := range []string{
		"INSERT INTO messages VALUES (?, 'a', 2, '{}', '')", "UPDATE messages SET lines = '[]' WHERE check_id = ?", "DELETE FROM messages WHERE check_id = ?",
		"INSERT INTO verdicts VALUES (?, '', '{}')", "UPDATE verdicts SET verdict = '[]' WHERE check_id = ?", "DELETE FROM verdicts WHERE check_id = ?",
		"INSERT INTO thrown_out VALUES (?, 'a', 'A2', 7)", "DELETE FROM thrown_out WHERE check_id = ?",
		"UPDATE checks SET plan_toml = x'79' WHERE id = ?", "INSERT INTO labels VALUES (?, 'K', '')",
	} {
		if _, err := s.db.ExecContext(ctx, change, "signed"); err == nil || !strings.Contains(err.Error(), "signed off") {
			t.Errorf("%s of a signed check: %v", change, err)
		}
		if _, err := s.db.ExecContext(ctx, change, "open"); err != nil {
			t.Errorf("%s of an open check: %v", change, err)
		}
	}
	for _, change := range []string{"UPDATE records SET note = 'x'", "DELETE FROM records", "REPLACE INTO records SELECT check_id, signed, serial, 'ZZ', note, exception, sha256, json, html FROM records"} {
		if _, err := s.db.ExecContext(ctx, change); err == nil || !strings.Contains(err.Error(), "stays as it is") {
			t.Errorf("%s: %v", change, err)
		}
	}
}

// TestEarlierRecord: a pad is compared with the record signed last before.
func TestEarlierRecord(t *testing.T) {
	ctx := context.Background()
	s := opened(t)
	began := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	for i, id := range []string{"first", "second", "third"} {
		at := began.Add(time.Duration(i) * time.Hour)
		if err := s.NewCheck(ctx, Check{ID: id, Began: at, PlanName: "pad", PlanTOML: []byte("x")}, Label{}); err != nil {
			t.Fatal(err)
		}
		if err := s.SaveRecord(ctx, Record{CheckID: id, Signed: at, Serial: "K-7", Maker: "AB", SHA256: "00", JSON: []byte("{}"), HTML: []byte("")}); err != nil {
			t.Fatal(err)
		}
	}
	for _, serial := range []string{"K-7", ""} { // without a number by the plan
		r, err := s.EarlierRecord(ctx, "third", serial, []byte("x"), began.Add(2*time.Hour))
		if err != nil || r == nil || r.CheckID != "second" {
			t.Errorf("the third is compared with %+v (%v), expected the second", r, err)
		}
	}
	if r, err := s.EarlierRecord(ctx, "first", "", []byte("x"), began); err != nil || r != nil {
		t.Errorf("before the first there is %+v (%v)", r, err)
	}
}

// TestFolderNames: the database is in the folder that was named, whatever its name.
func TestFolderNames(t *testing.T) {
	ctx := context.Background()
	beside := t.TempDir()
	names := []string{"pad #1", "pad #2", "d?x", "da%41ta", "a&b=c d", "größe [1]"}
	for _, name := range names {
		s, err := Open(filepath.Join(beside, name))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if last, err := s.LastCheck(ctx); err != nil || last != nil {
			t.Errorf("%s: a new folder has a check: %v %v", name, last, err)
		}
		if err := s.NewCheck(ctx, Check{ID: name, Began: time.Now(), PlanName: "pad", PlanTOML: []byte("format = 1\n")}, Label{}); err != nil {
			t.Fatal(err)
		}
		if c, err := s.CheckByID(ctx, name); err != nil || c == nil {
			t.Errorf("%s: read as %v %v", name, c, err)
		}
		if err := s.Backup(ctx, filepath.Join(beside, name, "copy#?.db")); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		for _, file := range []string{FileName, "copy#?.db"} {
			if _, err := os.Stat(filepath.Join(beside, name, file)); err != nil {
				t.Error(err)
			}
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	found, err := os.ReadDir(beside)
	if err != nil || len(found) != len(names) {
		t.Errorf("beside the folders: %v %v", found, err)
	}
}

// TestDurable: what is stored has reached the disk before it is acknowledged. No killed
// process would show otherwise, only a power cut.
func TestDurable(t *testing.T) {
	s := opened(t)
	for pragma, want := range map[string]string{"synchronous": "2", "journal_mode": "wal", "foreign_keys": "1"} { // 2: FULL
		var got string
		if err := s.db.QueryRow("PRAGMA " + pragma).Scan(&got); err != nil || got != want {
			t.Errorf("%s is %q (%v), expected %q", pragma, got, err, want)
		}
	}
}

// TestOneProgramAFolder: a second program is told who has the folder; once the first
// has ended it may have it.
func TestOneProgramAFolder(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if second, err := Open(dir); err == nil {
		second.Close()
		t.Error("two programs have one folder")
	} else if !strings.Contains(err.Error(), dir) || !strings.Contains(err.Error(), "end it") {
		t.Errorf("it is only said: %v", err)
	}
	if err := s.NewCheck(context.Background(), Check{ID: "one", Began: time.Now(), PlanName: "pad", PlanTOML: []byte("x")}, Label{}); err != nil {
		t.Errorf("the first one is disturbed: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s, err = Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}
