package browsertest

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// loaded is something the page loaded, and how many bytes that took.
type loaded struct {
	Name string `json:"name"`
	Size int    `json:"size"`
}

// TestBenchWeight measures what is transferred where there is something to show:
// twenty coils read, the map, an old check opened; files, answers, and what is
// told over the socket.
func TestBenchWeight(t *testing.T) {
	t.Parallel()
	toml, plan := demoNamed(t, "mat")
	file := filepath.Join(t.TempDir(), "mat.toml")
	if err := os.WriteFile(file, toml, 0o600); err != nil {
		t.Fatal(err)
	}
	program := startProgram(t, "--plan", file)
	program.postingPhone(t, "tester").send(madeCapture(t, plan, 1)...)
	ctx := newBrowser(t, 1280, 800)
	told := 0
	chromedp.ListenTarget(ctx, func(ev any) {
		if f, ok := ev.(*network.EventWebSocketFrameReceived); ok {
			told += len(f.Response.PayloadData)
		}
	})
	// Only once it is judged, so that one state is told.
	for deadline := time.Now().Add(time.Minute); ; time.Sleep(100 * time.Millisecond) {
		if raw, _ := fetchBench(t, program.Bench+"api/state"); strings.Count(raw, `"used":0`) == 0 && strings.Contains(raw, `"used":`) {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("no verdict within a minute")
		}
	}
	do(t, ctx, network.Enable(), chromedp.Navigate(program.Bench))
	waitFor(t, ctx, "the claims", `document.querySelectorAll("#coils .state").length === 20`)
	do(t, ctx, press("#show-map"))
	waitFor(t, ctx, "the map", `performance.getEntriesByType("resource").some((e) => e.name.includes("api/map") && e.responseEnd > 0)`)
	for view, ready := range map[string]string{"plan": `document.querySelector("#figure-windings")`, "records/" + state(t, program).Check.ID: `document.querySelector("#past-name")`} {
		do(t, ctx, chromedp.Evaluate(fmt.Sprintf(`location.hash = %q`, view), nil))
		waitFor(t, ctx, "the view "+view, ready)
	}
	var list []loaded
	do(t, ctx, chromedp.Evaluate(`[...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")].map((e) => ({ name: e.name, size: e.transferSize }))`, &list))
	slices.SortFunc(list, func(a, b loaded) int { return b.Size - a.Size })
	sum := told
	for i, e := range list {
		sum += e.Size
		if i < 8 {
			t.Logf("%7d %s", e.Size, e.Name)
		}
	}
	t.Logf("%d bytes in %d files and answers, of these %d over the socket", sum, len(list), told)
	if len(list) < 30 || told == 0 {
		t.Error("not everything was counted")
	}
	if sum > mostBytes {
		t.Errorf("%d bytes transferred, expected %d at most", sum, mostBytes)
	}
}
