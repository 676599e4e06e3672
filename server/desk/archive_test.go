package desk_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"regexp"
	"strings"
	"testing"

	"polewise/assets"
	"polewise/server/desk"
	"polewise/server/store"
)

func (s shop) archive(t *testing.T, id string) string {
	t.Helper()
	a, err := s.store.Archive(t.Context(), id)
	if err != nil || a == nil {
		t.Fatal(a, err)
	}
	text, err := a.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func file(checks ...string) *strings.Reader {
	return strings.NewReader(desk.ArchiveHead + strings.Join(checks, ",\n") + desk.ArchiveTail)
}

// fullCheck is a check with everything in it that a check may have but a record.
func fullCheck(t *testing.T) string {
	t.Helper()
	a := store.Archived{
		ID: "one", Began: "2024-05-01T12:00:00.5Z", PlanName: assets.DemoPlans()[0].Name, PlanTOML: string(assets.Demo()),
		After: "zero", Mend: json.RawMessage(`[{"do":"flip","id":"B2"}]`), Label: &store.Label{Serial: "K-1", Note: "<grey> & \"long\"\nlead"},
		Messages: []store.ArchivedMessage{
			{Source: "a", Seq: 1, Received: "2024-05-01T12:00:01Z", Lines: []json.RawMessage{[]byte(`{"type":"start","v":1,"route":"hand","device":"<x> & y"}`), []byte(`{"type":"reading","t":1,"at":"A1","face":"north"}`)}},
			{Source: "a", Seq: 3, Received: "2024-05-01T12:00:02Z", Lines: []json.RawMessage{[]byte(`{"type":"strange","more":[1,2]}`)}},
		},
		ThrownOut: []store.Hold{{Source: "a", Coil: "A1", T: 1}, {Source: "a", Coil: "A2", T: 1}},
		Holds:     []store.Hold{{Source: "a", Coil: "A2", T: 2.25, Samples: 7}, {Source: "a", Coil: "B1", T: 2.25, Samples: 3}},
		Verdicts:  []store.ArchivedVerdict{},
	}
	text, err := a.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func importing(t *testing.T, s shop, f io.ReadSeeker) (*desk.Imported, error) {
	t.Helper()
	return s.desk.Import(t.Context(), f, nil)
}

// TestArchiveComesBack: what is exported after an import is to the byte what was
// imported; the same again is skipped, another content is refused and changes
// nothing.
func TestArchiveComesBack(t *testing.T) {
	s := newShop(t)
	text := fullCheck(t)
	done, err := importing(t, s, file(text))
	if err != nil || len(done.Taken) != 1 {
		t.Fatalf("%+v %v", done, err)
	}
	if back := s.archive(t, "one"); back != text {
		t.Errorf("came back as\n%s\nwas\n%s", back, text)
	}
	if done, err = importing(t, s, file(text)); err != nil || len(done.Skipped) != 1 {
		t.Errorf("the same again: %+v %v", done, err)
	}
	other := strings.Replace(text, `"K-1"`, `"K-2"`, 1)
	if done, err = importing(t, s, file(other)); err != nil || len(done.Refused) != 1 || !strings.Contains(done.Refused[0].Say, "Nothing was overwritten") {
		t.Errorf("other content: %+v %v", done, err)
	}
	if back := s.archive(t, "one"); back != text {
		t.Error("it was overwritten")
	}
	// Written with spaces and in another order it is the same check.
	var spaced bytes.Buffer
	if err := json.Indent(&spaced, []byte(text), "", "  "); err != nil {
		t.Fatal(err)
	}
	if done, err = importing(t, newShop(t), file(spaced.String())); err != nil || len(done.Taken) != 1 {
		t.Errorf("indented: %+v %v", done, err)
	}
}

// TestArchiveRefused: a file with anything wrong in it is refused whole, with the
// line and what was expected.
func TestArchiveRefused(t *testing.T) {
	s := newShop(t)
	good := fullCheck(t)
	bad := func(old, new string) string {
		t.Helper()
		two := strings.Replace(good, `"one"`, `"two"`, 1)
		if !strings.Contains(two, old) {
			t.Fatalf("the check lacks %q", old)
		}
		return strings.Replace(two, old, new, 1)
	}
	for name, c := range map[string]struct{ check, say string }{
		"id":         {bad(`"id":"two"`, `"id":"t w o"`), `^Line 3: check t w o, id: expected letters`},
		"time":       {bad(`12:00:00.5Z`, `12:00:00+01:00`), `^Line 3: check two, began: expected a time in UTC`},
		"plan":       {bad(`turns = `, `turms = `), `turms`},
		"plan name":  {bad(`"plan_name":"`, `"plan_name":"Not `), `plan_name: expected "Kennel bed`},
		"mend":       {bad(`[{"do":"flip","id":"B2"}]`, `7`), `mend: `},
		"label":      {bad(`"serial":"K-1"`, `"serial":" K-1"`), `label.serial: expected at most 64`},
		"sequence":   {bad(`"seq":3`, `"seq":1`), `messages\[1\]: expected a source and a number of its own`},
		"coil":       {bad(`"at":"A1"`, `"at":"Z9"`), `messages\[0\].lines\[1\]: .*Z9`},
		"hold":       {bad(`"coil":"B1"`, `"coil":"Z9"`), `holds: expected a source, a coil of the plan`},
		"thrown":     {bad(`"coil":"A2","t":1`, `"coil":"A1","t":1`), `thrown_out: A1 at 1 s stands there twice`},
		"unknown":    {bad(`"messages":`, `"massages":`), `this check cannot be read: .*massages`},
		"wrong kind": {bad(`"began":"2024-05-01T12:00:00.5Z"`, `"began":7`), `began: expected string, found number`},
		"twice":      {good, `check one stands in the file twice`},
	} {
		if name == "twice" {
			s = newShop(t) // nothing is here yet
		}
		_, err := importing(t, s, file(good, c.check))
		var e *desk.ClientError
		if !errors.As(err, &e) || e.Hint == "" || !regexp.MustCompile(c.say).MatchString(e.Say) {
			t.Errorf("%s: expected %s, found %v", name, c.say, err)
		}
	}
	for name, text := range map[string]string{
		"not JSON": "date,coil\n", "empty": "", "another file": `{"type":"polewise-record","v":1,"checks":[]}`, "newer": `{"type":"polewise-checks","v":2,"checks":[]}`,
		"cut": desk.ArchiveHead + good[:len(good)/2], "more": desk.ArchiveHead + desk.ArchiveTail + "{}", "no list": `{"type":"polewise-checks","v":1}`,
	} {
		_, err := importing(t, s, strings.NewReader(text))
		var e *desk.ClientError
		if !errors.As(err, &e) || e.Code != "bad-file" || !strings.HasPrefix(e.Say, "Line ") {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, id := range []string{"one", "two"} {
		if a, err := s.store.Archive(t.Context(), id); err != nil || a != nil {
			t.Errorf("something of a refused file was taken in: %v %v", a, err)
		}
	}
}
