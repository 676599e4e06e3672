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
