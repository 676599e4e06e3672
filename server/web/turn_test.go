package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"polewise/server/desk"
	"polewise/server/testplan"
)

// TestFindingASensorHoldsNobodyUp: where a phone's sensor sits may take 20 s to work out on
// a large pad. The bench's planning goes on meanwhile; a phone that goes away ends it, and
// so does the program's end.
func TestFindingASensorHoldsNobodyUp(t *testing.T) {
	s := newStage(t)
	if err := s.desk.Begin(t.Context(), desk.PlanText{Name: "big.toml", TOML: []byte(testplan.Many(10, testplan.Oblong))}, nil); err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(1, 2))
	lines := []json.RawMessage{json.RawMessage(start)}
	now := 0.0
	add := func(format string, args ...any) {
		now += 0.1
		lines = append(lines, fmt.Appendf(nil, format, append([]any{now}, args...)...))
	}
	for i := range 200 {
		add(`{"type":"drive","t":%g,"state":"off"}`)
		add(`{"type":"hold","t":%g,"at":"%c%d"}`, 'A'+i/20, i%20+1)
		for k := range 12 {
			if k == 6 {
				add(`{"type":"drive","t":%g,"state":"on"}`)
			}
			add(`{"type":"b","t":%g,"uT":[%g,%g,%g]}`, 20+rng.NormFloat64(), 5+rng.NormFloat64(), -40+float64(k/6)*300*rng.NormFloat64())
		}
		add(`{"type":"lift","t":%g}`)
	}
	raw, err := json.Marshal(map[string]any{"lines": lines})
	if err != nil {
		t.Fatal(err)
	}
	find := func(ctx context.Context) chan int {
		answer := make(chan int, 1)
		r := httptest.NewRequestWithContext(ctx, http.MethodPost, "/sensor", bytes.NewReader(raw))
		go func() {
			w := httptest.NewRecorder()
			s.site.locate(w, r)
			answer <- w.Code
		}()
		for deadline := time.Now().Add(20 * time.Second); len(s.site.locatingTurn.now) == 0; time.Sleep(5 * time.Millisecond) {
			if time.Now().After(deadline) {
				t.Fatal("it is not begun within 20 s")
			}
		}
		return answer
	}
	gone, leave := context.WithCancel(t.Context())
	answer := find(gone)
	leave()
	if code := <-answer; code != http.StatusServiceUnavailable {
		t.Errorf("the phone has gone, and it is looked for to the end: %d", code)
	}
	answer = find(t.Context())
	if status, e := s.asked(t, "/api/planning", object{"demo": "kennel"}, &object{}); status != http.StatusOK {
		t.Errorf("planning meanwhile: %d %+v", status, e)
	}
	select {
	case code := <-answer:
		t.Errorf("planning had to wait until the sensor was looked for: %d", code)
	default:
		s.site.end()
		if code := <-answer; code != http.StatusServiceUnavailable {
			t.Errorf("the program's end waits until the sensor is looked for: %d", code)
		}
	}
}

// TestMostWaiting: of one kind of work only so much waits; the next is told so, and is
// served once there is room.
func TestMostWaiting(t *testing.T) {
	s := newStage(t)
	of := newTurn()
	of.now <- struct{}{} // somebody is at it
	for range mostWaiting {
		of.waiting <- struct{}{}
	}
	r := httptest.NewRequest(http.MethodGet, "/", nil)
	w := httptest.NewRecorder()
	if s.site.wait(w, r, of) || w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), `"busy"`) {
		t.Errorf("one more waits: %d %s", w.Code, w.Body)
	}
	<-of.waiting
	of.done()
	if w = httptest.NewRecorder(); !s.site.wait(w, r, of) {
		t.Errorf("it is its turn: %d %s", w.Code, w.Body)
	}
}

// TestMapsTakeTurns: of the maps that pages ask for one is worked out at a time.
func TestMapsTakeTurns(t *testing.T) {
	s := newStage(t)
	s.site.mapTurn.now <- struct{}{}
	answer := make(chan int, 1)
	go func() {
		status, _ := s.asked(t, "/api/map", nil, &mapLine{})
		answer <- status
	}()
	for deadline := time.Now().Add(10 * time.Second); len(s.site.mapTurn.waiting) == 0; time.Sleep(time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("it does not wait for its turn")
		}
	}
	s.site.mapTurn.done()
	if status := <-answer; status != http.StatusOK || len(s.site.mapTurn.waiting) > 0 {
		t.Errorf("its turn: %d, %d waiting", status, len(s.site.mapTurn.waiting))
	}
}
