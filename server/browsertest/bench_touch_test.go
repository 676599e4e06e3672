package browsertest

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
)

// spot is a place on the screen in pixels, or one of the drawing in millimetres.
type spot struct{ X, Y float64 }

func (s spot) plus(x, y float64) spot { return spot{s.X + x, s.Y + y} }

// fingers touches a page as a person does.
type fingers struct {
	t   *testing.T
	ctx context.Context
	on  []spot // where they are
}

func (f *fingers) send(kind input.TouchType) {
	f.t.Helper()
	points := []*input.TouchPoint{}
	for i, s := range f.on {
		points = append(points, &input.TouchPoint{X: s.X, Y: s.Y, ID: float64(i + 1)})
	}
	do(f.t, f.ctx, input.DispatchTouchEvent(kind, points))
}

// down lays fingers down one after the other, up lifts all of them.
func (f *fingers) down(at ...spot) {
	f.t.Helper()
	for _, s := range at {
		f.on = append(f.on, s)
		f.send(input.TouchStart)
	}
}

func (f *fingers) up() {
	f.t.Helper()
	f.on = nil
	f.send(input.TouchEnd)
}

// to moves all fingers in small steps.
func (f *fingers) to(at ...spot) {
	f.t.Helper()
	const steps = 12
	from := append([]spot(nil), f.on...)
	for k := 1.0; k <= steps; k++ {
		for i := range f.on {
			f.on[i] = spot{from[i].X + (at[i].X-from[i].X)*k/steps, from[i].Y + (at[i].Y-from[i].Y)*k/steps}
		}
		f.send(input.TouchMove)
	}
}

// still waits until an expression has had the same value for a while, so that
// frames and scrolling have come to rest, and returns it.
func still[V comparable](t *testing.T, ctx context.Context, expression string) (v V) {
	t.Helper()
	same := 0
	for deadline := time.Now().Add(20 * time.Second); same < 4; time.Sleep(60 * time.Millisecond) {
		before := v
		do(t, ctx, chromedp.Evaluate(expression, &v))
		if same++; v != before {
			same = 0
		}
		if time.Now().After(deadline) {
			t.Fatalf("%s does not come to rest", expression)
		}
	}
	return v
}

// under is the place of the drawing that lies under a place of the screen.
func (f *fingers) under(s spot) spot {
	f.t.Helper()
	return still[spot](f.t, f.ctx, fmt.Sprintf(`(() => { const p = new DOMPoint(%f, %f).matrixTransform(document.querySelector("#drawing svg").getScreenCTM().inverse()); return { X: p.x, Y: p.y }; })()`, s.X, s.Y))
}

// coil is where the middle of a coil is on the screen.
func (f *fingers) coil(id string) spot {
	f.t.Helper()
	return still[spot](f.t, f.ctx, fmt.Sprintf(`(() => { const r = document.querySelector("#drawing [data-coil=%s] .bore").getBoundingClientRect(); return { X: r.x + r.width / 2, Y: r.y + r.height / 2 }; })()`, id))
}

func (f *fingers) near(what string, found, wanted spot, most float64) {
	f.t.Helper()
	if d := math.Hypot(found.X-wanted.X, found.Y-wanted.Y); d > most {
		f.t.Errorf("%s: expected %.1f, %.1f, found %.1f, %.1f", what, wanted.X, wanted.Y, found.X, found.Y)
	}
}

const (
	drawingZoomed = `document.querySelector("#drawing svg").classList.contains("zoomed")`
	picked        = `document.querySelector("#drawing .coil[aria-pressed=true]")?.dataset.coil ?? ""`
	pageScale     = `visualViewport.scale`
	pageScroll    = `scrollY`
)

// touching opens the bench page on a small screen that takes fingers.
func touching(t *testing.T) *fingers {
	t.Helper()
	program := startProgram(t)
	ctx := newBrowser(t, 390, 844)
	do(t, ctx, emulation.SetDeviceMetricsOverride(390, 844, 2, true), emulation.SetTouchEmulationEnabled(true).WithMaxTouchPoints(5), chromedp.Navigate(program.Bench))
	waitFor(t, ctx, "the pad", `document.querySelectorAll("#drawing .coil").length === 9 && document.querySelector("#coils .coil-button")`)
	do(t, ctx, chromedp.Evaluate(`document.querySelector("#drawing").scrollIntoView({ block: "center" })`, nil))
	return &fingers{t: t, ctx: ctx}
}

// TestDrawingUnderFingers zooms, moves and picks in the drawing with fingers, and
// scrolls the page with one that is on it.
func TestDrawingUnderFingers(t *testing.T) {
	t.Parallel()
	f := touching(t)
	ctx := f.ctx

	// One finger on the whole drawing scrolls the page, and picks nothing.
	before := still[float64](t, ctx, pageScroll)
	at := f.coil("B2")
	f.down(at)
	f.to(at.plus(0, -120))
	f.up()
	if by := still[float64](t, ctx, pageScroll) - before; by < 60 {
		t.Errorf("a finger drawn 120 pixels up the drawing scrolled the page by %.0f pixels", by)
	}
	if id := still[string](t, ctx, picked); id != "" {
		t.Errorf("scrolling picked %s", id)
	}
	if still[bool](t, ctx, drawingZoomed) {
		t.Error("scrolling zoomed the drawing")
	}
	do(t, ctx, chromedp.Evaluate(`document.querySelector("#drawing").scrollIntoView({ block: "center" })`, nil))

	// Two fingers apart: what was under each of them stays there, and the page
	// neither zooms nor scrolls.
	middle := f.coil("B2").plus(18, -11)
	left, right := middle.plus(-30, -10), middle.plus(30, 10)
	underMiddle, underLeft, underRight := f.under(middle), f.under(left), f.under(right)
	scrolled := still[float64](t, ctx, pageScroll)
	f.down(left, right)
	left, right = middle.plus(-81, -27), middle.plus(81, 27)
	f.to(left, right)
	f.near("under the middle of two fingers", f.under(middle), underMiddle, 2)
	f.near("under the left finger", f.under(left), underLeft, 3)
	f.near("under the right finger", f.under(right), underRight, 3)
	// Together they move it.
	left, right = left.plus(25, -35), right.plus(25, -35)
	f.to(left, right)
	f.near("under the left finger, moved", f.under(left), underLeft, 3)
	f.near("under the right finger, moved", f.under(right), underRight, 3)
	f.up()
	if !still[bool](t, ctx, drawingZoomed) {
		t.Fatal("two fingers apart did not zoom the drawing")
	}
	if k := still[float64](t, ctx, pageScale); k != 1 {
		t.Errorf("two fingers on the drawing zoomed the page by %.2f", k)
	}
	if y := still[float64](t, ctx, pageScroll); y != scrolled {
		t.Errorf("two fingers on the drawing scrolled the page by %.0f pixels", y-scrolled)
	}
	if id := still[string](t, ctx, picked); id != "" {
		t.Errorf("zooming picked %s", id)
	}
	shot(t, ctx, "zoomed")

	// One finger moves the zoomed drawing along, and the page stays.
	at = f.coil("B2")
	under := f.under(at)
	f.down(at)
	f.to(at.plus(-40, 30))
	f.near("under the one finger", f.under(at.plus(-40, 30)), under, 3)
	f.up()
	if y := still[float64](t, ctx, pageScroll); y != scrolled {
		t.Errorf("a finger on the zoomed drawing scrolled the page by %.0f pixels", y-scrolled)
	}
	if id := still[string](t, ctx, picked); id != "" {
		t.Errorf("moving the drawing picked %s", id)
	}

	// A tap picks a coil, zoomed or not.
	f.down(f.coil("B2"))
	f.up()
	waitFor(t, ctx, "B2 to be picked", picked+` === "B2"`)

	// A third finger changes nothing of what two began, and one that is left goes on.
	left, right = middle.plus(-40, 0), middle.plus(40, 0)
	underLeft, underRight = f.under(left), f.under(right)
	f.down(left, right, middle.plus(0, 50))
	f.to(left.plus(0, 20), right.plus(0, 20), middle.plus(0, 70))
	f.near("under the left of three fingers", f.under(left.plus(0, 20)), underLeft, 3)
	f.near("under the right of three fingers", f.under(right.plus(0, 20)), underRight, 3)
	f.up()

	// Two fingers together show all of it, and a finger scrolls the page again.
	f.down(middle.plus(-90, -20), middle.plus(90, 20))
	f.to(middle.plus(-8, -2), middle.plus(8, 2))
	f.up()
	if still[bool](t, ctx, drawingZoomed) {
		t.Error("two fingers together did not show the whole drawing")
	}
	f.down(f.coil("A2"))
	f.up()
	waitFor(t, ctx, "A2 to be picked", picked+` === "A2"`)
	do(t, ctx, chromedp.Evaluate(`document.querySelector("#drawing").scrollIntoView({ block: "center" })`, nil))
	before = still[float64](t, ctx, pageScroll)
	at = f.coil("B2")
	f.down(at)
	f.to(at.plus(0, -90))
	f.up()
	if by := still[float64](t, ctx, pageScroll) - before; by < 40 {
		t.Errorf("after zooming out a finger drawn 90 pixels up scrolled the page by %.0f pixels", by)
	}

	// Two fingers that go up and only then apart: the whole drawing zooms, though a
	// finger alone would scroll the page.
	do(t, ctx, chromedp.Evaluate(`document.querySelector("#drawing").scrollIntoView({ block: "center" })`, nil))
	scrolled = still[float64](t, ctx, pageScroll)
	thumb, finger := middle.plus(-10, 40), middle.plus(10, 10)
	underThumb, underFinger := f.under(thumb), f.under(finger)
	f.down(thumb, finger)
	f.to(thumb.plus(0, -30), finger.plus(0, -30))
	f.to(thumb.plus(0, -40), finger.plus(26, -79))
	f.near("under the thumb", f.under(thumb.plus(0, -40)), underThumb, 3)
	f.near("under the other finger", f.under(finger.plus(26, -79)), underFinger, 3)
	f.up()
	if y := still[float64](t, ctx, pageScroll); y != scrolled {
		t.Errorf("two fingers going apart and up scrolled the page by %.0f pixels", y-scrolled)
	}

	// Elsewhere two fingers do zoom the page: the test would have seen it.
	do(t, ctx, chromedp.Evaluate(`document.querySelector("#cautions").scrollIntoView({ block: "center" })`, nil))
	at = still[spot](t, ctx, `(() => { const r = document.querySelector("#cautions").getBoundingClientRect(); return { X: r.x + r.width / 2, Y: r.y + r.height / 2 }; })()`)
	f.down(at.plus(-30, -10), at.plus(30, 10))
	f.to(at.plus(-90, -30), at.plus(90, 30))
	f.up()
	if k := still[float64](t, ctx, pageScale); k <= 1.1 {
		t.Errorf("two fingers apart beside the drawing zoomed the page by %.2f: this test sees no page zoom", k)
	}
}
