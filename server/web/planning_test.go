package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"strings"
	"testing"

	"polewise/assets"
	"polewise/field/planning"
	"polewise/server/desk"
)

// asked asks the bench listener; a nil body means GET.
func (s *stage) asked(t *testing.T, path string, body, answer any) (status int, problem desk.ClientError) {
	t.Helper()
	var r *http.Response
	var err error
	if body == nil {
		r, err = http.Get(s.bench.URL + path)
	} else {
		raw, e := json.Marshal(body)
		if e != nil {
			t.Fatal(e)
		}
		r, err = http.Post(s.bench.URL+path, "application/json", bytes.NewReader(raw))
	}
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	for lines := json.NewDecoder(r.Body); ; { // most answers are one
		var out json.RawMessage
		if err := lines.Decode(&out); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		if r.StatusCode >= 400 {
			var e struct{ Error desk.ClientError }
			if err := json.Unmarshal(out, &e); err != nil || e.Error.Code == "" || e.Error.Say == "" {
				t.Errorf("%s: status %d, not told in words: %s", path, r.StatusCode, out)
			}
			return r.StatusCode, e.Error
		}
		if err := json.Unmarshal(out, answer); err != nil {
			t.Fatalf("%s: %v in %s", path, err, out)
		}
	}
	return r.StatusCode, problem
}

type object = map[string]any

func TestPlanning(t *testing.T) {
	s := newStage(t)
	var a planningAnswer
	if status, p := s.asked(t, "/api/planning?room_celsius=25&tail_mm=400", nil, &a); status != http.StatusOK {
		t.Fatal(status, p)
	}
	f := a.Planning
	if a.Name != "Kennel bed, nine coils" || f.RoomCelsius != 25 || len(f.Over.Coils) != 9 || len(f.Ohms) != 13 || len(a.Problems) != 0 {
		t.Errorf("%+v", a)
	}
	// Copper rises 0.393 percent a kelvin; a tail of 400 mm at both ends.
	if w := f.Windings[0]; math.Abs(w.OhmsRoom/w.Ohms20-1.01965) > 1e-6 || math.Abs(w.CutM-w.WireM-0.8) > 1e-9 {
		t.Errorf("%+v", w)
	}
	a = planningAnswer{}
	if status, p := s.asked(t, "/api/planning", object{"demo": "ring", "options": object{"slack_percent": 50, "spool_kg": 0.1}}, &a); status != http.StatusOK {
		t.Fatal(status, p)
	}
	if a.Name != "Tub ring, eight coils" || a.Planning.Cut.SlackShare != 0.5 || len(a.Planning.Cards) != 2 {
		t.Errorf("%+v", a.Planning.Cut)
	}
	tight := strings.Replace(string(assets.Demo()), "at = [240, 390]", "at = [110, 390]", 1)
	a = planningAnswer{}
	if status, p := s.asked(t, "/api/planning", object{"plan_toml": tight}, &a); status != http.StatusOK {
		t.Fatal(status, p)
	}
	if a.Planning == nil || len(a.Problems) != 1 || !a.Problems[0].Unbuildable || !strings.Contains(a.Problems[0].Say, "overlaps by") {
		t.Errorf("%+v", a.Problems)
	}
}

func TestPlanningRefused(t *testing.T) {
	s := newStage(t)
	for _, c := range []struct {
		path string
		body any
		want int
		says string
	}{
		{"/api/planning?room_celsius=warm", nil, http.StatusBadRequest, `"warm"`},
		{"/api/planning?spool_kg=NaN", nil, http.StatusBadRequest, "kilograms on a spool"},
		{"/api/planning", object{"options": object{"slack_percent": -1}}, http.StatusBadRequest, "slack"},
		{"/api/planning", object{"demo": "castle"}, http.StatusBadRequest, "castle"},
		{"/api/planning", object{"plan_toml": "format = 1"}, http.StatusUnprocessableEntity, "name"},
		{"/api/planning", []int{1}, http.StatusBadRequest, "not JSON as expected"},
		{"/api/planning", object{"plan_toml": strings.Replace(string(assets.Demo()), "volts = 2.0", "volts = 1e-300", 1)}, http.StatusBadRequest, "pad.inductance_uH"},
		{"/api/planning/compare", object{"readings": []object{{"across": "coil:Z9", "ohms": 1}}}, http.StatusBadRequest, "coil:Z9"},
		{"/api/planning/compare", object{"readings": []object{{"across": "pad", "ohms": -1}}}, http.StatusBadRequest, "resistance"},
		{"/api/planning/compare", object{"readings": []object{{"across": "pad", "ohms": 1, "celsius": 900}}}, http.StatusBadRequest, "temperature"},
	} {
		if status, p := s.asked(t, c.path, c.body, &struct{}{}); status != c.want || !strings.Contains(p.Say, c.says) {
			t.Errorf("%s %v: status %d, %q; expected %d and %q", c.path, c.body, status, p.Say, c.want, c.says)
		}
	}
}

func TestCompareOhms(t *testing.T) {
	s := newStage(t)
	var c planning.Comparison
	s.asked(t, "/api/planning/compare", object{"readings": []object{
		{"across": "coil:A1", "ohms": 0.98}, {"across": "coil:A2", "ohms": nil}, {"across": "string:A", "ohms": nil, "celsius": 25},
	}}, &c)
	var states []planning.State
	for _, f := range c.Findings {
		states = append(states, f.State)
	}
	if fmt.Sprint(states) != "[as-planned open open]" || len(c.Findings[1].May) == 0 {
		t.Errorf("%v, %+v", states, c.Findings)
	}
}

func TestReadingsOnTheBench(t *testing.T) {
	s := newStage(t)
	entered := func() (e desk.Entered) {
		t.Helper()
		s.asked(t, "/api/readings", nil, &e)
		return e
	}
	send := func(seq int, check string, lines ...object) (int, desk.ClientError) {
		t.Helper()
		return s.asked(t, "/api/readings", object{"check": check, "seq": seq, "lines": lines}, &struct{}{})
	}
	check := entered().Check
	start := object{"type": "start", "v": 1, "route": "hand", "device": "the bench page"}
	face := func(at float64, coil, f string) object {
		return object{"type": "reading", "t": at, "at": coil, "face": f}
	}
	ohms := func(at float64, across string, x any) object {
		return object{"type": "ohms", "t": at, "across": across, "ohms": x, "celsius": 22}
	}
	if status, p := send(1, check, face(1, "A1", "north")); status != http.StatusBadRequest || p.Code != "no-start" {
		t.Errorf("without a start: %d %+v", status, p)
	}
	if status, p := send(1, check, start, face(1, "A1", "north")); status != http.StatusOK {
		t.Fatal(status, p)
	}
	if status, p := send(2, check, face(2, "A2", "south"), ohms(2.001, "coil:A1", 0.7), ohms(2.002, "string:B", nil)); status != http.StatusOK {
		t.Fatal(status, p)
	}
	// Entered again: the newer counts, also when the older message comes again.
	for _, again := range []int{3, 3} {
		if status, p := send(again, check, face(3, "A1", "south"), ohms(3.001, "coil:A1", 0.98)); status != http.StatusOK {
			t.Fatal(status, p)
		}
		send(2, check, face(2, "A2", "south"), ohms(2.001, "coil:A1", 0.7), ohms(2.002, "string:B", nil))
	}
	e := entered()
	if e.LastSeq != 3 || e.Faces["A1"] != "south" || e.Faces["A2"] != "south" || *e.Ohms["coil:A1"].Ohms != 0.98 || e.Ohms["string:B"].Ohms != nil || len(e.Ohms) != 2 {
		t.Errorf("%+v", e)
	}
	// With the computer's clock put back the newer counts all the same, and the page
	// learns from where its times go on.
	if e.LastT != 3.001 {
		t.Errorf("times go on from %g, expected 3.001", e.LastT)
	}
	if status, p := send(4, check, face(0.5, "A1", "north")); status != http.StatusOK {
		t.Fatal(status, p)
	}
	s.settled(t, "one face of A1 to count", func(st *desk.State) bool {
		return st.Judging == nil && st.Verdict != nil && st.Verdict.Coils[0].Used == 1
	})
	if e := entered(); e.Faces["A1"] != "north" {
		t.Errorf("entered last was north, and it is %+v", e)
	}
	if n := len(s.desk.State().Phones); n != 0 {
		t.Errorf("%d phones, and it was the bench page", n)
	}
	s.asked(t, "/api/readings/clear", object{"check": check, "target": "A2"}, &struct{}{})
	s.asked(t, "/api/readings/clear", object{"check": check, "target": "string:B"}, &struct{}{})
	if e := entered(); len(e.Faces) != 1 || len(e.Ohms) != 1 {
		t.Errorf("cleared, and still %+v", e)
	}
	for _, c := range []struct {
		what string
		code string
		seq  int
		of   string
		line []object
	}{
		{"a number with other lines", "seq-taken", 3, check, []object{face(9, "A1", "north")}},
		{"another check", "other-check", 5, "none", []object{face(9, "A1", "north")}},
		{"a coil not there", "bad-line", 5, check, []object{face(9, "Z1", "north")}},
		{"a sample", "bad-line", 5, check, []object{{"type": "b", "t": 9, "uT": []int{1, 2, 3}}}},
		{"one time for two", "bad-line", 5, check, []object{face(9, "A1", "north"), face(9, "A3", "north")}},
		{"nothing", "no-lines", 5, check, []object{}},
	} {
		if status, p := send(c.seq, c.of, c.line...); status < 400 || p.Code != c.code {
			t.Errorf("%s: %d %+v, expected %s", c.what, status, p, c.code)
		}
	}
}
