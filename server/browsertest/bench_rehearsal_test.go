package browsertest

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// inPhone is an expression evaluated in the made-up phone's own page.
func inPhone(expression string) string {
	return fmt.Sprintf(`((document) => %s)(document.querySelector("#rehearsal iframe")?.contentDocument || document.createDocumentFragment())`, expression)
}

// tapInPhone clicks in the made-up phone's page as soon as the thing is there.
func tapInPhone(t *testing.T, ctx context.Context, id string) {
	t.Helper()
	waitFor(t, ctx, "the phone to ask "+id, inPhone(`document.querySelector("#`+id+`")`))
	do(t, ctx, chromedp.Evaluate(inPhone(`document.querySelector("#`+id+`").click()`), nil))
}

// TestRehearsalByHand goes through a rehearsal as a newcomer does: begin, follow
// the phone, carry it from coil to coil, and look at what was hidden.
func TestRehearsalByHand(t *testing.T) {
	program := startProgram(t)
	bench := newBrowser(t, 1440, 860)
	do(t, bench, chromedp.Navigate(program.Bench))
	waitFor(t, bench, "the pad", `document.querySelector("#plan-name").textContent.includes("Kennel")`)
	shot(t, bench, "fresh")
	do(t, bench, press("#rehearse"), chromedp.WaitVisible("#begin-rehearsal", chromedp.ByQuery))
	do(t, bench, chromedp.Evaluate(`document.querySelector("select[name=difficulty]").value = "easy"`, nil))
	do(t, bench, press("#begin-rehearsal"))
	tapInPhone(t, bench, "begin")
	// The phone lies on the first coil before the supply goes on.
	waitFor(t, bench, "a coil to carry it to", `!document.querySelector("#carry").disabled`)
	do(t, bench, press("#carry"), chromedp.Sleep(2*time.Second))
	tapInPhone(t, bench, "is-off")
	tapInPhone(t, bench, "is-on")
	read := func() (n int) {
		do(t, bench, chromedp.Evaluate(`fetch("api/state").then((r) => r.json()).then((s) => s.verdict.coils.filter((c) => c.used > 0).length)`, &n,
			awaited))
		return n
	}
	n := 0
	for deadline := time.Now().Add(165 * time.Second); n < 9; {
		if time.Now().After(deadline) {
			shot(t, bench, "stuck")
			t.Fatalf("%d coils were read in the rehearsal, expected all nine", n)
		}
		// Carry the phone where it asks to go, and wait for the hold to count.
		do(t, bench, chromedp.Evaluate(`document.querySelector("#carry").disabled || document.querySelector("#carry").click()`, nil))
		if n == 5 {
			shot(t, bench, "midway")
		}
		before := n
		for i := range 20 {
			time.Sleep(400 * time.Millisecond)
			if n = read(); n > before {
				break
			}
			if i == 10 {
				// Over a coil without field the phone asks whether it lies there;
				// a person looks, and says so.
				do(t, bench, chromedp.Evaluate(inPhone(`document.querySelector("#lies")?.click()`), nil))
			}
		}
	}
	shot(t, bench, "verdict")
	// Whatever was decided or left open, the truth can be shown beside it.
	do(t, bench, press("#reveal"))
	waitFor(t, bench, "the truth", `document.querySelector("#truth").textContent.includes("Hidden was")`)
	shot(t, bench, "truth")
}
