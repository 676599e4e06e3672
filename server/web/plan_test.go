package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"polewise/assets"
	"polewise/layout"
	"polewise/server/desk"
)

// post asks the bench and returns the status and the answer.
func (s *stage) postBench(t *testing.T, path string, body, answer any) int {
	t.Helper()
	raw, err := json.Marshal(body)
	if err != nil {
		t.Fatal(err)
	}
	r, err := http.Post(s.bench.URL+path, "application/json", bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	got, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(got, answer); err != nil {
		t.Fatalf("%s answers %q: %v", path, got, err)
	}
	return r.StatusCode
}

type sight struct {
	PlanTOML  string `json:"plan_toml"`
	Plan      *desk.PlanState
	Problems  []layout.Problem
	Usable    bool
	Predicted *struct {
		Coils []struct {
			ID   string
			BzUT float64 `json:"bz_uT"`
			Amps float64
		}
	}
	Check *struct{ Raw struct{ Say string } }
	Error desk.ClientError
}

// A coil is moved, and with it comes everything that follows from its place.
func TestPlanLook(t *testing.T) {
	s := newStage(t)
	demo := string(assets.Demo())
	var still, moved sight
	if code := s.postBench(t, "/api/plan/look", editRequest{PlanTOML: demo}, &still); code != 200 || !still.Usable || still.Check == nil || len(still.Problems) != 0 {
		t.Fatalf("%d %+v", code, still)
	}
	edit := []layout.Edit{{Op: "set", Table: "coil", ID: "A1", Key: "at", Value: []any{130.0, 390.0}}}
	if code := s.postBench(t, "/api/plan/look", editRequest{demo, edit}, &moved); code != 200 {
		t.Fatalf("%d %+v", code, moved)
	}
	if moved.PlanTOML != strings.Replace(demo, "at = [90, 390]", "at = [130, 390]", 1) {
		t.Errorf("the text is not just that change:\n%s", moved.PlanTOML)
	}
	if moved.Plan.Coils[0].X != 130 {
		t.Errorf("A1 lies at %v", moved.Plan.Coils[0])
	}
	// Closer to A2, whose bore its outside field weakens: both north up.
	if a, b := still.Predicted.Coils[1].BzUT, moved.Predicted.Coils[1].BzUT; !(b < a-0.5) {
		t.Errorf("the field over A2 went from %.2f to %.2f uT", a, b)
	}
	edit[0].Value = []any{200.0, 390.0}
	var overlapping sight
	s.postBench(t, "/api/plan/look", editRequest{demo, edit}, &overlapping)
	// Outer radius 51 mm each, centres 40 mm apart.
	if len(overlapping.Problems) != 1 || !overlapping.Usable {
		t.Fatalf("%+v", overlapping.Problems)
	}
	if p := overlapping.Problems[0]; p.ID != "A2" || p.With != "A1" || !strings.Contains(p.Say, "overlaps by 62 mm") || !strings.Contains(p.Remedy, "62 mm or more") {
		t.Errorf("%+v", p)
	}
	var open sight
	out := []layout.Edit{{Op: "set", Table: "string", ID: "A", Key: "coils", Value: []any{"A1", "A3"}}}
	if code := s.postBench(t, "/api/plan/look", editRequest{demo, out}, &open); code != 200 || open.Usable || open.Predicted != nil || open.Plan == nil {
		t.Fatalf("%d %+v", code, open)
	}
	if p := open.Problems[0]; p.Table != "coil" || p.ID != "A2" {
		t.Errorf("%+v", p)
	}
	var broken sight
	if code := s.postBench(t, "/api/plan/look", editRequest{PlanTOML: "format = = 1"}, &broken); code != 200 || broken.Plan != nil || len(broken.Problems) != 1 || broken.Problems[0].Line != 1 {
		t.Errorf("%d %+v", code, broken)
	}
	var refused sight
	edit[0].ID = "Z1"
	if code := s.postBench(t, "/api/plan/look", editRequest{demo, edit}, &refused); code != 422 || refused.Error.Code != "no-edit" {
		t.Errorf("%d %+v", code, refused)
	}
}

// Every pad to begin from is a plan without a fault, but for the empty one.
func TestPlanNew(t *testing.T) {
	s := newStage(t)
	for _, q := range []string{
		`{"form":"row","coils":1}`, `{"form":"row","coils":6,"turning":true}`, `{"form":"grid","columns":4,"rows":3}`, `{"form":"grid","columns":1,"rows":1}`,
		`{"form":"staggered","columns":5,"rows":4,"inner_mm":50,"wire_awg":24}`, `{"form":"ring","coils":8,"strings":2}`, `{"form":"ring","coils":3}`,
		`{"form":"grid","columns":20,"rows":20,"inner_mm":30,"turns":20}`, `{"demo":"mat"}`, `{"form":"empty"}`,
	} {
		var text struct {
			PlanTOML string `json:"plan_toml"`
		}
		if code := s.postBench(t, "/api/plan/new", json.RawMessage(q), &text); code != 200 {
			t.Fatalf("%s: %d", q, code)
		}
		var got sight
		s.postBench(t, "/api/plan/look", editRequest{PlanTOML: text.PlanTOML}, &got)
		if strings.Contains(q, "empty") {
			if got.Plan == nil || got.Usable {
				t.Errorf("%s: %+v", q, got)
			}
			continue
		}
		if !got.Usable || len(got.Problems) > 0 {
			t.Errorf("%s: %+v\n%s", q, got.Problems, text.PlanTOML)
			continue
		}
		if strings.Contains(text.PlanTOML, "turns = 60\n") && strings.Contains(text.PlanTOML, "wire_awg = 22\n") && !strings.Contains(q, "demo") && !strings.Contains(text.PlanTOML, "build = 4.4\n") {
			t.Errorf("%s: not what 60 turns of AWG 22 build\n%s", q, text.PlanTOML)
		}
		for _, c := range got.Plan.Coils {
			if c.X < 0 || c.Y < 0 || c.X > got.Plan.Outline[0] || c.Y > got.Plan.Outline[1] {
				t.Errorf("%s: coil %s lies off the pad", q, c.ID)
			}
		}
	}
	for q, say := range map[string]string{
		`{"form":"heap"}`: "Expected row, grid", `{"form":"row"}`: "Coils: from 1 to 400, not 0.", `{"form":"ring","coils":2}`: "Coils: from 3 to 400, not 2.",
		`{"form":"grid","columns":0,"rows":3}`:       "Coils in a row: from 1 to 400, not 0.",
		`{"form":"grid","columns":3,"rows":1000000}`: "Rows: from 1 to 400, not 1000000.",
		`{"form":"grid","columns":50,"rows":20}`:     "At most 400 coils; 50 in a row and 20 rows make 1000.",
		`{"form":"row","coils":3,"pitch_mm":-1}`:     "Expected a distance from centre to centre in mm from 1 to 5000, found -1.",
		`{"demo":"none"}`:                            "There is no demo plan",
	} {
		var got sight
		if code := s.postBench(t, "/api/plan/new", json.RawMessage(q), &got); code != 400 || !strings.HasPrefix(got.Error.Say, say) {
			t.Errorf("%s: %d %+v, expected %s", q, code, got.Error, say)
		}
	}
}

func TestPlanFile(t *testing.T) {
	s := newStage(t)
	var none fileAnswer
	var refused sight
	getJSON(t, s.bench.URL+"/api/plan/file", &none)
	if code := s.postBench(t, "/api/plan/save", map[string]string{"plan_toml": "x"}, &refused); none.Path != "" || code != 409 || refused.Error.Code != "no-file" {
		t.Fatalf("without a file: %+v, %d %+v", none, code, refused)
	}

	dir := t.TempDir()
	path, link := filepath.Join(dir, "pad.toml"), filepath.Join(dir, "link.toml")
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(path, []byte(text), 0o640); err != nil {
			t.Fatal(err)
		}
	}
	write("one")
	if err := os.Symlink("pad.toml", link); err != nil {
		t.Fatal(err)
	}
	bench := s.desk.Bench()
	defer s.desk.Unsubscribe(bench)
	s.site.WatchPlan(link)
	var at fileAnswer
	getJSON(t, s.bench.URL+"/api/plan/file", &at)
	if at.Name != "link.toml" || at.PlanTOML != "one" || at.Hash == "" {
		t.Fatalf("%+v", at)
	}
	var saved fileAnswer
	if code := s.postBench(t, "/api/plan/save", map[string]string{"plan_toml": "two", "over": at.Hash}, &saved); code != 200 || saved.PlanTOML != "two" {
		t.Fatalf("%d %+v", code, saved)
	}
	if raw, _ := os.ReadFile(path); string(raw) != "two" {
		t.Errorf("the file holds %q", raw)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Error("the link is no link any more")
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o640 {
		t.Errorf("the file's permissions are %v", info.Mode())
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".polewise*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	// Edited beside the page, to a text of the same length at once.
	write("six")
	told := false
	for deadline := time.After(10 * time.Second); !told; {
		select {
		case m := <-bench.Queue:
			told = strings.Contains(string(m), hashOf([]byte("six")))
		case <-deadline:
			t.Fatal("nobody was told that the file changed")
		}
	}
	var conflict struct {
		Error desk.ClientError
		File  fileAnswer
	}
	if code := s.postBench(t, "/api/plan/save", map[string]string{"plan_toml": "mine", "over": saved.Hash}, &conflict); code != 409 || conflict.Error.Code != "changed-on-disk" || conflict.File.PlanTOML != "six" {
		t.Errorf("%d %+v", code, conflict)
	}
	if code := s.postBench(t, "/api/plan/save", map[string]string{"plan_toml": "mine", "over": conflict.File.Hash}, &saved); code != 200 {
		t.Errorf("kept mine: %d", code)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	getJSON(t, s.bench.URL+"/api/plan/file", &at)
	if at.Hash != "" || !strings.Contains(at.Say, "gone") {
		t.Errorf("gone: %+v", at)
	}
}

func getJSON(t *testing.T, url string, v any) {
	t.Helper()
	r, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	if err := json.NewDecoder(r.Body).Decode(v); err != nil {
		t.Fatal(fmt.Errorf("%s: %w", url, err))
	}
}

// BenchmarkPlanLook is what a drag of one of twenty coils costs.
func BenchmarkPlanLook(b *testing.B) {
	mat, _ := assets.DemoNamed("mat")
	for b.Loop() {
		out, err := layout.EditText(mat.TOML, []layout.Edit{{Op: "set", Table: "coil", ID: "A1", Key: "at", Value: []any{45.0, 236.0}}})
		if err != nil {
			b.Fatal(err)
		}
		if got := sightOf(string(out)); got.Check == nil {
			b.Fatal("no figures")
		}
	}
}
