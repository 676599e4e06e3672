package web

import (
	"errors"
	"io"
	"net/http"
	"slices"
	"time"
)

// A body that a request announces has to come: what comes buys time for more. Sockets
// and event streams have none, and go on as long as they like.
const (
	usualPatience = 10 * time.Second
	leastPerSec   = 4096 // bytes; the slowest of networks
)

// timely ends requests whose body stops coming. Nobody without the pairing key may hold
// a connection open for longer.
func (s *Site) timely(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Body == nil || r.ContentLength == 0 {
			next.ServeHTTP(w, r)
			return
		}
		b := &timedBody{ReadCloser: r.Body, conn: http.NewResponseController(w), until: time.Now().Add(s.patience)}
		b.wait()
		with := r.WithContext(r.Context()) // the server looks at what is left of its own body
		with.Body = b
		next.ServeHTTP(w, with)
	})
}

// timedBody is a body with a deadline, until all of it is there.
type timedBody struct {
	io.ReadCloser
	conn  *http.ResponseController
	until time.Time
}

func (b *timedBody) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p)
	switch {
	case errors.Is(err, io.EOF):
		_ = b.conn.SetReadDeadline(time.Time{}) // as wait
	case n > 0:
		b.until = b.until.Add(time.Duration(n) * time.Second / leastPerSec)
		b.wait()
	}
	return n, err
}

// wait sets the deadline; a connection that knows none has none, as in tests.
func (b *timedBody) wait() { _ = b.conn.SetReadDeadline(b.until) }

// fetched is an answer of much that has to be fetched: one that nobody reads any more
// would keep all that it is made of.
type fetched struct {
	w        http.ResponseWriter
	conn     *http.ResponseController
	patience time.Duration // with each piece
}

const fetchedPiece = 32 << 10 // bytes

func (s *Site) fetched(w http.ResponseWriter) *fetched {
	return &fetched{w, http.NewResponseController(w), s.patience}
}

func (f *fetched) Write(p []byte) (n int, err error) {
	for piece := range slices.Chunk(p, fetchedPiece) {
		_ = f.conn.SetWriteDeadline(time.Now().Add(f.patience)) // as timedBody.wait
		k, err := f.w.Write(piece)
		if n += k; err != nil {
			return n, err
		}
	}
	return n, nil
}

// unread keeps the server from waiting for the body of a request that is refused.
func unread(w http.ResponseWriter, r *http.Request) {
	if r.ContentLength != 0 {
		w.Header().Set("Connection", "close")
		_ = http.NewResponseController(w).SetReadDeadline(time.Now()) // as timedBody.wait
	}
}
