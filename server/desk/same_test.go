package desk_test

import (
	"database/sql"
	"testing"

	"polewise/server/store"
)

// TestSerialGoesAlong: another check of the same pad has its serial number from the
// moment it exists; where the number cannot be stored no check is begun.
func TestSerialGoesAlong(t *testing.T) {
	s := newShop(t)
	old := s.desk.CheckID()
	if _, err := s.desk.SetLabel(t.Context(), old, store.Label{Serial: "K-7", Note: "the long lead is frayed"}); err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", s.store.Path())
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec("CREATE TRIGGER no_more BEFORE INSERT ON labels BEGIN SELECT RAISE(ABORT, 'no room'); END"); err != nil {
		t.Fatal(err)
	}
	err = s.desk.BeginSame(t.Context())
	last, e := s.store.LastCheck(t.Context())
	if e != nil {
		t.Fatal(e)
	}
	if err == nil || last.ID != old || s.desk.CheckID() != old {
		t.Errorf("no serial number can be stored: %v; on the bench %s, stored last %s; before it %s", err, s.desk.CheckID(), last.ID, old)
	}
	if _, err := db.Exec("DROP TRIGGER no_more"); err != nil {
		t.Fatal(err)
	}
	if err := s.desk.BeginSame(t.Context()); err != nil {
		t.Fatal(err)
	}
	now := s.desk.State()
	stored, err := s.store.LabelOf(t.Context(), now.Check.ID)
	if want := (store.Label{Serial: "K-7"}); now.Check.ID == old || err != nil || stored != want || now.SignOff.Label != want {
		t.Errorf("check %s after %s is called %+v, stored %+v, %v", now.Check.ID, old, now.SignOff.Label, stored, err)
	}
}
