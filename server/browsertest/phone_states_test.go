package browsertest

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// stateNames lists the canned states of the phone page.
func stateNames(t *testing.T, program *Running, page func(actions ...chromedp.Action)) []string {
	t.Helper()
	var names []string
	page(chromedp.Navigate(program.Phone+"app/states.html"), chromedp.WaitVisible("#states", chromedp.ByQuery),
		chromedp.Evaluate(`[...document.querySelectorAll("#states a")].map((a) => a.textContent)`, &names))
	if len(names) < 30 {
		t.Fatalf("only %d canned states", len(names))
	}
	return names
}

// view saves what of a page is in view among the test's artefacts.
func view(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	var png []byte
	do(t, ctx, chromedp.CaptureScreenshot(&png))
	dir := filepath.Join(os.Getenv("POLEWISE_ARTEFACTS"), t.Name())
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestPhoneStatesFit opens every canned state at the width of a small phone:
// nothing may stick out sideways, the phone must be whole in the drawing, and what is
// to be tapped must be large enough.
func TestPhoneStatesFit(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 360, 740)
	page := func(actions ...chromedp.Action) { t.Helper(); do(t, ctx, actions...) }
	for _, name := range stateNames(t, program, page) {
		var wide, small, cut []string
		page(chromedp.Navigate(program.Phone+"app/states.html?state="+url.QueryEscape(name)),
			chromedp.WaitVisible(fmt.Sprintf("body[data-shown=%q]", name), chromedp.ByQuery),
			chromedp.Evaluate(`[...document.querySelectorAll("body *")].filter((n) => n.getBoundingClientRect().right > innerWidth + 1 && !n.closest("svg")).map((n) => n.outerHTML.slice(0, 80))`, &wide),
			chromedp.Evaluate(`[...document.querySelectorAll("button, select, summary, input[type=text]")].filter((n) => n.checkVisibility()).filter((n) => { const r = n.getBoundingClientRect(); return r.height < 43.5 || r.width < 43.5; }).map((n) => n.outerHTML.slice(0, 80))`, &small),
			chromedp.Evaluate(`[...document.querySelectorAll(".phone-on")].filter((n) => {
				const [a, b] = [n, n.ownerSVGElement].map((x) => x.getBoundingClientRect());
				return a.left < b.left || a.top < b.top || a.right > b.right || a.bottom > b.bottom;
			}).map((n) => n.outerHTML.slice(0, 80))`, &cut))
		if len(cut) > 0 {
			t.Errorf("%s: the drawing cuts the phone off: %v", name, cut)
		}
		if len(wide) > 0 {
			t.Errorf("%s: sticks out of 360 pixels: %v", name, wide)
		}
		if len(small) > 0 {
			t.Errorf("%s: too small to tap (44 pixels): %v", name, small)
		}
		if os.Getenv("POLEWISE_ARTEFACTS") != "" {
			for _, colours := range []string{"dark", "light"} {
				page(theme(colours))
				view(t, ctx, name+"-"+colours)
			}
		}
	}
}

// TestPhoneStatesOnASmallScreen: on a short screen the drawing is seen whole and large
// enough without scrolling, whatever there is to say; what went wrong a moment ago is
// in view, what has no room can be scrolled to by keys too, and what is to be tapped
// is at the lower edge.
func TestPhoneStatesOnASmallScreen(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 360, 640)
	for _, name := range []string{"supply-off", "counting", "lift", "place", "row", "row-drawn", "row-spoilt", "row-offered", "supply-off-rows", "claim-reversed", "claim-undecided", "broken", "turned", "link-lost", "heading-place", "sensor-lay", "small-pad",
		"small-pad-across", "key-changed", "not-stored", "heading-elsewhere", "heading-weak", "sensor-edge", "sensor-unchanged", "much-said"} {
		var hidden, high []string
		var unsaid struct {
			Small   bool   // the drawing
			Covered string // the last note, where it is not in view
			Cut     bool   // the title
			Beyond  bool   // words are left to scroll to
			Stop    bool   // which keys get to
		}
		var header float64
		do(t, ctx, chromedp.Navigate(program.Phone+"app/states.html?state="+name),
			chromedp.WaitVisible(fmt.Sprintf("body[data-shown=%q]", name), chromedp.ByQuery),
			chromedp.Evaluate(`[...document.querySelectorAll(".drawing .pad, .is-next")].filter((n) => n.getBoundingClientRect().bottom > document.querySelector("footer").getBoundingClientRect().top).map((n) => n.dataset.coil || "the drawing")`, &hidden),
			chromedp.Evaluate(`(() => {
				const box = (n) => n.getBoundingClientRect();
				const words = document.querySelector("#words");
				const last = [...words.querySelectorAll(".note:not([hidden])")].at(-1);
				const title = box(document.querySelector("#title"));
				const inView = !last || (box(last).top >= title.bottom - 1 && box(last).bottom <= box(words).bottom + 1);
				const beyond = words.scrollHeight > words.clientHeight + 1;
				return { small: box(document.querySelector(".drawing .pad")).height < 120, covered: inView ? "" : last.textContent, cut: title.top < box(words).top - 1 || title.bottom > box(words).bottom + 1, beyond, stop: words.tabIndex === 0 };
			})()`, &unsaid),
			chromedp.Evaluate(`[...document.querySelectorAll("#actions button")].filter((n) => { const r = n.getBoundingClientRect(); return r.top < innerHeight - 150 || r.bottom > innerHeight; }).map((n) => n.id)`, &high),
			chromedp.Evaluate(`document.querySelector("header").offsetHeight`, &header))
		if len(hidden) > 0 {
			t.Errorf("%s: %v cannot be seen", name, hidden)
		}
		if unsaid.Small || unsaid.Covered != "" || unsaid.Cut || unsaid.Beyond != unsaid.Stop {
			t.Errorf("%s: %+v", name, unsaid)
		}
		if name == "much-said" {
			if !unsaid.Beyond {
				t.Errorf("%s: nothing is left to scroll to", name)
			}
			do(t, ctx, chromedp.Focus("#words", chromedp.ByQuery), chromedp.KeyEvent(kb.Home))
			waitFor(t, ctx, "the title, by keys", `document.querySelector("#words").scrollTop === 0`)
			axe(t, ctx, "much said")
		}
		if len(high) > 0 {
			t.Errorf("%s: out of a thumb's reach: %v", name, high)
		}
		if limit := map[bool]float64{true: 90, false: 52}[slices.Contains([]string{"link-lost", "key-changed", "much-said"}, name)]; header > limit {
			t.Errorf("%s: the header takes %g pixels, expected %g at most", name, header, limit)
		}
	}
}

// TestPhoneCautionsInSight: where the supply is switched on the cautions are seen whole on a
// short screen, however much was claimed meanwhile.
func TestPhoneCautionsInSight(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 360, 640)
	for _, name := range []string{"supply-on", "supply-on-news", "heading-on", "hand-on"} {
		do(t, ctx, chromedp.Navigate(program.Phone+"app/states.html?state="+name), chromedp.WaitVisible(fmt.Sprintf("body[data-shown=%q]", name), chromedp.ByQuery))
		waitFor(t, ctx, name+": the cautions in sight", `(() => {
			const c = document.querySelector(".caution").getBoundingClientRect();
			return c.height > 100 && c.top > 0 && c.bottom <= document.querySelector("footer").getBoundingClientRect().top;
		})()`)
	}
}

// TestPhoneStatesSideways: of a phone held sideways the drawing, what is to be tapped
// and what is said last are in view without scrolling.
func TestPhoneStatesSideways(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 640, 360)
	for _, name := range []string{"start-raw", "supply-off", "unsteady", "counting", "row", "row-drawn", "row-spoilt", "claim-reversed", "broken", "small-pad", "much-said", "result-reversed", "heading-weak", "hand-on", "hand-faces", "hand-other-convention", "sensor-found"} {
		var hidden []string
		var footer float64
		do(t, ctx, chromedp.Navigate(program.Phone+"app/states.html?state="+name),
			chromedp.WaitVisible(fmt.Sprintf("body[data-shown=%q]", name), chromedp.ByQuery),
			chromedp.Evaluate(`(() => {
				const box = (n) => n.getBoundingClientRect();
				const [words, foot] = ["#words", "footer"].map((q) => box(document.querySelector(q)));
				const below = (n, lowest) => box(n).bottom > lowest + 1;
				const over = (n, k) => box(n).right > box(k).left + 1 && box(n).left < box(k).right - 1 && box(n).bottom > box(k).top + 1 && box(n).top < box(k).bottom - 1;
				const last = [...document.querySelectorAll("#words .note:not([hidden])")].at(-1) || document.querySelector(".claim-read") || document.querySelector("#lead");
				return [
					...[...document.querySelectorAll("#drawing svg")].filter((n) => below(n, foot.top) || box(n).height < 100).map(() => "the drawing"),
					...[...document.querySelectorAll("#actions button")].filter((n, _, all) => below(n, innerHeight) || n.scrollWidth > n.clientWidth || box(n).right > innerWidth || all.some((k) => k !== n && over(n, k))).map((n) => n.id),
					...[last].filter((n) => below(n, Math.min(words.bottom, foot.top)) || box(n).top < words.top - 1).map((n) => n.textContent),
				];
			})()`, &hidden),
			chromedp.Evaluate(`document.querySelector("footer").offsetHeight`, &footer))
		if len(hidden) > 0 {
			t.Errorf("%s: %v cannot be seen", name, hidden)
		}
		if footer > 120 {
			t.Errorf("%s: the lower edge takes %g pixels of 360", name, footer)
		}
	}
}

// TestPhoneStatesEnlarged: on a page enlarged so far that little is seen at once nothing
// lies over what is to be tapped.
func TestPhoneStatesEnlarged(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	for _, size := range [][2]int64{{180, 370}, {320, 200}} {
		ctx := newBrowser(t, size[0], size[1])
		for _, name := range []string{"hand-faces", "much-said", "heading-place", "counting", "result-reversed", "ohms"} {
			var covered []string
			do(t, ctx, chromedp.Navigate(program.Phone+"app/states.html?state="+name),
				chromedp.WaitVisible(fmt.Sprintf("body[data-shown=%q]", name), chromedp.ByQuery),
				chromedp.Evaluate(`[...document.querySelectorAll("#title, #lead, #actions button, #switches button")].filter((n) => n.checkVisibility()).filter((n) => {
					n.scrollIntoView({ block: "center" });
					const r = n.getBoundingClientRect();
					const on = document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2);
					return r.right > innerWidth + 1 || !on || !(n === on || n.contains(on));
				}).map((n) => n.id)`, &covered))
			if len(covered) > 0 {
				t.Errorf("%s at %d by %d: covered or cut: %v", name, size[0], size[1], covered)
			}
		}
	}
}
