package web

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"polewise/field/rehearsal"
	"polewise/layout"
	"polewise/server/desk"
	"polewise/server/store"
)

// byHand stores faces read by hand, enough for a verdict.
func (s *stage) byHand(t *testing.T, lines ...string) {
	t.Helper()
	c := s.dial(t)
	c.send(c.lastSeq+1, append([]string{`{"type":"start","v":1,"route":"hand"}`}, lines...)...)
	c.acked(c.lastSeq + 1)
	s.settled(t, "the verdict", func(st *desk.State) bool { return st.Verdict != nil && st.Verdict.Coils[0].Used > 0 })
}

// ask posts to the bench and returns status and answer.
func (s *stage) ask(t *testing.T, path, body string) (int, string) {
	t.Helper()
	r, err := http.Post(s.bench.URL+path, "application/json", strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	raw, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, string(raw)
}

// Every refusal has its code, and says what to do next.
func TestSignOffRefused(t *testing.T) {
	s := newStage(t)
	id := s.desk.CheckID()
	refused := func(status int, code, path, body string) {
		t.Helper()
		got, answer := s.ask(t, path, body)
		var a struct{ Error desk.ClientError }
		if err := json.Unmarshal([]byte(answer), &a); err != nil {
			t.Fatal(err, answer)
		}
		if got != status || a.Error.Code != code || a.Error.Say == "" || a.Error.Hint == "" {
			t.Errorf("%s %.80s: %d %s, expected %d %s with words and a hint", path, body, got, answer, status, code)
		}
	}
	sign := func(fields string) string { return fmt.Sprintf(`{"check":%q,"maker":"AB"%s}`, id, fields) }
	refused(400, "not-to-be-signed", "/api/sign-off", sign(""))
	s.byHand(t, `{"type":"reading","t":1,"at":"A1","face":"north"}`)
	refused(400, "no-maker", "/api/sign-off", fmt.Sprintf(`{"check":%q,"maker":" "}`, id))
	refused(409, "other-check", "/api/sign-off", `{"check":"another","maker":"AB"}`)
	refused(400, "needs-exception", "/api/sign-off", sign(""))
	refused(400, "no-reason", "/api/sign-off", sign(`,"except":{"reason":"  "}`))
	refused(409, "changed", "/api/sign-off", sign(`,"except":{"reason":"because","coils":["A1"]}`))
	refused(400, "too-long", "/api/sign-off", sign(`,"note":"`+strings.Repeat("x", 601)+`"`))
	refused(400, "too-long", "/api/checks/"+id+"/label", `{"note":"`+strings.Repeat(`x\n`, 20)+`x"}`)
	refused(400, "bad-text", "/api/checks/"+id+"/label", `{"serial":"a\u0007"}`)
	refused(404, "no-check", "/api/checks/none/label", `{"serial":"1"}`)
	refused(400, "bad-file", "/api/checks/import", `{"type":"something"}`)
	for _, path := range []string{"/api/checks/none", "/api/checks/none/compared", "/api/records/" + id + ".html", "/api/checks?sort=size", "/api/checks?page=0", "/api/checks?state=new", "/api/checks/export?as=pdf", "/api/checks/export?ids=none"} {
		r, err := http.Get(s.bench.URL + path)
		if err != nil {
			t.Fatal(err)
		}
		var a struct{ Error desk.ClientError }
		err = json.NewDecoder(r.Body).Decode(&a)
		r.Body.Close()
		if err != nil || r.StatusCode < 400 || a.Error.Say == "" || a.Error.Hint == "" {
			t.Errorf("%s: %s, %+v, %v", path, r.Status, a.Error, err)
		}
	}
	// With the exception as it stands it is signed, once.
	except, err := json.Marshal(s.desk.State().SignOff.Except)
	if err != nil {
		t.Fatal(err)
	}
	whole := sign(`,"except":{"reason":"because",` + string(except[1:]))
	if status, answer := s.ask(t, "/api/convention", `{"out_face":"south"}`); status != 200 {
		t.Fatal(status, answer)
	}
	if status, answer := s.ask(t, "/api/sign-off", whole); status != 200 {
		t.Fatal(status, answer)
	}
	// The page has the maker's word as it was when it was signed; in the JSON north
	// keeps its meaning.
	if status, answer := s.ask(t, "/api/convention", `{"out_face":"north"}`); status != 200 {
		t.Fatal(status, answer)
	}
	for kind, say := range map[string]string{".html": "the maker calls it south", ".json": `{"id":"A1","string":"A","north":"up"`} {
		r, err := http.Get(s.bench.URL + "/api/records/" + id + kind)
		if err != nil {
			t.Fatal(err)
		}
		raw, err := io.ReadAll(r.Body)
		r.Body.Close()
		if err != nil || !strings.Contains(string(raw), say) {
			t.Errorf("the record's %s lacks %q, %v", kind, say, err)
		}
	}
	refused(400, "not-to-be-signed", "/api/sign-off", whole)
	refused(409, "signed-off", "/api/checks/"+id+"/label", `{"serial":"1"}`)
	c := s.dial(t)
	c.send(c.lastSeq+1, `{"type":"reading","t":2,"at":"A2","face":"north"}`)
	if e := c.refused(); e.Code != "signed-off" || e.Hint == "" {
		t.Errorf("%+v", e)
	}
}

// manyChecks is an export of n like checks.
func manyChecks(t *testing.T, n int) string {
	t.Helper()
	s := newStage(t)
	s.byHand(t, `{"type":"reading","t":1,"at":"A1","face":"north"}`)
	id := s.desk.CheckID()
	r, err := http.Get(s.bench.URL + "/api/checks/export?ids=" + id)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	raw, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	one := strings.TrimSuffix(strings.TrimPrefix(string(raw), desk.ArchiveHead), desk.ArchiveTail)
	var all []string
	for i := range n {
		all = append(all, strings.Replace(one, id, fmt.Sprintf("many-%d", i), 1))
	}
	return desk.ArchiveHead + strings.Join(all, ",\n") + desk.ArchiveTail
}

// An import tells how far it is; stopped in the middle it leaves whole checks, and
// the same file taken in again brings the others.
func TestImportFollowedAndStopped(t *testing.T) {
	const n = 300
	archive := manyChecks(t, n)
	s := newStage(t)
	stored := func() int {
		t.Helper()
		_, total, err := s.store.List(context.Background(), store.ListQuery{Sort: "began", Limit: 1})
		if err != nil {
			t.Fatal(err)
		}
		return total
	}
	type told struct {
		Progress *desk.ImportProgress
		Size     int64
		Done     *desk.Imported
		Error    *desk.ClientError
	}
	// follow takes the archive in, and stops once stop says so.
	follow := func(body string, stop func(told) bool) (last told, lines int) {
		t.Helper()
		ctx, cancel := context.WithCancel(context.Background())
		defer cancel()
		q, err := http.NewRequestWithContext(ctx, http.MethodPost, s.bench.URL+"/api/checks/import?follow=1", strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		r, err := http.DefaultClient.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		for sc := bufio.NewScanner(r.Body); sc.Scan(); lines++ {
			last = told{}
			if err := json.Unmarshal(sc.Bytes(), &last); err != nil {
				t.Fatal(err)
			}
			if stop(last) {
				cancel()
			}
		}
		return last, lines
	}
	follow(archive, func(m told) bool { return m.Progress != nil && m.Progress.Step == "taking" })
	// The request's end reaches the import a moment later.
	some := stored()
	for deadline := time.Now().Add(10 * time.Second); ; {
		time.Sleep(200 * time.Millisecond)
		now := stored()
		if now == some || time.Now().After(deadline) {
			break
		}
		some = now
	}
	if some >= n {
		t.Errorf("%d checks were taken in although it was stopped", some)
	}
	last, lines := follow(archive, func(m told) bool {
		if p := m.Progress; p != nil && (p.Bytes <= 0 || p.Bytes > m.Size || m.Size != int64(len(archive))) {
			t.Errorf("%+v of %d bytes", p, m.Size)
		}
		return false
	})
	if last.Done == nil || len(last.Done.Skipped) != some || len(last.Done.Taken) != n-some || lines < 2 || stored() != n {
		t.Errorf("after %d: %+v, %d lines, %d stored", some, last, lines, stored())
	}
	last, _ = follow(archive[:len(archive)-40], func(told) bool { return false })
	if last.Error == nil || last.Error.Code != "bad-file" || last.Error.Hint == "" {
		t.Errorf("%+v", last.Error)
	}
}

// What was put right and what followed a mend comes through export and import.
func TestArchiveLosesNothing(t *testing.T) {
	s := newStage(t)
	first := s.desk.CheckID()
	enter := func(seq int, line string) {
		t.Helper()
		if status, answer := s.ask(t, "/api/readings", fmt.Sprintf(`{"seq":%d,"lines":[%s]}`, seq, line)); status != 200 {
			t.Fatal(answer)
		}
	}
	enter(1, `{"type":"start","v":1,"route":"hand"},{"type":"ohms","t":1,"across":"pad","ohms":3},{"type":"reading","t":2,"at":"A1","face":"north"}`)
	enter(2, `{"type":"ohms","t":3,"across":"pad","ohms":0.98}`)
	o := rehearsal.Defaults()
	o.Rest, o.TellOffsetMM, o.OffsetMM, o.Faults = rehearsal.RestHolds, 4, &[2]float64{2, 18}, []layout.Fault{{Kind: layout.CoilReversed, ID: "B2"}}
	s.made(t, o)
	s.settled(t, "a fault", func(st *desk.State) bool { return st.Verdict != nil && st.Verdict.Outcome == "fault" })
	if status, answer := s.ask(t, "/api/checks/"+first+"/label", `{"serial":"7","note":"<&>\nsecond line"}`); status != 200 {
		t.Fatal(answer)
	}
	if status, answer := s.ask(t, "/api/check", `{"after_mend":{}}`); status != 200 {
		t.Fatal(answer)
	}
	enter(1, `{"type":"start","v":1,"route":"hand"},{"type":"reading","t":1,"at":"A1","face":"north"}`)
	s.settled(t, "the check after the mend", func(st *desk.State) bool { return st.Verdict != nil && st.Verdict.Coils[0].Used > 0 })
	export := func(s *stage) string {
		t.Helper()
		r, err := http.Get(s.bench.URL + "/api/checks/export")
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		raw, err := io.ReadAll(r.Body)
		if err != nil {
			t.Fatal(err)
		}
		return string(raw)
	}
	archive := export(s)
	for _, part := range []string{`"thrown_out":[{"source":"bench","coil":"pad","t":1}`, `"after":"` + first + `","mend":[{`, `"serial":"7"`} {
		if !strings.Contains(archive, part) {
			t.Errorf("the export lacks %s:\n%s", part, archive)
		}
	}
	other := newStage(t)
	if status, answer := other.ask(t, "/api/checks/import", archive); status != 200 || strings.Count(answer, s.desk.CheckID()) != 1 {
		t.Fatal(status, answer)
	}
	if again := export(other); again != archive {
		t.Errorf("exported again it differs:\n%s\n%s", archive, again)
	}
}
