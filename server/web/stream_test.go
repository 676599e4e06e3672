package web

import (
	"bufio"
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"polewise/assets"
	"polewise/server/desk"
	"polewise/server/store"
)

const testKey = "AAAAAAAAAAAAAAAAAAAAAA"

// stage is the real site over a real database, both listeners up.
type stage struct {
	store *store.Store
	desk  *desk.Desk
	site  *Site
	phone *httptest.Server // TLS
	bench *httptest.Server
}

func newStage(t *testing.T) *stage { return newStageWith(t, func(*store.Store) {}) }

// newStageWith is newStage with something in the database already.
func newStageWith(t *testing.T, prepare func(*store.Store)) *stage {
	t.Helper()
	st, err := store.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	prepare(st)
	ctx, cancel := context.WithCancel(context.Background())
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	d, err := desk.Open(ctx, st, desk.PlanText{Name: "kennel.toml", TOML: assets.Demo()}, log)
	if err != nil {
		t.Fatal(err)
	}
	s := &stage{store: st, desk: d, site: NewSite(d, st, testKey, log)}
	s.phone = httptest.NewTLSServer(s.site.Phone())
	s.bench = httptest.NewServer(s.site.Bench("127.0.0.1:0"))
	t.Cleanup(func() {
		cancel()
		s.site.Close()
		s.phone.Close()
		s.bench.Close()
		d.Wait()
		if err := st.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func (s *stage) streamURL() string {
	return strings.Replace(s.phone.URL, "https:", "wss:", 1) + "/" + testKey + "/stream?source=tester"
}

// client is a phone at the other end of a websocket.
type client struct {
	t *testing.T
	*websocket.Conn
	lastSeq int64
}

func (s *stage) dial(t *testing.T) *client {
	t.Helper()
	d := websocket.Dialer{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}, HandshakeTimeout: 10 * time.Second}
	conn, _, err := d.Dial(s.streamURL(), nil)
	if err != nil {
		t.Fatal(err)
	}
	c := &client{t: t, Conn: conn}
	t.Cleanup(func() { conn.Close() })
	var hello struct {
		Hello *struct {
			LastSeq int64 `json:"last_seq"`
		} `json:"hello"`
	}
	c.until(&hello, func() bool { return hello.Hello != nil })
	c.lastSeq = hello.Hello.LastSeq
	return c
}

// until reads messages into v until ok.
func (c *client) until(v any, ok func() bool) {
	c.t.Helper()
	_ = c.SetReadDeadline(time.Now().Add(15 * time.Second))
	for {
		_, raw, err := c.ReadMessage()
		if err != nil {
			c.t.Fatal(err)
		}
		if err := json.Unmarshal(raw, v); err != nil {
			c.t.Fatalf("%s: %v", raw, err)
		}
		if ok() {
			return
		}
	}
}

func (c *client) send(seq int64, lines ...string) {
	c.t.Helper()
	if err := c.WriteMessage(websocket.TextMessage, []byte(message(seq, lines...))); err != nil {
		c.t.Fatal(err)
	}
}

func message(seq int64, lines ...string) string {
	return fmt.Sprintf(`{"seq":%d,"lines":[%s]}`, seq, strings.Join(lines, ","))
}

// acked waits for an acknowledgement.
func (c *client) acked(seq int64) {
	c.t.Helper()
	var m struct {
		Ack   *int64            `json:"ack"`
		Error *desk.ClientError `json:"error"`
	}
	c.until(&m, func() bool { return m.Ack != nil && *m.Ack == seq || m.Error != nil })
	if m.Error != nil {
		c.t.Fatalf("message %d refused: %+v", seq, m.Error)
	}
}

// refused waits for an error.
func (c *client) refused() *desk.ClientError {
	c.t.Helper()
	var m struct {
		Error *desk.ClientError `json:"error"`
	}
	c.until(&m, func() bool { return m.Error != nil })
	return m.Error
}

const start = `{"type":"start","v":1,"route":"vector"}`

func sample(i int) string {
	return fmt.Sprintf(`{"type":"b","t":%g,"uT":[%d,2,-42]}`, float64(i)/10, i)
}

// stored returns every stored line of the tester, in order.
func (s *stage) stored(t *testing.T) []string {
	t.Helper()
	check, err := s.store.LastCheck(context.Background())
	if err != nil || check == nil {
		t.Fatal("no check stored: ", err)
	}
	messages, err := s.store.Messages(context.Background(), check.ID)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, m := range messages {
		for _, l := range m.Lines {
			out = append(out, string(l))
		}
	}
	return out
}

func TestCutOffInTheMiddleOfAHold(t *testing.T) {
	s := newStage(t)
	c := s.dial(t)
	want := []string{start, `{"type":"hold","t":0,"at":"A1"}`}
	c.send(1, want...)
	c.acked(1)
	seq := int64(1)
	unacknowledged := map[int64]string{}
	for i := range 12 {
		seq++
		line := sample(i)
		want = append(want, line)
		c.send(seq, line)
		if i < 6 {
			c.acked(seq)
		} else {
			unacknowledged[seq] = line // the answers are lost with the line
		}
	}
	c.NetConn().Close() // no goodbye

	c = s.dial(t)
	if c.lastSeq < 7 {
		t.Fatalf("the server greets with %d stored, yet it acknowledged 7", c.lastSeq)
	}
	for q := int64(8); q <= seq; q++ {
		c.send(q, unacknowledged[q])
		c.acked(q)
	}
	want = append(want, `{"type":"lift","t":2}`)
	c.send(seq+1, want[len(want)-1])
	c.acked(seq + 1)
	if got := s.stored(t); strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("stored:\n%s\nsent:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestSameNumberTwice(t *testing.T) {
	s := newStage(t)
	c := s.dial(t)
	c.send(1, start, sample(1))
	c.acked(1)
	c.send(1, start, sample(1))
	c.acked(1)
	c.send(1, start, sample(2))
	e := c.refused()
	if e.Code != "seq-taken" || e.LastSeq == nil || *e.LastSeq != 1 {
		t.Errorf("the same number with other lines: %+v", e)
	}
	if got := s.stored(t); len(got) != 2 {
		t.Errorf("stored %q", got)
	}
}

// Who counts from 0 is understood as well.
func TestNumbersFromZero(t *testing.T) {
	s := newStage(t)
	c := s.dial(t)
	for range 2 {
		for seq, lines := range [][]string{{start}, {sample(1)}, {sample(2), sample(3)}} {
			c.send(int64(seq), lines...)
			c.acked(int64(seq))
		}
	}
	if got := s.stored(t); len(got) != 4 || got[0] != start {
		t.Errorf("stored %q", got)
	}
}

func TestRefusedLines(t *testing.T) {
	s := newStage(t)
	c := s.dial(t)
	for _, tc := range []struct{ send, code, say string }{
		{`nonsense`, "not-a-message", "not JSON"},
		{`[1]`, "not-a-message", "expected an object, found a list."},
		{`{"seq":1.5,"lines":[` + start + `]}`, "not-a-message", `"seq": expected a whole number, found 1.5.`},
		{`{"seq":9223372036854775807,"lines":[` + start + `]}`, "no-seq", "0 to 9007199254740991"},
		{message(1, sample(1)), "no-start", "first line must be a start line"},
		{`{"seq":-1,"lines":[` + start + `]}`, "no-seq", "0 to 9007199254740991, found -1"},
		{`{"lines":[` + start + `]}`, "no-seq", "found none"},
		{`{"seq":1,"lines":[]}`, "no-lines", "0 lines"},
		{message(1, start, `{"type":"b","t":1e400,"uT":[1,2,3]}`), "bad-line", `"t": expected a number of usual size, found 1e400.`},
		{message(1, start, `{"type":"b","t":1,"uT":[1,2]}`), "bad-line", `Line 2 of message 1: "uT": expected a list of 3 numbers, found 2.`},
		{message(1, start, `{"type":"hold","t":1,"at":"Z9"}`), "bad-line", `no coil "Z9"`},
		{`{"seq":1,"lines":[` + start + `],"undo":{"at":"A1"}}`, "not-a-message", "more than one thing"},
		{`{"seq":1,"again":{"check":"x"},"undo":{"at":"A1"}}`, "not-a-message", "more than one thing"},
		{`{"seq":1,"again":{}}`, "not-a-message", "without saying after which"},
		{message(1, "{\"type\":\"start\",\"v\":1,\"route\":\"vector\",\"device\":\"a\xffb\"}"), "not-a-message", "it is not UTF-8"},
	} {
		if err := c.WriteMessage(websocket.TextMessage, []byte(tc.send)); err != nil {
			t.Fatal(err)
		}
		if e := c.refused(); e.Code != tc.code || !strings.Contains(e.Say, tc.say) {
			t.Errorf("%s: %+v; expected code %s and the words %q", tc.send, e, tc.code, tc.say)
		}
	}
	if got := s.stored(t); len(got) != 0 {
		t.Errorf("refused lines were stored: %q", got)
	}
	c.send(1, start) // the session goes on
	c.acked(1)
}

// TestNumberBeforeTheStart: by their numbers such lines would stand before the capture
// begins. They must not be acknowledged, for they could never count.
func TestNumberBeforeTheStart(t *testing.T) {
	s := newStage(t)
	c := s.dial(t)
	c.send(5, start, sample(1))
	c.acked(5)
	c.send(3, sample(2))
	if e := c.refused(); e.Code != "no-start" || e.Seq != 3 {
		t.Errorf("%+v", e)
	}
	c.send(5, start, sample(1)) // what is stored is acknowledged again
	c.acked(5)
	c.send(8, sample(4))
	c.acked(8)
	c.send(7, sample(3)) // late, but in the capture
	c.acked(7)
	if got := s.stored(t); strings.Join(got, "\n") != strings.Join([]string{start, sample(1), sample(3), sample(4)}, "\n") {
		t.Errorf("stored %q", got)
	}
}

// TestUndoOfNothing: a request that names no coil takes back no line that has none.
func TestUndoOfNothing(t *testing.T) {
	s := newStage(t)
	c := s.dial(t)
	c.send(1, start, sample(1))
	c.acked(1)
	if err := c.WriteMessage(websocket.TextMessage, []byte(`{"seq":2,"undo":{}}`)); err != nil {
		t.Fatal(err)
	}
	if e := c.refused(); e.Code != "nothing-to-undo" || e.Seq != 2 {
		t.Errorf("%+v", e)
	}
	if thrown, err := s.store.ThrownOut(t.Context(), s.desk.CheckID()); err != nil || len(thrown) != 0 {
		t.Errorf("taken back: %+v, %v", thrown, err)
	}
}

func TestWrongOrMissingKey(t *testing.T) {
	s := newStage(t)
	hc := s.phone.Client()
	for _, path := range []string{"/", "/stream", "/" + strings.Repeat("B", 22) + "/", "/" + strings.Repeat("B", 22) + "/plan.json", "/" + testKey[1:] + "/"} {
		r, err := hc.Get(s.phone.URL + path)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != http.StatusForbidden {
			t.Errorf("GET %s: %d, expected 403", path, r.StatusCode)
		}
	}
	r, err := hc.Post(s.phone.URL+"/"+strings.Repeat("B", 22)+"/post", "application/json", strings.NewReader(message(1, start)))
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != http.StatusForbidden {
		t.Errorf("POST with a wrong key: %d, expected 403", r.StatusCode)
	}
	d := websocket.Dialer{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}
	_, resp, err := d.Dial(strings.Replace(s.streamURL(), testKey, strings.Repeat("B", 22), 1), nil)
	if err == nil || resp == nil || resp.StatusCode != http.StatusForbidden {
		t.Errorf("websocket with a wrong key: %v %v, expected 403", resp, err)
	}
	if got := s.stored(t); len(got) != 0 {
		t.Errorf("stored in spite of the wrong key: %q", got)
	}
}

// TestAskedOtherwise: a request of the wrong kind is told what is wrong with it; the key
// was right.
func TestAskedOtherwise(t *testing.T) {
	s := newStage(t)
	hc := s.phone.Client()
	for _, c := range []struct {
		method, path, body string
		status             int
		code, say          string
	}{
		{http.MethodGet, "/post", "", http.StatusMethodNotAllowed, "wrong-method", "does not take GET"},
		{http.MethodPut, "/stream", "", http.StatusMethodNotAllowed, "wrong-method", "does not take PUT"},
		{http.MethodGet, "/stream", "", http.StatusUpgradeRequired, "not-a-websocket", "websocket"},
		{http.MethodGet, "/feed", "", http.StatusUpgradeRequired, "not-a-websocket", "websocket"},
		{http.MethodPost, "/post", strings.Repeat(" ", maxMessage+1), http.StatusRequestEntityTooLarge, "too-long", "At most 1048576 bytes"},
		{http.MethodPost, "/sensor", strings.Repeat(" ", maxMessage+1), http.StatusRequestEntityTooLarge, "too-long", "At most 1048576 bytes"},
		{http.MethodPost, "/post", "half", http.StatusRequestTimeout, "cut-off", "cut off"},
		{http.MethodPost, "/feed", "half", http.StatusRequestTimeout, "cut-off", "cut off"},
	} {
		req, err := http.NewRequest(c.method, s.phone.URL+"/"+testKey+c.path, strings.NewReader(c.body))
		if err != nil {
			t.Fatal(err)
		}
		if c.body == "half" {
			// Sent as chunks of which the second is none.
			r := sendRaw(t, s, fmt.Sprintf("POST /%s%s HTTP/1.1\r\nHost: %s\r\nTransfer-Encoding: chunked\r\n\r\n4\r\nhalf\r\nnonsense\r\n", testKey, c.path, strings.TrimPrefix(s.phone.URL, "https://")))
			checkRefused(t, r, c.method+" "+c.path, c.status, c.code, c.say)
			continue
		}
		r, err := hc.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		checkRefused(t, r, c.method+" "+c.path, c.status, c.code, c.say)
	}
}

// sendRaw sends a request as it stands.
func sendRaw(t *testing.T, s *stage, text string) *http.Response {
	t.Helper()
	conn, err := tls.Dial("tcp", strings.TrimPrefix(s.phone.URL, "https://"), &tls.Config{InsecureSkipVerify: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	if _, err := io.WriteString(conn, text); err != nil {
		t.Fatal(err)
	}
	_ = conn.SetReadDeadline(time.Now().Add(10 * time.Second))
	r, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func checkRefused(t *testing.T, r *http.Response, what string, status int, code, say string) {
	t.Helper()
	defer r.Body.Close()
	var a struct {
		Error desk.ClientError
	}
	if err := json.NewDecoder(r.Body).Decode(&a); err != nil || r.StatusCode != status || a.Error.Code != code || !strings.Contains(a.Error.Say, say) || a.Error.Hint == "" {
		t.Errorf("%s: %d %+v, %v; expected %d, code %s and the words %q", what, r.StatusCode, a.Error, err, status, code, say)
	}
}

// TestGreetingTellsTheVerdict: a phone that was cut off when the verdict came
// learns it as soon as it is back, by either way.
func TestGreetingTellsTheVerdict(t *testing.T) {
	s := newStage(t)
	r, err := s.phone.Client().Post(s.phone.URL+"/"+testKey+"/post?source=tester", "application/json", strings.NewReader(message(1, start, `{"type":"reading","t":1,"at":"A1","face":"north"}`)))
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if v := s.desk.State().Verdict; v != nil && v.Coils[0].Used == 1 {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("no verdict within 10 s")
		}
	}
	type greeting struct {
		Hello   *struct{}
		Verdict *struct {
			Coils []struct{ Used int }
		}
	}
	d := websocket.Dialer{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}
	conn, _, err := d.Dial(s.streamURL(), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	var bySocket, byEvent greeting
	if err := conn.ReadJSON(&bySocket); err != nil {
		t.Fatal(err)
	}
	ev, err := s.phone.Client().Get(s.phone.URL + "/" + testKey + "/events?source=tester")
	if err != nil {
		t.Fatal(err)
	}
	defer ev.Body.Close()
	line, err := bufio.NewReader(ev.Body).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(strings.TrimPrefix(line, "data: ")), &byEvent); err != nil {
		t.Fatal(err)
	}
	for way, g := range map[string]greeting{"websocket": bySocket, "event": byEvent} {
		if g.Hello == nil || g.Verdict == nil || len(g.Verdict.Coils) == 0 || g.Verdict.Coils[0].Used != 1 {
			t.Errorf("the greeting by %s: %+v", way, g)
		}
	}
}

func TestForeignOrigin(t *testing.T) {
	s := newStage(t)
	d := websocket.Dialer{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}
	_, resp, err := d.Dial(s.streamURL(), http.Header{"Origin": {"https://elsewhere.example"}})
	if err == nil || resp == nil || resp.StatusCode != http.StatusForbidden {
		t.Errorf("websocket from a foreign page: %v %v, expected 403", resp, err)
	}
	_, resp, err = d.Dial(s.streamURL(), http.Header{"Origin": {s.phone.URL}})
	if err != nil {
		t.Errorf("websocket from the page itself: %v %v", resp, err)
	}
	req, _ := http.NewRequest(http.MethodPost, s.bench.URL+"/api/check", strings.NewReader("{}"))
	req.Header.Set("Origin", "http://elsewhere.example")
	r, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != http.StatusForbidden {
		t.Errorf("POST from a foreign page: %d, expected 403", r.StatusCode)
	}
	req, _ = http.NewRequest(http.MethodGet, s.bench.URL+"/api/state", nil)
	req.Host = "rebound.example"
	if r, err = http.DefaultClient.Do(req); err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != http.StatusForbidden {
		t.Errorf("bench page under a foreign name: %d, expected 403", r.StatusCode)
	}
	// What a browser says of where a request comes from.
	for _, c := range []struct {
		path, site, mode, dest string
		want                   int
	}{
		{"/", "none", "navigate", "document", 200},
		{"/", "cross-site", "navigate", "document", 200}, // a link to the page
		{"/", "cross-site", "navigate", "iframe", 403},
		{"/api/state", "same-origin", "cors", "empty", 200},
		{"/api/state", "cross-site", "no-cors", "image", 403},
		{"/api/state", "same-site", "no-cors", "script", 403}, // another port of this computer
		{"/api/backup", "cross-site", "navigate", "document", 403},
		{"/api/backup", "same-origin", "cors", "empty", 200},
		{"/nothing", "none", "navigate", "document", 404},
	} {
		req, _ := http.NewRequest(http.MethodGet, s.bench.URL+c.path, nil)
		for k, v := range map[string]string{"Site": c.site, "Mode": c.mode, "Dest": c.dest} {
			req.Header.Set("Sec-Fetch-"+k, v)
		}
		r, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		body, _ := io.ReadAll(r.Body)
		r.Body.Close()
		if r.StatusCode != c.want {
			t.Errorf("%+v: %d", c, r.StatusCode)
		}
		if r.Header.Get("Cross-Origin-Resource-Policy") != "same-origin" || r.Header.Get("Content-Security-Policy") == "" {
			t.Errorf("%+v: headers %v", c, r.Header)
		}
		if c.want >= 400 && !strings.Contains(string(body), `"hint":"Open the`) {
			t.Errorf("%+v: not told in words: %s", c, body)
		}
	}
}

func TestTenMegabytes(t *testing.T) {
	s := newStage(t)
	c := s.dial(t)
	c.send(1, start, sample(1))
	c.acked(1)
	big := make([]byte, 10<<20)
	for i := range big {
		big[i] = ' '
	}
	_ = c.WriteMessage(websocket.TextMessage, big) // the server may cut the line before all is written
	_ = c.SetReadDeadline(time.Now().Add(10 * time.Second))
	var err error
	for err == nil {
		_, _, err = c.ReadMessage()
	}
	var closed *websocket.CloseError
	if !errors.As(err, &closed) || closed.Code != websocket.CloseMessageTooBig {
		t.Errorf("a message of 10 MB ended with %v, expected close code 1009", err)
	}
	c = s.dial(t)
	if c.lastSeq != 1 {
		t.Errorf("the session went on with %d stored, expected 1", c.lastSeq)
	}
	c.send(2, sample(2))
	c.acked(2)
}

func TestPostAndServerSentEvents(t *testing.T) {
	s := newStage(t)
	hc := s.phone.Client()
	base := s.phone.URL + "/" + testKey
	ev, err := hc.Get(base + "/events?source=tester")
	if err != nil {
		t.Fatal(err)
	}
	defer ev.Body.Close()
	for range 2 { // the second time it is acknowledged again and not stored again
		r, err := hc.Post(base+"/post?source=tester", "application/json", strings.NewReader(message(1, start, `{"type":"reading","t":1,"at":"A1","face":"north"}`)))
		if err != nil {
			t.Fatal(err)
		}
		var a struct {
			Ack int64 `json:"ack"`
		}
		err = json.NewDecoder(r.Body).Decode(&a)
		r.Body.Close()
		if err != nil || a.Ack != 1 {
			t.Fatalf("acknowledged %d, %v", a.Ack, err)
		}
	}
	seen := map[string]bool{}
	sc := bufio.NewScanner(ev.Body)
	sc.Buffer(nil, 1<<20)
	for sc.Scan() && !(seen["hello"] && seen["verdict"]) {
		text, ok := strings.CutPrefix(sc.Text(), "data: ")
		if !ok {
			continue
		}
		var m map[string]json.RawMessage
		if err := json.Unmarshal([]byte(text), &m); err != nil {
			t.Fatal(err)
		}
		for k := range m {
			seen[k] = true
		}
	}
	if !seen["hello"] || !seen["verdict"] {
		t.Errorf("events brought %v, expected hello and verdict", seen)
	}
	if got := s.stored(t); len(got) != 2 {
		t.Errorf("stored %q", got)
	}
}

func TestShutdownSaysGoodbye(t *testing.T) {
	s := newStage(t)
	c := s.dial(t)
	done := make(chan struct{})
	go func() { s.site.Close(); close(done) }()
	_ = c.SetReadDeadline(time.Now().Add(10 * time.Second))
	var err error
	for err == nil {
		_, _, err = c.ReadMessage()
	}
	if !websocket.IsCloseError(err, websocket.CloseGoingAway) {
		t.Errorf("the socket ended with %v, expected close code 1001", err)
	}
	select {
	case <-done:
	case <-time.After(10 * time.Second):
		t.Error("sockets are still open 10 s after the site was closed")
	}
	r, err := s.phone.Client().Get(s.phone.URL + "/" + testKey + "/events")
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("after closing: %d, expected 503", r.StatusCode)
	}
}

func TestPagesAreStrict(t *testing.T) {
	s := newStage(t)
	for _, u := range []string{s.bench.URL + "/", s.bench.URL + "/phone/" + testKey + "/", s.phone.URL + "/" + testKey + "/"} {
		r, err := s.phone.Client().Get(u)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(r.Body)
		r.Body.Close()
		if err != nil || r.StatusCode != http.StatusOK {
			t.Fatalf("%s: %d %v", u, r.StatusCode, err)
		}
		csp := r.Header.Get("Content-Security-Policy")
		if !strings.Contains(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") {
			t.Errorf("%s: Content-Security-Policy %q", u, csp)
		}
		for _, bad := range []string{"http://", "https://", " style=", "onclick="} {
			if strings.Contains(string(body), bad) {
				t.Errorf("%s: the page holds %q", u, bad)
			}
		}
	}
}

// TestRefusedAsAPage: whoever opens an old address in a browser reads words, and a
// program gets them as JSON.
func TestRefusedAsAPage(t *testing.T) {
	s := newStage(t)
	for _, c := range []struct {
		url, hint string
		status    int
	}{
		{s.phone.URL + "/an-old-key/", "Scan the QR code on the bench page again.", 403},
		{s.phone.URL + "/", "Scan the QR code on the bench page again.", 403},
		{s.phone.URL + "/" + testKey + "/nothing", "Scan the code on the bench page again.", 404},
		{s.bench.URL + "/nothing", "Open the bench page by the address that the program printed.", 404},
	} {
		for _, accept := range []string{"text/html,application/xhtml+xml", "application/json", ""} {
			req, _ := http.NewRequest(http.MethodGet, c.url, nil)
			req.Header.Set("Accept", accept)
			r, err := s.phone.Client().Do(req)
			if err != nil {
				t.Fatal(err)
			}
			body, _ := io.ReadAll(r.Body)
			r.Body.Close()
			page := strings.HasPrefix(r.Header.Get("Content-Type"), "text/html") && strings.Contains(string(body), "<p>"+c.hint+"</p>") && !strings.Contains(string(body), "{")
			if r.StatusCode != c.status || page != strings.Contains(accept, "html") || !strings.Contains(string(body), c.hint) || r.Header.Get("Content-Security-Policy") == "" {
				t.Errorf("%s as %q: %d %s\n%s", c.url, accept, r.StatusCode, r.Header, body)
			}
		}
	}
}
