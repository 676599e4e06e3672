package desk_test

import (
	"errors"
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

func codeOf(err error) string {
	var c *desk.ClientError
	if errors.As(err, &c) {
		return c.Code
	}
	return ""
}

// TestTakenBackTwicePutBackOnce: a reading asked to be taken back twice, as after a lost
// acknowledgement, counts again once it is put back.
func TestTakenBackTwicePutBackOnce(t *testing.T) {
	s := newShop(t)
	for _, m := range []string{
		`{"seq":1,"lines":[{"type":"start","v":1,"route":"vector"},{"type":"hold","t":5,"at":"B2"},{"type":"b","t":5.5,"uT":[1,2,3]},{"type":"lift","t":6}]}`,
		`{"seq":2,"undo":{"at":"B2","t":5}}`, `{"seq":3,"undo":{"at":"B2","t":5}}`,
	} {
		if _, err := s.desk.Ingest(t.Context(), "anna", []byte(m)); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.desk.PutBack(t.Context(), "anna", "B2", 5); err != nil {
		t.Fatal(err)
	}
	if h := s.desk.State().Holds[0]; h.Thrown {
		t.Error("put back, and still thrown out")
	}
	if err := s.desk.PutBack(t.Context(), desk.BenchSource, "B2", 5); codeOf(err) != "not-put-back" {
		t.Errorf("typed on the bench page: %v", err)
	}
}

// TestPutBackOfOneSource: of two phones whose holds began at one moment by their clocks, the
// one named counts again and the other does not.
func TestPutBackOfOneSource(t *testing.T) {
	s := newShop(t)
	for _, source := range []string{"anna", "zelda"} {
		for _, m := range []string{
			`{"seq":1,"lines":[{"type":"start","v":1,"route":"vector"},{"type":"hold","t":5,"at":"B2"},{"type":"b","t":5.5,"uT":[1,2,3]},{"type":"lift","t":6}]}`,
			`{"seq":2,"undo":{"at":"B2","t":5}}`,
		} {
			if _, err := s.desk.Ingest(t.Context(), source, []byte(m)); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := s.desk.PutBack(t.Context(), "zelda", "B2", 5); err != nil {
		t.Fatal(err)
	}
	for _, h := range s.desk.State().Holds {
		if h.Thrown != (h.Source == "anna") {
			t.Errorf("the hold of %s is thrown out: %v", h.Source, h.Thrown)
		}
	}
}
