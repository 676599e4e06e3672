package desk_test

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"polewise/assets"
	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/layout"
	"polewise/server/desk"
	"polewise/server/store"
)

// TestPushOfManyHolds measures what a bench page is told at every change, with two
// hundred holds read and judged: what is known of each, and no samples. These come
// for the hold that is asked for.
func TestPushOfManyHolds(t *testing.T) {
	plan, err := layout.Parse("kennel.toml", assets.Demo())
	if err != nil {
		t.Fatal(err)
	}
	d := newShop(t).desk
	const (
		most       = 200
		mostPushed = 120_000
	)
	holds := 0
	for seed := range uint64(23) {
		o := rehearsal.Defaults()
		o.Seed, o.Rest, o.TellOffsetMM, o.OffsetMM, o.JumpChance = seed+1, rehearsal.RestHolds, 3, &[2]float64{2, 12}, 0
		made, err := rehearsal.Make(plan, o)
		if err != nil {
			t.Fatal(err)
		}
		var lines []capture.Line
		for _, l := range made.Lines {
			if _, ok := l.(capture.Hold); ok {
				if holds == most {
					break
				}
				holds++
			}
			lines = append(lines, l)
		}
		raws, err := capture.Raw(lines)
		if err != nil {
			t.Fatal(err)
		}
		m, err := json.Marshal(desk.Message{Seq: 1, Lines: raws})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := d.Ingest(t.Context(), fmt.Sprintf("phone-%d", seed), m); err != nil {
			t.Fatal(err)
		}
	}
	judged := func(s *desk.State) (n int) {
		for _, h := range s.Holds {
			if h.Account != nil {
				n++
			}
		}
		return n
	}
	s := d.State()
	for deadline := time.Now().Add(time.Minute); judged(s) < most; s = d.State() {
		if time.Now().After(deadline) {
			t.Fatalf("of %d holds %d are judged after a minute", len(s.Holds), judged(s))
		}
		time.Sleep(50 * time.Millisecond)
	}
	size := func(v any) int { return len(jsonOf(t, v)) }
	push, samples, one := size(s), 0, 0
	for _, h := range s.Holds {
		k, err := d.Samples(t.Context(), s.Check.ID, h.Source, h.At, h.T)
		if err != nil {
			t.Fatal(err)
		}
		if k.Source != h.Source || k.T != h.T || len(k.Samples) != h.Count || k.Samples[0][0] < h.T || k.Samples[h.Count-1][0] > h.To {
			t.Errorf("hold of %s at %g s with %d samples: found those of %s at %g s, %d of them", h.Source, h.T, h.Count, k.Source, k.T, len(k.Samples))
		}
		one = size(k)
		samples += size(k.Samples)
	}
	t.Logf("a push with %d holds: %d bytes; with the samples of all of them it had %d; those of one hold are %d", most, push, push+samples, one)
	if push > mostPushed {
		t.Errorf("a push has %d bytes, expected %d at most", push, mostPushed)
	}
}

// TestPushOfPasses measures the same of a pad drawn over row by row: no push has the
// curves of a pass, which come for the one that is asked for.
func TestPushOfPasses(t *testing.T) {
	plan, err := layout.Parse("kennel.toml", assets.Demo())
	if err != nil {
		t.Fatal(err)
	}
	d := newShop(t).desk
	for seed := range uint64(4) {
		o := rehearsal.Defaults()
		o.Seed, o.Passes, o.TellOffsetMM, o.OffsetMM = seed+1, true, 3, &[2]float64{2, 12}
		made, err := rehearsal.Make(plan, o)
		if err != nil {
			t.Fatal(err)
		}
		raws, err := capture.Raw(made.Lines)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := d.Ingest(t.Context(), fmt.Sprintf("phone-%d", seed), jsonOf(t, desk.Message{Seq: 1, Lines: raws})); err != nil {
			t.Fatal(err)
		}
	}
	const passes, mostEach = 12, 250
	traced := func(s *desk.State) (n int) {
		for _, p := range s.Passes {
			if p.Account != nil {
				n++
			}
		}
		return n
	}
	s := d.State()
	for deadline := time.Now().Add(time.Minute); traced(s) < passes; s = d.State() {
		if time.Now().After(deadline) {
			t.Fatalf("of %d passes %d are judged after a minute", len(s.Passes), traced(s))
		}
		time.Sleep(50 * time.Millisecond)
	}
	traces := 0
	for _, p := range s.Passes {
		k, err := d.Trace(s.Check.ID, p.Source, p.Along[0], p.T)
		if err != nil {
			t.Fatal(err)
		}
		if k.Source != p.Source || k.T != p.T || k.Traced != p.Account.Traced || len(k.Read) < p.Count/2 || len(k.Best) < 50 || len(k.AtMM) != len(p.Along) {
			t.Errorf("pass of %s at %g s with %d readings, traced as %s: found %d readings and a curve of %d points, traced as %s, of %s at %g s",
				p.Source, p.T, p.Count, p.Account.Traced, len(k.Read), len(k.Best), k.Traced, k.Source, k.T)
		}
		traces += len(jsonOf(t, k))
	}
	told, push := len(jsonOf(t, s.Passes)), len(jsonOf(t, s))
	t.Logf("a push with %d passes: %d bytes, %d of them of the passes; with their traces it had %d", passes, push, told, push+traces)
	if told > mostEach*passes {
		t.Errorf("%d passes take %d bytes of a push, expected %d at most", passes, told, mostEach*passes)
	}
	// One that no longer counts has none.
	out := s.Passes[1]
	if err := d.ThrowOut(t.Context(), out.Source, desk.Undo{At: out.Along[0], T: &out.T}); err != nil {
		t.Fatal(err)
	}
	if _, err := d.Trace(s.Check.ID, out.Source, out.Along[0], out.T); err == nil {
		t.Error("a pass that was thrown out has a trace")
	}
}

// TestPushedInOrder: several things done at once are told in the order in which they
// came to be, so that no page is left with an older state.
func TestPushedInOrder(t *testing.T) {
	d := newShop(t).desk
	client := d.Bench()
	defer d.Unsubscribe(client)
	id := d.CheckID()
	const hands, each = 8, 40
	var all sync.WaitGroup
	for hand := range hands {
		all.Go(func() {
			for i := range each {
				if _, err := d.SetLabel(t.Context(), id, store.Label{Serial: fmt.Sprintf("%d-%d", hand, i)}); err != nil {
					t.Error(err)
				}
			}
		})
	}
	defer all.Wait()
	newest := map[int]int{}
	for told := 0; told < hands*each; {
		select {
		case raw := <-client.Queue:
			var m struct {
				State *desk.State
			}
			var hand, i int
			if json.Unmarshal(raw, &m) != nil || m.State == nil {
				continue
			}
			if _, err := fmt.Sscanf(m.State.SignOff.Label.Serial, "%d-%d", &hand, &i); err != nil {
				continue // before the first
			}
			told++
			if i < newest[hand] && !t.Failed() {
				t.Errorf("%d-%d is told after %d-%d", hand, i, hand, newest[hand])
			}
			newest[hand] = i
		case <-client.Dropped:
			t.Fatal("too slow to hear it all")
		case <-time.After(20 * time.Second):
			t.Fatalf("%d states told", told)
		}
	}
}

// shopWithoutRoom is a shop whose database refuses rows of one table, and that database.
func shopWithoutRoom(t *testing.T, table string) (shop, *sql.DB) {
	t.Helper()
	dir := t.TempDir()
	s, shut := openShop(t, dir)
	t.Cleanup(shut)
	db, err := sql.Open("sqlite", filepath.Join(dir, store.FileName))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	if _, err := db.Exec("CREATE TRIGGER no_room BEFORE INSERT ON " + table + " BEGIN SELECT RAISE(ABORT, 'no room'); END"); err != nil {
		t.Fatal(err)
	}
	return s, db
}

// TestVerdictThatCannotBeStored is told all the same: what was read is stored, and
// whoever read it waits.
func TestVerdictThatCannotBeStored(t *testing.T) {
	s, _ := shopWithoutRoom(t, "verdicts")
	if _, err := s.desk.Ingest(t.Context(), "hand", []byte(`{"seq":1,"lines":[{"type":"start","route":"hand"},{"type":"reading","t":1,"at":"A1","face":"north"}]}`)); err != nil {
		t.Fatal(err)
	}
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if v := s.desk.State().Verdict; v != nil && v.Coils[0].Used == 1 {
			return
		}
		if time.Now().After(deadline) {
			t.Fatal("the verdict is not told")
		}
	}
}

// TestReadingsThatCannotBeStored are told of on the bench, where the disk is, until they
// are stored again.
func TestReadingsThatCannotBeStored(t *testing.T) {
	s, db := shopWithoutRoom(t, "messages")
	line := []byte(`{"seq":1,"lines":[{"type":"start","route":"hand"},{"type":"reading","t":1,"at":"A1","face":"north"}]}`)
	if _, err := s.desk.Ingest(t.Context(), "hand", line); err == nil {
		t.Fatal("what was not stored was taken")
	}
	if told := s.desk.State().Storing; !strings.Contains(told, "no room") || !strings.Contains(told, "again by themselves") {
		t.Errorf("the bench is told %q", told)
	}
	if _, err := db.Exec("DROP TRIGGER no_room"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.desk.Ingest(t.Context(), "hand", line); err != nil {
		t.Fatal(err)
	}
	if told := s.desk.State().Storing; told != "" {
		t.Errorf("stored again, the bench is still told %q", told)
	}
}

func jsonOf(t *testing.T, v any) []byte {
	t.Helper()
	raw, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}
