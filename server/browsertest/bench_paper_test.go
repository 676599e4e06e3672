package browsertest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// TestOnPaper prints the ohms sheet and the winding cards of a pad of nine coils,
// each alone on one sheet of A4 and of Letter, and a check of 200 coils, of which
// no line is cut off.
func TestOnPaper(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 1280, 900)
	keep := func(name string, pdf []byte) {
		if dir := os.Getenv("POLEWISE_ARTEFACTS"); dir != "" {
			if err := os.WriteFile(filepath.Join(dir, "TestOnPaper-"+name+".pdf"), pdf, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	do(t, ctx, chromedp.Navigate(program.Bench+"#plan"))
	waitFor(t, ctx, "the figures", `document.querySelector("#winding-cards .winding-card") && document.querySelector("#figure-windings")`)
	do(t, ctx, chromedp.Evaluate(`window.print = () => {}`, nil)) // a real one would wait for a person
	for part, button := range map[string]string{"ohms": "#print-ohms", "cards": "#print-cards"} {
		for name, inches := range papers {
			do(t, ctx, press(button))
			// As the paper has it: the whole line of a coil in one line.
			var high float64
			do(t, ctx, emulation.SetEmulatedMedia().WithMedia("print"), chromedp.EmulateViewport(int64((inches[0]-2*paperMargin)*96), 1000),
				chromedp.Evaluate(`Math.max(...[...document.querySelectorAll(".ohms-table tbody tr")].map((r) => r.getBoundingClientRect().height))`, &high),
				emulation.SetEmulatedMedia().WithMedia(""), chromedp.EmulateViewport(1280, 900))
			if part == "ohms" && (high < 15 || high > 45) {
				t.Errorf("on %s a line of the ohms sheet is %.0f pixels high", name, high)
			}
			pdf := onPaper(t, ctx, inches)
			keep(part+"-"+name, pdf)
			if n := pages(pdf); n != 1 {
				t.Errorf("the %s take %d pages of %s", part, n, name)
			}
			// The whole page again afterwards.
			waitFor(t, ctx, "nothing left out", `!("printing" in document.body.dataset)`)
		}
	}

	// A plan that is not the one on the bench bears its own name, and no more of the
	// page than concerns it.
	do(t, ctx, enterIn("#ed-name", "Another pad"))
	waitFor(t, ctx, "its figures", `document.querySelector(".figures-plan").textContent === "Another pad"`)
	do(t, ctx, emulation.SetEmulatedMedia().WithMedia("print"))
	if on := text(t, ctx, "body"); !strings.HasPrefix(strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(on), "polewise")), "Another pad") || strings.Contains(on, "Kennel") {
		t.Errorf("the plan on paper begins with another name:\n%.300s", on)
	}
	do(t, ctx, emulation.SetEmulatedMedia().WithMedia(""))

	do(t, ctx, chromedp.Navigate(program.Bench+"?canned=many#check"))
	waitFor(t, ctx, "200 coils", `document.querySelectorAll("#coils tbody tr").length === 200`)
	var cut bool
	do(t, ctx, emulation.SetEmulatedMedia().WithMedia("print"), chromedp.Evaluate(`(() => {
		const [last, table] = [document.querySelector("#coils tbody tr:last-child"), document.querySelector("#coils .scroll")].map((n) => n.getBoundingClientRect());
		return last.bottom > table.bottom + 1;
	})()`, &cut), emulation.SetEmulatedMedia().WithMedia(""))
	if cut {
		t.Error("of 200 coils only some have their line on paper")
	}
	pdf := onPaper(t, ctx, papers["A4"])
	keep("many-A4", pdf)
	if n := pages(pdf); n < 5 || n > 16 {
		t.Errorf("a check of 200 coils takes %d pages", n)
	}
}
