package web

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"strings"
	"testing"
	"time"

	"polewise/assets"
	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/layout"
	"polewise/server/desk"
)

// made sends a made-up capture as one phone would.
func (s *stage) made(t *testing.T, o rehearsal.Options) {
	t.Helper()
	plan, err := layout.Parse("kennel.toml", assets.Demo())
	if err != nil {
		t.Fatal(err)
	}
	made, err := rehearsal.Make(plan, o)
	if err != nil {
		t.Fatal(err)
	}
	lines, err := capture.Raw(made.Lines)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := json.Marshal(desk.Message{Seq: 1, Lines: lines})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.desk.Ingest(context.Background(), "tester", raw); err != nil {
		t.Fatal(err)
	}
}

// settled waits for a state that satisfies a condition.
func (s *stage) settled(t *testing.T, what string, ok func(*desk.State) bool) *desk.State {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if st := s.desk.State(); ok(st) {
			return st
		}
		if time.Now().After(deadline) {
			t.Fatal("waited 20 s for ", what)
		}
	}
}

// TestThrowOutAndPutBack throws one of two kinds of reading out and puts it back:
// a hold, and a pass along a row. Each names what it was held against.
func TestThrowOutAndPutBack(t *testing.T) {
	for _, passes := range []bool{false, true} {
		s := newStage(t)
		o := rehearsal.Defaults()
		o.Seed, o.Passes, o.TellOffsetMM, o.OffsetMM = 3, passes, 3, &[2]float64{2, 12}
		s.made(t, o)
		st := s.settled(t, "the account", func(st *desk.State) bool {
			return st.Why != nil && (passes && len(st.Passes) > 0 && st.Passes[1].Account != nil || !passes && len(st.Holds) > 0 && st.Holds[1].Account != nil)
		})
		used := func(st *desk.State, id string) int {
			for _, c := range st.Verdict.Coils {
				if c.ID == id {
					return c.Used
				}
			}
			return -1
		}
		var answer struct{ OK bool }
		var at string
		var when float64
		if passes {
			at, when = st.Passes[1].Along[0], st.Passes[1].T
		} else {
			at, when = st.Holds[1].At, st.Holds[1].T
		}
		before := used(st, at)
		named := map[string]any{"at": at, "source": "tester", "t": when}
		if code, p := s.asked(t, "/api/captures/undo", named, &answer); code != http.StatusOK {
			t.Fatal(code, p)
		}
		st = s.settled(t, "a verdict without it", func(st *desk.State) bool { return used(st, at) < before })
		if passes && (!st.Passes[1].Thrown || st.Passes[1].Account != nil) || !passes && (!st.Holds[1].Thrown || st.Holds[1].Account != nil) {
			t.Errorf("passes %v: thrown out, but the state says otherwise", passes)
		}
		if code, p := s.asked(t, "/api/captures/put-back", named, &answer); code != http.StatusOK {
			t.Fatal(code, p)
		}
		s.settled(t, "a verdict with it again", func(st *desk.State) bool { return used(st, at) == before })
		if code, p := s.asked(t, "/api/captures/put-back", named, &answer); code == http.StatusOK || p.Code != "not-thrown-out" || p.Hint == "" {
			t.Errorf("put back twice: %d %+v", code, p)
		}
		if kept, err := s.store.ThrownOut(context.Background(), st.Check.ID); err != nil || len(kept) != 0 {
			t.Errorf("still stored as thrown out: %v, %v", kept, err)
		}
	}
}

// TestSamplesOfOneHold asks for what a phone gave in one hold: of the check in
// progress, thrown out or not, of an earlier check, and of none.
func TestSamplesOfOneHold(t *testing.T) {
	s := newStage(t)
	o := rehearsal.Defaults()
	o.Seed = 5
	s.made(t, o)
	st := s.desk.State()
	h := st.Holds[1]
	path := fmt.Sprintf("/api/checks/%s/holds/%s/%g?at=%s", st.Check.ID, h.Source, h.T, h.At)
	got := func(when string) {
		t.Helper()
		var k desk.HoldSamples
		if code, p := s.asked(t, path, nil, &k); code != http.StatusOK {
			t.Fatalf("%s: %d %+v", when, code, p)
		}
		if len(k.Samples) != h.Count || k.T != h.T || k.Source != h.Source {
			t.Fatalf("%s: expected %d samples of %s at %g s, found %d of %s at %g s", when, h.Count, h.Source, h.T, len(k.Samples), k.Source, k.T)
		}
		for i, b := range k.Samples {
			if b[0] < h.T || b[0] > h.To || i > 0 && b[0] <= k.Samples[i-1][0] {
				t.Errorf("%s: sample %d is of %g s, in a hold from %g to %g s", when, i, b[0], h.T, h.To)
			}
		}
	}
	got("in progress")
	var answer struct{ OK bool }
	if code, p := s.asked(t, "/api/captures/undo", map[string]any{"at": h.At, "source": h.Source, "t": h.T}, &answer); code != http.StatusOK {
		t.Fatal(code, p)
	}
	got("thrown out")
	if code, p := s.asked(t, "/api/check", map[string]any{}, &json.RawMessage{}); code != http.StatusOK {
		t.Fatal(code, p)
	}
	if now := s.desk.CheckID(); now == st.Check.ID {
		t.Fatal("no other check was begun")
	}
	got("of an earlier check")
	for name, k := range map[string]struct {
		path   string
		status int
		code   string
	}{
		"no such check":    {"/api/checks/none/holds/tester/1", http.StatusNotFound, "no-check"},
		"no such source":   {"/api/checks/" + st.Check.ID + "/holds/nobody/1", http.StatusNotFound, "no-hold"},
		"no hold then":     {"/api/checks/" + st.Check.ID + "/holds/tester/1e9", http.StatusNotFound, "no-hold"},
		"no number":        {"/api/checks/" + st.Check.ID + "/holds/tester/soon", http.StatusBadRequest, "bad-time"},
		"no finite number": {"/api/checks/" + st.Check.ID + "/holds/tester/NaN", http.StatusBadRequest, "bad-time"},
	} {
		if code, p := s.asked(t, k.path, nil, nil); code != k.status || p.Code != k.code || p.Hint == "" {
			t.Errorf("%s: expected %d %s with a hint, found %d %+v", name, k.status, k.code, code, p)
		}
	}
}

// alike compares what was expected of a hold while its check was in progress and
// again: a background of before may have stood by then within what is open about it.
func alike(was, now *desk.HoldState) bool {
	a, b := was.Account, now.Account
	if a == nil || b == nil {
		return a == b && was.At == now.At && was.T == now.T && was.Thrown == now.Thrown
	}
	for k := range a.Best.UT {
		if math.Abs(a.Best.UT[k]-b.Best.UT[k]) > 5 || math.Abs(a.Best.SD[k]-b.Best.SD[k]) > 2 {
			return false
		}
	}
	return was.At == now.At && was.T == now.T && a.ReadUT == b.ReadUT && math.Abs(a.Times-b.Times) < 0.2*a.Times
}

// TestWeighedAgain asks what was expected of the readings of a check that is over:
// the same as while it was in progress, of holds and of passes.
func TestWeighedAgain(t *testing.T) {
	type weighed struct {
		Progress struct {
			Most float64 `json:"most_s"`
		}
		Done  *desk.Weighed
		Error *desk.ClientError
	}
	for _, passes := range []bool{false, true} {
		s := newStage(t)
		o := rehearsal.Defaults()
		o.Seed, o.Passes, o.TellOffsetMM, o.OffsetMM = 3, passes, 3, &[2]float64{2, 12}
		s.made(t, o)
		st := s.settled(t, "the account", func(st *desk.State) bool {
			return passes && len(st.Passes) > 2 && st.Passes[2].Account != nil || !passes && len(st.Holds) > 8 && st.Holds[8].Account != nil
		})
		var answer struct{ OK bool }
		out := map[string]any{"source": "tester"}
		if passes {
			out["at"], out["t"] = st.Passes[1].Along[0], st.Passes[1].T
		} else {
			out["at"], out["t"] = st.Holds[1].At, st.Holds[1].T
		}
		if code, p := s.asked(t, "/api/captures/undo", out, &answer); code != http.StatusOK {
			t.Fatal(code, p)
		}
		best := st.Why
		st = s.settled(t, "the account without one", func(st *desk.State) bool { return st.Judging == nil && fmt.Sprint(*st.Why) != fmt.Sprint(*best) })
		traces := map[float64]*desk.PassTrace{}
		for _, p := range st.Passes {
			if p.Account != nil {
				k, err := s.desk.Trace(st.Check.ID, p.Source, p.Along[0], p.T)
				if err != nil {
					t.Fatal(err)
				}
				traces[p.T] = k
			}
		}
		if code, p := s.asked(t, "/api/check", map[string]any{}, &json.RawMessage{}); code != http.StatusOK {
			t.Fatal(code, p)
		}
		path := "/api/checks/" + st.Check.ID + "/weighed"
		var k weighed
		if code, p := s.asked(t, path, nil, &k); code != http.StatusOK || k.Error != nil || k.Done == nil {
			t.Fatal(code, p, k.Error)
		}
		if k.Progress.Most != usualWeighing.Seconds() {
			t.Errorf("told to take %g s at most, and it may take %v", k.Progress.Most, usualWeighing)
		}
		for i := range k.Done.Passes {
			p := &k.Done.Passes[i]
			if want := traces[p.T]; (p.Trace == nil) != (want == nil) || want != nil && p.Trace.Traced != want.Traced {
				t.Errorf("the pass at %g s is traced as %+v, while in progress it was %+v", p.T, p.Trace, want)
			}
		}
		if k.Done.Why.Best != st.Why.Best || k.Done.Why.Rival != st.Why.Rival || len(k.Done.Otherwise) > 0 {
			t.Errorf("passes %v: while in progress %+v, again %+v, otherwise %v", passes, st.Why, k.Done.Why, k.Done.Otherwise)
		}
		if len(k.Done.Holds) != len(st.Holds) || len(k.Done.Passes) != len(st.Passes) {
			t.Fatalf("passes %v: %d holds and %d passes, while in progress %d and %d", passes, len(k.Done.Holds), len(k.Done.Passes), len(st.Holds), len(st.Passes))
		}
		for i := range st.Holds {
			if was, now := &st.Holds[i], &k.Done.Holds[i]; !alike(was, now) {
				t.Errorf("while in progress\n%s\nagain\n%s", mustJSON(was), mustJSON(now))
			}
		}

		// What the verdict of then says otherwise is told.
		text, err := s.store.LastVerdict(t.Context(), st.Check.ID)
		if err != nil {
			t.Fatal(err)
		}
		other := strings.Replace(string(text), `"state":"`, `"state":"not-`, 1)
		if err := s.store.SaveVerdict(t.Context(), st.Check.ID, []byte(other), nil); err != nil {
			t.Fatal(err)
		}
		if s.asked(t, path, nil, &k); fmt.Sprint(k.Done.Otherwise) != "[A1]" {
			t.Errorf("otherwise now: %v, expected A1", k.Done.Otherwise)
		}

		// What takes too long is given up, and so is what is asked of no check.
		refused := func(path, code string) {
			t.Helper()
			var k weighed
			if s.asked(t, path, nil, &k); k.Error == nil || k.Error.Code != code || k.Error.Hint == "" {
				t.Errorf("%s: expected %s with a hint, found %+v", path, code, k.Error)
			}
		}
		refused("/api/checks/none/weighed", "no-check")
		s.site.weighing = time.Nanosecond
		refused(path, "too-long")
	}
}
