package web

import (
	"bufio"
	"crypto/tls"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"polewise/server/desk"
)

// TestBodiesThatDoNotCome: a request whose body stops is answered and its connection
// closed. One without the key is refused at once, its body unread.
func TestBodiesThatDoNotCome(t *testing.T) {
	s := newStage(t)
	s.site.patience = 1500 * time.Millisecond
	for _, c := range []struct {
		what, path, status string
		bench              bool
		within             time.Duration
	}{
		{"without the key", "/nokey/post", "403", false, 300 * time.Millisecond},
		{"without any page", "/nothing", "403", false, 300 * time.Millisecond},
		{"a phone's message", "/" + testKey + "/post?source=slow", "408", false, 5 * time.Second},
		{"what is not read", "/api/judging/now", "200", true, 5 * time.Second},
		{"a plan", "/api/map", "408", true, 5 * time.Second},
	} {
		var conn net.Conn
		var err error
		if c.bench {
			conn, err = net.Dial("tcp", s.bench.Listener.Addr().String())
		} else {
			conn, err = tls.Dial("tcp", s.phone.Listener.Addr().String(), &tls.Config{InsecureSkipVerify: true})
		}
		if err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 100000\r\n\r\n{", c.path)
		_ = conn.SetReadDeadline(began.Add(20 * time.Second))
		answer, err := io.ReadAll(conn) // until it is closed
		if err != nil && len(answer) == 0 {
			t.Errorf("%s: %v", c.what, err)
		}
		first, _, _ := strings.Cut(string(answer), "\r\n")
		if !strings.Contains(first, " "+c.status+" ") {
			t.Errorf("%s: answered %q, expected %s", c.what, first, c.status)
		}
		// Closing takes the server half a second of its own.
		if took := time.Since(began); took > c.within+time.Second {
			t.Errorf("%s: held open for %v", c.what, took)
		}
		conn.Close()
	}
}

// TestSlowBodiesThatCome: a body that comes slowly and steadily is taken, and the same
// connection serves what takes longer than any body may.
func TestSlowBodiesThatCome(t *testing.T) {
	s := newStage(t)
	s.site.patience = 500 * time.Millisecond
	text := message(1, start) + strings.Repeat(" ", 20_000)
	in, out := io.Pipe()
	go func() {
		for rest := text; rest != ""; {
			n := min(len(rest), 2000)
			if _, err := io.WriteString(out, rest[:n]); err != nil {
				return
			}
			rest = rest[n:]
			time.Sleep(100 * time.Millisecond)
		}
		out.Close()
	}()
	hc := s.phone.Client()
	r, err := hc.Post(s.phone.URL+"/"+testKey+"/post?source=slow", "application/json", in)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := io.ReadAll(r.Body)
	r.Body.Close()
	if r.StatusCode != http.StatusOK {
		t.Errorf("%s: %s %v", r.Status, answer, err)
	}
	r, err = hc.Get(s.phone.URL + "/" + testKey + "/events?source=slow")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	events := bufio.NewScanner(r.Body)
	events.Scan() // the greeting
	time.Sleep(1500 * time.Millisecond)
	post(t, hc, s.phone.URL+"/"+testKey+"/post?source=slow", message(2, sample(2)))
	s.desk.JudgeNow()
	for events.Scan() {
		if strings.Contains(events.Text(), "prompt") {
			return
		}
	}
	t.Errorf("the event stream ended: %v", events.Err())
}

func post(t *testing.T, hc *http.Client, url, text string) {
	t.Helper()
	r, err := hc.Post(url, "application/json", strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
}

// TestLimitersAreBounded: names cost a sender nothing, and the program little.
func TestLimitersAreBounded(t *testing.T) {
	var l limiters
	for i := range 10_000 {
		l.of(fmt.Sprint(i), usualPace)
	}
	if len(l.m) > maxLimiters {
		t.Errorf("%d limiters are kept, expected at most %d", len(l.m), maxLimiters)
	}
}

// TestCellsNoFormula: no cell of a table begins as what a spreadsheet would work out.
func TestCellsNoFormula(t *testing.T) {
	for _, text := range []string{"=1+1", "+1", "-1+2", "@x", "\tx", "\rx"} {
		if got := cell(text); strings.HasPrefix(got, text[:1]) || !strings.HasSuffix(got, text) {
			t.Errorf("%q is written as %q", text, got)
		}
	}
	if got := cell("A1 - north"); got != "A1 - north" {
		t.Errorf("written as %q", got)
	}
}

// TestHead: what can be fetched can be asked after (RFC 9110, 9.1).
func TestHead(t *testing.T) {
	s := newStage(t)
	phone := s.phone.URL + "/" + testKey
	for _, address := range []string{s.bench.URL + "/", s.bench.URL + "/api/readings", s.bench.URL + "/app/bench.js", phone + "/", phone + "/plan.json"} {
		r, err := s.phone.Client().Head(address)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != http.StatusOK || r.Header.Get("Content-Type") == "" {
			t.Errorf("%s: %s, %q", address, r.Status, r.Header.Get("Content-Type"))
		}
	}
	if r, err := s.phone.Client().Head(s.phone.URL + "/nokey/"); err != nil || r.StatusCode != http.StatusForbidden {
		t.Errorf("without the key: %v %v", r, err)
	}
}

// TestExportsThatNobodyReads: an export that is not fetched is given up with all that it
// holds, also one that was begun on. One that is fetched comes whole, and its connection
// goes on serving.
func TestExportsThatNobodyReads(t *testing.T) {
	s := newStage(t)
	s.site.patience = time.Second
	id := s.desk.CheckID()
	line := json.RawMessage(`{"type":"b","t":1,"uT":[1,2,3],"x":"` + strings.Repeat("x", 1<<20) + `"}`)
	for seq := range int64(24) { // more than the system keeps for a reader
		if _, err := s.store.Append(t.Context(), id, "anna", seq+1, []json.RawMessage{line}); err != nil {
			t.Fatal(err)
		}
	}
	dial := func() (net.Conn, *bufio.Reader) {
		conn, err := net.Dial("tcp", s.bench.Listener.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { conn.Close() })
		return conn, bufio.NewReader(conn)
	}
	ask := func(conn net.Conn) {
		fmt.Fprintf(conn, "GET /api/checks/export?ids=%s HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", id)
	}
	fetch := func(from *bufio.Reader) string {
		r, err := http.ReadResponse(from, nil)
		if err != nil {
			t.Fatal(err)
		}
		text, _ := io.ReadAll(r.Body)
		return string(text)
	}
	lazy, late := dial()
	ask(lazy)
	conn, from := dial()
	ask(conn)
	if text := fetch(from); !strings.HasSuffix(text, desk.ArchiveTail) || len(text) < 24<<20 {
		t.Errorf("fetched: %d bytes, ending in %q", len(text), text[max(0, len(text)-20):])
	}
	time.Sleep(3 * s.site.patience)
	fmt.Fprint(conn, "GET /api/demos HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
	if text := fetch(from); !strings.Contains(text, "kennel") {
		t.Errorf("the same connection, later: %q", text)
	}
	if text := fetch(late); strings.HasSuffix(text, desk.ArchiveTail) {
		t.Errorf("not read for %v, and all of it comes", 3*s.site.patience)
	}
}
