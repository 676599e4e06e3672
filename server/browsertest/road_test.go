package browsertest

import (
	"context"
	"encoding/json"
	"net"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"polewise/field/verdict"
	"polewise/server/record"
	"polewise/server/store"
	"polewise/server/testplan"
)

// road is what lies between a phone and the program, where a test can put things
// in the way: sockets refused, everything cut off, the program replaced. The page
// behind it is the program's own phone page.
type road struct {
	Phone   string      // the phone page's address on this road
	refuse  atomic.Bool // sockets
	swallow atomic.Bool // what the phone sends: it sees a line that is alive
	mu      sync.Mutex
	down    bool
	program *url.URL
	open    map[net.Conn]bool
	sockets atomic.Int64 // websockets let through
	posts   atomic.Int64 // messages sent by POST
}

func newRoad(t *testing.T, program *Running) *road {
	t.Helper()
	r := &road{open: map[net.Conn]bool{}}
	r.leadTo(t, program)
	proxy := &httputil.ReverseProxy{
		Rewrite: func(p *httputil.ProxyRequest) {
			r.mu.Lock()
			defer r.mu.Unlock()
			p.SetURL(r.program)
			p.Out.Host = r.program.Host
			p.Out.Header.Del("Origin")
		},
		ErrorHandler: func(w http.ResponseWriter, _ *http.Request, _ error) { w.WriteHeader(http.StatusBadGateway) },
	}
	server := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, q *http.Request) {
		switch {
		case q.Header.Get("Upgrade") == "":
			if q.Method == http.MethodPost {
				r.posts.Add(1)
			}
		case r.refuse.Load():
			w.WriteHeader(http.StatusBadRequest) // as a proxy does that knows no sockets
			return
		default:
			r.sockets.Add(1)
		}
		proxy.ServeHTTP(w, q)
	}))
	server.Listener = &tollGate{server.Listener, r}
	server.Start()
	t.Cleanup(func() { r.cut(); server.Close() })
	key := strings.Trim(strings.SplitN(program.Phone, "/", 4)[3], "/")
	r.Phone = server.URL + "/phone/" + key + "/"
	return r
}

// leadTo leads the road to a program from now on.
func (r *road) leadTo(t *testing.T, program *Running) {
	t.Helper()
	u, err := url.Parse(program.Bench)
	if err != nil {
		t.Fatal(err)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.program = u
}

// cut ends every connection and lets none through; mend lets them through again.
func (r *road) cut() { r.endAll(true) }

func (r *road) mend() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.down = false
}

// endAll ends every connection, and keeps the road down or not.
func (r *road) endAll(down bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.down = down
	defer r.swallow.Store(false)
	for c := range r.open {
		c.Close()
	}
	r.open = map[net.Conn]bool{}
}

// loseOn goes on reading while all that is sent gets lost.
func (v *virtualPhone) loseOn(r *road) {
	v.t.Helper()
	r.swallow.Store(true)
	for range 8 {
		v.read()
	}
}

// tollGate knows every connection on a road.
type tollGate struct {
	net.Listener
	road *road
}

func (g *tollGate) Accept() (net.Conn, error) {
	for {
		c, err := g.Listener.Accept()
		if err != nil {
			return nil, err
		}
		g.road.mu.Lock()
		down := g.road.down
		if !down {
			g.road.open[c] = true
		}
		g.road.mu.Unlock()
		if !down {
			return &lane{c, g.road}, nil
		}
		c.Close()
	}
}

// lane is one connection on a road.
type lane struct {
	net.Conn
	road *road
}

func (l *lane) Read(p []byte) (int, error) {
	for {
		n, err := l.Conn.Read(p)
		if err != nil || !l.road.swallow.Load() {
			return n, err
		}
	}
}

// book is what a phone page has numbered to be sent, copied as it went into the
// tab's storage to a place that the page does not know.
type book struct{ ctx context.Context }

type numbered struct {
	Seq   int64             `json:"seq"`
	Lines []json.RawMessage `json:"lines"`
}

// keepBook begins a book of what a page numbers; to be called before it is opened.
func keepBook(t *testing.T, ctx context.Context) *book {
	t.Helper()
	do(t, ctx, before(`{
		const set = Storage.prototype.setItem;
		Storage.prototype.setItem = function (key, text) {
			if (/ m\d+$/.test(key)) set.call(localStorage, "book " + this.getItem(key.replace(/ m\d+$/, " source")) + key.match(/ m\d+$/)[0], text);
			set.call(this, key, text);
		};
	}`))
	b := &book{ctx}
	t.Cleanup(func() {
		if t.Failed() {
			b.tell(t)
		}
	})
	return b
}

// tell logs what was numbered, but for the readings.
func (b *book) tell(t *testing.T) {
	for source, sent := range b.sources(t) {
		for seq := int64(1); seq <= int64(len(sent)); seq++ {
			for _, l := range sent[seq].Lines {
				if of := []string{string(l)}; count(of, "b")+count(of, "heading") == 0 {
					t.Logf("%s %d: %s", source, seq, l)
				}
			}
		}
	}
}

// sources returns what each source has numbered.
func (b *book) sources(t *testing.T) map[string]map[int64]numbered {
	t.Helper()
	var entries map[string]string
	do(t, b.ctx, chromedp.Evaluate(`Object.fromEntries(Object.entries(localStorage).filter(([key]) => key.startsWith("book ")))`, &entries))
	out := map[string]map[int64]numbered{}
	for key, text := range entries {
		source := strings.Fields(key)[1]
		var m numbered
		if err := json.Unmarshal([]byte(text), &m); err != nil {
			t.Fatal(err)
		}
		if out[source] == nil {
			out[source] = map[int64]numbered{}
		}
		out[source][m.Seq] = m
	}
	return out
}

// kill ends a program the hard way, with no chance to tidy up.
func (r *Running) kill(t *testing.T) {
	t.Helper()
	if err := r.Cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = r.Cmd.Wait() // killed, as wanted
}

// check kills the program and holds what is in its database against the book:
// the same numbers, the same lines, nothing missing and nothing twice.
func (b *book) check(t *testing.T, program *Running) (lines []string) {
	t.Helper()
	sources := b.sources(t)
	program.kill(t)
	st, err := store.Open(program.Data)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	ctx := context.Background()
	last, err := st.LastCheck(ctx)
	if err != nil || last == nil {
		t.Fatal("no check is stored: ", err)
	}
	messages, err := st.Messages(ctx, last.ID)
	if err != nil {
		t.Fatal(err)
	}
	stored := map[string]map[int64]bool{}
	for _, m := range messages {
		if stored[m.Source] == nil {
			stored[m.Source] = map[int64]bool{}
		}
		stored[m.Source][m.Seq] = true
		want, ok := sources[m.Source][m.Seq]
		if !ok {
			t.Errorf("message %d of %s is stored, but the page never numbered it", m.Seq, m.Source)
			continue
		}
		if join(m.Lines) != join(want.Lines) {
			t.Errorf("message %d of %s is stored as\n%s\nbut was sent as\n%s", m.Seq, m.Source, join(m.Lines), join(want.Lines))
		}
		for _, l := range m.Lines {
			lines = append(lines, string(l))
		}
	}
	if len(sources) == 0 {
		t.Error("the page numbered nothing")
	}
	for source, sent := range sources {
		for seq := int64(1); seq <= int64(len(sent)); seq++ {
			m, ok := sent[seq]
			if !ok {
				t.Errorf("%s: number %d of %d was left out", source, seq, len(sent))
			} else if len(m.Lines) > 0 && !stored[source][seq] {
				t.Errorf("%s: message %d was not stored: %s", source, seq, join(m.Lines))
			}
		}
	}
	return lines
}

func join(lines []json.RawMessage) string {
	var s strings.Builder
	for _, l := range lines {
		s.Write(l)
		s.WriteByte('\n')
	}
	return s.String()
}

// again starts a killed program anew, over the same data.
func (r *Running) again(t *testing.T) *Running {
	t.Helper()
	return launch(t, r.Data)
}

// benchState is what the bench makes of it all.
type benchState struct {
	Verdict *verdict.Verdict `json:"verdict"`
	Phones  []struct {
		Source    string `json:"source"`
		Route     string `json:"route"`
		Connected bool   `json:"connected"`
	} `json:"phones"`
	SignOff struct {
		Ohms []record.Ohm `json:"ohms"`
	} `json:"sign_off"`
}

func (r *Running) state(t *testing.T) *benchState {
	t.Helper()
	resp, err := http.Get(r.Bench + "api/state")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	s := &benchState{}
	if err := json.NewDecoder(resp.Body).Decode(s); err != nil {
		t.Fatal(err)
	}
	return s
}

// waitState waits for something the bench should make of it.
func (r *Running) waitState(t *testing.T, what string, ok func(*benchState) bool) *benchState {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(100 * time.Millisecond) {
		s := r.state(t)
		if ok(s) {
			return s
		}
		if time.Now().After(deadline) {
			raw, _ := json.Marshal(s)
			t.Fatalf("waited 20 s for %s; the bench has %.2000s", what, raw)
		}
	}
}

// coil returns what the bench says of a coil; nil before it says anything.
func (s *benchState) coil(id string) *verdict.Coil {
	if s.Verdict == nil {
		return nil
	}
	for i := range s.Verdict.Coils {
		if s.Verdict.Coils[i].ID == id {
			return &s.Verdict.Coils[i]
		}
	}
	return nil
}

// used tells whether a coil's readings count.
func used(id string) func(*benchState) bool {
	return func(s *benchState) bool { c := s.coil(id); return c != nil && c.Used > 0 }
}

// is tells whether the bench claims a state of a coil.
func is(id, state string) func(*benchState) bool {
	return func(s *benchState) bool { c := s.coil(id); return c != nil && string(c.State) == state }
}

// says waits until an element of the page holds words.
func says(t *testing.T, ctx context.Context, selector, words string) {
	t.Helper()
	expression, _ := json.Marshal(words)
	waitFor(t, ctx, words, `document.querySelector("`+selector+`")?.textContent.includes(`+string(expression)+`)`)
}

// smallPlan writes a plan of two coils, for tests that read a whole pad.
func smallPlan(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "pair.toml")
	if err := os.WriteFile(path, []byte(testplan.Few("A pair", 1, 2, 150)), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

var lineType = regexp.MustCompile(`"type":"([a-z-]+)"`)

// count counts stored lines of a type.
func count(lines []string, kind string) (n int) {
	for _, l := range lines {
		if m := lineType.FindStringSubmatch(l); m != nil && m[1] == kind {
			n++
		}
	}
	return n
}
