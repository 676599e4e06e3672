package web

import (
	"encoding/json"
	"net/http"
	"time"
)

// linesType is an answer that comes line by line, each a JSON object.
const linesType = "application/x-ndjson"

// tellEvery is how often a page is told how far something is.
const tellEvery = 100 * time.Millisecond

// lines answers a request line by line: {"progress":…} now and then while
// something is worked out, then {"done":…} or {"error":…}.
type lines struct {
	out   *json.Encoder
	flush *http.ResponseController
	last  time.Time
	every time.Duration
}

func (s *Site) linesTo(w http.ResponseWriter) *lines {
	w.Header().Set("Content-Type", linesType)
	return &lines{out: json.NewEncoder(w), flush: http.NewResponseController(w), last: time.Now(), every: s.telling}
}

func (l *lines) line(v any) {
	_ = l.out.Encode(v) // a client that has gone ends the request's context
	_ = l.flush.Flush()
}

// nowAndThen leaves out lines that come too soon after the one before.
func (l *lines) nowAndThen(v any) {
	if now := time.Now(); now.Sub(l.last) >= l.every {
		l.last = now
		l.line(v)
	}
}
