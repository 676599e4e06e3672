package desk_test

import (
	"testing"

	"polewise/server/desk"
)

// TestThrownOutOfOneSource: of two phones that began a hold at the same time by their
// clocks only the one named loses its own; it may not name the other's.
func TestThrownOutOfOneSource(t *testing.T) {
	s := newShop(t)
	for _, m := range []struct{ source, text string }{
		{"anna", `{"seq":1,"lines":[{"type":"start","v":1,"route":"vector"},{"type":"hold","t":5,"at":"B2"},{"type":"b","t":5.5,"uT":[1,2,3]},{"type":"lift","t":6}]}`},
		{"zelda", `{"seq":1,"lines":[{"type":"start","v":1,"route":"vector"},{"type":"hold","t":5,"at":"B2"},{"type":"b","t":5.5,"uT":[1,2,4]},{"type":"lift","t":6},{"type":"hold","t":9,"at":"A1"},{"type":"lift","t":11}]}`},
		{"anna", `{"seq":2,"undo":{"at":"B2","t":5}}`},
	} {
		if _, err := s.desk.Ingest(t.Context(), m.source, []byte(m.text)); err != nil {
			t.Fatal(m.source, err)
		}
	}
	at := 9.0
	if err := s.desk.ThrowOut(t.Context(), "anna", desk.Undo{At: "A1", T: &at}); err == nil {
		t.Error("a phone throws out what another one read")
	}
	if err := s.desk.ThrowOut(t.Context(), "", desk.Undo{At: "A1"}); err == nil {
		t.Error("thrown out though nobody said which")
	}
	for _, h := range s.desk.State().Holds {
		if want := h.Source == "anna"; h.Thrown != want {
			t.Errorf("the hold of %s over %s is thrown out: %v", h.Source, h.At, h.Thrown)
		}
	}
}
