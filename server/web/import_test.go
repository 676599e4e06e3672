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

	"polewise/assets"
	"polewise/server/desk"
	"polewise/server/store"
)

// archiveOf is a file of checks without readings.
func archiveOf(t *testing.T, n int) string {
	t.Helper()
	demo := assets.DemoPlans()[0]
	var checks []string
	for i := range n {
		a := store.Archived{ID: fmt.Sprintf("check-%d", i), Began: "2024-05-01T12:00:00Z", PlanName: demo.Name, PlanTOML: string(demo.TOML)}
		text, err := a.Encode()
		if err != nil {
			t.Fatal(err)
		}
		checks = append(checks, string(text))
	}
	return desk.ArchiveHead + strings.Join(checks, ",\n") + desk.ArchiveTail
}

type importLine struct {
	Progress *desk.ImportProgress
	Size     int64
	Done     *desk.Imported
	Error    *desk.ClientError
}

func (s *stage) takeIn(t *testing.T, ctx context.Context, file string) *http.Response {
	t.Helper()
	q, err := http.NewRequestWithContext(ctx, http.MethodPost, s.bench.URL+"/api/checks/import?follow=1", strings.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	a, err := http.DefaultClient.Do(q)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.Body.Close() })
	return a
}

// takenIn counts the checks that were taken in.
func (s *stage) takenIn(t *testing.T) int {
	t.Helper()
	list, _, err := s.store.List(t.Context(), store.ListQuery{State: "unread", Sort: "began", Limit: 10_000})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, l := range list {
		if l.Imported {
			n++
		}
	}
	return n
}

// TestImportTellsHowFarItIs: steps on the way, the outcome last; broken files are
// told in the same way.
func TestImportTellsHowFarItIs(t *testing.T) {
	s := newStage(t)
	const n = 60
	file := archiveOf(t, n)
	var last importLine
	steps := map[string]bool{}
	lines := bufio.NewScanner(s.takeIn(t, t.Context(), file).Body)
	for lines.Scan() {
		last = importLine{}
		if err := json.Unmarshal(lines.Bytes(), &last); err != nil {
			t.Fatal(err)
		}
		if p := last.Progress; p != nil {
			steps[p.Step] = true
			if last.Size != int64(len(file)) || p.Bytes < 1 || p.Bytes > last.Size {
				t.Errorf("%s", lines.Text())
			}
		}
	}
	if last.Done == nil || len(last.Done.Taken) != n {
		t.Errorf("the last line: %+v", last)
	}
	if !steps["looking"] {
		t.Error("nothing was told on the way")
	}
	if got := s.takenIn(t); got != n {
		t.Errorf("%d checks are here, expected %d", got, n)
	}

	raw, err := io.ReadAll(s.takeIn(t, t.Context(), file[:len(file)-10]).Body)
	if err != nil {
		t.Fatal(err)
	}
	all := strings.Split(strings.TrimSpace(string(raw)), "\n")
	last = importLine{}
	if err := json.Unmarshal([]byte(all[len(all)-1]), &last); err != nil || last.Error == nil || last.Error.Hint == "" {
		t.Errorf("a file that is not whole: %s %v", all[len(all)-1], err)
	}
}

// TestImportCanBeStopped: what was not taken in by then never is.
func TestImportCanBeStopped(t *testing.T) {
	s := newStage(t)
	const n = 800 // seconds
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	lines := bufio.NewScanner(s.takeIn(t, ctx, archiveOf(t, n)).Body)
	for lines.Scan() {
		if strings.Contains(lines.Text(), `"taking"`) {
			break
		}
	}
	stop()
	before := -1
	for range 100 { // a check that is being stored may still end
		time.Sleep(100 * time.Millisecond)
		now := s.takenIn(t)
		if now == before {
			break
		}
		before = now
	}
	if before >= n || before < 0 {
		t.Fatalf("%d of %d were taken in", before, n)
	}
	t.Logf("stopped after %d of %d", before, n)
}
