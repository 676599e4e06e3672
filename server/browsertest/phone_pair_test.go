package browsertest

import (
	"testing"

	"github.com/chromedp/chromedp"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/layout"
)

// TestTwoPhonesOnePad: a phone with raw readings on A1 and one with a compass
// beside A2, their sensors in different places, while one person switches the
// supply once for both. Together they make one verdict.
func TestTwoPhonesOnePad(t *testing.T) {
	t.Parallel()
	file := smallPlan(t)
	program := startProgram(t, "--plan", file)
	reversed := layout.Fault{Kind: layout.CoilReversed, ID: "A2"}

	first := newPhone(t)
	keepBook(t, first)
	raw := newVirtualPhoneOver(t, first, planOf(t, file), reversed)
	source := absoluteEvents()
	second := newBrowser(t, 360, 740, source.flags...)
	needle := newCompassPhone(t, second, source, planOf(t, file), reversed)
	needle.offset = r3.Vec{X: -0.006, Y: 0.052}
	raw.other = needle

	do(t, first, chromedp.Navigate(program.Phone))
	do(t, second, chromedp.Navigate(program.Phone))
	raw.tap("begin")
	needle.tap("begin")
	raw.carryTo(raw.over("A1"))
	needle.lieUntil("a place", `document.querySelector("#is-off")`)
	do(t, second, press(`[data-coil="A2"]`))
	needle.besideCoil("A2")
	raw.tap("is-off")
	needle.tap("is-off")
	raw.lieUntil("the first asks to switch on", `document.querySelector("#is-on")`)
	raw.lieUntilOther("the second asks to switch on", `document.querySelector("#is-on")`)
	raw.on, needle.on = true, true
	raw.tap("is-on")
	needle.tap("is-on")
	raw.count("A1")
	raw.lieUntilOther("A2 counted", `document.querySelector("#undo")?.textContent.includes("A2")`)

	s := program.waitState(t, "both coils read", func(s *benchState) bool { return used("A1")(s) && used("A2")(s) })
	routes := map[string]bool{}
	for _, p := range s.Phones {
		routes[p.Route] = p.Connected
	}
	if len(s.Phones) != 2 || !routes["vector"] || !routes["heading"] {
		t.Errorf("the bench knows the phones %+v; expected one by raw readings and one by compass, both connected", s.Phones)
	}
	if a := s.coil("A1"); a.P["as-planned"] < a.P["reversed"] {
		t.Errorf("A1 is as planned, and the bench has %v", a.P)
	}
	if a := s.coil("A2"); a.P["reversed"] < a.P["as-planned"] {
		t.Errorf("A2 is reversed, and the bench has %v", a.P)
	}
	// Each page knows what the other has read: nothing is left to be laid on anew.
	raw.lieUntil("A2 drawn as read on the first phone", `document.querySelector("#title").textContent !== "Lift. Next: A2" || document.querySelector("#why").textContent !== ""`)
	shot(t, first, "raw")
	shot(t, second, "needle")
}
