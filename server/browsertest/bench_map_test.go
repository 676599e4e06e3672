package browsertest

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/cdproto/fetch"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"polewise/server/testplan"
)

// TestMapStoppedAndFailed has the field of a large pad worked out: how far it is
// shows, it can be stopped and begun again, and what goes wrong is said with a way
// to try again. The pad that is drawn is the demo; the large one takes its place on
// the way to the program.
func TestMapStoppedAndFailed(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 390, 844)
	asked := make(chan fetch.RequestID, 10)
	chromedp.ListenTarget(ctx, func(e any) {
		if p, ok := e.(*fetch.EventRequestPaused); ok {
			asked <- p.RequestID
		}
	})
	do(t, ctx, chromedp.Navigate(program.Bench))
	waitFor(t, ctx, "the pad", `document.querySelectorAll("#drawing .coil").length === 9`)
	do(t, ctx, chromedp.Evaluate(fmt.Sprintf(`(() => {
		const fetched = window.fetch;
		window.large = true;
		window.ended = [];
		window.fetch = (path, o = {}) => {
			if (path !== "api/map") return fetched(path, o);
			o.signal.addEventListener("abort", () => ended.push("aborted"));
			if (!large) return fetched(path, o);
			// However quick this machine is, its lines come one in a tenth of a second,
			// with some of its own before the field.
			return fetched(path, { ...o, method: "POST", body: JSON.stringify({ plan_toml: %q }) }).then(async (r) => {
				const lines = (await r.text()).trim().split("\n");
				const last = lines.pop();
				for (let k = 1; k < 10; k++) lines.push(JSON.stringify({ progress: { share: Math.max(k / 10, ...lines.map((l) => JSON.parse(l).progress.share)) } }));
				lines.push(last);
				return new Response(new ReadableStream({
					async pull(to) {
						await new Promise((f) => setTimeout(f, 100));
						if (o.signal.aborted) throw o.signal.reason;
						if (lines.length === 0) return to.close();
						to.enqueue(new TextEncoder().encode(lines.shift() + "\n"));
					},
				}), r);
			});
		};
		window.shares = [];
		new MutationObserver(() => { const bar = document.querySelector("#map-legend progress"); if (bar?.hasAttribute("value")) shares.push(bar.value); }).observe(document.querySelector("#map-legend"), { subtree: true, childList: true, attributes: true, characterData: true });
	})()`, testplan.Many(26, testplan.Oblong)), nil))
	const (
		legend  = `document.querySelector("#map-legend")`
		working = legend + `.querySelector("progress")?.value > 0 && /Working the field out: \d+ %/.test(` + legend + `.textContent)`
		painted = `document.querySelector("#drawing .map-layer").childElementCount > 0`
	)

	// At work, and stopped by keys.
	do(t, ctx, press("#show-map"))
	waitFor(t, ctx, "how far it is", working)
	do(t, ctx, chromedp.Focus(".stop-map", chromedp.ByQuery))
	shot(t, ctx, "working")
	do(t, ctx, chromedp.KeyEvent(kb.Enter))
	waitFor(t, ctx, "word that it stopped", legend+`.textContent.includes("Stopped") && ended.length === 1 && document.activeElement.classList.contains("map-again")`)
	shot(t, ctx, "stopped")
	time.Sleep(time.Second)
	waitFor(t, ctx, "no field", `!(`+painted+`) && !document.querySelector("#drawing svg").classList.contains("with-map")`)

	// Worked out after all, in shares that grow.
	do(t, ctx, chromedp.Evaluate(`shares.length = 0`, nil), chromedp.KeyEvent(kb.Enter))
	waitFor(t, ctx, "the field", painted+` && `+legend+`.textContent.includes("largest mark")`)
	var grow bool
	do(t, ctx, chromedp.Evaluate(`shares.length > 1 && shares.every((s, i) => i === 0 || s >= shares[i - 1]) && shares.at(-1) <= 1`, &grow))
	if !grow {
		var shares []float64
		do(t, ctx, chromedp.Evaluate(`shares`, &shares))
		t.Errorf("the shares shown do not grow: %v", shares)
	}

	// Off and on again it is known.
	do(t, ctx, fetch.Enable().WithPatterns([]*fetch.RequestPattern{{URLPattern: "*/api/map"}}), press("#show-map"))
	waitFor(t, ctx, "no field", `!(`+painted+`)`)
	do(t, ctx, press("#show-map"))
	waitFor(t, ctx, "the field again", painted)
	if len(asked) > 0 {
		t.Error("the field that was known was asked for again")
	}

	// Another check, and the program cannot be reached.
	do(t, ctx, chromedp.Evaluate(`large = false; fetch("api/check", { method: "POST", headers: { "Content-Type": "application/json" }, body: "{}" })`, nil))
	id := func() fetch.RequestID {
		t.Helper()
		select {
		case id := <-asked:
			return id
		case <-time.After(20 * time.Second):
			t.Fatal("the field was not asked for within 20 s")
		}
		panic("not reached")
	}
	held := id()
	waitFor(t, ctx, "a bar though nothing is told", legend+`.querySelector("progress:not([value])") && `+legend+`.querySelector(".stop-map")`)
	do(t, ctx, fetch.FailRequest(held, network.ErrorReasonConnectionRefused))
	waitFor(t, ctx, "what to do", legend+`.textContent.includes("did not come") && `+legend+`.textContent.includes("Start it again in its terminal, then try again")`)
	waitFor(t, ctx, "no field", `!(`+painted+`)`)
	shot(t, ctx, "failed")
	do(t, ctx, press(".map-again"))
	do(t, ctx, fetch.ContinueRequest(id()))
	waitFor(t, ctx, "the field of the other check", painted+` && `+legend+`.textContent.includes("largest mark")`)
}
