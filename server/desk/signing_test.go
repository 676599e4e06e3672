package desk

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"testing"
	"time"

	"polewise/assets"
	"polewise/server/record"
	"polewise/server/store"
)

// TestNothingSignedThatChanged: what came in and is not weighed yet is not signed over,
// neither where it came before the record was made nor while it was.
func TestNothingSignedThatChanged(t *testing.T) {
	st, err := store.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	d, err := Open(ctx, st, PlanText{Name: "kennel.toml", TOML: assets.Demo()}, slog.New(slog.NewTextHandler(io.Discard, nil)))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { cancel(); d.Wait(); st.Close() }()
	if _, err := d.Ingest(ctx, "anna", []byte(`{"seq":1,"lines":[{"type":"start","v":1,"route":"hand"},{"type":"reading","t":1,"at":"A1","face":"north"}]}`)); err != nil {
		t.Fatal(err)
	}
	c := d.check
	weighed := func() bool {
		d.mu.Lock()
		defer d.mu.Unlock()
		return c.verdict != nil && c.judged == c.news && c.refusal() == ""
	}
	for deadline := time.Now().Add(30 * time.Second); !weighed(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("no verdict within 30 s")
		}
	}
	code := func(err error) string {
		var e *ClientError
		if errors.As(err, &e) {
			return e.Code
		}
		return ""
	}
	more := func(by int) {
		d.mu.Lock()
		c.news += by
		d.mu.Unlock()
	}
	more(1)
	if _, err := d.SignOff(ctx, SignOff{Check: c.ID, Maker: "AB"}); code(err) != "still-judging" {
		t.Errorf("a reading not weighed: %v", err)
	}
	more(-1)
	if _, err := d.SignOff(ctx, SignOff{Check: c.ID, Maker: "AB"}); code(err) != "needs-exception" {
		t.Errorf("all weighed: %v", err)
	}
	r := store.Record{CheckID: c.ID, Signed: time.Now(), Maker: "AB", SHA256: "00", JSON: []byte("{}"), HTML: []byte("")}
	news := c.news
	more(1) // while the record is made
	if _, err := d.keepRecord(ctx, c, news, &record.Record{}, r); code(err) != "changed" {
		t.Errorf("a reading that came meanwhile: %v", err)
	}
	if stored, err := st.RecordOf(ctx, c.ID); err != nil || stored != nil {
		t.Errorf("it is signed all the same: %+v, %v", stored, err)
	}
	more(-1)
	if _, err := d.keepRecord(ctx, c, news, &record.Record{}, r); err != nil {
		t.Error(err)
	}
	if _, err := d.keepRecord(ctx, c, news, &record.Record{}, r); code(err) != "changed" {
		t.Errorf("signed twice: %v", err)
	}
}

// TestExceptionNamesWhatStands: each part of what stands open has to be named.
func TestExceptionNamesWhatStands(t *testing.T) {
	for _, open := range []record.Open{{Coils: []string{"A1"}}, {Ohms: []string{"pad"}}, {Unread: true}, {Wiring: "Not read since the mend: A1."}} {
		if _, err := exception(open, &record.Exception{Reason: "It has to go.", Open: open}); err != nil {
			t.Errorf("%+v, named: %v", open, err)
		}
		other := record.Open{Coils: []string{"B1"}}
		if _, err := exception(open, &record.Exception{Reason: "It has to go.", Open: other}); err == nil {
			t.Errorf("%+v is signed over though %+v was shown", open, other)
		}
		less := record.Open{}
		if _, err := exception(open, &record.Exception{Reason: "It has to go.", Open: less}); err == nil {
			t.Errorf("%+v is signed over though nothing was shown", open)
		}
	}
}

// TestTakenUpIsNotJudged: a check taken up after a new start is not signed by the verdict
// that was stored, which may be older than what was read.
func TestTakenUpIsNotJudged(t *testing.T) {
	st, err := store.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	plan := `format = 1
name = "one"
length_unit = "mm"
[supply]
volts = 2
limit_amps = 2
[[winding]]
id = "w"
shape = "round"
inner = 90
turns = 60
build = 6
width = 8
wire_awg = 22
[[coil]]
id = "A1"
winding = "w"
at = [100, 100]
[[string]]
id = "A"
coils = ["A1"]
`
	k := store.Check{ID: "1", PlanName: "one", PlanTOML: []byte(plan)}
	if err := st.NewCheck(t.Context(), k, store.Label{}); err != nil {
		t.Fatal(err)
	}
	if err := st.SaveVerdict(t.Context(), "1", []byte(`{"outcome":"as-planned","coils":[{"id":"A1","state":"as-planned","used":1}],"causes":[],"notes":[]}`), nil); err != nil {
		t.Fatal(err)
	}
	d := &Desk{store: st, clients: map[*Client]bool{}}
	if err := d.resume(t.Context(), &k); err != nil {
		t.Fatal(err)
	}
	if d.check.verdict == nil || d.check.news == d.check.judged {
		t.Errorf("verdict %v, news %d, judged %d", d.check.verdict, d.check.news, d.check.judged)
	}
}
