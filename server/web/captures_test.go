package web

import (
	"context"
	"encoding/json"
	"net/http"
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
	var lines []json.RawMessage
	for _, l := range made.Lines {
		raw, err := capture.AppendLine(nil, l)
		if err != nil {
			t.Fatal(err)
		}
		lines = append(lines, raw)
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
