package web

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"polewise/field/fieldmap"
	"polewise/server/desk"
	"polewise/server/testplan"
)

// mapLine is one line of the answer.
type mapLine struct {
	Progress *struct{ Share float64 }
	Done     *fieldmap.Page
	Error    *desk.ClientError
}

// TestMapIsTold follows a map over a real connection: shares that grow, each told
// while it is worked out, then the map.
func TestMapIsTold(t *testing.T) {
	s := newStage(t)
	raw, err := json.Marshal(map[string]string{"plan_toml": testplan.Many(20, testplan.Oblong)})
	if err != nil {
		t.Fatal(err)
	}
	s.site.telling = 15 * time.Millisecond // however fast the machine is
	began := time.Now()
	r, err := http.Post(s.bench.URL+"/api/map", "application/json", bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	var shares []float64
	var first time.Duration
	in := bufio.NewScanner(r.Body)
	in.Buffer(nil, 1<<22)
	var done *fieldmap.Page
	for in.Scan() {
		var l mapLine
		if err := json.Unmarshal(in.Bytes(), &l); err != nil || l.Error != nil || done != nil {
			t.Fatalf("%.300s, %v", in.Text(), err)
		}
		if done = l.Done; done == nil {
			if first == 0 {
				first = time.Since(began)
			}
			shares = append(shares, l.Progress.Share)
		}
	}
	all := time.Since(began)
	t.Logf("400 oblong coils: a first share after %v, %d shares, the map after %v", first, len(shares), all)
	if done == nil || len(done.BzUT) != done.NX*done.NY || max(done.NX, done.NY) != mapPoints {
		t.Fatalf("no map at the end: %+v", in.Err())
	}
	if len(shares) < 2 || first > all/2 {
		t.Errorf("%d shares, the first after %v of %v", len(shares), first, all)
	}
	for i, share := range shares {
		if share <= 0 || share > 1 || i > 0 && share <= shares[i-1] {
			t.Errorf("the shares do not grow from 0 to 1: %v", shares)
		}
	}
	s.site.telling = tellEvery
	// A plan of which no field can be told is refused in words.
	if code, p := s.asked(t, "/api/map", map[string]string{"plan_toml": "format = = 1"}, nil); code != http.StatusUnprocessableEntity || p.Hint == "" {
		t.Errorf("nonsense: %d %+v", code, p)
	}
	var l mapLine
	if code, p := s.asked(t, "/api/map", nil, &l); code != http.StatusOK || l.Done == nil {
		t.Errorf("the plan on the bench: %d %+v", code, p)
	}
}

// firstWrite calls back once something of the answer is written.
type firstWrite struct {
	*httptest.ResponseRecorder
	then func()
}

func (f *firstWrite) Write(b []byte) (int, error) {
	n, err := f.ResponseRecorder.Write(b)
	if f.then != nil {
		f.then()
		f.then = nil
	}
	return n, err
}

// TestMapStops ends a request after its first share: what works on it ends too.
func TestMapStops(t *testing.T) {
	s := newStage(t)
	raw, err := json.Marshal(map[string]string{"plan_toml": testplan.Many(25, testplan.Oblong)})
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(t.Context())
	defer end()
	var stopped time.Time
	w := &firstWrite{ResponseRecorder: httptest.NewRecorder(), then: func() { stopped = time.Now(); end() }}
	q := httptest.NewRequestWithContext(ctx, http.MethodPost, "http://127.0.0.1/api/map", bytes.NewReader(raw))
	s.site.Bench("127.0.0.1:0").ServeHTTP(w, q)
	if stopped.IsZero() {
		t.Fatal("no share was told: ", w.Body)
	}
	if lines := strings.Split(strings.TrimSpace(w.Body.String()), "\n"); len(lines) != 1 || !strings.Contains(lines[0], `"share":0.`) {
		t.Errorf("after it was stopped it told on: %.300s", w.Body)
	}
	if after := time.Since(stopped); after > time.Second {
		t.Errorf("it worked on for %v after it was stopped", after)
	}
}
