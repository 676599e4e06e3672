package browsertest

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"polewise/layout"
)

// newPhone is a browser of a phone's size that may read the magnetometer.
func newPhone(t *testing.T, extra ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	ctx := newBrowser(t, 360, 740, extra...)
	do(t, ctx, allow("magnetometer"))
	return ctx
}

// checkAll goes through the whole raw route: begin, rest, supply on, every coil.
func (v *virtualPhone) checkAll() {
	v.t.Helper()
	for i, c := range v.plan.Coils {
		if i == 0 {
			v.beginVector()
		} else {
			v.carryTo(v.over(c.ID))
		}
		v.count(c.ID)
	}
}

func testPhoneFinds(t *testing.T, fault layout.Fault, outcome func(say string) bool) {
	program := startProgram(t)
	phone := newPhone(t)
	bench := newBrowser(t, 1280, 800)
	do(t, bench, chromedp.Navigate(program.Bench))
	v := newVirtualPhone(t, phone, fault)
	do(t, phone, chromedp.Navigate(program.Phone))
	v.checkAll()
	v.lieUntil("the result on the phone page", `document.querySelector("#title").textContent.includes("reversed")`)
	waitFor(t, bench, "a fault on the bench page", `document.querySelector(".outcome").textContent.includes("Something is wrong")`)
	shot(t, phone, "result")
	shot(t, bench, "bench")
	for name, say := range map[string]string{"phone": text(t, phone, "#lead"), "bench": text(t, bench, ".cause")} {
		if !outcome(say) {
			t.Errorf("the %s page says %q", name, say)
		}
	}
}

func TestPhoneFindsReversedCoil(t *testing.T) {
	t.Parallel()
	testPhoneFinds(t, layout.Fault{Kind: layout.CoilReversed, ID: "B2"}, func(say string) bool {
		return strings.Contains(say, "Coil B2 faces the wrong way") && strings.Contains(say, "Turn B2 over")
	})
}

func TestPhoneFindsReversedString(t *testing.T) {
	t.Parallel()
	testPhoneFinds(t, layout.Fault{Kind: layout.StringReversed, ID: "C"}, func(say string) bool {
		return strings.Contains(say, "whole string C runs the wrong way") && strings.Contains(say, "Swap the two ends of string C")
	})
}

// TestPhoneAfterMend: a coil that was read before the mend is counted anew, and the verdict on
// that comes at once, though no more of its readings count than before.
func TestPhoneAfterMend(t *testing.T) {
	t.Parallel()
	file := smallPlan(t)
	program := startProgram(t, "--plan", file)
	phone := newPhone(t)
	do(t, phone, before(knowsSensor))
	v := newVirtualPhoneOver(t, phone, planOf(t, file), layout.Fault{Kind: layout.CoilReversed, ID: "A1"})
	do(t, phone, chromedp.Navigate(program.Phone))
	v.checkAll()
	v.lieUntil("the fault", `document.querySelector("#title").textContent === "A1 reversed"`)
	v.tap("again")
	v.tap("again-yes")
	v.on = false
	v.at[v.plan.CoilIndex("A1")] *= -1
	v.lieUntil("the mended coil to be asked for", `document.querySelector("#title").textContent === "Supply off, phone on A1"`)
	v.carryTo(v.over("A1"))
	v.tap("is-off")
	v.lieUntil("asked to switch on", `document.querySelector("#is-on")`)
	v.on = true
	v.tap("is-on")
	v.lieUntil("A2, which was read before it only", `document.querySelector("#title").textContent === "Lift. Next: A2"`)
	v.carryTo(v.over("A2"))
	v.count("A2")
	counted := time.Now()
	v.lieUntil("the result", `document.querySelector("#title").textContent === "As planned"`)
	if took := time.Since(counted); took > 10*time.Second {
		t.Errorf("the verdict was looked at %v after A2 was counted", took)
	}
	says(t, phone, "#lead", "those noted before it count no more where joints were opened")
	shot(t, phone, "as-planned")
}

// TestPhoneAsPlannedThenOhms: where every coil faces right, the page leads on: to
// the ohms, those of the pad first, and the bench page then asks for nothing more
// before the sign-off. The coil read last is not told of as if it were the pad.
func TestPhoneAsPlannedThenOhms(t *testing.T) {
	t.Parallel()
	program := startProgram(t, "--plan", smallPlan(t))
	phone := newPhone(t)
	do(t, phone, before(knowsSensor))
	v := newVirtualPhoneOver(t, phone, planOf(t, smallPlan(t)))
	do(t, phone, chromedp.Navigate(program.Phone))
	v.checkAll()
	v.lieUntil("the result", `document.querySelector("#title").textContent === "As planned"`)
	if lead := text(t, phone, "#lead"); !strings.Contains(lead, "Measure the ohms if you have not yet; the bench page says whether they agree, and there you sign off.") {
		t.Errorf("the page says %q", lead)
	}
	var shown bool
	do(t, phone, chromedp.Evaluate(`document.querySelector("#claim").checkVisibility()`, &shown))
	if shown {
		t.Errorf("the coil read last is told of: %q", text(t, phone, "#claim"))
	}
	shot(t, phone, "as-planned")
	do(t, phone, press("#ohms"))
	waitFor(t, phone, "the pad to be chosen, with its ohms", `document.querySelector("#across").value === "pad" && /^Ohms \(planned \d+\.\d\d at 20.\u00b0C\)$/.test(document.querySelector("label[for=ohms-value]").textContent)`)
	do(t, phone, chromedp.SetValue("#ohms-value", "1,93", chromedp.ByQuery), press("#note-ohms"))
	says(t, phone, "[aria-label=Noted]", "pad: 1.93 ohm")
	do(t, phone, press("#back"))
	says(t, phone, "#title", "As planned")
	bench := newBrowser(t, 1280, 800)
	do(t, bench, chromedp.Navigate(program.Bench))
	waitFor(t, bench, "the sign-off to be open", `document.querySelector("#sign")?.checkVisibility()`)

	// A page that begins anew when nothing is left to be read shows what is known, and
	// from there reads on from the rest.
	do(t, phone, chromedp.Evaluate(`sessionStorage.clear(); localStorage.removeItem("polewise session")`, nil), chromedp.Navigate(program.Phone+"?again"))
	v.tap("begin")
	v.lieUntil("the result", `document.querySelector("#title").textContent === "As planned" && document.querySelector("#go-on")`)
	v.tap("go-on")
	v.lieUntil("the rest", `document.querySelector("#title").textContent === "Supply off, phone on A1"`)

	// Signed off, nothing more is to be begun, also after a reload; a new check goes on.
	asks := func(path, body string) {
		t.Helper()
		do(t, bench, chromedp.Evaluate(fmt.Sprintf(`fetch(%q, { method: "POST", body: %q }).then((r) => r.ok || Promise.reject(r.status))`, path, body), nil, awaited))
	}
	asks("api/sign-off", fmt.Sprintf(`{"check":%q,"maker":"AB"}`, state(t, program).Check.ID))
	signed := `document.querySelector("#title").textContent === "This pad is signed off" && document.querySelectorAll("#actions button, [id^=way-]").length === 0`
	v.lieUntil("the pad to be told as signed off", signed)
	do(t, phone, chromedp.Reload())
	v.lieUntil("it to be told again", signed)
	shot(t, phone, "signed")
	asks("api/check", `{}`)
	v.lieUntil("the new check", `document.querySelector("#begin") && document.querySelector("#trouble").hidden`)
}
