package desk_test

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"polewise/assets"
	"polewise/server/desk"
	"polewise/server/store"
)

// TestGoOnAfterAMistake: a check that another was begun after by mistake is taken up again,
// also over a new start of the program, until something newer is read.
func TestGoOnAfterAMistake(t *testing.T) {
	dir := t.TempDir()
	s, shut := openShop(t, dir)
	defer func() { shut() }()
	plan := desk.PlanText{Name: "kennel.toml", TOML: assets.Demo()}
	read := func(coil string, seq int) {
		t.Helper()
		m := fmt.Sprintf(`{"seq":%d,"lines":[{"type":"start","v":1,"route":"hand"},{"type":"reading","t":1,"at":%q,"face":"north"}]}`, seq, coil)
		if _, err := s.desk.Ingest(t.Context(), "phone", []byte(m)); err != nil {
			t.Fatal(err)
		}
	}
	used := func(n int) {
		t.Helper()
		got := -1
		for deadline := time.Now().Add(20 * time.Second); got != n; time.Sleep(20 * time.Millisecond) {
			if v := s.desk.State().Verdict; v != nil {
				got = 0
				for _, c := range v.Coils {
					got += min(c.Used, 1)
				}
			}
			if time.Now().After(deadline) {
				t.Fatalf("%d coils read, expected %d", got, n)
			}
		}
	}
	mayGoOn := func(id string, want bool) {
		t.Helper()
		if p, err := s.desk.Look(t.Context(), id); err != nil || p.GoOn != want {
			t.Fatalf("%+v, %v; expected to go on: %v", p, err, want)
		}
	}
	left := func(id string) {
		t.Helper()
		got := ""
		if l := s.desk.State().Left; l != nil {
			got = l.ID
		}
		if got != id {
			t.Errorf("left open before: %q, expected %q", got, id)
		}
	}
	first := s.desk.CheckID()
	mayGoOn(first, false) // it is on the bench
	left("")
	read("A1", 1)
	used(1)
	if err := s.desk.Begin(t.Context(), plan, nil); err != nil {
		t.Fatal(err)
	}
	mayGoOn(first, true)
	left(first)
	shut()
	s, shut = openShop(t, dir)
	left(first)
	if err := s.desk.GoOn(t.Context(), first); err != nil || s.desk.CheckID() != first {
		t.Fatalf("%v, %s on the bench", err, s.desk.CheckID())
	}
	shut()
	s, shut = openShop(t, dir)
	if s.desk.CheckID() != first {
		t.Fatal("another check after a new start")
	}
	read("A2", 2)
	used(2)
	list, _, err := s.store.List(t.Context(), store.ListQuery{Sort: "began", Limit: 5})
	if err != nil || len(list) != 1 || list[0].Coils != 9 || list[0].Read != 2 {
		t.Errorf("%+v, %v", list, err)
	}
	if err := s.desk.Begin(t.Context(), plan, nil); err != nil {
		t.Fatal(err)
	}
	read("B1", 3)
	mayGoOn(first, false)
	left("")
	var refused *desk.ClientError
	if err := s.desk.GoOn(t.Context(), first); !errors.As(err, &refused) || s.desk.CheckID() == first {
		t.Errorf("%v", err)
	}
	if err := s.desk.Begin(t.Context(), plan, nil); err != nil {
		t.Fatal(err)
	}
	mayGoOn(first, false) // what was read since is of a check that is over, too
}
