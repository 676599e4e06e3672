package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"polewise/assets"
	"polewise/field/rehearsal"
	"polewise/layout"
	"polewise/server/desk"
)

// storedOnce fails unless every number up to last is stored once, in order.
func (s *stage) storedOnce(t *testing.T, last int) {
	t.Helper()
	got := s.stored(t)
	want := []string{start}
	for i := 2; i <= last; i++ {
		want = append(want, sample(i))
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("%d lines stored, expected %d, each once and in order", len(got), len(want))
	}
}

// TestFloodBySocket: a client that sends far too fast is told so before its socket
// is closed. All that was acknowledged is stored, and the rest goes under the same
// numbers on the next connection.
func TestFloodBySocket(t *testing.T) {
	s := newStage(t)
	s.site.Pace = Pace{PerSecond: 20, Burst: 40, Slowed: 25}
	c := s.dial(t)
	const total = 400
	acked := int64(0)
	var told *desk.ClientError
	var closed *websocket.CloseError
	done := make(chan struct{})
	go func() { // reads while the flood is written
		defer close(done)
		_ = c.SetReadDeadline(time.Now().Add(20 * time.Second))
		for {
			_, raw, err := c.ReadMessage()
			if err != nil {
				errors.As(err, &closed)
				return
			}
			var m struct {
				Ack   int64             `json:"ack"`
				Error *desk.ClientError `json:"error"`
			}
			if json.Unmarshal(raw, &m) == nil {
				acked = max(acked, m.Ack)
				if m.Error != nil {
					told = m.Error
				}
			}
		}
	}()
	c.send(1, start)
	for i := int64(2); i <= total; i++ {
		if c.WriteMessage(websocket.TextMessage, []byte(message(i, sample(int(i))))) != nil {
			break // cut off
		}
	}
	<-done
	if told == nil || told.Code != "too-fast" || told.Say == "" || told.Hint == "" {
		t.Errorf("the flood was answered with %+v, expected too-fast with words", told)
	}
	if closed == nil || closed.Code != websocket.ClosePolicyViolation {
		t.Errorf("the socket ended with %v, expected close code 1008", closed)
	}
	if acked < 40 || acked >= total {
		t.Errorf("%d of %d acknowledged; expected some and not all", acked, total)
	}
	s.site.Pace = usualPace
	c = s.dial(t)
	if c.lastSeq < acked {
		t.Errorf("%d stored, yet %d were acknowledged", c.lastSeq, acked)
	}
	for i := acked + 1; i <= total; i++ {
		c.send(i, sample(int(i)))
		c.acked(i)
	}
	s.storedOnce(t, total)
}

// TestFloodByPost: the same by POST, from many connections at once.
func TestFloodByPost(t *testing.T) {
	s := newStage(t)
	s.site.Pace = Pace{PerSecond: 20, Burst: 30, Slowed: 1}
	hc := s.phone.Client()
	address := s.phone.URL + "/" + testKey + "/post?source=tester"
	post := func(i int) (status int, code string) {
		line := sample(i)
		if i == 1 {
			line = start
		}
		r, err := hc.Post(address, "application/json", strings.NewReader(message(int64(i), line)))
		if err != nil {
			t.Error(err)
			return 0, ""
		}
		defer r.Body.Close()
		var m struct {
			Ack   int64            `json:"ack"`
			Error desk.ClientError `json:"error"`
		}
		if err := json.NewDecoder(r.Body).Decode(&m); err != nil {
			t.Error(err)
		}
		if r.StatusCode == http.StatusOK && m.Ack != int64(i) {
			t.Errorf("message %d was acknowledged as %d", i, m.Ack)
		}
		if r.StatusCode == http.StatusTooManyRequests && (r.Header.Get("Retry-After") == "" || m.Error.Hint == "") {
			t.Errorf("refused without saying when to come back: %v %+v", r.Header, m.Error)
		}
		return r.StatusCode, m.Error.Code
	}
	if status, code := post(1); status != http.StatusOK {
		t.Fatal(status, code)
	}
	const total = 200
	var refused atomic.Int64
	var mu sync.Mutex
	var again []int
	var all sync.WaitGroup
	for i := 2; i <= total; i++ {
		all.Go(func() {
			switch status, code := post(i); {
			case status == http.StatusTooManyRequests && code == "too-fast":
				refused.Add(1)
				mu.Lock()
				again = append(again, i)
				mu.Unlock()
			case status != http.StatusOK:
				t.Error(fmt.Sprint("message ", i, ": ", status, " ", code))
			}
		})
	}
	all.Wait()
	if n := refused.Load(); n == 0 || n == total-1 {
		t.Errorf("%d of %d refused; expected some and not all", n, total-1)
	}
	s.site.Pace = usualPace
	s.site.posting = limiters{}
	for _, i := range again {
		if status, code := post(i); status != http.StatusOK {
			t.Errorf("message %d sent again: %d %s", i, status, code)
		}
	}
	s.storedOnce(t, total)
}

// TestFloodOfABenchSocket: what a bench page sends faster than anybody drags is slowed
// down, too.
func TestFloodOfABenchSocket(t *testing.T) {
	s := newStage(t)
	s.site.Pace = Pace{PerSecond: 50, Burst: 5}
	re, err := s.desk.Rehearse(t.Context(), desk.PlanText{Name: "kennel.toml", TOML: assets.Demo()}, rehearsal.Easy, []layout.Fault{})
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{"/live", "/api/rehearsals/" + re.ID + "/bench"} {
		conn, _, err := websocket.DefaultDialer.Dial(strings.Replace(s.bench.URL, "http:", "ws:", 1)+path, nil)
		if err != nil {
			t.Fatal(path, err)
		}
		began := time.Now()
		for range 35 {
			if err := conn.WriteMessage(websocket.TextMessage, []byte(`{}`)); err != nil {
				t.Fatal(path, err)
			}
		}
		// Its answer comes once all before it is read.
		if err := conn.WriteControl(websocket.CloseMessage, websocket.FormatCloseMessage(websocket.CloseNormalClosure, ""), time.Now().Add(time.Second)); err != nil {
			t.Fatal(path, err)
		}
		for err == nil {
			_, _, err = conn.ReadMessage()
		}
		if took := time.Since(began); took < 200*time.Millisecond || !websocket.IsCloseError(err, websocket.CloseNormalClosure) {
			t.Errorf("%s: all is taken within %v, %v", path, took, err)
		}
		conn.Close()
	}
}
