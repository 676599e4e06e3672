package browsertest

import (
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/target"
	"github.com/chromedp/chromedp"
)

// TestPhoneHiddenAndBack: in the middle of a hold another page comes to the front,
// and the browser stops the sensors. Back again the page says that the hold does
// not count, and the next one does.
func TestPhoneHiddenAndBack(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	phone := newPhone(t)
	sent := keepBook(t, phone)
	v := newVirtualPhone(t, phone)
	do(t, phone, chromedp.Navigate(program.Phone))
	v.beginVector()
	v.lieUntil("counting", `document.querySelector("#count").value > 0.3`)

	c := chromedp.FromContext(phone)
	browser := cdp.WithExecutor(phone, c.Browser)
	do(t, phone, emulation.SetFocusEmulationEnabled(false))
	other, err := target.CreateTarget("about:blank").Do(browser)
	if err != nil {
		t.Fatal(err)
	}
	if err := target.ActivateTarget(other).Do(browser); err != nil {
		t.Fatal(err)
	}
	waitFor(t, phone, "the page to be hidden", "document.hidden")
	for range 10 {
		v.read()
	}
	if err := target.CloseTarget(other).Do(browser); err != nil {
		t.Fatal(err)
	}
	if err := target.ActivateTarget(c.Target.TargetID).Do(browser); err != nil {
		t.Fatal(err)
	}
	do(t, phone, emulation.SetFocusEmulationEnabled(true))
	waitFor(t, phone, "the page to be in front", "!document.hidden")
	v.lieUntil("the gap to be told", `document.querySelector("#note").textContent.includes("A1 is not counted")`)
	shot(t, phone, "back")
	v.carryTo(v.over("A2"))
	v.carryTo(v.over("A1"))
	v.count("A1")
	program.waitState(t, "A1 read once", func(s *benchState) bool { c := s.coil("A1"); return c != nil && c.Used == 1 })
	lines := sent.check(t, program)
	if count(lines, "hold") != 2 || count(lines, "lift") != 2 {
		t.Errorf("stored %d holds and %d lifts, expected two of each", count(lines, "hold"), count(lines, "lift"))
	}
}
