package browsertest

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// unfold opens what is folded in the view shown.
var unfold = chromedp.Evaluate(`document.querySelectorAll("main:not([hidden]) details").forEach((d) => (d.open = true))`, nil)

// TestEveryState looks at the states of a check, with everything unfolded, at three
// widths by day and by night: nothing sticks out, nothing is amiss for those who
// cannot see, and a picture of each is kept.
func TestEveryState(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 1280, 900)
	do(t, ctx, chromedp.Navigate(program.Bench))
	waitFor(t, ctx, "the canned states", `document.querySelector("#plan-name").textContent.includes("Kennel")`)
	var names []string
	do(t, ctx, chromedp.Evaluate(`import("./app/states.js").then((m) => m.NAMES)`, &names, awaited))
	if len(names) < 10 {
		t.Fatalf("only the states %q", names)
	}
	for _, name := range names {
		do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(program.Bench+"?canned="+name+"#check"))
		waitFor(t, ctx, "the state "+name, `document.querySelectorAll("#coils tbody tr").length > 0`)
		do(t, ctx, unfold)
		looked(t, ctx, "state "+name)
	}
}

// TestEveryDialog looks in the same way at the views, the dialogs and a rehearsal.
func TestEveryDialog(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 1280, 900)
	do(t, ctx, chromedp.Navigate(program.Bench))
	waitFor(t, ctx, "the pad", `document.querySelector("#coils .coil-button")`)
	for button, there := range map[string]string{"#rehearse": "#begin-rehearsal", "#new-check": "#begin-check"} {
		do(t, ctx, press(button), chromedp.WaitVisible(there, chromedp.ByQuery))
		looked(t, ctx, "dialog"+strings.ReplaceAll(button, "#", "-"))
		fitsIn(t, ctx, button)
		do(t, ctx, chromedp.KeyEvent(kb.Escape))
	}
	do(t, ctx, press("#show-map"))
	waitFor(t, ctx, "the field", `document.querySelector("#drawing .map-layer").childElementCount > 0`)
	looked(t, ctx, "field")
	do(t, ctx, press("#show-map"), chromedp.Evaluate(`location.hash = "plan"`, nil))
	waitFor(t, ctx, "the plan", `document.querySelector("#ed-drawing [data-coil]") && document.querySelector("#figure-windings")`)
	do(t, ctx, unfold)
	looked(t, ctx, "plan")
	do(t, ctx, press("#ed-begin"), chromedp.WaitVisible("#begin-plan", chromedp.ByQuery))
	looked(t, ctx, "dialog-begin")
	fitsIn(t, ctx, "#ed-begin")
	do(t, ctx, chromedp.KeyEvent(kb.Escape))
	e := &editing{t: t, ctx: ctx, program: program}
	do(t, ctx, chromedp.Evaluate(`scrollTo(0, 0)`, nil))
	e.tap("B2")
	e.wait("a coil picked", `document.querySelector("#ed-coil-at-0")`)
	looked(t, ctx, "plan coil")
	do(t, ctx, chromedp.Evaluate(`document.querySelector("#ed-drawing [data-coil=B2]").focus()`, nil), chromedp.KeyEvent("a", chromedp.KeyModifiers(input.ModifierCtrl)))
	e.wait("all picked", `document.querySelector("#ed-picked h2").textContent === "9 coils"`)
	looked(t, ctx, "plan several")
	do(t, ctx, press("#ed-draw-string"))
	looked(t, ctx, "plan string")
	do(t, ctx, press("#ed-string-not"), chromedp.Evaluate(`location.hash = "check"`, nil))

	c := &carrier{t: t, ctx: ctx, program: program}
	asked := c.rehearse()
	do(t, ctx, press("#carry"))
	waitFor(t, ctx, "it to lie there", fmt.Sprintf(`document.querySelector("#carry").textContent === "It lies on %s"`, asked))
	do(t, ctx, unfold)
	looked(t, ctx, "rehearsal")
	do(t, ctx, press("#reveal"))
	waitFor(t, ctx, "the truth", `document.querySelector("#truth").textContent.includes("Hidden was")`)
	looked(t, ctx, "truth")
}

// fitsIn fails where a dialog's buttons cannot be reached on a small screen.
func fitsIn(t *testing.T, ctx context.Context, what string) {
	t.Helper()
	do(t, ctx, chromedp.EmulateViewport(360, 640))
	var in bool
	do(t, ctx, chromedp.Evaluate(`(() => {
		const d = document.querySelector("dialog[open]");
		const b = d.querySelector("button.main");
		b.scrollIntoView({ block: "nearest" });
		const [r, s] = [b, d].map((n) => n.getBoundingClientRect());
		return s.top >= 0 && s.bottom <= innerHeight && r.bottom <= s.bottom && r.right <= s.right;
	})()`, &in))
	if !in {
		t.Errorf("the dialog of %s does not fit on 360 by 640", what)
		shot(t, ctx, "does not fit")
	}
	do(t, ctx, chromedp.EmulateViewport(1280, 900))
}
