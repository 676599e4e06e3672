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
	v.lieUntil("the claim", `document.querySelector("#claim").textContent.includes("A1 as planned") || document.querySelector("#claim").textContent.includes("A1 undecided so far")`)
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
