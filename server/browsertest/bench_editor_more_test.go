package browsertest

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// unlike is a pad of coils that differ in size and lie in no line: a round one
// of 92 mm across, an oblong one of 72 by 52 and a square one of 42. All of it
// commented, as somebody writes who means to come back.
const unlike = `# A pad for lining up.
format = 1
name = "Unlike"
length_unit = "mm"

[outline]
size = [600, 400] # the board

[supply]
volts = 2.0

[[winding]]
id = "large"
shape = "round"
inner = 80
turns = 40
build = 6
width = 8
wire_awg = 22

[[winding]]
id = "long"
shape = "oblong"
inner = [60, 40] # wide and flat
turns = 30
build = 6
width = 8
wire_awg = 22

[[winding]]
id = "small"
shape = "rectangle"
inner = [30, 30]
turns = 20
build = 6
width = 8
wire_awg = 22

[[coil]]
id = "L"
winding = "large"
at = [100, 250] # first

[[coil]]
id = "O"
winding = "long"
at = [260, 210]

[[coil]]
id = "S"
winding = "small"
at = [480, 330]
north = "down" # on purpose

[[string]]
id = "A"
coils = ["L", "O", "S"]
`

// placed is the text of unlike with its coils elsewhere.
func placed(l, o, s string) string {
	return strings.NewReplacer("at = [100, 250]", "at = ["+l+"]", "at = [260, 210]", "at = ["+o+"]", "at = [480, 330]", "at = ["+s+"]").Replace(unlike)
}

// is waits until the plan's text is a certain one, whole.
func (e *editing) is(what, text string) {
	e.t.Helper()
	e.wait(what, fmt.Sprintf(`document.querySelector("#ed-text").value === %s`, asJSON(e.t, text)))
}

// TestEditorLinesUp lines coils of different sizes up by their sides and middles,
// spaces them, copies them and types numbers: the places are exact, and the rest
// of the file stays as it was, comments and all.
func TestEditorLinesUp(t *testing.T) {
	t.Parallel()
	e := editText(t, unlike, 1280, 900)
	all := func() {
		t.Helper()
		do(t, e.ctx, chromedp.Evaluate(`document.querySelector("#ed-drawing [data-coil=L]").focus()`, nil), chromedp.KeyEvent("a", chromedp.KeyModifiers(input.ModifierCtrl)))
		e.wait("three to be picked", `document.querySelector("#ed-picked h2").textContent === "3 coils"`)
	}
	all()
	// Half sizes: 46 and 46; 36 and 26; 21 and 21.
	for how, want := range map[string]string{
		"left":   placed("100, 250", "90, 210", "75, 330"),
		"right":  placed("455, 250", "465, 210", "480, 330"),
		"centre": placed("280, 250", "280, 210", "280, 330"),
		"bottom": placed("100, 230", "260, 210", "480, 205"),
		"top":    placed("100, 305", "260, 325", "480, 330"),
		"middle": placed("100, 263.3333", "260, 263.3333", "480, 263.3333"),
	} {
		// A button is pressed with the keyboard as with anything else.
		do(t, e.ctx, chromedp.Focus(fmt.Sprintf("[data-align=%s]", how), chromedp.ByQuery), chromedp.KeyEvent(kb.Enter))
		e.is("lined up "+how, want)
		e.click("#ed-undo")
		e.is("as before", unlike)
		do(t, e.ctx, chromedp.KeyEvent("z", chromedp.KeyModifiers(input.ModifierCtrl|input.ModifierShift)))
		e.is("lined up again "+how, want)
		e.click("#ed-undo")
		e.is("as before", unlike)
	}
	e.click("[data-spread=x]")
	e.is("spaced across", placed("100, 250", "290, 210", "480, 330"))
	e.click("#ed-undo")
	e.is("as before", unlike)
	e.click("[data-spread=y]")
	e.is("spaced away", placed("100, 270", "260, 210", "480, 330"))
	e.click("#ed-undo")
	e.is("as before", unlike)

	// One number for all, then one for each.
	e.fill("#ed-coil-at-1", "200,5") // as written in half the world
	e.is("one y for all", placed("100, 200.5", "260, 200.5", "480, 200.5"))
	do(t, e.ctx, chromedp.Evaluate(`document.activeElement.blur()`, nil))
	e.click("#ed-undo")
	e.is("as before", unlike)
	e.click("#ed-none")
	e.tap("O")
	e.fill("#ed-coil-turned", "37.5")
	e.is("turned", strings.Replace(unlike, "at = [260, 210]\n", "at = [260, 210]\nturned = 37.5\n", 1))
	shot(t, e.ctx, "turned")
	// An arrow key in a field takes five steps, with Shift one.
	do(t, e.ctx, chromedp.KeyEvent(kb.ArrowUp), chromedp.KeyEvent(kb.ArrowDown, chromedp.KeyModifiers(input.ModifierShift)))
	e.says("turned = 41.5")
	do(t, e.ctx, chromedp.Evaluate(`document.activeElement.blur()`, nil))
	for !strings.EqualFold(e.text(), unlike) {
		do(t, e.ctx, chromedp.KeyEvent("z", chromedp.KeyModifiers(input.ModifierCtrl)), chromedp.Evaluate(`new Promise((r) => setTimeout(r, 150))`, nil, awaited))
	}

	// The whole string copied: the copies make a string of their own and keep what
	// their originals have.
	all()
	e.click("#ed-duplicate")
	e.wait("six coils", `document.querySelectorAll("#ed-drawing [data-coil]").length === 6 && document.querySelector(".problems").hidden`)
	got := e.text()
	if !strings.HasPrefix(got, strings.TrimSuffix(unlike, "\n[[string]]\nid = \"A\"\ncoils = [\"L\", \"O\", \"S\"]\n")) {
		t.Errorf("what was there has changed:\n%s", got)
	}
	if strings.Count(got, `north = "down"`) != 2 || !strings.Contains(got, "id = \"B\"\ncoils = [\"L1\", \"O1\", \"S1\"]") {
		t.Errorf("the copies are not like their originals:\n%s", got)
	}
	shot(t, e.ctx, "copied")
	e.click("#ed-save")
	e.wait("it to be saved", `document.querySelector(".ed-status").textContent === "saved"`)
	if e.onDisk() != got {
		t.Error("another text was saved than the one shown")
	}
}

// TestEditorStringsByKeys draws a string with keys alone, takes it back and does
// it again, and turns one that is there round.
func TestEditorStringsByKeys(t *testing.T) {
	t.Parallel()
	e := edit(t, "kennel", 1280, 860)
	before := e.text()
	key := func(keys ...string) {
		t.Helper()
		for _, k := range keys {
			do(t, e.ctx, chromedp.KeyEvent(k))
		}
	}
	focused := func(test string) {
		t.Helper()
		e.wait("the focus", `((n) => `+test+`)(document.activeElement)`)
	}
	do(t, e.ctx, chromedp.Focus("#ed-draw-string", chromedp.ByQuery))
	key(kb.Enter)
	focused(`n.dataset.coil === "A1"`)
	key(kb.Enter, kb.ArrowDown, kb.Enter, kb.ArrowRight, kb.Enter)
	e.wait("the order", `document.querySelector(".chain-line").textContent.includes("A1 → B1 → B2") && document.querySelector("#said").textContent.includes("A1, B1, B2")`)
	key(kb.Enter) // on the last one: not that one
	e.wait("one fewer", `document.querySelector(".chain-line").textContent.endsWith("A1 → B1")`)
	do(t, e.ctx, chromedp.Focus("#ed-string-done", chromedp.ByQuery))
	key(kb.Enter)
	e.says(`coils = ["A1", "B1"]`)
	focused(`n.id === "ed-draw-string"`)
	drawn := e.text()
	if n := strings.Count(drawn, "[[string]]"); n != 4 {
		t.Errorf("%d strings, expected 4:\n%s", n, drawn)
	}
	do(t, e.ctx, chromedp.KeyEvent("z", chromedp.KeyModifiers(input.ModifierCtrl)))
	e.is("the plan of before", before)
	e.wait("three strings drawn", `document.querySelectorAll("#ed-drawing .string-end").length === 6`)
	do(t, e.ctx, chromedp.KeyEvent("y", chromedp.KeyModifiers(input.ModifierCtrl)))
	e.is("the string again", drawn)
	e.wait("four strings drawn", `document.querySelectorAll("#ed-drawing .string-end").length === 8`)
	do(t, e.ctx, chromedp.KeyEvent("z", chromedp.KeyModifiers(input.ModifierCtrl)))
	e.is("the plan of before", before)

	// One that is there, drawn again from its other end; Escape would have left it.
	do(t, e.ctx, chromedp.Focus("#ed-redraw-C", chromedp.ByQuery))
	key(kb.Enter)
	focused(`n.dataset.coil`)
	key(kb.Escape)
	e.wait("no string being drawn", `document.querySelector("#ed-draw-string")`)
	e.is("the plan of before", before)
	do(t, e.ctx, chromedp.Focus("#ed-redraw-C", chromedp.ByQuery))
	key(kb.Enter, kb.ArrowDown, kb.ArrowDown, kb.ArrowRight, kb.ArrowRight, kb.Enter, kb.ArrowLeft, kb.Enter, kb.ArrowLeft, kb.Enter)
	e.click("#ed-string-done")
	e.is("string C from its other end", strings.Replace(before, `["C1", "C2", "C3"]`, `["C3", "C2", "C1"]`, 1))
}

// TestEditorFiguresUnderTheHand: what is shown while a coil is still held is what
// is shown once it is let go, and the numbers typed have their figures too.
func TestEditorFiguresUnderTheHand(t *testing.T) {
	t.Parallel()
	e := edit(t, "kennel", 1280, 860)
	figures := func() string {
		t.Helper()
		return still[string](t, e.ctx, `document.querySelector(".ed-figures").innerText`)
	}
	at := func(coil string) string {
		t.Helper()
		return still[string](t, e.ctx, fmt.Sprintf(`document.querySelector("#ed-drawing [data-coil=%s] .coil-value").textContent`, coil))
	}
	before, beside := figures(), at("A2")
	x, y, scale := e.at("A1")
	e.mouse(input.MousePressed, x, y)
	for k := 1.0; k <= 6; k++ {
		e.mouse(input.MouseMoved, x+k*5*scale, y, chromedp.Button("left"))
	}
	held, heldBeside := figures(), at("A2")
	if held == before || heldBeside == beside {
		t.Errorf("with A1 held 30 mm nearer to A2 the figures still are\n%s\nand %s over A2", held, heldBeside)
	}
	text := e.text()
	shot(t, e.ctx, "held")
	e.mouse(input.MouseReleased, x+30*scale, y)
	e.says("at = [120, 390]")
	if strings.Contains(text, "at = [120, 390]") {
		t.Error("the plan was changed before the coil was let go")
	}
	if f := figures(); f != held || at("A2") != heldBeside {
		t.Errorf("held:\n%s\nlet go:\n%s", held, f)
	}
	// Escape in the middle of a drag puts it back.
	x, y, scale = e.at("C3")
	e.mouse(input.MousePressed, x, y)
	e.mouse(input.MouseMoved, x-20*scale, y, chromedp.Button("left"))
	e.mouse(input.MouseMoved, x-25*scale, y, chromedp.Button("left"))
	do(t, e.ctx, chromedp.KeyEvent(kb.Escape))
	e.mouse(input.MouseReleased, x-25*scale, y)
	if f := figures(); f != held {
		t.Errorf("after a drag that was broken off:\n%s\nbefore it:\n%s", f, held)
	}
	// Half the turns of all nine: half the ohms of the coils, and the rest follows.
	e.tap("B2")
	e.fill("#ed-winding-turns", "30")
	e.wait("ohms, current and check current to follow", `/0\.50 ohm, 2\.50 A at 1\.2\d V/.test(document.querySelector(".ed-figures").innerText)`)
	for i, part := range strings.SplitN(figures(), "\n", -1) {
		if i%2 == 1 && strings.Contains(held, part) && !strings.Contains(part, "parallel") { // how strings are joined is no figure
			t.Errorf("half the turns, and still %q", part)
		}
	}
	shot(t, e.ctx, "half the turns")
}

// TestEditorOpensAndDownloads opens plan files from elsewhere, good and bad, and
// saves one as a file.
func TestEditorOpensAndDownloads(t *testing.T) {
	t.Parallel()
	e := edit(t, "kennel", 1280, 860)
	before := e.text()
	dir := t.TempDir()
	write := func(name, text string) string {
		t.Helper()
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	open := func(path string) {
		t.Helper()
		do(t, e.ctx, chromedp.SetUploadFiles("#ed-file", []string{path}, chromedp.ByQuery))
	}
	open(write("unlike.toml", unlike))
	e.is("the file's text", unlike)
	e.wait("its coils", `document.querySelectorAll("#ed-drawing [data-coil]").length === 3 && document.querySelector("#ed-name").value === "Unlike"`)
	shot(t, e.ctx, "opened")
	// Saved as a file, byte by byte.
	do(t, e.ctx, browser.SetDownloadBehavior(browser.SetDownloadBehaviorBehaviorAllow).WithDownloadPath(filepath.Join(dir, "saved")))
	e.fill("#ed-name", "Unlike ones")
	e.says("Unlike ones")
	e.click("#ed-download")
	saved := filepath.Join(dir, "saved", "pad.toml")
	want := strings.Replace(unlike, `"Unlike"`, `"Unlike ones"`, 1)
	e.waitFile(saved, want)
	// A broken one is shown with what is wrong, and Undo leads back.
	open(write("broken.toml", strings.Replace(unlike, `winding = "small"`, `winding = "tiny"`, 1)))
	e.wait("what is wrong", `/S\.winding.*tiny/s.test(document.querySelector(".problems").innerText) || document.querySelector(".problems").innerText.includes("tiny")`)
	shot(t, e.ctx, "broken")
	e.click("#ed-undo")
	e.is("the one before", want)
	open(write("huge.toml", strings.Repeat("# much\n", 200_000)))
	e.wait("a word on its size", `document.querySelector(".banner.not-done")?.innerText.includes("Is it a plan?")`)
	e.is("still the one before", want)
	open(write("picture.toml", "\x89PNG\r\n\x1a\n\x00\x00"))
	e.wait("that a picture is no plan", `document.querySelector(".banner.not-done")?.innerText.includes("picture.toml is not a plan") && document.querySelector(".problems").hidden`)
	e.is("the one before, after a picture", want)
	open(write("other.toml", "[package]\nname = \"other\"\n"))
	e.wait("that another file is no plan", `document.querySelector(".banner.not-done")?.innerText.includes("other.toml is not a plan")`)
	e.is("the one before, after another file", want)
	for e.text() != before {
		do(t, e.ctx, press("#ed-undo"), chromedp.Evaluate(`new Promise((r) => setTimeout(r, 150))`, nil, awaited))
	}
}

// waitFile waits until a file holds a text.
func (e *editing) waitFile(path, text string) {
	e.t.Helper()
	var got []byte
	for range 100 {
		if got, _ = os.ReadFile(path); string(got) == text { // not there yet, or not whole
			return
		}
		do(e.t, e.ctx, chromedp.Evaluate(`new Promise((r) => setTimeout(r, 100))`, nil, awaited))
	}
	e.t.Fatalf("%s holds %q", path, got)
}

// TestEditorBeginsWhereItSays: the places of a row, a grid, a staggered grid and
// a ring of given numbers, and that the numbers outlive a reload.
func TestEditorBeginsWhereItSays(t *testing.T) {
	t.Parallel()
	e := edit(t, "kennel", 1280, 900)
	begin := func(form string, numbers map[string]string) {
		t.Helper()
		e.click("#ed-begin")
		do(t, e.ctx, chromedp.WaitVisible("#begin-plan", chromedp.ByQuery))
		e.click(fmt.Sprintf(`[data-form=%q]`, form))
		for id, v := range numbers {
			e.fill("#new-"+id, v)
		}
	}
	made := func(n int) (places [][2]float64, north []string) {
		t.Helper()
		e.wait("the plan", fmt.Sprintf(`!document.querySelector("dialog[open]") && document.querySelectorAll("#ed-drawing [data-coil]").length === %d && !document.querySelector("#ed-use").disabled`, n))
		do(t, e.ctx, chromedp.Evaluate(`[...document.querySelector("#ed-text").value.matchAll(/^at = \[(.*), (.*)\]/gm)].map((m) => [Number(m[1]), Number(m[2])])`, &places),
			chromedp.Evaluate(`[...document.querySelector("#ed-text").value.matchAll(/\[\[coil\]\]\nid = "(.*)"/g)].map((m) => /north (up|down)/.exec(document.querySelector('#ed-drawing [data-coil="' + m[1] + '"] title').textContent)[1])`, &north))
		if len(places) != n || len(north) != n {
			t.Fatalf("%d places, %d faces of %d coils", len(places), len(north), n)
		}
		return places, north
	}
	apart := func(p, q [2]float64) string { return fmt.Sprintf("%+.1f %+.1f", q[0]-p[0], q[1]-p[1]) }
	expect := func(what, got, want string) {
		t.Helper()
		if got != want {
			t.Errorf("%s: %s, expected %s", what, got, want)
		}
	}
	begin("row", map[string]string{"coils": "4", "pitch_mm": "120"})
	e.click(".begin .check input")
	e.click("#begin-plan")
	p, north := made(4)
	expect("row, to the next", apart(p[0], p[1]), "+120.0 +0.0")
	expect("row, to the last", apart(p[0], p[3]), "+360.0 +0.0")
	expect("faces", strings.Join(north, " "), "up down up down")

	begin("grid", map[string]string{"columns": "3", "rows": "2", "pitch_mm": "110"})
	e.click("#begin-plan")
	p, _ = made(6)
	expect("grid, to the next", apart(p[0], p[1]), "+110.0 +0.0")
	expect("grid, to the row nearer", apart(p[0], p[3]), "+0.0 -110.0")

	begin("staggered", map[string]string{"columns": "2", "rows": "3", "pitch_mm": "140"})
	e.click("#begin-plan")
	p, _ = made(6)
	expect("staggered, to the next", apart(p[0], p[1]), "+140.0 +0.0")
	expect("staggered, to the row nearer, half a step aside", fmt.Sprintf("%+.0f", p[2][0]-p[0][0]), "+70")
	expect("staggered, two rows nearer", fmt.Sprintf("%+.1f", p[4][0]-p[0][0]), "+0.0")

	begin("ring", map[string]string{"coils": "8", "strings": "4", "pitch_mm": "115"})
	e.click("#begin-plan")
	p, _ = made(8)
	for i := range p {
		q := p[(i+1)%8]
		if d := (q[0]-p[i][0])*(q[0]-p[i][0]) + (q[1]-p[i][1])*(q[1]-p[i][1]); d < 114.8*114.8 || d > 115.2*115.2 {
			t.Errorf("ring: coil %d lies %s from the next", i+1, apart(p[i], q))
		}
	}
	e.wait("four strings", `document.querySelectorAll("#ed-drawing .string-end").length === 8`)
	shot(t, e.ctx, "ring")

	// What is no number is not begun with.
	begin("grid", map[string]string{"pitch_mm": "abc"})
	e.click("#begin-plan")
	e.wait("a word on it", `document.querySelector("dialog[open]") && document.activeElement.id === "new-pitch_mm" && document.activeElement.value === "abc" && document.querySelector(".begin").innerText.includes('found "abc"')`)
	e.click(".begin .row button:not(.main)")

	// Numbers typed and not used yet are there after a reload.
	begin("staggered", map[string]string{"rows": "7", "turns": "33"})
	do(t, e.ctx, chromedp.Reload())
	e.wait("the page", `document.querySelector("#ed-drawing [data-coil]")`)
	e.click("#ed-begin")
	e.wait("the numbers typed", `document.querySelector('[data-form=staggered][aria-pressed="true"]') && document.querySelector("#new-rows").value === "7" && document.querySelector("#new-turns").value === "33"`)
}

// TestEditorNameTaken gives a coil, a kind and a string names that others have: why
// not is said at the field, where a person looks, and a free one is taken.
func TestEditorNameTaken(t *testing.T) {
	t.Parallel()
	e := edit(t, "kennel", 360, 740)
	before := e.text()
	for _, k := range []struct{ open, field, taken, why, free, now string }{
		{`document.querySelector("#ed-details-A").click()`, "#ed-string-id", "B2", "Another coil is called B2.", "Left", `id = "Left"`},
		{`document.querySelector("#ed-drawing [data-coil=A2]").focus(); document.querySelector("#ed-drawing [data-coil=A2]").dispatchEvent(new KeyboardEvent("keydown", {key: "Enter", bubbles: true}))`, "#ed-coil-id", "B", "Another string is called B.", "A9", `id = "A9"`},
	} {
		do(t, e.ctx, chromedp.Evaluate(k.open, nil))
		e.wait(k.field, fmt.Sprintf(`document.querySelector(%q)`, k.field))
		e.fill(k.field, k.taken+kb.Enter)
		e.wait(k.why, fmt.Sprintf(`(([field, why]) => {
			const bad = document.querySelector(field).closest(".field").querySelector(".bad");
			const r = bad.getBoundingClientRect();
			return bad.textContent.startsWith(why) && r.top >= 0 && r.bottom <= innerHeight;
		})(%s)`, asJSON(t, []string{k.field, k.why})))
		if got := e.text(); got != before {
			t.Errorf("%s %s changed the plan:\n%s", k.field, k.taken, got)
		}
		shot(t, e.ctx, k.taken)
		// Who leaves the field finds the old name in it, and still why.
		do(t, e.ctx, chromedp.SendKeys(k.field, kb.Tab, chromedp.ByQuery))
		e.wait("the old name and why", fmt.Sprintf(`(([field, why]) => {
			const { value } = document.querySelector(field);
			const said = document.querySelector(field).closest(".field").querySelector(".bad").textContent;
			return said.startsWith(why) && said.endsWith(`+"` ${value} stays.`"+`);
		})(%s)`, asJSON(t, []string{k.field, k.why})))
		e.fill(k.field, k.free+kb.Enter)
		e.says(k.now)
		before = e.text()
	}
}

// TestEditorDrawsAStringInOneMoreLine holds the drawing where it is, but for the
// line that says which coils the string has so far.
func TestEditorDrawsAStringInOneMoreLine(t *testing.T) {
	t.Parallel()
	e := edit(t, "kennel", 1280, 800)
	top := func() (y float64) {
		do(t, e.ctx, chromedp.Evaluate(`document.querySelector("#ed-drawing").getBoundingClientRect().top - document.querySelector("#editor").getBoundingClientRect().top`, &y))
		return y
	}
	before := top()
	e.click("#ed-draw-string")
	e.wait("what to do", `document.querySelector(".chain-line")`)
	for n, coil := range []string{"B1", "B2", "B3", "A3", "A2", "A1", "C1"} {
		if now := top(); now-before > 40 {
			t.Errorf("after %d coils the drawing is %.0f pixels lower", n, now-before)
		}
		e.tap(coil)
		e.wait("the string so far", fmt.Sprintf(`document.querySelector(".chain-line").textContent.endsWith(%q)`, coil))
	}
}

// TestEditorSaysWhyAPlanCannotBeUsed on a phone's screen, where the list of what is
// wrong is far below the drawing; the figures do not tell it all once more.
func TestEditorSaysWhyAPlanCannotBeUsed(t *testing.T) {
	t.Parallel()
	e := edit(t, "kennel", 360, 740)
	e.wait("a plan without faults", `document.querySelector("#ed-wrong").hidden && document.querySelector("#figures .figures-well")`)
	whole := e.text()
	text := strings.Replace(strings.Replace(whole, "turns = 60", "turns = 60.5", 1), `winding = "round"`, `winding = "rond"`, 1)
	do(t, e.ctx, chromedp.Evaluate(fmt.Sprintf(`document.querySelector(".as-text").open = true; document.querySelector("#ed-text").value = %q; document.querySelector("#ed-text").dispatchEvent(new Event("input", { bubbles: true })); scrollTo(0, 0)`, text), nil))
	e.wait("how many", `(() => {
		const r = document.querySelector("#ed-wrong").getBoundingClientRect();
		return document.querySelector("#ed-wrong").textContent === "! 2 things to put right" && r.bottom <= innerHeight && document.querySelector("#ed-use").disabled;
	})()`)
	shot(t, e.ctx, "wrong")
	e.click("#ed-wrong")
	e.wait("the list in sight", `(() => {
		const r = document.querySelector(".problems").getBoundingClientRect();
		return r.top >= 0 && r.bottom <= innerHeight && document.querySelectorAll(".problems li").length === 2 && document.activeElement === document.querySelector(".problems");
	})()`)
	e.wait("the figures to point there", `document.querySelector("#figures-trouble").textContent.includes("once the plan is whole") && !document.querySelector("#figures").textContent.includes("rond")`)
	do(t, e.ctx, chromedp.Evaluate(fmt.Sprintf(`document.querySelector("#ed-text").value = %q; document.querySelector("#ed-text").dispatchEvent(new Event("input", { bubbles: true }))`, whole), nil))
	e.wait("nothing wrong any more", `document.querySelector("#ed-wrong").hidden && !document.querySelector("#ed-use").disabled && !document.querySelector("#figures-trouble").textContent`)
}
