package browsertest

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
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

// inPhoneText is what the made-up phone's page says.
func inPhoneText(t *testing.T, ctx context.Context) (said string) {
	t.Helper()
	do(t, ctx, chromedp.Evaluate(inPhone(`document.body?.innerText || "nothing"`), &said))
	return said
}

// TestRehearsalByHand goes through a rehearsal as a newcomer does: begin, follow
// the phone, carry it from coil to coil, and look at what was hidden.
func TestRehearsalByHand(t *testing.T) {
	t.Parallel()
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
	waitFor(t, bench, "a coil to carry it to", `document.querySelector("#carry").ariaDisabled === "false"`)
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
			t.Fatalf("%d coils were read in the rehearsal, expected all nine; the phone says:\n%s", n, inPhoneText(t, bench))
		}
		// Carry the phone where it asks to go, and wait for the hold to count.
		do(t, bench, chromedp.Evaluate(`document.querySelector("#carry").click()`, nil))
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
				// Over a coil without field the phone asks whether it lies there, and
				// whether the supply is on; a person looks, and says so.
				do(t, bench, chromedp.Evaluate(inPhone(`document.querySelector("#lifted, #lies, #unchanged")?.click()`), nil))
			}
		}
	}
	shot(t, bench, "verdict")
	// Whatever was decided or left open, the truth can be shown beside it.
	do(t, bench, press("#reveal"))
	waitFor(t, bench, "the truth", `document.querySelector("#truth").textContent.includes("Hidden was")`)
	shot(t, bench, "truth")
}

// TestRehearsalChosen chooses the pad, how hard it is, and once that nothing at all
// is hidden; what was chosen is kept for the next one.
func TestRehearsalChosen(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 1280, 900)
	choose := func(name, value string) {
		t.Helper()
		do(t, ctx, chromedp.Evaluate(fmt.Sprintf(`(() => { const s = document.querySelector("select[name=%s]"); s.value = %q; s.dispatchEvent(new Event("change")); })()`, name, value), nil))
	}
	rehearsing := func(pad string, coils int) {
		t.Helper()
		waitFor(t, ctx, "a rehearsal on "+pad, fmt.Sprintf(`document.querySelector("#plan-name").textContent.includes(%q) && document.querySelectorAll("#drawing .coil").length === %d && document.querySelector("#rehearsing").checkVisibility() && document.querySelector(".made-up") && document.querySelector("#rehearsal iframe")`, pad, coils))
	}
	reveal := func() string {
		t.Helper()
		do(t, ctx, press("#reveal"))
		waitFor(t, ctx, "the truth", `document.querySelector("#truth dd")`)
		return text(t, ctx, "#truth dd")
	}
	do(t, ctx, chromedp.Navigate(program.Bench))
	waitFor(t, ctx, "the pad", `document.querySelector("#plan-name").textContent.includes("Kennel")`)
	do(t, ctx, press("#rehearse"), chromedp.WaitVisible("#begin-rehearsal", chromedp.ByQuery))
	choose("plan", "ring")
	choose("difficulty", "hard")
	shot(t, ctx, "chosen")
	do(t, ctx, press("#begin-rehearsal"))
	rehearsing("Tub ring", 8)
	if said := reveal(); said == "" {
		t.Error("nothing is said of what was hidden")
	}
	do(t, ctx, press("#another"), chromedp.WaitVisible("#begin-rehearsal", chromedp.ByQuery))
	waitFor(t, ctx, "what was chosen before", `document.querySelector("select[name=plan]").value === "ring" && document.querySelector("select[name=difficulty]").value === "hard"`)
	choose("plan", "cushion")
	choose("fault", "none")
	waitFor(t, ctx, "no question of how hard", `document.querySelector("select[name=difficulty]").closest("label").hidden`)
	do(t, ctx, press("#begin-rehearsal"))
	rehearsing("cushion", 7)
	if said := reveal(); !strings.Contains(said, "Nothing") && !strings.Contains(said, "nothing") {
		t.Errorf("hidden was nothing, told is %q", said)
	}
}

// beginRehearsal begins a rehearsal on the pad of the bench with a fault, with the
// phone on the first coil and the supply off; taps are what is tapped on the phone after its first screen.
func beginRehearsal(t *testing.T, program *Running, fault string, taps ...string) context.Context {
	t.Helper()
	bench := newBrowser(t, 1440, 860)
	do(t, bench, chromedp.Navigate(program.Bench))
	waitFor(t, bench, "the pad", `document.querySelector("#plan-name").textContent.includes("Kennel")`)
	do(t, bench, chromedp.Evaluate(fmt.Sprintf(`fetch("api/rehearsals", { method: "POST", body: JSON.stringify({ fault: %q }) }).then(() => true)`, fault), nil, awaited))
	for _, id := range append([]string{"begin"}, taps...) {
		tapInPhone(t, bench, id)
	}
	waitFor(t, bench, "a coil to carry it to", `document.querySelector("#carry").ariaDisabled === "false"`)
	do(t, bench, press("#carry"))
	waitFor(t, bench, "the phone to lie", `document.querySelector("#carry").textContent.startsWith("It lies")`)
	tapInPhone(t, bench, "is-off")
	waitFor(t, bench, "the supply to be asked for", inPhone(`document.querySelector("#is-on")`))
	return bench
}

// TestRehearsalKeepsTheFocus: the button that carries the phone keeps the focus from coil to
// coil, and it goes on to what was hidden once that is shown.
func TestRehearsalKeepsTheFocus(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	bench := beginRehearsal(t, program, "coil-reversed:B2")
	tapInPhone(t, bench, "is-on")
	waitFor(t, bench, "A2 to be asked for", `document.querySelector("#carry").textContent === "Carry it to A2"`)
	do(t, bench, chromedp.Focus("#carry", chromedp.ByQuery))
	// Carries to the next coil by key; a phone that was not seen to move is told that it lies there.
	lies := inPhone(`/^(Lift|Is it|Has it)/.test(document.querySelector("#title").textContent) && document.querySelector("#lifted, #lies")?.click()`)
	carry := func(next string) {
		t.Helper()
		do(t, bench, chromedp.KeyEvent(kb.Enter))
		waitFor(t, bench, next+" to be asked for", fmt.Sprintf(`((carry) => carry === "Carry it to %s" || (carry.startsWith("It lies") && %s))(document.querySelector("#carry").textContent)`, next, lies))
	}
	for _, next := range []string{"A3", "B1"} {
		carry(next)
		var at string
		do(t, bench, chromedp.Evaluate(`document.activeElement.id || document.activeElement.localName`, &at))
		if at != "carry" {
			t.Fatalf("before %s the focus is on %q, expected it on the button that carries", next, at)
		}
	}
	// Once the fault is known, showing what was hidden stands beside that button.
	known := `document.querySelector("#handling > #reveal")?.textContent === "Show what was hidden"`
	// Where the page is slow a hold may be disturbed, and its coil is asked for again.
	for range 14 {
		var already bool
		if do(t, bench, chromedp.Sleep(500*time.Millisecond), chromedp.Evaluate(known, &already)); already {
			break
		}
		do(t, bench, chromedp.KeyEvent(kb.Enter))
		waitFor(t, bench, "the phone to lie", `document.querySelector("#carry").textContent.startsWith("It lies") || `+known)
		waitFor(t, bench, "another coil to be asked for", fmt.Sprintf(`((carry) => carry.startsWith("Carry it to") || (carry.startsWith("It lies") && %s))(document.querySelector("#carry").textContent) || `, lies)+known)
	}
	waitFor(t, bench, "the fault to be known", known)
	do(t, bench, chromedp.Focus("#reveal", chromedp.ByQuery), chromedp.KeyEvent(kb.Enter))
	waitFor(t, bench, "the focus on what was hidden", `document.activeElement.id === "truth" && document.activeElement.textContent.includes("B2")`)
	waitFor(t, bench, "it in view", `(() => { const r = document.querySelector("#truth dd").getBoundingClientRect(); return r.top >= 0 && r.bottom <= innerHeight; })()`)
}

// TestRehearsalAlongARow: while the phone is to be drawn along a row the bench asks for that too,
// not for the coil that nobody has read yet.
func TestRehearsalAlongARow(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	bench := beginRehearsal(t, program, "none", "by-row")
	tapInPhone(t, bench, "is-on")
	for _, tap := range []string{"stroke", "not-drawn"} {
		waitFor(t, bench, "before "+tap, inPhone(`document.querySelector("#`+tap+`")`))
		waitFor(t, bench, "the row on the bench", `document.querySelector("#prompt").textContent === "Draw the phone along A1 to A3."`)
		says(t, bench, "#verdict .next", "draw the phone along its row")
		tapInPhone(t, bench, tap)
	}
	tapInPhone(t, bench, "coil-by-coil")
	waitFor(t, bench, "a coil again", `document.querySelector("#prompt").textContent === "Lay the phone on A2."`)
}

// TestRehearsalSupplyAsked: after two coils without a field the phone asks once whether
// the supply is on, and what was read with it off is taken back.
func TestRehearsalSupplyAsked(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	bench := beginRehearsal(t, program, "string-open:A;string-open:B;string-open:C")
	asked := func(title string) {
		t.Helper()
		waitFor(t, bench, title, inPhone(fmt.Sprintf(`document.querySelector("#title").textContent === %q`, title)))
	}
	carry := func(to string) {
		t.Helper()
		waitFor(t, bench, to+" to be asked for", fmt.Sprintf(`document.querySelector("#carry").textContent === "Carry it to %s"`, to))
		do(t, bench, chromedp.Sleep(time.Second), press("#carry")) // a person reads first
	}
	tapInPhone(t, bench, "is-on")
	tapInPhone(t, bench, "unchanged")
	carry("A2")
	waitFor(t, bench, "A2 to be laid on", `document.querySelector("#carry").textContent === "It lies on A2"`)
	lifted := `document.querySelector("#lifted")?.click()` // where the phone was not seen to move
	waitFor(t, bench, "it to be asked about", inPhone(`document.querySelector("#title").textContent === "Is it on A2?" || `+lifted))
	tapInPhone(t, bench, "lies")
	carry("A3")
	waitFor(t, bench, "A3 to be laid on", `document.querySelector("#carry").textContent === "It lies on A3"`)
	waitFor(t, bench, "the question", inPhone(`document.querySelector("#title").textContent === "Is the supply on?" || `+lifted))
	shot(t, bench, "asked")
	used := func(n int) func(s *benchState) bool {
		return func(s *benchState) bool {
			a, b := s.coil("A1"), s.coil("A2")
			return a != nil && b != nil && a.Used == n && b.Used == n
		}
	}
	program.waitState(t, "A1 and A2 to count", used(1))
	tapInPhone(t, bench, "was-off")
	asked("Supply off, phone on A1")
	program.waitState(t, "A1 and A2 to be taken back", used(0))
}

// TestRehearsalBesideAPhone: a phone in the middle of its work is told that the pad on the
// bench is made up and not its own, and goes on once a real pad is to be checked.
func TestRehearsalBesideAPhone(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	phone := newBrowser(t, 360, 740, noRawReadings()...)
	do(t, phone, chromedp.Navigate(program.Phone))
	for _, id := range []string{"begin", "call-north", "is-on", "north"} {
		waitFor(t, phone, id, fmt.Sprintf(`document.querySelector("#%s")`, id))
		do(t, phone, press("#"+id))
	}
	says(t, phone, "#title", "Which face of A2 looks up?")
	begin := func(path, body string) {
		t.Helper()
		bench := newBrowser(t, 1280, 860)
		do(t, bench, chromedp.Navigate(program.Bench), chromedp.Evaluate(fmt.Sprintf(`fetch(%q, { method: "POST", body: %q }).then(() => true)`, path, body), nil, awaited))
	}
	begin("api/rehearsals", `{"fault":"none"}`)
	says(t, phone, "#title", "Rehearsal on the bench: this is not your pad")
	shot(t, phone, "rehearsal")
	var left int
	if do(t, phone, chromedp.Evaluate(`document.querySelectorAll("#actions button, [id^=way-]").length`, &left)); left != 0 {
		t.Errorf("%d buttons are left that begin to read", left)
	}
	begin("api/check", `{"demo":"kennel"}`)
	waitFor(t, phone, "the real pad", `document.querySelector("#begin")`)
}

// TestRehearsalOhms: what the verdict asks of an ohmmeter can be done in a rehearsal
// too: its meter is made up as well, and knows what is hidden.
func TestRehearsalOhms(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	bench := beginRehearsal(t, program, "string-open:B")
	tapInPhone(t, bench, "is-on")
	waitFor(t, bench, "A1 to be counted", inPhone(`document.querySelector("#claim").textContent.includes("A1")`))
	tapInPhone(t, bench, "result")
	tapInPhone(t, bench, "ohms")
	waitFor(t, bench, "the meter", inPhone(`document.querySelector("#measure-ohms") && !document.querySelector("#ohms-value")`))
	do(t, bench, chromedp.Evaluate(inPhone(`(() => { const s = document.querySelector("#across"); s.value = "string:B"; s.dispatchEvent(new Event("change")); })()`), nil))
	tapInPhone(t, bench, "measure-ohms")
	waitFor(t, bench, "what it shows", inPhone(`document.querySelector("#body").textContent.includes("string B: open")`))
	shot(t, bench, "ohms")
	program.waitState(t, "the verdict to take it in", func(s *benchState) bool { c := s.coil("B1"); return c != nil && c.P["dead"] > 0.5 })
}

// TestRehearsalLiftedAtOnce: whoever takes the phone up as soon as the supply is on
// is told so, and what the phone read in the hand counts for no coil.
func TestRehearsalLiftedAtOnce(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	bench := beginRehearsal(t, program, "none")
	do(t, bench, chromedp.Evaluate(`document.querySelector("#handling [aria-label^='Lay down']").click(); `+inPhone(`document.querySelector("#is-on").click()`), nil))
	waitFor(t, bench, "the phone to say it", inPhone(`document.querySelector("#note").textContent.includes("moved too soon")`))
	program.waitState(t, "no reading of A1", func(s *benchState) bool { c := s.coil("A1"); return c == nil || c.Used == 0 })
}

// TestRehearsalAmpsAsked: amps that can hardly be are asked about once, and taken then; put
// right they are taken at once.
func TestRehearsalAmpsAsked(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	bench := beginRehearsal(t, program, "none")
	typed := func(amps string) {
		t.Helper()
		do(t, bench, chromedp.Evaluate(inPhone(fmt.Sprintf(`(document.querySelector("#amps").value = %q)`, amps)), nil))
		tapInPhone(t, bench, "is-on")
	}
	asked := func(amps string) {
		t.Helper()
		waitFor(t, bench, "the question of "+amps, inPhone(fmt.Sprintf(`/^%s\sA\? The plan gives /.test(document.querySelector("#note").textContent) && document.querySelector("#is-on").textContent === "Yes, it shows that" && document.querySelector("#amps").value`, amps)))
	}
	typed("200")
	asked("200")
	shot(t, bench, "asked")
	typed("300")
	asked("300")
	tapInPhone(t, bench, "is-on")
	waitFor(t, bench, "it to count", inPhone(`document.querySelector("#title").textContent.startsWith("Counting") || document.querySelector("#claim").textContent.includes("A1")`))
}
