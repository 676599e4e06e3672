package web

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"strconv"
	"sync"
	"time"

	"github.com/go-chi/chi/v5"
	"github.com/gorilla/websocket"
	"golang.org/x/time/rate"

	"polewise/server/desk"
	"polewise/server/feed"
)

// feedRoutes are the bench page's: readings from this computer, and what a
// person shows and does with a source.
func (s *Site) feedRoutes(r chi.Router) {
	r.Get("/feed", s.feedSocket)
	r.Post("/feed", s.feedPost)
	r.Get("/feeds", func(w http.ResponseWriter, r *http.Request) {
		writeJSON(w, http.StatusOK, map[string]any{"feeds": s.feeds.State(), "dialects": s.feeds.Kept()})
	})
	r.Post("/feeds/{do}", s.feedDo)
}

// feedPost takes readings in any text: see the package feed.
func (s *Site) feedPost(w http.ResponseWriter, r *http.Request) {
	name, ok := sourceOf(w, r, "feed")
	if !ok {
		return
	}
	raw, ok := body(w, r, feed.MaxChunkBytes)
	if !ok {
		return
	}
	q := r.URL.Query()
	sent := feed.Sent{Run: q.Get("run")}
	if len(sent.Run) > 64 {
		problem(w, http.StatusBadRequest, "bad-run", "The run in this address may have 64 letters at most.", "Shorten what stands behind run= in the address.")
		return
	}
	for key, to := range map[string]*int64{"batch": &sent.Batch, "line": &sent.Line} {
		text := q.Get(key)
		if text == "" {
			continue
		}
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil || n < 1 || n > 1e15 {
			problem(w, http.StatusBadRequest, "bad-"+key, fmt.Sprintf("Expected %s as a whole number of 1 or more, found %.40q.", key, text), "Put such a number in the address.")
			return
		}
		*to = n
	}
	answer, err := s.feeds.Take(r.Context(), name, raw, sent)
	s.answer(w, answer, err)
}

// Limits of a feed's socket. Chunks waiting are taken together, so that a device
// that sends each reading by itself does not wait for the disk at each.
const (
	feedWaiting = 16
	feedSlowed  = 200
	feedMessage = feed.MaxChunkBytes / 4
)

// feedSocket is the same by websocket: text in, an answer for what was taken.
func (s *Site) feedSocket(w http.ResponseWriter, r *http.Request) {
	name, ok := sourceOf(w, r, "feed")
	if !ok {
		return
	}
	if !upgrades(w, r, "Connect to it with one, or POST JSON or rows of numbers to it.") {
		return
	}
	k, end := s.open(w, r)
	if k == nil {
		return
	}
	defer end()
	ctx, cancel := context.WithCancel(context.WithoutCancel(r.Context()))
	defer cancel()
	k.conn.SetReadLimit(feedMessage)
	chunks := make(chan []byte, feedWaiting)
	var taker sync.WaitGroup
	taker.Go(func() {
		for raw := range chunks {
			for raw != nil {
				var next []byte
				raw, next = together(raw, chunks)
				answer, err := s.feeds.Take(ctx, name, raw, feed.Sent{})
				if err != nil {
					err = k.writeJSON(map[string]any{"error": s.clientError(err)})
				} else {
					err = k.writeJSON(answer)
				}
				if err != nil {
					k.finish()
				}
				raw = next
			}
		}
	})
	defer taker.Wait()
	defer close(chunks)
	limit := rate.NewLimiter(10*s.Pace.PerSecond, 10*s.Pace.Burst)
	slowed := 0
	for {
		_, raw, err := k.conn.ReadMessage()
		if err != nil {
			return
		}
		raw = bytes.TrimRight(raw, "\r\n")
		if !limit.Allow() {
			if slowed++; slowed > feedSlowed {
				_ = k.writeJSON(map[string]any{"error": &desk.ClientError{Code: "too-fast", Say: "Messages come faster than the bench can take them.", Hint: "Send fewer, with more readings in each."}})
				k.close(websocket.ClosePolicyViolation, "too many messages")
				k.drain()
				return
			}
			time.Sleep(s.Pace.gap())
		}
		select {
		case chunks <- raw:
		case <-k.done:
			return
		}
	}
}

// together joins single lines that wait with a line. What is no single line is
// returned by itself, to be taken next.
func together(raw []byte, chunks <-chan []byte) (joined, next []byte) {
	single := func(b []byte) bool { return bytes.IndexByte(b, '\n') < 0 }
	if !single(raw) {
		return raw, nil
	}
	for len(raw) < feedMessage {
		select {
		case more := <-chunks:
			if more == nil || !single(more) {
				return raw, more
			}
			raw = append(append(raw, '\n'), more...)
		default:
			return raw, nil
		}
	}
	return raw, nil
}

// feedDo is what a person does on the bench page.
func (s *Site) feedDo(w http.ResponseWriter, r *http.Request) {
	var q struct {
		Source string `json:"source"`
		feed.Pick
		Step     feed.Step `json:"step"`
		Half     feed.Half `json:"half"`
		Name     string    `json:"name"`
		To       string    `json:"to"`
		AtSensor bool      `json:"at_sensor"`
		At       string    `json:"at"`
		On       bool      `json:"on"`
		Amps     *float64  `json:"amps"`
	}
	if !s.read(w, r, &q) {
		return
	}
	ctx := r.Context()
	var err error
	switch do := chi.URLParam(r, "do"); do {
	case "pick":
		err = s.feeds.Pick(q.Source, q.Pick)
	case "unpick":
		err = s.feeds.Unpick(q.Source)
	case "step":
		err = s.feeds.Step(ctx, q.Source, q.Step)
	case "solve":
		err = s.feeds.Solve(q.Source, q.Half)
	case "keep":
		err = s.feeds.Keep(ctx, q.Source, q.Name, q.AtSensor)
	case "use":
		err = s.feeds.Use(q.Source, q.Name)
	case "rename":
		err = s.feeds.Rename(ctx, q.Name, q.To)
	case "forget":
		err = s.feeds.Forget(ctx, q.Name)
	case "drop":
		s.feeds.Drop(q.Source)
	case "hold":
		err = s.feeds.Hold(ctx, q.Source, q.At)
	case "lift":
		err = s.feeds.Lift(ctx, q.Source)
	case "supply":
		err = s.feeds.Supply(ctx, q.Source, q.On, q.Amps)
	default:
		err = &desk.ClientError{Code: "no-such-thing", Say: fmt.Sprintf("A sensor cannot be asked to %.40q.", do), Hint: "Load this page again."}
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	writeJSON(w, http.StatusOK, map[string]any{"feeds": s.feeds.State(), "dialects": s.feeds.Kept()})
}
