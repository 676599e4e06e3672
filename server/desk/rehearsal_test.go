package desk_test

import (
	"errors"
	"testing"

	"polewise/assets"
	"polewise/field/rehearsal"
	"polewise/layout"
	"polewise/server/desk"
)

// TestRehearsalTakesNoOtherPhone: of a pad that is made up only the made-up phone reads
// anything, whatever others send and however often.
func TestRehearsalTakesNoOtherPhone(t *testing.T) {
	s := newShop(t)
	say := func(source, message string) error {
		_, err := s.desk.Ingest(t.Context(), source, []byte(message))
		return err
	}
	taken := func(want int) {
		t.Helper()
		n := 0
		for _, p := range s.desk.State().Phones {
			if p.Route != "" {
				n++
			}
		}
		if n != want {
			t.Errorf("%d phones have been read, expected %d", n, want)
		}
	}
	const tap = `{"seq":1,"lines":[{"type":"start","v":1,"route":"hand","device":"a phone"},{"type":"reading","t":1,"at":"A1","face":"north"}]}`
	if err := say("real", tap); err != nil {
		t.Fatal(err)
	}
	taken(1)
	if _, err := s.desk.Rehearse(t.Context(), desk.PlanText{Name: "kennel.toml", TOML: assets.Demo()}, rehearsal.Easy, []layout.Fault{}); err != nil {
		t.Fatal(err)
	}
	for _, message := range []string{tap, tap, `{"seq":2,"lines":[{"type":"reading","t":2,"at":"A2","face":"north"}]}`} {
		var c *desk.ClientError
		if err := say("real", message); !errors.As(err, &c) || c.Code != "rehearsal" {
			t.Errorf("%s: %v", message, err)
		}
	}
	taken(0)
	for _, message := range []string{`{"seq":1,"lines":[{"type":"start","v":1,"route":"vector","device":"rehearsal"}]}`, `{"seq":2,"lines":[{"type":"ohms","t":2,"across":"pad","ohms":0.97}]}`} {
		if err := say("made-up", message); err != nil {
			t.Errorf("the made-up phone: %v", err)
		}
	}
	taken(1)
}
