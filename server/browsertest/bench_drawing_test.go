package browsertest

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// TestPadDrawnToScale holds the drawing against the plan's numbers: places, copper
// and bore of round, oblong and square windings, the scale bar, faces, marks.
func TestPadDrawnToScale(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "unlike.toml")
	text := strings.Replace(unlike, "at = [260, 210]\n", "at = [260, 210]\nturned = 30\n", 1)
	text = strings.Replace(text, `coils = ["L", "O", "S"]`, "coils = [\"L\", \"O\"]\n\n[[string]]\nid = \"B\"\ncoils = [\"S\"]", 1)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	program := startProgram(t, "--plan", file)
	ctx := newBrowser(t, 1280, 900)
	do(t, ctx, chromedp.Navigate(program.Bench))
	waitFor(t, ctx, "the pad", `document.querySelectorAll("#drawing .coil").length === 3`)
	type box struct{ X, Y, W, H float64 }
	// measure is what something takes up on the screen, in millimetres of the pad.
	measure := func(selector string) (b box) {
		t.Helper()
		return still[box](t, ctx, fmt.Sprintf(`(() => {
			const m = document.querySelector("#drawing svg").getScreenCTM().inverse();
			const r = document.querySelector(%q).getBoundingClientRect();
			const [a, b] = [new DOMPoint(r.left, r.top).matrixTransform(m), new DOMPoint(r.right, r.bottom).matrixTransform(m)];
			return { X: (a.x + b.x) / 2, Y: -(a.y + b.y) / 2, W: b.x - a.x, H: b.y - a.y };
		})()`, selector))
	}
	near := func(what string, got, want box) {
		t.Helper()
		for _, d := range []float64{got.X - want.X, got.Y - want.Y, got.W - want.W, got.H - want.H} {
			if math.Abs(d) > 1.2 { // the stroke round it, and a pixel
				t.Errorf("%s: %.1f, expected %.1f", what, got, want)
				return
			}
		}
	}
	near("the board", measure("#drawing .pad-outline"), box{300, 200, 600, 400})
	near("L's copper", measure("#drawing [data-coil=L] .copper"), box{100, 250, 92, 92})
	near("L's bore", measure("#drawing [data-coil=L] .bore"), box{100, 250, 80, 80})
	near("S's copper", measure("#drawing [data-coil=S] .copper"), box{480, 330, 42, 42})
	near("S's bore", measure("#drawing [data-coil=S] .bore"), box{480, 330, 30, 30})
	// An oblong of 72 by 52 with half circles at its ends, turned by 30 degrees:
	// twice half its straight part turned, and the half circles round it.
	c, s := math.Cos(math.Pi/6), math.Sin(math.Pi/6)
	near("O's copper", box(still[box](t, ctx, `(() => {
		const o = document.querySelector("#drawing [data-coil=O] .copper");
		const n = (k) => Number(o.getAttribute(k));
		const [cx, cy] = /translate\((\S+) (\S+)\)/.exec(o.parentNode.getAttribute("transform")).slice(1).map(Number);
		const a = (-/rotate\((\S+)\)/.exec(o.getAttribute("transform"))[1] * Math.PI) / 180; // counter-clockwise on the screen
		const flat = [n("width") / 2 - n("rx"), n("height") / 2 - n("ry")];
		return { X: cx, Y: -cy, W: 2 * (Math.abs(flat[0] * Math.cos(a)) + Math.abs(flat[1] * Math.sin(a)) + n("rx")), H: 2 * (Math.abs(flat[0] * Math.sin(a)) + Math.abs(flat[1] * Math.cos(a)) + n("rx")) };
	})()`)), box{260, 210, 2 * (10*c + 26), 2 * (10*s + 26)})
	var bar float64
	do(t, ctx, chromedp.Evaluate(`parseFloat(document.querySelector("#drawing .scale-bar text").textContent)`, &bar))
	if w := measure("#drawing .scale-bar path").W; bar < 50 || math.Abs(w-bar) > 1.5 {
		t.Errorf("the scale bar of %.0f mm is %.1f mm long", bar, w)
	}

	// Faces: a dot where north is planned up, a cross where it is down; one mark a
	// coil where current enters; both ends of both strings by name.
	var marks struct {
		Faces, Ends []string
		Plus, Leads int
	}
	do(t, ctx, chromedp.Evaluate(`({
		faces: ["L", "O", "S"].map((id) => [...document.querySelector("#drawing [data-coil=" + id + "] .near").querySelectorAll("circle, path")].map((n) => n.tagName + (n.getAttribute("class") ? "." + n.getAttribute("class") : "")).join(" ")),
		ends: [...document.querySelectorAll("#drawing .string-end")].map((n) => n.textContent).sort(),
		plus: document.querySelectorAll("#drawing .plus-mark").length,
		leads: document.querySelectorAll("#drawing .lead").length,
	})`, &marks))
	if marks.Faces[0] != marks.Faces[1] || marks.Faces[0] == marks.Faces[2] {
		t.Errorf("the signs of L and O, up, and S, down, are %q", marks.Faces)
	}
	if !strings.Contains(marks.Faces[0], "circle circle") || !strings.Contains(marks.Faces[2], "path") {
		t.Errorf("dot and cross are drawn as %q", marks.Faces)
	}
	if strings.Join(marks.Ends, ",") != "A +,A −,B +,B −" || marks.Plus != 3 || marks.Leads < 5 {
		t.Errorf("%+v", marks)
	}
	shot(t, ctx, "drawn")
}

// TestStringsToldApart: with no colours at all, each string's leads have a line of
// their own and its name at both ends; and what is read stands beside what was
// expected, doubt as shares of a ring.
func TestStringsToldApart(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 1280, 900)
	do(t, ctx, chromedp.Navigate(program.Bench+"?canned=doubt#check"))
	waitFor(t, ctx, "the pad", `document.querySelectorAll("#drawing .coil").length === 9 && document.querySelector("#drawing .doubt-ring")`)
	var dashes map[string]string
	do(t, ctx, chromedp.Evaluate(`Object.fromEntries([0, 1, 2].map((i) => [i, [...new Set([...document.querySelectorAll("#drawing .lead.string-" + i)].map((n) => n.getAttribute("stroke-dasharray")))].join("|")]))`, &dashes))
	if len(dashes) != 3 || dashes["0"] == dashes["1"] || dashes["1"] == dashes["2"] || dashes["0"] == dashes["2"] || strings.Contains(dashes["0"]+dashes["1"]+dashes["2"], "|") {
		t.Errorf("the strings' lines are %q", dashes)
	}
	// Doubt: coil A2 is undecided. The ring's shares are the chances, each of another
	// stroke, and the words say so too.
	var doubt struct {
		Shares map[string]float64
		Title  string
		Value  string
		Face   string
		Sure   bool
	}
	do(t, ctx, chromedp.Evaluate(`(() => {
		const coil = document.querySelector("#drawing [data-coil=A2]");
		const ring = [...coil.querySelectorAll(".doubt-ring path")];
		const all = ring.reduce((sum, p) => sum + p.getTotalLength(), 0);
		return {
			shares: Object.fromEntries(ring.map((p) => [p.getAttribute("class"), p.getTotalLength() / all])),
			title: coil.querySelector("title").textContent,
			value: coil.querySelector(".coil-value").textContent,
			face: coil.querySelector(".near").innerHTML.includes("only-planned") ? "planned" : "read",
			sure: Boolean(document.querySelector("#drawing [data-coil=A1] .doubt-ring")),
		};
	})()`, &doubt))
	for kind, want := range map[string]float64{"doubt-as-planned": 0.37, "doubt-reversed": 0.441, "doubt-weak": 0.126, "doubt-dead": 0.063} {
		if got := doubt.Shares[kind]; math.Abs(got-want) > 0.01 {
			t.Errorf("%s takes %.3f of the ring, expected %.3f", kind, got, want)
		}
	}
	if !strings.Contains(doubt.Title, "undecided (most likely reversed, 44 %)") || doubt.Face != "planned" || doubt.Sure {
		t.Errorf("%+v", doubt)
	}
	var read, planned float64
	if n, err := fmt.Sscanf(doubt.Value, "%f of %f", &read, &planned); n != 2 || math.Abs(read/planned-0.4) > 0.01 {
		t.Errorf("beside what was expected: %q, %v", doubt.Value, err)
	}
	var strokes int
	do(t, ctx, chromedp.Evaluate(`new Set([...document.querySelectorAll("#drawing [data-coil=A2] .doubt-ring path")].map((p) => getComputedStyle(p).strokeDasharray)).size`, &strokes))
	if strokes != 4 {
		t.Errorf("four chances are drawn in %d kinds of stroke", strokes)
	}
	// Figures can be switched off, and stay off.
	visible := `document.querySelector("#drawing [data-coil=A2] .coil-value").checkVisibility({ visibilityProperty: true, opacityProperty: true })`
	waitFor(t, ctx, "figures", visible)
	do(t, ctx, press("#show-values"))
	waitFor(t, ctx, "no figures", "!"+visible)
	do(t, ctx, chromedp.Reload())
	waitFor(t, ctx, "no figures after a reload", `document.querySelector("#drawing .doubt-ring") && !`+visible)
}

// TestPadPannedByKeysAndMouse zooms with wheel and keys and moves what is seen
// with keys and by dragging; Fit shows all of it.
func TestPadPannedByKeysAndMouse(t *testing.T) {
	t.Parallel()
	program := startProgram(t)
	ctx := newBrowser(t, 1280, 900)
	f := &fingers{t: t, ctx: ctx}
	do(t, ctx, chromedp.Navigate(program.Bench))
	waitFor(t, ctx, "the pad", `document.querySelectorAll("#drawing .coil").length === 9`)
	do(t, ctx, chromedp.Evaluate(`document.querySelector("#drawing .coil[tabindex='0']").focus()`, nil))
	key := func(k string, m ...input.Modifier) {
		t.Helper()
		all := input.ModifierNone
		for _, one := range m {
			all |= one
		}
		do(t, ctx, chromedp.KeyEvent(k, chromedp.KeyModifiers(all)))
	}
	key("+")
	key("+")
	key("+")
	before := f.coil("B2")
	key(kb.ArrowRight, input.ModifierShift)
	key(kb.ArrowDown, input.ModifierShift)
	if after := f.coil("B2"); after.X > before.X-30 || after.Y > before.Y-30 {
		t.Errorf("what is seen went right and down by keys: B2 from %.0f to %.0f", before, after)
	}
	// What has the focus comes into sight: from coil to coil to the far corner.
	for range 4 {
		key(kb.ArrowRight)
		key(kb.ArrowDown)
	}
	waitFor(t, ctx, "C3 in sight", `(() => {
		const [c, d] = [document.activeElement.querySelector(".bore"), document.querySelector("#drawing")].map((n) => n.getBoundingClientRect());
		return document.activeElement.dataset.coil === "C3" && c.left >= d.left && c.right <= d.right && c.top >= d.top && c.bottom <= d.bottom;
	})()`)
	// The mouse drags it along, and picks nothing by that.
	at := f.coil("C3")
	under := f.under(at)
	do(t, ctx, chromedp.MouseEvent(input.MousePressed, at.X, at.Y, chromedp.ButtonLeft))
	for k := 1.0; k <= 6; k++ {
		do(t, ctx, chromedp.MouseEvent(input.MouseMoved, at.X+8*k, at.Y+5*k, chromedp.ButtonLeft))
	}
	do(t, ctx, chromedp.MouseEvent(input.MouseReleased, at.X+48, at.Y+30, chromedp.ButtonLeft))
	f.near("under the mouse", f.under(at.plus(48, 30)), under, 3)
	if id := still[string](t, ctx, picked); id != "" {
		t.Errorf("dragging picked %s", id)
	}
	key("0")
	waitFor(t, ctx, "all of it", "!"+drawingZoomed)
	// With Ctrl the wheel zooms about the pointer.
	at = f.coil("A3")
	under = f.under(at)
	do(t, ctx, input.DispatchMouseEvent(input.MouseWheel, at.X, at.Y).WithDeltaY(-240).WithModifiers(input.ModifierCtrl))
	waitFor(t, ctx, "it to be zoomed", drawingZoomed)
	f.near("under the wheel", f.under(at), under, 3)
	do(t, ctx, press("#view-buttons [aria-label^=Fit]"))
	waitFor(t, ctx, "all of it", "!"+drawingZoomed)
}
