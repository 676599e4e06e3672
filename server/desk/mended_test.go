package desk_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"polewise/assets"
	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/field/verdict"
	"polewise/layout"
	"polewise/server/desk"
	"polewise/server/record"
	"polewise/server/store"
)

// TestCheckAfterAMend goes through a mend as the bench page does, and over a new
// start of the program in the middle of it.
func TestCheckAfterAMend(t *testing.T) {
	dir := t.TempDir()
	plan, err := layout.Parse("kennel.toml", assets.Demo())
	if err != nil {
		t.Fatal(err)
	}
	open := func() (*desk.Desk, func()) {
		t.Helper()
		s, shut := openShop(t, dir)
		return s.desk, shut
	}
	// feed sends a made-up capture of some coils, every coil where none is named.
	feed := func(d *desk.Desk, seed uint64, coil string, faults ...layout.Fault) {
		t.Helper()
		o := rehearsal.Defaults()
		o.Seed, o.Faults, o.Rest, o.TellOffsetMM, o.OffsetMM = seed, faults, rehearsal.RestHolds, 3, &[2]float64{2, 12}
		made, err := rehearsal.Make(plan, o)
		if err != nil {
			t.Fatal(err)
		}
		var lines []capture.Line
		skip := false
		for _, l := range made.Lines {
			if h, ok := l.(capture.Hold); ok {
				skip = coil != "" && h.Coil != coil
			}
			_, drive := l.(capture.Drive)
			if !skip || drive {
				lines = append(lines, l)
			}
			if _, lift := l.(capture.Lift); lift {
				skip = false
			}
		}
		raws, err := capture.Raw(lines)
		if err != nil {
			t.Fatal(err)
		}
		m, err := json.Marshal(map[string]any{"seq": 1, "lines": raws})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := d.Ingest(t.Context(), fmt.Sprintf("phone-%d", seed), m); err != nil {
			t.Fatal(err)
		}
	}
	wait := func(d *desk.Desk, what string, ok func(*verdict.Verdict) bool) *verdict.Verdict {
		t.Helper()
		for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
			v := d.State().Verdict
			if v != nil && ok(v) {
				return v
			}
			if time.Now().After(deadline) {
				t.Fatalf("%s: the verdict stays %+v", what, v)
			}
		}
	}
	claimed := func(v *verdict.Verdict) (n int) {
		for _, c := range v.Coils {
			if c.State != verdict.StateUndecided {
				n++
			}
		}
		return n
	}

	d, shut := open()
	feed(d, 1, "", layout.Fault{Kind: layout.CoilReversed, ID: "B2"})
	wait(d, "the fault", func(v *verdict.Verdict) bool { return v.Outcome == verdict.Fault })
	faulty := d.CheckID()
	// Another check, or another mend than is asked for by now, was seen.
	other := []verdict.Mend{{Do: verdict.Flip, ID: "A1"}}
	for code, told := range map[string]desk.Again{"other-check": {Check: "1f2e"}, "changed": {Check: faulty, Mend: other}} {
		var refused *desk.ClientError
		if err := d.BeginAfterMend(t.Context(), told); !errors.As(err, &refused) || refused.Code != code {
			t.Errorf("after %+v: %v", told, err)
		}
	}
	var refused *desk.ClientError
	if _, err := d.Ingest(t.Context(), "phone-1", fmt.Appendf(nil, `{"seq":9,"again":{"check":%q,"mend":[{"do":"flip","id":"A1"}]}}`, faulty)); !errors.As(err, &refused) || refused.Code != "changed" || refused.Seq != 9 {
		t.Errorf("told by a phone: %v", err)
	}
	if d.CheckID() != faulty {
		t.Error("another check was begun all the same")
	}
	if err := d.BeginAfterMend(t.Context(), desk.Again{Check: faulty, Mend: d.State().Verdict.Causes[0].Mend}); err != nil {
		t.Fatal(err)
	}
	asked := func(v *verdict.Verdict) bool { return claimed(v) == 8 && v.Next != nil && v.Next.At == "B2" }
	wait(d, "all but the coil mended", asked)
	if p := d.State().Prompt; p == nil || p.At != "B2" || p.Why != "B2 was mended and has not been read since." {
		t.Errorf("asked for %+v", p)
	}
	shut()

	d, shut = open()
	defer func() { shut() }()
	wait(d, "all but the coil mended, after a new start", asked)
	feed(d, 2, "B2")
	v := wait(d, "the coil mended", func(v *verdict.Verdict) bool { return claimed(v) == 9 })
	if v.Outcome != verdict.Undecided || v.Next == nil {
		t.Errorf("nothing but B2 read since the mend, and the pad is %s, next %+v", v.Outcome, v.Next)
	}
	now := d.State()
	if m := now.Mended; m == nil || len(m.Mend) != 1 || !slices.Equal(m.Since, []string{"B2"}) {
		t.Errorf("read since the mend: %+v", m)
	}
	if e := now.SignOff.Except; e == nil || e.Wiring != "Not read since the mend: A1, A2, A3, B1, B3, C1, C2, C3." {
		t.Errorf("against signing: %+v", e)
	}
	feed(d, 3, "")
	wait(d, "every coil read again", func(v *verdict.Verdict) bool { return v.Outcome == verdict.AsPlanned })

	// Signed, and the program begun anew: what was expected of the readings is there as
	// before, and the verdict is the one signed.
	accounts := func() (n int) {
		for _, h := range d.State().Holds {
			if h.Account != nil {
				n++
			}
		}
		return n
	}
	before := accounts()
	s := d.State()
	if _, err := d.SignOff(t.Context(), desk.SignOff{Check: s.Check.ID, Maker: "AB", Except: &record.Exception{Reason: "No ohmmeter at hand.", Open: *s.SignOff.Except}}); err != nil {
		t.Fatal(err)
	}
	// The check of the fault leads to the one after the mend, and back.
	old, err := d.Look(t.Context(), faulty)
	if err != nil {
		t.Fatal(err)
	}
	after, err := d.Look(t.Context(), s.Check.ID)
	if err != nil {
		t.Fatal(err)
	}
	if old.Mended == nil || old.Mended.ID != s.Check.ID || after.After == nil || after.After.ID != faulty || after.Mended != nil {
		t.Errorf("from the fault to %+v; from the mend to %+v and %+v", old.Mended, after.After, after.Mended)
	}
	shut()
	d, shut = open()
	for deadline := time.Now().Add(20 * time.Second); accounts() != before; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("of %d holds %d have what was expected of them", before, accounts())
		}
	}
	if now := d.State(); before < 9 || now.SignOff.Signed == nil || now.Verdict.Outcome != verdict.AsPlanned || now.Why == nil {
		t.Errorf("%d holds; signed %v, %s, why %v", before, now.SignOff.Signed, now.Verdict.Outcome, now.Why)
	}

	// A new check, of another pad perhaps, begins from nothing.
	if err := d.BeginSame(t.Context()); err != nil {
		t.Fatal(err)
	}
	wait(d, "a new check", func(v *verdict.Verdict) bool { return claimed(v) == 0 })
}

// TestAskingTwiceBeginsOne: phones that ask at once for a check after the same one get
// one check among them.
func TestAskingTwiceBeginsOne(t *testing.T) {
	s := newShop(t)
	const rounds = 10
	for range rounds {
		id := s.desk.CheckID()
		var asked sync.WaitGroup
		for i := range 4 {
			asked.Go(func() {
				if _, err := s.desk.Ingest(t.Context(), fmt.Sprintf("p%d", i), fmt.Appendf(nil, `{"seq":1,"again":{"check":%q}}`, id)); err != nil {
					t.Error(err)
				}
			})
		}
		asked.Wait()
	}
	_, total, err := s.store.List(t.Context(), store.ListQuery{State: "unread", Sort: "began", Limit: 1})
	if err != nil || total != rounds+1 {
		t.Errorf("%d checks (%v), expected %d", total, err, rounds+1)
	}
}

// TestRefusedLeaveNothing: a sender of nothing that is taken is no phone of the check,
// under however many names it sends; and there is an end to phones that do send.
func TestRefusedLeaveNothing(t *testing.T) {
	s := newShop(t)
	for i := range 300 {
		if _, err := s.desk.Ingest(t.Context(), fmt.Sprintf("g%d", i), []byte(`{"seq":1,"lines":[{"type":"b","t":0,"uT":[1,2,3]}]}`)); err == nil {
			t.Fatal("lines without a start are taken")
		}
	}
	if n := len(s.desk.State().Phones); n != 0 {
		t.Errorf("%d phones that sent nothing", n)
	}
	var last error
	for i := range 300 {
		if _, last = s.desk.Ingest(t.Context(), fmt.Sprintf("g%d", i), []byte(`{"seq":1,"lines":[{"type":"start","v":1,"route":"hand"}]}`)); last != nil {
			break
		}
	}
	var refused *desk.ClientError
	if n := len(s.desk.State().Phones); !errors.As(last, &refused) || refused.Code != "too-many-sources" || refused.Seq != 1 || n != 100 {
		t.Errorf("%d phones, then %v", n, last)
	}
	if _, err := s.desk.Ingest(t.Context(), "g5", []byte(`{"seq":2,"lines":[{"type":"reading","t":1,"at":"A1","face":"north"}]}`)); err != nil {
		t.Errorf("one of those that sent before: %v", err)
	}
}
