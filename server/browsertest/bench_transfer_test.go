package browsertest

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/chromedp"

	"polewise/server/desk"
	"polewise/server/store"
)

// TestLongTransfers: a long import shows how far it is and is stopped by a button;
// an export and a backup are saved and told; without the program the page says
// what to do.
func TestLongTransfers(t *testing.T) {
	t.Parallel()
	toml, plan := demoNamed(t, "kennel")
	const n = 1200
	var checks []string
	for i := range n {
		a := store.Archived{ID: fmt.Sprintf("check-%d", i), Began: "2024-05-01T12:00:00Z", PlanName: plan.Name, PlanTOML: string(toml)}
		raw, err := a.Encode()
		if err != nil {
			t.Fatal(err)
		}
		checks = append(checks, string(raw))
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "checks.json")
	if err := os.WriteFile(file, []byte(desk.ArchiveHead+strings.Join(checks, ",\n")+desk.ArchiveTail), 0o600); err != nil {
		t.Fatal(err)
	}
	program := startProgram(t)
	ctx := newBrowser(t, 768, 900)
	says := func(selector, words string) {
		t.Helper()
		waitFor(t, ctx, words, fmt.Sprintf(`document.querySelector(%q)?.textContent.includes(%q)`, selector, words))
	}
	do(t, ctx, browser.SetDownloadBehavior(browser.SetDownloadBehaviorBehaviorAllow).WithDownloadPath(dir), chromedp.Navigate(program.Bench+"#records"))
	says("#rec-count", "Nothing has been read here yet")
	do(t, ctx, chromedp.SetUploadFiles("#rec-import", []string{file}, chromedp.ByQuery), chromedp.WaitVisible("#rec-stop", chromedp.ByQuery))
	says("#rec-taken", "Taking in check")
	shot(t, ctx, "on-its-way")
	do(t, ctx, chromedp.Click("#rec-stop", chromedp.ByQuery))
	says("#rec-taken", "Take the same file in again for the others")
	do(t, ctx, chromedp.Evaluate(`(() => { const s = document.querySelector("#rec-state"); s.value = "unread"; s.dispatchEvent(new Event("change")); })()`, nil))
	waitFor(t, ctx, "what is in", `/^[0-9]+ checks/.test(document.querySelector("#rec-count").textContent)`)
	var in int
	do(t, ctx, chromedp.Evaluate(`parseInt(document.querySelector("#rec-count").textContent)`, &in))
	if in < 2 || in >= n {
		t.Errorf("stopped, and %d of %d are in", in, n)
	}

	do(t, ctx, press("a#rec-export"))
	says("#rec-export-outcome", "polewise-checks.json")
	do(t, ctx, press("a#rec-backup"))
	says("#rec-backup-outcome", ".db")
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		raw, _ := os.ReadFile(filepath.Join(dir, "polewise-checks.json"))                                              // not there yet, or not whole
		if strings.HasSuffix(string(raw), desk.ArchiveTail) && strings.Count(string(raw), "\"id\":\"check-") >= in-1 { // one is the check on the bench
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("the export has %d bytes", len(raw))
		}
	}
	shot(t, ctx, "saved")

	if err := program.Cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = program.Cmd.Wait() // killed
	do(t, ctx, press("a#rec-export"))
	says("#rec-export-outcome", "Start it again in its terminal")
}
