package browsertest

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// enteredAtBench is what the server has of the bench page's own readings.
func enteredAtBench(t *testing.T, ctx context.Context) (e struct {
	Faces map[string]string
	Ohms  map[string]struct {
		Ohms    *float64
		Celsius float64
	}
}) {
	t.Helper()
	var raw string
	do(t, ctx, chromedp.Evaluate(`fetch("api/readings").then((r) => r.text())`, &raw,
		awaited))
	if err := json.Unmarshal([]byte(raw), &e); err != nil {
		t.Fatal(err)
	}
	return e
}

// enterIn replaces what stands in an input, as typing does.
func enterIn(selector, value string) chromedp.Action {
	return chromedp.Evaluate(fmt.Sprintf(`(() => { const i = document.querySelector(%q); i.value = %q; i.dispatchEvent(new Event("input", { bubbles: true })); })()`, selector, value), nil)
}

func TestBenchFigures(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 1280, 900)
	do(t, ctx, chromedp.Navigate(program.Bench+"#plan"))
	waitFor(t, ctx, "the figures", `document.querySelector("#figure-windings")`)
	for panel, says := range map[string]string{
		"#figure-windings": "6 × 11", "#figure-strings": "33.3 %", "#figure-supply": "Set the supply to 2 V", "#figure-field": "evenness 94.8 %",
		"#figure-keep": "0.5 mT", "#figure-cut": "AWG 22 (0.644 mm)", "#ohms-sheet": "0.880 to 1.04", "#winding-cards": "mark the start lead plus",
	} {
		if s := text(t, ctx, panel); !strings.Contains(s, says) {
			t.Errorf("%s lacks %q:\n%s", panel, says, s)
		}
	}
	for _, look := range []struct{ w, h int64 }{{1280, 900}, {768, 1000}, {360, 780}} {
		for _, th := range []string{"light", "dark"} {
			do(t, ctx, chromedp.EmulateViewport(look.w, look.h), theme(th))
			var wide int64
			do(t, ctx, chromedp.Evaluate(`document.documentElement.scrollWidth`, &wide))
			if wide > look.w {
				t.Errorf("%d pixels wide in a window of %d", wide, look.w)
			}
			shot(t, ctx, fmt.Sprintf("plan-%d-%s", look.w, th))
		}
	}
	do(t, ctx, chromedp.EmulateViewport(1280, 900), theme("light"))

	// The index goes to a part and leaves the address alone.
	do(t, ctx, press(`[data-to="figure-cut"]`))
	waitFor(t, ctx, "the wire", `(() => {
		const { top } = document.querySelector("#figure-cut").getBoundingClientRect();
		return Math.abs(top) < 2 && document.activeElement.id === "figure-cut-title" && location.hash === "#plan";
	})()`)

	// A number out of bounds is told, and what is below stays.
	do(t, ctx, enterIn("#option-room_celsius", "900"))
	waitFor(t, ctx, "the words", `document.querySelector("#figures-trouble").textContent.includes("-40 to 80")`)
	if s := text(t, ctx, "#figure-windings"); !strings.Contains(s, "6 × 11") {
		t.Error("the figures are gone")
	}
	waitFor(t, ctx, "nothing that is said of other figures", `document.querySelector(".figures-well") && !document.querySelector(".figures-well").checkVisibility()`)
	for _, th := range []string{"light", "dark"} {
		do(t, ctx, theme(th))
		axe(t, ctx, "figures from before, "+th)
		shot(t, ctx, "from-before-"+th)
	}
	do(t, ctx, theme("light"))
	// Copper at 45 C has 1.098 times its ohms: 0.958 becomes 1.05.
	do(t, ctx, enterIn("#option-room_celsius", "45"))
	waitFor(t, ctx, "ohms at 45 C", `document.querySelector("#figure-windings").textContent.includes("1.05") && !document.querySelector("#figures-trouble").textContent`)

	// Somebody who calls the other face north reads their own word all over a card.
	do(t, ctx, chromedp.Navigate(program.Bench+"#check"), press("#call-south"), press("#call-north"), press("#call-south"), chromedp.Navigate(program.Bench+"#plan"))
	waitFor(t, ctx, "the maker's word on the card", `document.querySelector("#winding-cards .winding-card")?.innerText.includes("north up (your south up)")`)
	if s := text(t, ctx, "#winding-cards .winding-card"); !strings.Contains(s, "with plus at the mark its north (your south) faces up") {
		t.Errorf("the marks have another word than the head:\n%s", s)
	}

	// On paper, the cards alone.
	shown := func(selector string) (yes bool) {
		do(t, ctx, chromedp.Evaluate(fmt.Sprintf(`document.querySelector(%q).getClientRects().length > 0`, selector), &yes))
		return yes
	}
	for part, want := range map[string][3]bool{"cards": {true, false, false}, "ohms": {false, true, false}, "": {true, true, true}} {
		do(t, ctx, emulation.SetEmulatedMedia().WithMedia("print"), chromedp.Evaluate(fmt.Sprintf(`document.body.dataset.printing = %q; if (!%q) delete document.body.dataset.printing`, part, part), nil))
		if got := [3]bool{shown(".winding-card"), shown(".ohms-table"), shown("#figure-windings")}; got != want {
			t.Errorf("printing %q: cards, sheet, figures shown: %v, expected %v", part, got, want)
		}
		shot(t, ctx, "print-"+part)
	}
}

func TestBenchOhms(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 1280, 900)
	do(t, ctx, chromedp.Navigate(program.Bench+"#plan"))
	waitFor(t, ctx, "the sheet", `document.querySelector('[data-across="coil:A1"]')`)
	do(t, ctx, enterIn(`[data-across="coil:A1"]`, "0,96"), enterIn(`[data-across="coil:A2"]`, "0.3"), enterIn(`[data-across="coil:A3"]`, "much"),
		press(`button[aria-label="string A is open"]`))
	waitFor(t, ctx, "the comparison", `document.querySelectorAll(".ohm-state").length === 3`)
	says := text(t, ctx, "#ohms-sheet")
	for _, s := range []string{"as planned", "low May be shorted turns: about 41 of 60", "expected ohms as a number without a unit", "open May be an open joint in string A"} {
		if !strings.Contains(says, s) {
			t.Errorf("the sheet lacks %q:\n%s", s, says)
		}
	}
	shot(t, ctx, "sheet")
	do(t, ctx, press("#use-ohms"))
	waitFor(t, ctx, "the check to have them", `document.querySelector("#ohms-used").textContent.includes("3 readings")`)
	e := enteredAtBench(t, ctx)
	if o := e.Ohms; len(o) != 3 || *o["coil:A1"].Ohms != 0.96 || *o["coil:A2"].Ohms != 0.3 || o["string:A"].Ohms != nil || o["coil:A1"].Celsius != 20 {
		t.Errorf("%+v", e)
	}
	// All of it is still there after a reload, and what is put right replaces it.
	do(t, ctx, chromedp.Reload())
	waitFor(t, ctx, "the sheet again", `document.querySelector('[data-across="coil:A2"]')?.value === "0.3" && document.querySelectorAll(".ohm-state").length === 3`)
	waitFor(t, ctx, "nothing new to use", `document.querySelector("#use-ohms").disabled`)
	do(t, ctx, enterIn(`[data-across="coil:A2"]`, "0.97"))
	waitFor(t, ctx, "one to use", `document.querySelector("#use-ohms").textContent.includes("(1)")`)
	do(t, ctx, press("#use-ohms"))
	waitFor(t, ctx, "it to be used", `document.querySelector("#use-ohms").disabled && document.querySelector("#use-ohms").textContent === "Use in the check"`)
	if o := enteredAtBench(t, ctx).Ohms; len(o) != 3 || *o["coil:A2"].Ohms != 0.97 {
		t.Errorf("%+v", o)
	}
	// The check tells what ohms alone tell, and what they cannot.
	do(t, ctx, chromedp.Navigate(program.Bench+"#check"))
	waitFor(t, ctx, "the verdict", `/Not decided yet/.test(document.querySelector("#verdict .outcome")?.textContent)`)
	verdict := text(t, ctx, "#verdict")
	for _, s := range []string{"Suspected so far", "carries no current", "Ohms do not tell which way a coil faces. Read A1 with a phone, or with a needle."} {
		if !strings.Contains(verdict, s) {
			t.Errorf("the verdict lacks %q:\n%s", s, verdict)
		}
	}
}

func TestBenchTaps(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 1280, 900)
	tap := func(coil, what string) {
		t.Helper()
		var picked bool
		do(t, ctx, chromedp.Evaluate(fmt.Sprintf(`document.querySelector('.coil-button[data-coil=%q]').getAttribute("aria-pressed") === "true"`, coil), &picked))
		if !picked {
			do(t, ctx, press(fmt.Sprintf(`.coil-button[data-coil=%q]`, coil)))
		}
		waitFor(t, ctx, "the taps of "+coil, fmt.Sprintf(`document.querySelector(".taps-title")?.textContent.startsWith(%q)`, coil))
		do(t, ctx, press(fmt.Sprintf(`[data-tap=%q]`, what)))
	}
	pressed := func(what string) {
		t.Helper()
		waitFor(t, ctx, what+" to be noted", fmt.Sprintf(`document.querySelector('[data-tap=%q][aria-pressed="true"]')`, what))
	}
	do(t, ctx, chromedp.Navigate(program.Bench))
	waitFor(t, ctx, "the coils", `document.querySelector(".coil-button")`)
	// Who has no phone is led there.
	do(t, ctx, press("#by-needle"))
	waitFor(t, ctx, "the taps of the first coil", `document.activeElement?.dataset.tap === "north" && document.querySelector(".taps-title").textContent.startsWith("A1")`)
	tap("B1", "south")
	pressed("south")
	tap("B2", "north")
	pressed("north")
	tap("B3", "none")
	pressed("none")
	waitFor(t, ctx, "the verdict to count them", `[...document.querySelectorAll(".coils-table tr")].filter((r) => /B[123]/.test(r.cells[0]?.textContent) && !r.textContent.includes("not read")).length >= 3`)
	// Its card and its readings say how it was read, and no more.
	waitFor(t, ctx, "what was read of B3", `document.querySelector("#coil").textContent.includes("Read by needle") && document.querySelector("#holds").textContent.includes("B3, by hand: no face")`)
	shot(t, ctx, "taps")
	if f := enteredAtBench(t, ctx).Faces; len(f) != 3 || f["B1"] != "south" || f["B2"] != "north" || f["B3"] != "none" {
		t.Errorf("%v", f)
	}
	// Read again, and taken back.
	tap("B1", "north")
	pressed("north")
	tap("B2", "clear")
	waitFor(t, ctx, "B2 to be open again", `document.querySelector('[data-tap="clear"]').disabled`)
	if f := enteredAtBench(t, ctx).Faces; len(f) != 2 || f["B1"] != "north" || f["B3"] != "none" {
		t.Errorf("%v", f)
	}
	var phones int
	do(t, ctx, chromedp.Evaluate(`document.querySelectorAll(".phone-row").length`, &phones))
	if phones != 0 {
		t.Errorf("%d phones are told of, and none joined", phones)
	}
}
