package browsertest

import (
	"fmt"
	"testing"

	"github.com/chromedp/chromedp"
)

// TestBenchAxe looks at every view of the bench page, by day and by night,
// narrow and wide.
func TestBenchAxe(t *testing.T) {
	t.Parallel()
	r := startProgram(t)
	ctx := newBrowser(t, 1280, 800)
	for _, page := range []string{"#plan", "#check", "#records", "?canned=reversed#check", "?canned=doubt#check", "?canned=planned#check", "?canned=signed#check", "?canned=pass#check"} {
		do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(r.Bench+page), chromedp.WaitVisible("main:not([hidden])", chromedp.ByQuery))
		waitFor(t, ctx, "the plan", `document.getElementById("coils").childElementCount > 0`)
		// What is folded is looked at too.
		do(t, ctx, chromedp.Evaluate(`document.querySelectorAll("main:not([hidden]) details").forEach((d) => (d.open = true))`, nil))
		for _, mode := range []string{"light", "dark"} {
			for _, width := range []int64{360, 1280} {
				do(t, ctx, theme(mode), chromedp.EmulateViewport(width, 800))
				axe(t, ctx, fmt.Sprintf("%s %s %d px", page, mode, width))
			}
		}
	}
}
