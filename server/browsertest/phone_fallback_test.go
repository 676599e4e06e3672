package browsertest

import (
	"testing"

	"github.com/chromedp/chromedp"
)

// TestPhoneWithoutSockets: where a websocket is refused, the same numbered
// messages go by POST and the same pushes come as server-sent events.
func TestPhoneWithoutSockets(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	way := newRoad(t, program)
	way.refuse.Store(true)
	phone := newPhone(t)
	sent := keepBook(t, phone)
	v := newVirtualPhone(t, phone)
	do(t, phone, chromedp.Navigate(way.Phone))
	says(t, phone, "#link", "connected, by single messages")
	v.beginVector()
	v.count("A1")
	v.lieUntil("the claim", `/A1 (likely as planned|as planned|undecided so far)/.test(document.querySelector("#claim").textContent)`)
	program.waitState(t, "A1 read", used("A1"))
	says(t, phone, "#link", "connected, by single messages")
	if way.sockets.Load() != 0 || way.posts.Load() == 0 {
		t.Errorf("%d sockets and %d posts; expected no socket and some posts", way.sockets.Load(), way.posts.Load())
	}
	shot(t, phone, "posting")
	lines := sent.check(t, program)
	if count(lines, "hold") != 1 || count(lines, "lift") != 1 || count(lines, "b") < 30 {
		t.Errorf("stored %d hold, %d lift, %d readings", count(lines, "hold"), count(lines, "lift"), count(lines, "b"))
	}
}

// TestPhoneSocketAgain: sockets are refused at first, and let through in the middle
// of a hold. The page takes one, under the same numbers, and posts no more.
func TestPhoneSocketAgain(t *testing.T) {
	t.Parallel()
	program := startProgram(t, "--plan", smallPlan(t))
	way := newRoad(t, program)
	way.refuse.Store(true)
	phone := newPhone(t)
	sent := keepBook(t, phone)
	v := newVirtualPhoneOver(t, phone, planOf(t, smallPlan(t)))
	do(t, phone, chromedp.Navigate(way.Phone))
	says(t, phone, "#link", "connected, by single messages")
	v.beginVector()
	v.lieUntil("counting", `document.querySelector("#count").value > 0.3`)
	way.refuse.Store(false)
	do(t, phone, chromedp.Evaluate(`dispatchEvent(new Event("online"))`, nil)) // nobody waits half a minute here
	v.lieUntil("a socket taken", `document.querySelector("#link").textContent === "connected"`)
	v.count("A1")
	program.waitState(t, "A1 read", used("A1"))
	posts := way.posts.Load()
	v.carryTo(v.over("A2"))
	v.count("A2")
	program.waitState(t, "A2 read", used("A2"))
	if way.sockets.Load() != 1 || posts == 0 || way.posts.Load() != posts {
		t.Errorf("%d sockets, %d posts before and %d after; expected one socket and no post after it", way.sockets.Load(), posts, way.posts.Load()-posts)
	}
	if n := len(program.state(t).Phones); n != 1 {
		t.Errorf("the bench knows %d phones, expected one", n)
	}
	if lines := sent.check(t, program); count(lines, "hold") != 2 || count(lines, "lift") != 2 {
		t.Errorf("stored %d hold, %d lift; expected two of each", count(lines, "hold"), count(lines, "lift"))
	}
}

// TestPhoneSocketDies: the socket dies in the middle of a hold and none is let
// through any more; the hold goes on by POST, under the same numbers.
func TestPhoneSocketDies(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	way := newRoad(t, program)
	phone := newPhone(t)
	sent := keepBook(t, phone)
	v := newVirtualPhone(t, phone)
	do(t, phone, chromedp.Navigate(way.Phone))
	v.beginVector()
	v.lieUntil("counting", `document.querySelector("#count").value > 0.1`)
	says(t, phone, "#link", "connected")
	v.loseOn(way)
	way.refuse.Store(true)
	way.endAll(false)
	v.lieUntil("the loss to be told", `document.querySelector("#link").textContent.includes("no connection")`)
	v.count("A1")
	v.lieUntil("the other way", `document.querySelector("#link").textContent === "connected, by single messages"`)
	program.waitState(t, "A1 read", used("A1"))
	if way.sockets.Load() == 0 || way.posts.Load() == 0 {
		t.Errorf("%d sockets and %d posts; expected some of both", way.sockets.Load(), way.posts.Load())
	}
	if lines := sent.check(t, program); count(lines, "hold") != 1 || count(lines, "lift") != 1 {
		t.Errorf("stored %d hold, %d lift; expected one of each", count(lines, "hold"), count(lines, "lift"))
	}
}
