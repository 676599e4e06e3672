package web

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"

	"polewise/field/capture"
	"polewise/server/desk"
	"polewise/server/feed"
	"polewise/server/store"
)

// board is a dialect as kept: column 2 is the device's x, mirrored columns 3 and
// 1 its y and z.
var board = feed.Dialect{Name: "bench board", Source: "board", Shape: []string{"column 1", "column 2", "column 3"},
	Field: [3]string{"column 1", "column 2", "column 3"}, Unit: "mT", Axes: feed.Axes{From: [3]int{1, 2, 0}, Sign: [3]int{1, 1, 1}}, AtSensor: true}

func newFeedStage(t *testing.T) *stage {
	return newStageWith(t, func(st *store.Store) {
		raw, err := json.Marshal(board)
		if err == nil {
			err = st.KeepDialect(context.Background(), board.Name, "", raw)
		}
		if err != nil {
			t.Fatal(err)
		}
	})
}

// feed posts readings to the phone listener.
func (s *stage) feed(t *testing.T, query, body string) (int, feed.Answer, *desk.ClientError) {
	t.Helper()
	r, err := s.phone.Client().Post(s.phone.URL+"/"+testKey+"/feed?"+query, "text/plain", strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	return answerOf(t, r)
}

func answerOf(t *testing.T, r *http.Response) (int, feed.Answer, *desk.ClientError) {
	t.Helper()
	defer r.Body.Close()
	var a struct {
		feed.Answer
		Error *desk.ClientError `json:"error"`
	}
	if err := json.NewDecoder(r.Body).Decode(&a); err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, a.Answer, a.Error
}

// onBench does something as the bench page does.
func (s *stage) onBench(t *testing.T, do, body string) (int, *desk.ClientError) {
	t.Helper()
	r, err := http.Post(s.bench.URL+"/api/feeds/"+do, "application/json", strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	status, _, e := answerOf(t, r)
	return status, e
}

// must is onBench where it has to work.
func (s *stage) must(t *testing.T, do, body string) {
	t.Helper()
	if status, e := s.onBench(t, do, body); status != http.StatusOK {
		t.Fatalf("%s %s: %d %+v", do, body, status, e)
	}
}

func TestFeedUntaught(t *testing.T) {
	s := newStage(t)
	status, a, _ := s.feed(t, "source=app", `[{"mag":{"x":1,"y":2,"z":3}},{"mag":{"x":2,"y":2,"z":3}}]`)
	if status != http.StatusOK || a.Messages != 2 || a.Readings != 0 || a.Kept != 0 || a.Taught != "" || !strings.Contains(a.Say, "on the bench page, under Other sensors; until then nothing is kept") {
		t.Fatalf("%d %+v", status, a)
	}
	if got := s.stored(t); len(got) != 0 {
		t.Errorf("stored %q of a source that nobody has taught", got)
	}
	r, err := http.Get(s.bench.URL + "/api/feeds")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	var list struct {
		Feeds []feed.SourceState `json:"feeds"`
	}
	if err := json.NewDecoder(r.Body).Decode(&list); err != nil || len(list.Feeds) != 1 || len(list.Feeds[0].Numbers) != 3 {
		t.Fatalf("%+v %v", list, err)
	}
	if n := list.Feeds[0].Numbers[0]; n.Path != "mag.x" || n.Value != 2 || n.Low != 1 || n.High != 2 {
		t.Errorf("first number %+v", n)
	}
	if status, e := s.onBench(t, "hold", `{"source":"app","at":"A1"}`); status != http.StatusBadRequest || e.Code != "not-taught" {
		t.Errorf("a hold of an untaught source: %d %+v", status, e)
	}
}

// TestFeedToHold follows taught readings into the store and the verdict.
func TestFeedToHold(t *testing.T) {
	s := newFeedStage(t)
	status, a, e := s.feed(t, "source=board", "0.01;0,02;0,03")
	if status != http.StatusOK || a.Taught != board.Name || a.Readings != 1 || a.Kept != 1 {
		t.Fatalf("%d %+v %+v", status, a, e)
	}
	if status, e := s.onBench(t, "hold", `{"source":"board","at":"A1"}`); status != http.StatusBadRequest || e.Code != "no-supply" {
		t.Fatalf("a hold before the supply is known: %d %+v", status, e)
	}
	stream := func(z float64) {
		for range 8 {
			time.Sleep(60 * time.Millisecond)
			s.feed(t, "source=board", fmt.Sprintf("%.4f;0,02;0,03", z))
		}
	}
	s.must(t, "supply", `{"source":"board","on":false}`)
	stream(-0.040)
	s.must(t, "supply", `{"source":"board","on":true}`)
	s.must(t, "hold", `{"source":"board","at":"A1"}`)
	if status, e := s.onBench(t, "hold", `{"source":"board","at":"A2"}`); status != http.StatusBadRequest || e.Code != "in-hold" {
		t.Errorf("a second hold: %d %+v", status, e)
	}
	if status, e := s.onBench(t, "hold", `{"source":"board","at":"no-such"}`); status != http.StatusBadRequest {
		t.Errorf("a hold on no coil: %d %+v", status, e)
	}
	stream(0.300)
	s.must(t, "lift", `{"source":"board"}`)
	lines := s.stored(t)
	c, err := capture.Read(strings.NewReader(strings.Join(lines, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	if o := c.Start.Sensor.OffsetMM; c.Start.Device != board.Name || *o != [2]float64{} {
		t.Errorf("start line %+v", c.Start)
	}
	cut := c.Cut()
	if len(cut.Holds) != 1 || len(cut.Rests) == 0 || cut.Holds[0].Repeated == 0 && len(cut.Holds[0].B) == 0 {
		t.Fatalf("cut into %+v\n%s", cut, strings.Join(lines, "\n"))
	}
	// 0.3 mT in column 1 is the device's z, 0.02 its x, 0.03 its y.
	if b := cut.Holds[0].B[0]; b.UT != [3]float64{20, 30, 300} {
		t.Errorf("read in the hold: %v", b.UT)
	}
	if b := cut.Rests[0].B[0]; b.UT != [3]float64{20, 30, -40} {
		t.Errorf("read in the rest: %v", b.UT)
	}
}

func TestFeedBadLines(t *testing.T) {
	s := newFeedStage(t)
	status, a, _ := s.feed(t, "source=board&line=11", "1,2,3\n4,5\nnonsense\n6,7,8")
	if status != http.StatusOK || a.Messages != 3 || a.Readings != 2 || a.Bad != 2 {
		t.Fatalf("%d %+v", status, a)
	}
	if got := fmt.Sprint(a.Lines); got != "[line 13: expected numbers, found none line 12: expected 3 numbers at column 1/2/3, found 2]" {
		t.Error(got)
	}
}

func TestFeedSentTwice(t *testing.T) {
	s := newFeedStage(t)
	for range 2 {
		if _, a, _ := s.feed(t, "source=board&run=r1&batch=1", "1,2,3"); a.Kept != 1 {
			t.Fatalf("%+v", a)
		}
	}
	if got := s.stored(t); len(got) != 2 { // start and one sample
		t.Errorf("stored %q", got)
	}
}

func TestFeedLimits(t *testing.T) {
	s := newFeedStage(t)
	if status, _, e := s.feed(t, "source=board", strings.Repeat(" ", feed.MaxChunkBytes+1)); status != http.StatusRequestEntityTooLarge || e.Code != "too-long" {
		t.Errorf("too much at once: %d %+v", status, e)
	}
	rows := strings.Repeat("1,2,3\n", 4000)
	refused := false
	for range 4 {
		status, _, e := s.feed(t, "source=board", rows)
		if status == http.StatusTooManyRequests && e.Code == "too-fast" && e.Hint != "" {
			refused = true
		}
	}
	if !refused {
		t.Error("16,000 readings at once were taken, expected 429")
	}
	for i := range 20 {
		status, _, e := s.feed(t, fmt.Sprintf("source=s%d", i), "1,2,3")
		if full := i >= 15; full != (status == http.StatusTooManyRequests) {
			t.Fatalf("source %d: %d %+v", i, status, e)
		}
	}
	for _, q := range []string{"source=a.b", "batch=0", "line=x", "run=" + strings.Repeat("r", 65)} {
		if status, _, e := s.feed(t, q, "1,2,3"); status != http.StatusBadRequest || e.Say == "" {
			t.Errorf("%s: %d %+v", q, status, e)
		}
	}
}

func TestFeedDoors(t *testing.T) {
	s := newFeedStage(t)
	post := func(url, origin string) int {
		t.Helper()
		req, err := http.NewRequest(http.MethodPost, url, strings.NewReader("1,2,3"))
		if err != nil {
			t.Fatal(err)
		}
		if origin != "" {
			req.Header.Set("Origin", origin)
		}
		r, err := s.phone.Client().Do(req)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		_, _ = io.Copy(io.Discard, r.Body)
		return r.StatusCode
	}
	for _, c := range []struct {
		url, origin string
		want        int
	}{
		{s.phone.URL + "/" + testKey + "/feed", "", http.StatusOK},
		{s.phone.URL + "/BBBBBBBBBBBBBBBBBBBBBB/feed", "", http.StatusForbidden},
		{s.phone.URL + "/" + testKey + "/feed", "https://elsewhere.example", http.StatusForbidden},
		{s.bench.URL + "/api/feed", "", http.StatusOK},
		{s.bench.URL + "/api/feed", "https://elsewhere.example", http.StatusForbidden},
	} {
		if got := post(c.url, c.origin); got != c.want {
			t.Errorf("%s from %q: %d, expected %d", c.url, c.origin, got, c.want)
		}
	}
	d := websocket.Dialer{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}
	url := strings.Replace(s.phone.URL, "https:", "wss:", 1) + "/" + testKey + "/feed"
	if _, r, err := d.Dial(url, http.Header{"Origin": {"https://elsewhere.example"}}); err == nil || r.StatusCode != http.StatusForbidden {
		t.Errorf("a socket from elsewhere: %v", err)
	}
	if _, r, err := d.Dial(strings.Replace(url, testKey, "BBBBBBBBBBBBBBBBBBBBBB", 1), nil); err == nil || r.StatusCode != http.StatusForbidden {
		t.Errorf("a socket with a wrong key: %v", err)
	}
	r, err := s.phone.Client().Get(s.phone.URL + "/" + testKey + "/feed")
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != http.StatusUpgradeRequired {
		t.Errorf("GET without a websocket: %d", r.StatusCode)
	}
}

func TestFeedSocket(t *testing.T) {
	s := newFeedStage(t)
	d := websocket.Dialer{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}
	conn, _, err := d.Dial(strings.Replace(s.phone.URL, "https:", "wss:", 1)+"/"+testKey+"/feed?source=board", nil)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	const n = 30
	for i := range n {
		if err := conn.WriteMessage(websocket.TextMessage, fmt.Appendf(nil, "0.0%d,0.02,0.03\n", i)); err != nil {
			t.Fatal(err)
		}
	}
	_ = conn.SetReadDeadline(time.Now().Add(10 * time.Second))
	got := 0
	for got < n {
		var a feed.Answer
		if err := conn.ReadJSON(&a); err != nil {
			t.Fatalf("after %d readings: %v", got, err)
		}
		got += a.Readings
	}
	if got != n || len(s.stored(t)) < 2 {
		t.Errorf("%d readings answered, stored %q", got, s.stored(t))
	}
	big := make([]byte, feedMessage+1)
	_ = conn.WriteMessage(websocket.TextMessage, big)
	for err = nil; err == nil; {
		_, _, err = conn.ReadMessage()
	}
	if !websocket.IsCloseError(err, websocket.CloseMessageTooBig) {
		t.Errorf("a message too big ended with %v", err)
	}
}

// TestDialectKept: renamed, used again after a restart, forgotten.
func TestDialectKept(t *testing.T) {
	s := newFeedStage(t)
	s.feed(t, "source=board", "1,2,3")
	s.must(t, "rename", `{"name":"bench board","to":"coil probe"}`)
	if _, a, _ := s.feed(t, "source=board", "1,2,3"); a.Taught != "coil probe" {
		t.Errorf("after renaming: %+v", a)
	}
	// Another source with numbered columns alike is offered it, and asked.
	if _, a, _ := s.feed(t, "source=other", "1,2,3"); a.Taught != "" {
		t.Errorf("numbered columns of another source were taken for granted: %+v", a)
	}
	s.must(t, "use", `{"source":"other","name":"coil probe"}`)
	if _, a, _ := s.feed(t, "source=other", "1,2,3"); a.Taught != "coil probe" {
		t.Errorf("after choosing: %+v", a)
	}
	again := NewSite(s.desk, s.store, testKey, s.site.Log)
	defer again.Close()
	if kept := again.feeds.Kept(); len(kept) != 1 || kept[0].Name != "coil probe" || kept[0].Axes != board.Axes {
		t.Errorf("kept over a restart: %+v", kept)
	}
	s.must(t, "forget", `{"name":"coil probe"}`)
	if _, a, _ := s.feed(t, "source=board", "1,2,3"); a.Taught != "" {
		t.Errorf("after forgetting: %+v", a)
	}
	if status, e := s.onBench(t, "forget", `{"name":"coil probe"}`); status != http.StatusBadRequest || e.Code != "no-dialect" {
		t.Errorf("forgotten twice: %d %+v", status, e)
	}
	if status, e := s.onBench(t, "dance", `{}`); status != http.StatusBadRequest || e.Say == "" {
		t.Errorf("%d %+v", status, e)
	}
}

// TestFeedStaysThroughANewCheck: a sensor that goes on sending when another check
// begins is taken for itself, not for a phone of the same name.
func TestFeedStaysThroughANewCheck(t *testing.T) {
	s := newFeedStage(t)
	for n := range 3 {
		if status, a, e := s.feed(t, "source=board", "1,2,3"); status != http.StatusOK || a.Kept != 1 {
			t.Fatalf("in check %d: %d %+v %+v", n+1, status, a, e)
		}
		if err := s.desk.BeginSame(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
}
