package browsertest

import (
	"math"
	"testing"

	"github.com/chromedp/chromedp"
	"gonum.org/v1/gonum/spatial/r3"
)

// TestFindTheSensor walks through finding the sensor of a phone whose magnetometer
// sits where the test knows, puts a sticker there, and looks at what the next check
// tells the bench.
func TestFindTheSensor(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 360, 740)
	phone := newVirtualPhone(t, ctx)
	do(t, ctx, chromedp.Navigate(program.Phone))
	phone.tap("find-first")
	phone.lieUntil("the first placing", `document.querySelector("#laid")`)
	at := text(t, ctx, "#title")
	if at != "1. Phone on A1" {
		t.Fatalf("the first placing is %q", at)
	}
	shot(t, ctx, "lay")
	centre := phone.over("A1")
	// As the page asks, with marks a few millimetres off, as hands lay them.
	for i, p := range []struct{ dx, dy, turn float64 }{{2, -1, 0}, {-3, 2, math.Pi}, {1, -47, 0}, {2, 43, math.Pi}} {
		var stage string
		phone.lieUntil("asked for the next placing, or found", `document.querySelector("#laid, #sticker")`)
		do(t, ctx, chromedp.Evaluate(`document.querySelector("#laid") ? "lay" : "found"`, &stage))
		if stage == "found" {
			break
		}
		phone.turn = p.turn
		phone.carryTo(r3.Add(centre, r3.Vec{X: p.dx * 1e-3, Y: p.dy * 1e-3}))
		phone.tap("laid")
		phone.tap("switched")
		phone.on = !phone.on
		if i == 0 {
			phone.lieUntil("the second placing", `document.querySelector("#title").textContent.startsWith("2.")`)
		} else {
			phone.lieUntil("an answer", `document.querySelector("#sticker") || document.querySelector("#note").textContent.includes("Not found well enough yet")`)
		}
	}
	shot(t, ctx, "found")
	phone.tap("sticker")
	phone.lieUntil("the first screen", `document.querySelector("#begin")`)
	var kept struct {
		MM     [2]float64 `json:"mm"`
		SDMM   [2]float64 `json:"sd_mm"`
		Marked bool       `json:"marked"`
	}
	do(t, ctx, chromedp.Evaluate(`JSON.parse(localStorage.getItem("polewise sensor"))`, &kept))
	off := math.Hypot(kept.MM[0]-sensorOffset.X*1e3, kept.MM[1]-sensorOffset.Y*1e3)
	t.Logf("found at %v, off by %.1f mm, spread %v", kept.MM, off, kept.SDMM)
	if off > 5 || !kept.Marked {
		t.Errorf("the sensor sits at %.0f, %.0f mm; remembered is %+v", sensorOffset.X*1e3, sensorOffset.Y*1e3, kept)
	}
	// The next check tells it: with the sticker on, the sensor is the mark.
	do(t, ctx, chromedp.Evaluate(`window.sent = []; const send = WebSocket.prototype.send; WebSocket.prototype.send = function (m) { sent.push(m); return send.call(this, m); }; 0`, nil))
	phone.on, phone.turn = false, 0
	phone.tap("begin")
	phone.lieUntil("its start line sent", `sent.some((m) => m.includes('"type":"start"'))`)
	var start string
	do(t, ctx, chromedp.Evaluate(`JSON.stringify(sent.map((m) => JSON.parse(m)).flatMap((m) => m.lines || []).find((l) => l.type === "start").sensor.offset_mm)`, &start))
	if start != "[0,0]" {
		t.Errorf("with a sticker the start line has an offset of %s", start)
	}
	if lead := text(t, ctx, "#lead"); lead == "" || lead[:15] != "Lay the sticker" {
		t.Errorf("the check asks: %q", lead)
	}
}
