package browsertest

import (
	"testing"

	"github.com/chromedp/chromedp"
)

// TestPhoneCutOff: in the middle of a hold the network goes away and the program
// is killed. The page says so and keeps what it reads; once both are back
// everything is sent under its numbers. Then the page is loaded anew in the middle
// of the next hold.
func TestPhoneCutOff(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	way := newRoad(t, program)
	phone := newPhone(t)
	sent := keepBook(t, phone)
	v := newVirtualPhone(t, phone)
	do(t, phone, chromedp.Navigate(way.Phone))
	v.beginVector()
	v.lieUntil("counting", `document.querySelector("#count").value > 0.2`)
	v.loseOn(way)
	way.cut()
	program.kill(t)
	v.lieUntil("the loss to be told", `/no connection: \d+ messages kept, sent when it is back/.test(document.querySelector("#link").textContent)`)
	shot(t, phone, "cut")
	v.count("A1") // the hold goes on all the same
	program = program.again(t)
	way.leadTo(t, program)
	way.mend()
	v.lieUntil("the connection back", `document.querySelector("#link").textContent === "connected"`)
	program.waitState(t, "A1 read", used("A1"))

	v.carryTo(v.over("A2"))
	v.lieUntil("counting A2", `document.querySelector("#title").textContent === "Counting A2" && document.querySelector("#count").value > 0.2`)
	do(t, phone, chromedp.Reload())
	v.lieUntil("the way back in", `document.querySelector("#resume")`)
	v.tap("resume")
	v.lieUntil("to be told that A2 does not count", `document.querySelector("#note").textContent.includes("A2 is not counted")`)
	shot(t, phone, "resumed")
	v.carryTo(v.over("A2"))
	v.count("A2")
	program.waitState(t, "A2 read", used("A2"))
	lines := sent.check(t, program)
	if count(lines, "start") != 1 {
		t.Errorf("%d start lines: the capture was begun anew", count(lines, "start"))
	}
}

// TestPhoneTabDies: the tab crashes in the middle of a hold, with no chance to say
// goodbye. What came after must not pass for readings of that hold.
func TestPhoneTabDies(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	phone := newPhone(t)
	sent := keepBook(t, phone)
	v := newVirtualPhone(t, phone)
	// A tab that is as good as dead: no event of its end reaches the page.
	do(t, phone, before(`var dead = false; for (const e of ["pagehide", "visibilitychange", "beforeunload"]) addEventListener(e, (x) => dead && x.stopImmediatePropagation(), true);`),
		chromedp.Navigate(program.Phone))
	v.beginVector()
	v.count("A1")
	v.carryTo(v.over("A2"))
	v.lieUntil("counting A2", `document.querySelector("#title").textContent === "Counting A2" && document.querySelector("#count").value > 0.4`)
	do(t, phone, chromedp.Evaluate("dead = true", nil), chromedp.Reload())
	v.lieUntil("the way back in", `document.querySelector("#resume")`)
	v.tap("resume")
	v.lieUntil("to be told that A2 does not count", `document.querySelector("#note").textContent.includes("A2 is not counted")`)
	v.carryTo(v.over("A3"))
	v.carryTo(v.over("A2"))
	v.count("A2")
	program.waitState(t, "A2 read once", func(s *benchState) bool { c := s.coil("A2"); return c != nil && c.Used == 1 })
	sent.check(t, program)
}
