package desk_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
)

// TestBacklogOfHolds: what a phone read while it was cut off comes in one message, and no
// bench page is thrown out over it. What it does now is told.
func TestBacklogOfHolds(t *testing.T) {
	s := newShop(t)
	bench := s.desk.Bench()
	defer s.desk.Unsubscribe(bench)
	var b strings.Builder
	b.WriteString(`{"seq":1,"lines":[{"type":"start","v":1,"route":"vector"}`)
	for i := range 300 {
		fmt.Fprintf(&b, `,{"type":"hold","t":%d,"at":"A1"},{"type":"lift","t":%d.5}`, i+1, i+1)
	}
	b.WriteString(`,{"type":"hold","t":400,"at":"B2"}]}`)
	if _, err := s.desk.Ingest(t.Context(), "anna", []byte(b.String())); err != nil {
		t.Fatal(err)
	}
	select {
	case <-bench.Dropped:
		t.Error("the bench page is thrown out")
	default:
	}
	at := ""
	for len(bench.Queue) > 0 {
		var m struct{ Type, At string }
		if err := json.Unmarshal(<-bench.Queue, &m); err != nil {
			t.Fatal(err)
		}
		if m.Type == "hold" {
			at = m.At
		}
	}
	if at != "B2" {
		t.Errorf("the hold told last is of %q", at)
	}
}
