package web

import (
	"context"
	"testing"
	"time"

	"polewise/assets"
	"polewise/server/desk"
)

// phones waits until the bench lists so many phones, the first of them connected or not.
func (s *stage) phones(t *testing.T, what string, n int, connected bool) {
	t.Helper()
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		p := s.desk.State().Phones
		if len(p) == n && (n == 0 || p[0].Connected == connected) {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("%s: waited 10 s for %d phones, connected %v; the bench lists %+v", what, n, connected, p)
		}
	}
}

// TestPhoneThatSentNothingIsForgotten: a page that was only looked at leaves no row
// behind; one that sent readings stays, and so does what it sent.
func TestPhoneThatSentNothingIsForgotten(t *testing.T) {
	s := newStage(t)
	c := s.dial(t)
	s.phones(t, "joined", 1, true)
	second := s.dial(t) // the same page by another line
	c.Close()
	time.Sleep(50 * time.Millisecond)
	s.phones(t, "one of two lines gone", 1, true)
	second.Close()
	s.phones(t, "gone without a word", 0, false)

	c = s.dial(t)
	s.phones(t, "back", 1, true)
	c.send(1, start)
	c.acked(1)
	c.Close()
	s.phones(t, "gone after it began", 1, false)
	c = s.dial(t)
	if c.lastSeq != 1 {
		t.Errorf("greeted with number %d, expected 1", c.lastSeq)
	}
	s.phones(t, "back again", 1, true)
}

// TestPhoneStaysThroughANewCheck: a phone's line outlives the check; in the next one
// it is connected, and forgotten when it goes without having sent anything.
func TestPhoneStaysThroughANewCheck(t *testing.T) {
	s := newStage(t)
	c := s.dial(t)
	c.send(1, start)
	c.acked(1)
	if err := s.desk.Begin(context.Background(), desk.PlanText{Name: "kennel.toml", TOML: assets.Demo()}, nil); err != nil {
		t.Fatal(err)
	}
	s.phones(t, "in the new check", 1, true)
	c.Close()
	s.phones(t, "gone", 0, false)
}
