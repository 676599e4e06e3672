package web

import (
	"bytes"
	"encoding/json"
	"net/http"
	"testing"

	"polewise/server/desk"
)

// postPhone asks as a phone with the key and returns the status and the answer.
func (s *stage) postPhone(t *testing.T, path string, body, answer any) int {
	t.Helper()
	raw, err := json.Marshal(body)
	if err != nil {
		t.Fatal(err)
	}
	r, err := s.phone.Client().Post(s.phone.URL+"/"+testKey+path, "application/json", bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	if err := json.NewDecoder(r.Body).Decode(answer); err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return r.StatusCode
}

type conventionAnswer struct {
	OutFace string `json:"out_face"`
	Error   desk.ClientError
}

// TestConventionOnce: what a maker answers on the phone stands on the bench page
// and in the plan that the next phone gets, and the other way round.
func TestConventionOnce(t *testing.T) {
	s := newStage(t)
	var a conventionAnswer
	if getJSON(t, s.bench.URL+"/api/convention", &a); a.OutFace != "" {
		t.Fatalf("before it was asked: %q", a.OutFace)
	}
	if code := s.postPhone(t, "/convention", map[string]string{"out_face": "south"}, &a); code != http.StatusOK {
		t.Fatalf("the phone's answer: %d %+v", code, a)
	}
	if getJSON(t, s.bench.URL+"/api/convention", &a); a.OutFace != "south" {
		t.Errorf("the bench page is told %q", a.OutFace)
	}
	if code := s.postBench(t, "/api/convention", map[string]string{"out_face": "north"}, &a); code != http.StatusOK {
		t.Fatalf("the bench's answer: %d %+v", code, a)
	}
	if getJSON(t, s.bench.URL+"/phone/"+testKey+"/plan.json", &a); a.OutFace != "north" {
		t.Errorf("a phone is told %q", a.OutFace)
	}
	if code := s.postPhone(t, "/convention", map[string]string{"out_face": "up"}, &a); code != http.StatusBadRequest || a.Error.Say == "" {
		t.Errorf("an answer that is none: %d %+v", code, a)
	}
}

// TestSensorRefused: finding the sensor stores nothing, and says what is missing.
func TestSensorRefused(t *testing.T) {
	s := newStage(t)
	var a struct {
		desk.SensorPlace
		Error desk.ClientError
	}
	lines := func(l ...string) map[string]any {
		raw := []json.RawMessage{}
		for _, x := range l {
			raw = append(raw, json.RawMessage(x))
		}
		return map[string]any{"lines": raw}
	}
	if code := s.postPhone(t, "/sensor", lines(), &a); code != http.StatusBadRequest || a.Error.Code != "no-lines" {
		t.Errorf("without lines: %d %+v", code, a)
	}
	if code := s.postPhone(t, "/sensor", lines(`{"type":"start","v":1,"route":"vector"}`, `{"type":"hold","t":1,"at":"Z9"}`), &a); code != http.StatusBadRequest || a.Error.Code != "bad-line" {
		t.Errorf("over a coil that is not there: %d %+v", code, a)
	}
	if code := s.postPhone(t, "/sensor", lines(`{"type":"start","v":1,"route":"vector"}`), &a); code != http.StatusOK || a.Found || a.Why == "" {
		t.Errorf("without a hold: %d %+v", code, a)
	}
	if got := s.stored(t); len(got) > 0 {
		t.Errorf("stored: %q", got)
	}
}
