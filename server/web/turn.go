package web

import "net/http"

// turn lets one request of a kind be worked on at a time, each may take seconds, and
// some more wait for it.
type turn struct{ now, waiting chan struct{} }

// mostWaiting bounds those that wait: each holds what it was sent.
const mostWaiting = 16

func newTurn() turn { return turn{make(chan struct{}, 1), make(chan struct{}, mostWaiting)} }

// wait waits until no other of a kind is being worked out: pages ask while a plan is
// typed. False when the page has gone, or has been answered that it has to ask again.
func (s *Site) wait(w http.ResponseWriter, r *http.Request, of turn) bool {
	select {
	case of.waiting <- struct{}{}:
		defer func() { <-of.waiting }()
	default:
		w.Header().Set("Retry-After", "5")
		problem(w, http.StatusServiceUnavailable, "busy", "The program is busy with others that asked for the same.", "Try again in a few seconds.")
		return false
	}
	select {
	case of.now <- struct{}{}:
		return true
	case <-r.Context().Done():
		return false
	case <-s.ctx.Done():
		s.closing(w)
		return false
	}
}

func (t turn) done() { <-t.now }

// closing answers a request that the program's end overtook.
func (s *Site) closing(w http.ResponseWriter) {
	problem(w, http.StatusServiceUnavailable, "closing", "The program is shutting down.", "Start it again in its terminal; this page goes on by itself.")
}
