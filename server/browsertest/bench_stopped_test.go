package browsertest

import (
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"polewise/assets"
)

// TestEveryViewWithoutTheProgram ends the program under an open page: whatever is
// pressed then says what to do next, nothing typed goes, and once the program runs
// again the page goes on.
func TestEveryViewWithoutTheProgram(t *testing.T) {
	t.Parallel()
	_, plan := demoNamed(t, "kennel")
	file := filepath.Join(t.TempDir(), "pad.toml")
	if err := os.WriteFile(file, assets.Demo(), 0o600); err != nil {
		t.Fatal(err)
	}
	program := startProgram(t, "--plan", file)
	ctx := newBrowser(t, 1280, 900)
	view := func(name string) chromedp.Action {
		return chromedp.Evaluate(fmt.Sprintf(`location.hash = %q`, name), nil)
	}
	do(t, ctx, chromedp.Navigate(program.Bench+"#records"))
	waitFor(t, ctx, "the list", `document.querySelector("#rec-file")?.textContent`)
	do(t, ctx, view("plan"))
	waitFor(t, ctx, "the plan", `document.querySelector("#ed-drawing [data-coil]") && document.querySelector("#figure-windings")`)
	do(t, ctx, view("check"))
	readPad(t, ctx, program, "phone", madeCapture(t, plan, 1))
	waitFor(t, ctx, "the sign-off", `document.querySelector("#sign").textContent === "Sign off"`)
	do(t, ctx, typeIn("maker", "AB"))

	program.kill(t)
	const next = "Start it again in its terminal"
	says := func(what, selector string) {
		t.Helper()
		waitFor(t, ctx, what+": what to do next", fmt.Sprintf(`[...document.querySelectorAll(%q)].some((n) => n.getClientRects().length > 0 && n.textContent.includes(%q))`, selector, next))
	}
	says("the link", "#link.lost")
	within := func(what, button string) {
		t.Helper()
		do(t, ctx, press(button))
		says(what, "#dialog .trouble")
		do(t, ctx, chromedp.KeyEvent(kb.Escape))
		waitFor(t, ctx, "the dialog to close", `!document.querySelector("dialog[open]")`)
	}

	// The check.
	do(t, ctx, press("#show-map"))
	says("the field", "#map-legend")
	do(t, ctx, press("#rehearse"), chromedp.WaitVisible("#begin-rehearsal", chromedp.ByQuery))
	within("a rehearsal", "#begin-rehearsal")
	do(t, ctx, press("#new-check"), chromedp.WaitVisible("#begin-check", chromedp.ByQuery))
	within("a new check", "#begin-check")
	do(t, ctx, press("#sign"))
	says("signing", "#sign-off .trouble")
	do(t, ctx, press("#call-south"))
	says("what north is called", "#convention .trouble")
	do(t, ctx, press(".coil-button"))
	do(t, ctx, press(`[data-tap="north"]`))
	says("a tap", ".taps .trouble")
	within("throwing a reading out", "#holds .throw-out")
	shot(t, ctx, "check")

	// The plan: what is typed stays in its field.
	e := &editing{t: t, ctx: ctx, program: program, file: file}
	do(t, ctx, view("plan"), chromedp.Evaluate(`scrollTo(0, 0)`, nil))
	e.drag("B2", 20, 0)
	says("a drag", ".banner.not-done")
	e.tap("A1")
	e.fill("#ed-coil-at-0", "97")
	says("a number typed", ".banner.not-done")
	waitFor(t, ctx, "words at the field", `document.querySelector("#ed-coil-at-0").closest(".field").textContent.includes("Press Enter here to try again") && document.querySelector("#ed-coil-at-0").value === "97"`)
	do(t, ctx, press("#ed-begin"), chromedp.WaitVisible("#begin-plan", chromedp.ByQuery))
	within("beginning a plan", "#begin-plan")
	do(t, ctx, press("#ed-use"))
	within("using a plan", "#ed-use-yes")
	do(t, ctx, enterIn("#option-room_celsius", "25"))
	says("the figures", "#figures-trouble")
	do(t, ctx, enterIn(`[data-across="coil:A1"]`, "0.9"))
	says("the ohms", "#ohms-sheet .trouble")
	shot(t, ctx, "plan")

	// The records.
	do(t, ctx, view("records"))
	says("the list", "#rec-count")
	do(t, ctx, press("a#rec-export"))
	says("the export", "#rec-export-outcome")
	do(t, ctx, press("a#rec-backup"))
	says("the backup", "#rec-backup-outcome")
	do(t, ctx, chromedp.SetUploadFiles("#rec-import", []string{file}, chromedp.ByQuery))
	waitFor(t, ctx, "the import: what to do next", `document.querySelector("#rec-taken").textContent.includes("Take the same file in again")`)
	shot(t, ctx, "records")

	// It runs again, at the same addresses.
	at := func(address string) string {
		t.Helper()
		u, err := url.Parse(address)
		if err != nil {
			t.Fatal(err)
		}
		return u.Host
	}
	again := launch(t, program.Data, "--plan", file, "--listen", at(program.Bench), "--phone-listen", at(program.Phone))
	if again.Bench != program.Bench {
		t.Fatalf("%s became %s", program.Bench, again.Bench)
	}
	waitFor(t, ctx, "the link", `document.body.dataset.link === "live" && document.querySelector("#link").textContent === ""`)
	waitFor(t, ctx, "the list again", `/^\d+ check/.test(document.querySelector("#rec-count").textContent)`)
	do(t, ctx, view("plan"))
	waitFor(t, ctx, "the figures again", `!document.querySelector("#figures-trouble").textContent && document.querySelector("#option-room_celsius").value === "25"`)
	waitFor(t, ctx, "the ohms again", `!document.querySelector("#ohms-sheet .trouble").textContent && document.querySelector('[data-across="coil:A1"]').value === "0.9"`)
	do(t, ctx, chromedp.Focus("#ed-coil-at-0", chromedp.ByQuery), chromedp.KeyEvent(kb.Enter))
	e.says("at = [97, 390]")
	waitFor(t, ctx, "no words at the field", `!document.querySelector("#ed-coil-at-0").closest(".field").textContent.includes("try again")`)
	do(t, ctx, view("check"))
	waitFor(t, ctx, "the pad as read", `document.querySelector("#sign")?.textContent === "Sign off" && document.querySelector("#sign-off [name=maker]").value === "AB"`)
	do(t, ctx, press("#sign"))
	waitFor(t, ctx, "it to be signed", `document.querySelector("#sign-off .outcome")?.textContent.includes("Signed off")`)
}
