package desk

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"polewise/field/capture"
)

// TestFull: the lines of a check have an end, whoever sends them; phones and bench pages
// are told. What is stored stays so and may be sent again, and another check begins empty.
func TestFull(t *testing.T) {
	d := unattended(t)
	send := func(source string, seq int, lines string) (int64, error) {
		return d.Ingest(t.Context(), source, fmt.Appendf(nil, `{"seq":%d,"lines":[%s]}`, seq, lines))
	}
	refused := func(err error, who string) {
		t.Helper()
		var e *ClientError
		if !errors.As(err, &e) || e.Code != "too-many-lines" || e.Hint == "" {
			t.Errorf("%s: %v, expected that the check is full", who, err)
		}
	}
	const start, drive = `{"type":"start","v":1,"route":"vector"}`, `{"type":"drive","t":1,"state":"off"}`
	for _, source := range []string{"anna", "zelda"} {
		if _, err := send(source, 1, start); err != nil {
			t.Fatal(err)
		}
	}
	d.check.lines = maxLines - 1
	bench := d.Bench()
	_, err := send("anna", 2, drive+","+drive)
	refused(err, "two lines too many by one")
	if s := d.State().Storing; !strings.Contains(s, "full") || len(bench.Queue) != 1 {
		t.Errorf("the bench is told %q, in %d messages", s, len(bench.Queue))
	}
	if _, err := send("anna", 2, drive); err != nil {
		t.Errorf("the last line there is room for: %v", err)
	}
	_, err = send("zelda", 2, drive)
	refused(err, "another phone")
	refused(d.Receive(t.Context(), d.check.ID, "probe", []capture.Line{capture.Start{V: 1, Route: capture.Vector}}), "another sensor")
	if ack, err := send("anna", 2, drive); ack != 2 || err != nil {
		t.Errorf("sent again: acknowledged %d, %v", ack, err)
	}
	if stored, err := d.store.Messages(t.Context(), d.check.ID); err != nil || len(stored) != 3 {
		t.Errorf("%d messages stored, %v", len(stored), err)
	}
	old := d.check.Check
	if err := d.BeginSame(t.Context()); err != nil {
		t.Fatal(err)
	}
	if s := d.State().Storing; s != "" {
		t.Errorf("a new check, and the bench is told %q", s)
	}
	if _, err := send("zelda", 1, start); err != nil {
		t.Errorf("a new check: %v", err)
	}
	// Taken up again, the lines are counted that are there.
	if err := d.resume(t.Context(), &old); err != nil || d.check.lines != 3 {
		t.Errorf("%d lines, %v", d.check.lines, err)
	}
}
