package browsertest

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"polewise/server/testplan"
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
		if name == "reversed" {
			verdictInView(t, ctx, program)
		}
		if name == "fresh" { // before anything is driven
			waitFor(t, ctx, "the caution, and the way to all of them", `document.querySelector("#verdict").innerText.includes("pacemakers") && document.querySelector('#verdict a[href="#cautions"]')`)
			do(t, ctx, press(`#verdict a[href="#cautions"]`))
			waitFor(t, ctx, "all cautions", `document.querySelector("#cautions").getBoundingClientRect().top < innerHeight && !document.querySelector("main[data-view=check]").hidden`)
		}
		do(t, ctx, unfold)
		looked(t, ctx, "state "+name)
		if name == "many" {
			seenFromFar(t, ctx)
		}
	}
}

// verdictInView opens that state on a phone's screen: what is found is told there
// without scrolling, below the drawing.
func verdictInView(t *testing.T, ctx context.Context, program *Running) {
	t.Helper()
	do(t, ctx, chromedp.EmulateViewport(360, 740), chromedp.Evaluate(`sessionStorage.clear()`, nil), chromedp.Reload())
	waitFor(t, ctx, "the verdict in view", `document.querySelector("#verdict .outcome")?.getBoundingClientRect().top < innerHeight - 20 && document.querySelector("#drawing svg").getBoundingClientRect().top < 300`)
	do(t, ctx, press("#how-drawn summary"))
	waitFor(t, ctx, "how it is drawn, kept", `document.querySelector("#legend-north").checkVisibility() && Object.values(sessionStorage).some((v) => v.includes('"how":true'))`)
	do(t, ctx, chromedp.Reload())
	waitFor(t, ctx, "that it is told over a reload", `document.querySelector("#verdict .outcome") && document.querySelector("#legend-north").checkVisibility()`)
	do(t, ctx, chromedp.EmulateViewport(1280, 900), chromedp.Evaluate(`sessionStorage.clear()`, nil), chromedp.Reload())
	waitFor(t, ctx, "the same, wide", `document.querySelectorAll("#coils tbody tr").length > 0 && document.querySelector("#legend-north").checkVisibility()`)
}

// seenFromFar looks at 200 coils on a phone's screen, with nothing made larger: the
// coil that is wrong and the next one have their names, large enough to read and
// hidden by nothing; the others have a shape alone, each state another; and a whole
// string that is wrong has all its names. Made larger, every coil has its own name.
func seenFromFar(t *testing.T, ctx context.Context) {
	t.Helper()
	do(t, ctx, chromedp.EmulateViewport(360, 640))
	waitFor(t, ctx, "a drawing seen from far", `document.querySelector("#drawing .is-tiny")`)
	var far struct {
		Names  map[string]string
		Letter float64
		Small  int // names in coils, too small to read
		Shapes map[string][]string
		Hidden []string
		Of20   struct{ Placed, Overlapping int }
	}
	do(t, ctx, chromedp.Evaluate(`(async () => {
		const drawing = document.querySelector("#drawing");
		const box = (n) => n.getBoundingClientRect();
		const overlap = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
		const names = [...drawing.querySelectorAll(".far-name")];
		const matter = [...drawing.querySelectorAll(".coil:is(.is-reversed, .is-next)")];
		const shapes = {};
		for (const coil of drawing.querySelectorAll(".coil")) {
			const state = [...coil.classList].find((c) => ["is-as-planned", "is-reversed", "is-undecided"].includes(c)) || "unread";
			const drawn = [...coil.querySelectorAll(".tiny :is(path, circle)")].filter((n) => box(n).height >= 3);
			(shapes[state] ||= new Set()).add(drawn.map((n) => n.getAttribute("d") || n.localName).join(" "));
		}
		const { placeLabels } = await import("./common/far-labels.js");
		const bounds = { x: -30, y: -30, w: 2240, h: 1200 };
		const row = placeLabels(Array.from({ length: 200 }, (_, i) => ({ id: "c" + i, text: "S10-" + (i % 20), x: 60 + (i % 20) * 108, y: 60 + Math.floor(i / 20) * 112, r: 50, rank: i >= 60 && i < 80 ? 1 : 3 })), bounds, 72);
		return {
			names: Object.fromEntries(names.map((n) => [n.dataset.names, n.textContent])),
			letter: Math.min(...names.map((n) => box(n.querySelector("text")).height)),
			small: [...drawing.querySelectorAll(".coil-name")].filter((n) => box(n).height > 0).length,
			shapes: Object.fromEntries(Object.entries(shapes).map(([k, v]) => [k, [...v]])),
			hidden: names.flatMap((n, i) => [
				...names.slice(i + 1).filter((m) => overlap(box(n.querySelector("text")), box(m.querySelector("text")))).map((m) => m.textContent),
				...matter.filter((c) => overlap(box(n.querySelector("text")), box(c.querySelector(".bore")))).map((c) => c.dataset.coil),
			]),
			of20: {
				placed: row.filter((l) => l.rank === 1).length,
				overlapping: row.filter((a, i) => row.slice(i + 1).some(({ box: b }) => a.box.x < b.x + b.w && b.x < a.box.x + a.box.w && a.box.y < b.y + b.h && b.y < a.box.y + a.box.h)).length,
			},
		};
	})()`, &far, awaited))
	if far.Names["S3-17"] != "S3-17" || far.Names["S7-10"] != "next: S7-10" || far.Letter < 10 || far.Small > 0 || len(far.Hidden) > 0 {
		t.Errorf("seen from far: %+v", far)
	}
	seen := map[string]string{}
	for state, shapes := range far.Shapes {
		if len(shapes) != 1 || shapes[0] == "" || seen[shapes[0]] != "" {
			t.Errorf("%s has the shapes %q, of which %s has one", state, shapes, seen[shapes[0]])
			continue
		}
		seen[shapes[0]] = state
	}
	if len(seen) != 4 || far.Of20.Placed != 20 || far.Of20.Overlapping > 0 {
		t.Errorf("%d states; of twenty wrong coils in a row %+v", len(seen), far.Of20)
	}
	shot(t, ctx, "far")
	for range 4 {
		do(t, ctx, press(`#view-buttons [aria-label="Closer"]`))
	}
	waitFor(t, ctx, "names in their coils", `!document.querySelector("#drawing .is-tiny") && !document.querySelector("#drawing .far-name") && [...document.querySelectorAll("#drawing .far .coil-name")].every((n) => n.getBoundingClientRect().height > 8)`)
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
	do(t, ctx, chromedp.Navigate(program.Bench+"?canned=reversed"))
	waitFor(t, ctx, "the mend", `document.querySelector("#mended")`)
	do(t, ctx, press("#mended"), chromedp.WaitVisible("#begin-mended", chromedp.ByQuery))
	looked(t, ctx, "dialog-mended")
	fitsIn(t, ctx, "#mended")
	do(t, ctx, chromedp.KeyEvent(kb.Escape), chromedp.Navigate(program.Bench))
	waitFor(t, ctx, "the pad again", `document.querySelector("#coils .coil-button")`)
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

// TestLongNames has names as long as they may be: no view gets wider than a small
// screen, and what is drawn stays within its coil and its label, told apart by its end.
func TestLongNames(t *testing.T) {
	t.Parallel()
	long := func(s string) string { return fmt.Sprintf("%q", "Hall-of-the-long-house-by-32"[:32-len(s)-4]+s) }
	var pairs []string
	for _, id := range []string{"A1", "A2", "B1", "B2", "A", "B", "w"} {
		pairs = append(pairs, fmt.Sprintf("%q", id), long(id))
	}
	file := filepath.Join(t.TempDir(), "long.toml")
	toml := strings.NewReplacer(pairs...).Replace(testplan.Few("The pad of a customer whose name goes on and on", 2, 2, 120))
	if err := os.WriteFile(file, []byte(toml), 0o600); err != nil {
		t.Fatal(err)
	}
	program := startProgram(t, "--plan", file)
	ctx := newBrowser(t, 1280, 900)
	narrow := func(view, there string) {
		t.Helper()
		do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(program.Bench+view))
		waitFor(t, ctx, view, there)
		for _, width := range []int64{320, 360} {
			var wide int64
			do(t, ctx, unfold, chromedp.EmulateViewport(width, 740), chromedp.Evaluate(`document.documentElement.scrollWidth`, &wide))
			if wide > width {
				t.Errorf("%s: %d pixels wide in a window of %d", view, wide, width)
			}
			shot(t, ctx, fmt.Sprintf("%s-%d", strings.NewReplacer("?", "", "#", "-", "=", "-").Replace(view), width))
		}
		do(t, ctx, chromedp.EmulateViewport(1280, 900))
	}
	narrow("#plan", `document.querySelector("#winding-cards .winding-card") && document.querySelector("#ohms-sheet tbody tr")`)
	for _, state := range []string{"reversed", "string", "doubt"} {
		narrow("?canned="+state+"#check", `document.querySelectorAll("#coils tbody tr").length === 4`)
	}
	var out []string
	do(t, ctx, chromedp.Evaluate(`(() => {
		const within = (text, box) => { const [a, b] = [text.getBoundingClientRect(), box.getBoundingClientRect()]; return a.left >= b.left - 1 && a.right <= b.right + 1; };
		const names = [...document.querySelectorAll("#drawing .coil")].map((c) => [c.querySelector(".near .coil-name"), c.querySelector(".copper")]);
		const ends = [...document.querySelectorAll("#drawing .string-end")].map((e) => [e.querySelector("text"), e.querySelector("rect")]);
		const all = [...names, ...ends];
		if (all.length !== 8 || new Set(names.map(([n]) => n.textContent)).size !== 4) return ["drawn: " + all.map(([n]) => n.textContent).join()];
		return all.filter(([n, box]) => !within(n, box)).map(([n]) => n.textContent);
	})()`, &out))
	if len(out) > 0 {
		t.Errorf("names that stick out: %q", out)
	}
	shot(t, ctx, "drawn")
}

// TestSkipLink: in each view the first Tab reaches a link past what stands above all of
// them, and it leads into that view.
func TestSkipLink(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 1280, 900)
	for view, to := range map[string]string{"plan": "editor", "check": "verdict", "records": "pads"} {
		do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(program.Bench), chromedp.Evaluate(`location.hash = "`+view+`"`, nil))
		waitFor(t, ctx, "the view "+view, fmt.Sprintf(`document.body.dataset.view === %q && document.querySelector("#%s").checkVisibility()`, view, to))
		do(t, ctx, chromedp.Evaluate(`document.querySelector(".skip").focus()`, nil), chromedp.KeyEvent(kb.Enter))
		waitFor(t, ctx, "the focus in "+view, fmt.Sprintf(`document.activeElement.id === %q && document.body.dataset.view === %q`, to, view))
	}
	// A bookmark of a view opens it with nothing framed, and at its top: on a phone's
	// screen the head takes so much that it would be scrolled past.
	var focused string
	var scrolled float64
	do(t, ctx, chromedp.EmulateViewport(360, 740), chromedp.Navigate("about:blank"), chromedp.Navigate(program.Bench+"#records"))
	waitFor(t, ctx, "the records", `document.body.dataset.view === "records" && document.readyState === "complete" && document.querySelector("#pads input")?.checkVisibility()`)
	do(t, ctx, chromedp.Sleep(300*time.Millisecond), chromedp.Evaluate(`document.activeElement.id || document.activeElement.localName`, &focused), chromedp.Evaluate(`scrollY`, &scrolled))
	if focused != "body" {
		t.Errorf("opened at the records: the focus is on %q, expected nowhere", focused)
	}
	if scrolled != 0 {
		t.Errorf("opened at the records: scrolled by %g pixels, expected to begin at the top", scrolled)
	}
}
