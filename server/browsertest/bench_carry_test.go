package browsertest

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// carrier carries the made-up phone of a rehearsal, by whatever a test has.
type carrier struct {
	t       *testing.T
	ctx     context.Context
	program *Running
}

// rehearse opens the page, begins an easy rehearsal and passes the phone's first
// question; it returns the coil the phone asks for.
func (c *carrier) rehearse() (asked string) {
	c.t.Helper()
	do(c.t, c.ctx, chromedp.Navigate(c.program.Bench))
	waitFor(c.t, c.ctx, "the pad", `document.querySelectorAll("#drawing .coil").length === 9 && document.querySelector("#coils .coil-button")`)
	do(c.t, c.ctx, press("#rehearse"), chromedp.WaitVisible("#begin-rehearsal", chromedp.ByQuery), chromedp.SetValue("select[name=difficulty]", "easy", chromedp.ByQuery), press("#begin-rehearsal"))
	tapInPhone(c.t, c.ctx, "begin")
	waitFor(c.t, c.ctx, "a coil asked for", `/^Carry it to [A-Z]\d/.test(document.querySelector("#carry").textContent)`)
	return strings.TrimPrefix(text(c.t, c.ctx, "#carry"), "Carry it to ")
}

// mark is where the phone's mark is in the drawing, in millimetres.
func (c *carrier) mark() (x, y float64) {
	c.t.Helper()
	at := still[string](c.t, c.ctx, `document.querySelector(".made-up").getAttribute("transform").split(")")[0]`)
	if _, err := fmt.Sscanf(at, "translate(%f %f", &x, &y); err != nil {
		c.t.Fatal(at, err)
	}
	return x, -y
}

func (c *carrier) stands() string {
	c.t.Helper()
	return still[string](c.t, c.ctx, `document.querySelector(".stands").textContent`)
}

// middle is where the middle of something is on the screen, once it lies still.
func (c *carrier) middle(selector string) spot {
	c.t.Helper()
	return still[spot](c.t, c.ctx, fmt.Sprintf(`(() => { const r = document.querySelector(%q).getBoundingClientRect(); return { X: r.x + r.width / 2, Y: r.y + r.height / 2 }; })()`, selector))
}

func (c *carrier) bore(coil string) spot {
	return c.middle(fmt.Sprintf("#drawing [data-coil=%s] .bore", coil))
}

// over fails where the phone's mark does not lie on a coil's middle.
func (c *carrier) over(coil string) {
	c.t.Helper()
	for _, k := range kennel(c.t).Coils {
		if k.ID != coil {
			continue
		}
		x, y := c.mark()
		if d := math.Hypot(x-1e3*k.At.X, y-1e3*k.At.Y); d > 4 {
			c.t.Errorf("the phone lies %.1f mm from the middle of %s", d, coil)
		}
		return
	}
	c.t.Fatal("no coil ", coil)
}

// read goes through the supply's questions and waits until the coil has been read.
func (c *carrier) read(coil string) {
	c.t.Helper()
	tapInPhone(c.t, c.ctx, "is-off")
	tapInPhone(c.t, c.ctx, "is-on")
	waitFor(c.t, c.ctx, coil+" to be read", fmt.Sprintf(`(() => {
		const phone = document.querySelector("#rehearsal iframe").contentDocument;
		phone.querySelector("#lies")?.click(); // it asks where the field is weak
		return [...document.querySelectorAll("#holds .reading summary")].some((s) => s.textContent.startsWith(%q));
	})()`, coil))
}

// TestRehearsalByFinger drags, turns and tilts the phone with a finger on a small
// screen: the page stays where it is, and what is laid down so is read.
func TestRehearsalByFinger(t *testing.T) {
	t.Parallel()
	c := &carrier{t: t, ctx: newBrowser(t, 390, 844), program: startProgram(t)}
	do(t, c.ctx, emulation.SetDeviceMetricsOverride(390, 844, 2, true), emulation.SetTouchEmulationEnabled(true).WithMaxTouchPoints(5))
	asked := c.rehearse()
	f := &fingers{t: t, ctx: c.ctx}
	do(t, c.ctx, chromedp.Evaluate(`document.querySelector("#drawing").scrollIntoView({ block: "center" })`, nil))
	scrolled := still[float64](t, c.ctx, pageScroll)
	stays := func(what string) {
		t.Helper()
		if y := still[float64](t, c.ctx, pageScroll); y != scrolled {
			t.Fatalf("%s scrolled the page by %.0f pixels", what, y-scrolled)
		}
	}

	// By its body, beside the mark: what is dragged is the phone, not a place of it.
	mark, coil := c.middle(".made-up .mark-dot"), c.bore(asked)
	f.down(mark.plus(12, 9))
	f.to(coil.plus(12, 9))
	waitFor(t, c.ctx, "it to be lifted meanwhile", `document.querySelector(".stands").textContent.startsWith("It is lifted")`)
	f.up()
	stays("dragging the phone")
	if s := c.stands(); s != "It lies." {
		t.Error(s)
	}
	c.over(asked)
	shot(t, c.ctx, "laid down")

	// The knob is as easily caught as a finger is thick.
	knob := c.middle(".made-up .knob-rim")
	f.down(knob.plus(-6, -6))
	f.to(knob.plus(-25, 14))
	f.up()
	stays("turning the phone")
	if s := c.stands(); !strings.Contains(s, "to the left") {
		t.Errorf("turned by the knob: %s", s)
	}
	bubble := c.middle(".made-up .bubble")
	f.down(bubble.plus(5, 5))
	f.to(bubble.plus(5, -1))
	f.up()
	stays("tilting the phone")
	if s := c.stands(); !strings.Contains(s, "edge up by") {
		t.Errorf("tilted by the bubble: %s", s)
	}
	shot(t, c.ctx, "turned and tilted")

	// Level again, and read.
	do(t, c.ctx, chromedp.Evaluate(`document.querySelector("#handling details").open = true`, nil), press(`#handling [aria-label^="Level"]`))
	if s := c.stands(); s != "It lies." {
		t.Error(s)
	}
	c.read(asked)
}

// TestRehearsalByMouse drags the phone over the coil asked for, lets go, and reads.
func TestRehearsalByMouse(t *testing.T) {
	t.Parallel()
	c := &carrier{t: t, ctx: newBrowser(t, 1440, 900), program: startProgram(t)}
	asked := c.rehearse()
	from, to := c.middle(".made-up .mark-dot").plus(10, -14), c.bore(asked).plus(10, -14)
	do(t, c.ctx, chromedp.MouseEvent(input.MousePressed, from.X, from.Y, chromedp.ButtonLeft))
	for k := 1.0; k <= 8; k++ {
		do(t, c.ctx, chromedp.MouseEvent(input.MouseMoved, from.X+(to.X-from.X)*k/8, from.Y+(to.Y-from.Y)*k/8, chromedp.ButtonLeft))
	}
	if s := c.stands(); s != "It is lifted." {
		t.Error("in the hand: ", s)
	}
	do(t, c.ctx, chromedp.MouseEvent(input.MouseReleased, to.X, to.Y, chromedp.ButtonLeft))
	if s := c.stands(); s != "It lies." {
		t.Error("let go: ", s)
	}
	c.over(asked)
	c.read(asked)
}

// TestRehearsalByKeys carries, turns, tilts and lays down the phone with keys
// alone, and the readings follow.
func TestRehearsalByKeys(t *testing.T) {
	t.Parallel()
	c := &carrier{t: t, ctx: newBrowser(t, 1440, 900), program: startProgram(t)}
	asked := c.rehearse()
	key := func(keys string, m ...chromedp.KeyOption) {
		t.Helper()
		do(t, c.ctx, chromedp.KeyEvent(keys, m...))
	}
	says := func(words string) {
		t.Helper()
		if s := c.stands(); s != words {
			t.Errorf("expected %q, found %q", words, s)
		}
	}
	// To the phone by Tab alone.
	do(t, c.ctx, chromedp.Focus("#rehearse", chromedp.ByQuery))
	for n := 0; ; n++ {
		var there bool
		if do(t, c.ctx, chromedp.Evaluate(`document.activeElement.classList.contains("made-up")`, &there)); there {
			break
		}
		if n == 40 {
			t.Fatal("40 times Tab do not lead to the phone")
		}
		key(kb.Tab)
	}
	x, y := c.mark()
	key(kb.ArrowLeft)
	key(kb.ArrowUp, chromedp.KeyModifiers(input.ModifierShift))
	if nx, ny := c.mark(); math.Abs(nx-x+4) > 0.01 || math.Abs(ny-y-25) > 0.01 {
		t.Errorf("from %.1f, %.1f to %.1f, %.1f, expected 4 to the left and 25 up", x, y, nx, ny)
	}
	says("It is lifted.")
	key(" ")
	says("It lies.")
	key("q")
	key("q")
	says("It lies, turned 10° to the left.")
	key("w")
	key("d")
	key("d")
	says("It lies, turned 10° to the left, its lower edge up by 2°, its left edge up by 4°.")
	shot(t, c.ctx, "turned and tilted")
	// What the sensor says changes with it: the earth's field in another frame. From one end
	// to the other, since the field is drawn anew each time and may lie near the axis.
	for range 17 {
		key("a")
	}
	says("It lies, turned 10° to the left, its lower edge up by 2°, its right edge up by 30°.")
	do(t, c.ctx, chromedp.Sleep(time.Second)) // until the sensor has followed
	var before, after []float64
	line := `document.querySelector(".sensor-line").textContent.replaceAll("\u2212", "-").match(/-?\d+/g).map(Number)`
	do(t, c.ctx, chromedp.Evaluate(line, &before))
	for range 29 {
		key("d")
	}
	waitFor(t, c.ctx, "the sensor to follow", `document.querySelector(".stands").textContent.includes("left edge up by 28°")`)
	waitFor(t, c.ctx, "another reading", fmt.Sprintf(`((now) => Math.hypot(...%s.map((v, i) => v - now[i])) > 8)(%s)`, asJSON(t, before), line))
	do(t, c.ctx, chromedp.Evaluate(line, &after))
	t.Logf("tilted by 58°: %v became %v", before, after)
	key("0")
	says("It lies.")
	key("n")
	waitFor(t, c.ctx, "it to lie on "+asked, fmt.Sprintf(`document.querySelector("#carry").textContent === "It lies on %s"`, asked))
	c.over(asked)
	c.read(asked)
}

func asJSON(t *testing.T, v any) string {
	t.Helper()
	raw, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}
