package browsertest

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"polewise/field/rehearsal"
	"polewise/layout"
	"polewise/server/testplan"
)

// TestLiveFromReadingToClaim sends a check as a phone does, in pieces: the page
// shows what the phone does now, how far the hold is, the claim once it stands,
// and which reading is asked for next and why.
func TestLiveFromReadingToClaim(t *testing.T) {
	t.Parallel()
	_, plan := demoNamed(t, "kennel")
	program := startProgram(t)
	ctx := newBrowser(t, 1280, 900)
	do(t, ctx, chromedp.Navigate(program.Bench))
	waitFor(t, ctx, "the pad", `document.querySelector(".coil-button")`)
	stays := staysInPlace(t, ctx)
	lines := madeCapture(t, plan, 5, layout.Fault{Kind: layout.CoilReversed, ID: "B2"})
	phone := program.postingPhone(t, "phone")
	next, read := 0, 0
	var last struct {
		Type, At string
		UT       []float64 `json:"uT"`
	}
	// until sends up to a line of some type, with it, n times over.
	until := func(kind string, n int) {
		t.Helper()
		from := next
		for n > 0 {
			last.Type, last.At = "", ""
			if err := json.Unmarshal([]byte(lines[next]), &last); err != nil {
				t.Fatal(err)
			}
			if next++; last.Type == kind {
				n--
			}
		}
		phone.send(lines[from:next]...)
	}
	until("hold", 1)
	first := last.At
	until("b", 12)
	doing := `document.querySelector("#phones .doing")?.textContent.replaceAll("−", "-") ?? ""`
	waitFor(t, ctx, "what the phone does", fmt.Sprintf(`(%s).includes("on %s, 12 readings")`, doing, first))
	numbers := fmt.Sprintf("%.0f", last.UT[2])
	waitFor(t, ctx, "the last reading, "+numbers, fmt.Sprintf(`(%s).trim().split(/\s+/).includes(%q)`, doing, numbers))
	waitFor(t, ctx, "how far the hold is", fmt.Sprintf(`document.querySelector("#drawing [data-coil=%s] .counting")`, first))
	stays("while the phone counts")
	shot(t, ctx, "counting")
	if s := text(t, ctx, "#coils"); strings.Contains(s, "as planned") {
		t.Errorf("something is claimed in the middle of the first hold:\n%s", s)
	}

	// Coil by coil: each is claimed as it comes, said to those who do not see it.
	said := `window.heard = []; new MutationObserver(() => heard.push(document.querySelector("#said").textContent)).observe(document.querySelector("#said"), { childList: true, characterData: true, subtree: true })`
	do(t, ctx, chromedp.Evaluate(said+"; true", nil))
	for range plan.Coils {
		until("lift", 1)
		read++
		waitFor(t, ctx, fmt.Sprintf("%d coils read", read), fmt.Sprintf(`[...document.querySelectorAll(".coils-table tbody tr")].filter((r) => !r.textContent.includes("not read")).length >= %d`, read))
		if read == 4 {
			waitFor(t, ctx, "the next reading asked for", `(() => {
				const next = document.querySelector("#drawing .coil.is-next")?.dataset.coil;
				return next && document.querySelector("#prompt").textContent.includes(next) && document.querySelector("#drawing .coil.is-next title").textContent.includes("to be read next");
			})()`)
			stays("with a reading asked for")
			shot(t, ctx, "next")
		}
	}
	waitFor(t, ctx, "B2 to be claimed", `document.querySelector("#drawing [data-coil=B2]").classList.contains("is-reversed")`)
	waitFor(t, ctx, "the claims said", `heard.join().includes("B2 reversed") && heard.join().includes("as planned")`)
	var claims []string
	do(t, ctx, press("#verdict .claims summary"), chromedp.Evaluate(`[...document.querySelectorAll("#verdict .claims li")].map((n) => n.textContent)`, &claims))
	if len(claims) < 5 {
		t.Errorf("the claims as they came: %q", claims)
	}
	// Nothing is asked for any more: the cause is, with its drawing.
	waitFor(t, ctx, "the cause", `document.querySelector("#verdict .cause-say").textContent.includes("B2") && !document.querySelector("#verdict .next") && !document.querySelector("#drawing .coil.is-next")`)
	stays("with nothing asked for any more")
	shot(t, ctx, "all read")
}

// staysInPlace tells whether the drawing is where it was at first, whatever comes and
// goes above it: someone looks at it, or has the pointer on it.
func staysInPlace(t *testing.T, ctx context.Context) func(when string) {
	t.Helper()
	box := func() (b [4]float64) {
		t.Helper()
		do(t, ctx, chromedp.Evaluate(`(({ x, y, width, height }) => [x + scrollX, y + scrollY, width, height])(document.querySelector("#drawing .pad").getBoundingClientRect())`, &b))
		return b
	}
	first := box()
	return func(when string) {
		t.Helper()
		if now := box(); now != first {
			t.Errorf("%s the drawing lies at %v, it was at %v", when, now, first)
		}
	}
}

// TestNextReadingSaysWhy leaves a check in doubt: what is asked for next is the same
// over the drawing, in the drawing and in the panel, and its reason is told once, also
// with that coil picked.
func TestNextReadingSaysWhy(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	// Some of B2's turns are shorted: one reading of it does not quite tell.
	o := rehearsal.Defaults()
	o.Seed, o.Faults = 1, []layout.Fault{{Kind: layout.TurnsShorted, ID: "B2"}}
	post(t, program, "phone", o, "A1", "A2", "A3")
	ctx := newBrowser(t, 1280, 900)
	do(t, ctx, chromedp.Navigate(program.Bench))
	asked := func(coil, why string) {
		t.Helper()
		waitFor(t, ctx, coil+" to be asked for", fmt.Sprintf(`(([id, why]) =>
			document.querySelector("#prompt").textContent.includes(id) &&
			document.querySelector("#drawing .coil.is-next")?.dataset.coil === id &&
			document.querySelector("#verdict .next").textContent.startsWith("Next: " + id) &&
			document.querySelector("#verdict .next").textContent.includes(why) &&
			document.querySelector("main:not([hidden])").innerText.split(why).length === 2
		)(%s)`, asJSON(t, []string{coil, why})))
	}
	asked("B1", "B1 has not been read yet.")
	shot(t, ctx, "unread")
	post(t, program, "more", o, "B1", "B2", "B3", "C1", "C2", "C3")
	waitFor(t, ctx, "all read", `![...document.querySelectorAll(".coils-table tbody tr")].some((r) => r.textContent.includes("not read"))`)
	var next struct{ At, Why, Outcome string }
	do(t, ctx, chromedp.Evaluate(`fetch("api/state").then((r) => r.json()).then((s) => ({ at: s.verdict.next?.at ?? "", why: s.verdict.next?.why ?? "", outcome: s.verdict.outcome }))`, &next, awaited))
	if next.At == "" || next.Why == "" {
		t.Fatalf("one reading of a coil with shorted turns decides everything: %+v", next)
	}
	asked(next.At, next.Why)
	do(t, ctx, press(fmt.Sprintf(`.coil-button[data-coil=%q]`, next.At)))
	waitFor(t, ctx, "its card", `document.querySelector("#coil .next").textContent.includes("Asked for next")`)
	asked(next.At, next.Why)
	shot(t, ctx, "in doubt")
}

// TestLongVerdict has the verdict of a large pad worked out: that shows with how
// long it has taken, and a person stops it and has it go on.
func TestLongVerdict(t *testing.T) {
	t.Parallel()
	toml := testplan.Many(10, testplan.Round70)
	plan, err := layout.Parse("many.toml", []byte(toml))
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "many.toml")
	if err := os.WriteFile(file, []byte(toml), 0o600); err != nil {
		t.Fatal(err)
	}
	program := startProgram(t, "--plan", file)
	ctx := newBrowser(t, 1280, 900)
	do(t, ctx, chromedp.Navigate(program.Bench))
	waitFor(t, ctx, "the pad", `document.querySelectorAll("#drawing .coil").length === 200`)
	stays := staysInPlace(t, ctx)
	phone := program.postingPhone(t, "phone")
	for lines := range slices.Chunk(madeCapture(t, plan, 3), 1500) {
		phone.send(lines...)
	}
	const shown = `!document.querySelector("#judging").hidden && `
	waitFor(t, ctx, "that it is being worked out", shown+`/Working out the verdict of \d+ readings, [1-9]\d* s so far/.test(document.querySelector("#judging").textContent) && document.querySelector("#judging progress").getClientRects().length > 0`)
	stays("while the verdict is worked out")
	shot(t, ctx, "working")
	do(t, ctx, press("#stop-judging"))
	waitFor(t, ctx, "that it was stopped", shown+`document.querySelector("#judging").textContent.includes("Stopped: the verdict is that from before") && document.querySelector("#stop-judging").hidden`)
	shot(t, ctx, "stopped")
	do(t, ctx, press("#judge-now"))
	waitFor(t, ctx, "it to go on", shown+`document.querySelector("#judging").textContent.includes("Working out the verdict") && document.querySelector("#judge-now").hidden`)
	do(t, ctx, press("#stop-judging"))
	waitFor(t, ctx, "that it was stopped again", shown+`document.querySelector("#judging").textContent.includes("Stopped")`)
}
