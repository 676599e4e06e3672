package desk_test

import (
	"testing"

	"polewise/assets"
	"polewise/field/rehearsal"
	"polewise/layout"
	"polewise/server/desk"
)

// TestNoLinesBeforeTheStart: messages may come out of order, but none that stands before
// the first start line by its number: it would be stored, acknowledged, and count nowhere.
func TestNoLinesBeforeTheStart(t *testing.T) {
	s := newShop(t)
	if _, err := s.desk.Ingest(t.Context(), "anna", []byte(`{"seq":5,"lines":[{"type":"start","v":1,"route":"vector"}]}`)); err != nil {
		t.Fatal(err)
	}
	if ack, err := s.desk.Ingest(t.Context(), "anna", []byte(`{"seq":3,"lines":[{"type":"b","t":1,"uT":[1,2,3]}]}`)); codeOf(err) != "no-start" {
		t.Errorf("acknowledged %d, %v", ack, err)
	}
}

// TestAgainInARehearsal: a rehearsal stays as it is, whoever asks for another check.
func TestAgainInARehearsal(t *testing.T) {
	s := newShop(t)
	if _, err := s.desk.Rehearse(t.Context(), desk.PlanText{Name: "kennel.toml", TOML: assets.Demo()}, rehearsal.Easy, []layout.Fault{}); err != nil {
		t.Fatal(err)
	}
	id := s.desk.CheckID()
	if _, err := s.desk.Ingest(t.Context(), "made-up", []byte(`{"seq":1,"again":{"check":"`+id+`"}}`)); err != nil {
		t.Fatal(err)
	}
	if now := s.desk.CheckID(); now != id {
		t.Errorf("the rehearsal's check %s gave way to %s", id, now)
	}
}

// TestPhonesStayConnected: connections outlive a check, and a phone that has read something
// stays in the list when it goes.
func TestPhonesStayConnected(t *testing.T) {
	s := newShop(t)
	s.desk.Join("anna")
	s.desk.Join("idle")
	if _, err := s.desk.Ingest(t.Context(), "anna", []byte(`{"seq":1,"lines":[{"type":"start","v":1,"route":"vector"}]}`)); err != nil {
		t.Fatal(err)
	}
	s.desk.Leave("anna")
	s.desk.Leave("idle")
	if p := s.desk.State().Phones; len(p) != 1 || p[0].Source != "anna" || p[0].Connected {
		t.Errorf("after both have gone: %+v", p)
	}
	s.desk.Join("anna")
	if err := s.desk.BeginSame(t.Context()); err != nil {
		t.Fatal(err)
	}
	if p := s.desk.State().Phones; len(p) != 1 || !p[0].Connected {
		t.Errorf("after another check has begun: %+v", p)
	}
}
