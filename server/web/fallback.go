package web

import (
	"context"
	"fmt"
	"net/http"
	"time"
)

// post takes a message by POST, for phones whose browser refuses the websocket.
func (s *Site) post(w http.ResponseWriter, r *http.Request) {
	source, ok := sourceOf(w, r, "main")
	if !ok {
		return
	}
	wait, cancel := context.WithTimeout(r.Context(), postWait)
	defer cancel()
	if s.posting.of(source, s.Pace).Wait(wait) != nil {
		s.fail(w, tooFast())
		return
	}
	raw, ok := body(w, r, maxMessage)
	if !ok {
		return
	}
	ack, err := s.Desk.Ingest(r.Context(), source, raw)
	s.answer(w, map[string]int64{"ack": max(ack, 0)}, err)
}

// events is the other half of post: what a websocket would push, as server-sent
// events.
func (s *Site) events(w http.ResponseWriter, r *http.Request) {
	source, ok := sourceOf(w, r, "main")
	if !ok {
		return
	}
	if !s.hold() {
		s.closing(w)
		return
	}
	defer s.sockets.Done()
	out := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	client := s.Desk.Phone()
	defer s.Desk.Unsubscribe(client)
	hello := s.Desk.Join(source)
	defer s.Desk.Leave(source)
	send := func(raw []byte) bool {
		_ = out.SetWriteDeadline(time.Now().Add(writeWait))
		if _, err := fmt.Fprintf(w, "data: %s\n\n", raw); err != nil {
			return false
		}
		return out.Flush() == nil
	}
	if !send(mustJSON(hello)) {
		return
	}
	alive := time.NewTicker(pingEvery)
	defer alive.Stop()
	for {
		ok := true
		select {
		case <-r.Context().Done():
			return
		case <-s.ctx.Done():
			return
		case <-client.Dropped:
			return
		case raw := <-client.Queue:
			ok = send(raw)
		case <-alive.C:
			ok = send([]byte("{}"))
		}
		if !ok {
			return
		}
	}
}
