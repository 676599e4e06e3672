package web

import (
	"bytes"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/go-chi/chi/v5"
)

// TestHandlersThatBreakOff: whoever asks is told what happened and what to do, by a page and
// by a program alike; where it happened stands in the log alone, without the pairing key.
func TestHandlersThatBreakOff(t *testing.T) {
	s := newStage(t)
	var log bytes.Buffer
	s.site.Log = slog.New(slog.NewTextHandler(&log, nil))
	breaks := func(r chi.Router) {
		r.Get("/breaks", func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Disposition", "attachment")
			panic("secret")
		})
		r.Get("/lines", func(w http.ResponseWriter, _ *http.Request) {
			s.site.linesTo(w).line(map[string]any{"progress": 1})
			panic("secret")
		})
		r.Get("/half", func(w http.ResponseWriter, _ *http.Request) {
			_, _ = io.WriteString(w, "half of it")
			_ = http.NewResponseController(w).Flush()
			panic("secret")
		})
	}
	bench, phone := s.site.benchListener("127.0.0.1:0").(chi.Router), s.site.phoneListener().(chi.Router)
	breaks(bench)
	phone.Route("/{key}/more", breaks)
	const told = "A mistake in the program itself stopped this."
	for _, k := range []struct {
		of           http.Handler
		path, accept string
		status       int
		kind, says   string
		half         bool
	}{
		{of: bench, path: "/breaks", status: 500, kind: "application/json; charset=utf-8", says: `"say":"` + told},
		{of: bench, path: "/breaks", accept: "text/html,*/*", status: 500, kind: "text/html; charset=utf-8", says: "<h1>" + told},
		{of: phone, path: "/" + testKey + "/more/breaks", status: 500, kind: "application/json; charset=utf-8", says: `"code":"broke-off"`},
		{of: bench, path: "/lines", status: 200, kind: linesType, says: "{\"progress\":1}\n{\"error\":{\"code\":\"broke-off\""},
		{of: bench, path: "/half", status: 200, half: true},
	} {
		log.Reset()
		server := httptest.NewServer(k.of)
		q, _ := http.NewRequest(http.MethodGet, server.URL+k.path, nil)
		q.Header.Set("Accept", k.accept)
		r, err := http.DefaultClient.Do(q)
		if err != nil {
			t.Fatalf("%s: %v", k.path, err)
		}
		body, err := io.ReadAll(r.Body)
		r.Body.Close()
		server.Close()
		if k.half != (err != nil) {
			t.Errorf("%s: read with %v", k.path, err)
		}
		if !k.half && (r.StatusCode != k.status || r.Header.Get("Content-Type") != k.kind || r.Header.Get("Content-Disposition") != "" || !strings.Contains(string(body), k.says)) {
			t.Errorf("%s: %s, %v\n%s", k.path, r.Status, r.Header, body)
		}
		if strings.Contains(string(body), "secret") || strings.Contains(string(body), "goroutine") {
			t.Errorf("%s: the client was told where: %s", k.path, body)
		}
		if l := log.String(); !strings.Contains(l, "secret") || !strings.Contains(l, "broken_test.go") || strings.Contains(l, testKey) {
			t.Errorf("%s: logged %s", k.path, l)
		}
	}
}
