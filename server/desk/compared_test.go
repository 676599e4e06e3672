package desk_test

import (
	"testing"
	"time"

	"polewise/server/desk"
	"polewise/server/record"
	"polewise/server/store"
)

// TestComparedWithAnotherPlan: of a pad whose plan has changed since it was signed that is told.
func TestComparedWithAnotherPlan(t *testing.T) {
	s := newShop(t)
	read := func() *desk.State {
		t.Helper()
		if _, err := s.desk.Ingest(t.Context(), "phone", []byte(`{"seq":1,"lines":[{"type":"start","v":1,"route":"hand"},{"type":"reading","t":1,"at":"A1","face":"north"}]}`)); err != nil {
			t.Fatal(err)
		}
		for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
			if st := s.desk.State(); st.Verdict != nil && st.Verdict.Coils[0].Used > 0 && st.Judging == nil {
				return st
			}
			if time.Now().After(deadline) {
				t.Fatal("nothing is read")
			}
		}
	}
	first := read()
	if _, err := s.desk.SignOff(t.Context(), desk.SignOff{Check: first.Check.ID, Serial: "K-1", Maker: "AB", Except: &record.Exception{Reason: "Tried out.", Open: *first.SignOff.Except}}); err != nil {
		t.Fatal(err)
	}
	for name, changed := range map[string]bool{"": false, "# moved\n": true} {
		if err := s.desk.Begin(t.Context(), desk.PlanText{Name: "kennel.toml", TOML: append([]byte(name), []byte(first.Plan.TOML)...)}, nil); err != nil {
			t.Fatal(err)
		}
		id := read().Check.ID
		if _, err := s.desk.SetLabel(t.Context(), id, store.Label{Serial: "K-1"}); err != nil {
			t.Fatal(err)
		}
		if c, err := s.desk.Compare(t.Context(), id); err != nil || c == nil || c.Check != first.Check.ID || c.PlanChanged != changed {
			t.Errorf("plan changed %v: %+v, %v", changed, c, err)
		}
	}
}
