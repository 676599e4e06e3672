package browsertest

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"polewise/server/testplan"
)

// tabTo presses the tabulator until an element has the focus.
func tabTo(t *testing.T, ctx context.Context, id string) {
	t.Helper()
	for range 60 {
		var at string
		do(t, ctx, chromedp.Evaluate(`document.activeElement?.id || ""`, &at))
		if at == id {
			return
		}
		do(t, ctx, chromedp.KeyEvent(kb.Tab))
	}
	shot(t, ctx, "not-reached")
	t.Fatalf("60 presses of the tabulator do not reach #%s; the page says:\n%s", id, text(t, ctx, "body"))
}

// byKeys presses a button with the keyboard alone.
func byKeys(t *testing.T, ctx context.Context, id string) {
	t.Helper()
	waitFor(t, ctx, id, `document.querySelector("#`+id+`")`)
	tabTo(t, ctx, id)
	do(t, ctx, chromedp.KeyEvent(kb.Enter))
}

// byTouch puts a finger on an element and lifts it. On a busy machine a touch may
// last so long that it is no tap any more; then it is done again.
func byTouch(t *testing.T, ctx context.Context, id string) {
	t.Helper()
	waitFor(t, ctx, id, `document.querySelector("#`+id+`")`)
	for range 4 {
		var at struct{ X, Y float64 }
		do(t, ctx, chromedp.Evaluate(`(() => {
				const n = document.querySelector("#`+id+`");
				n.scrollIntoView({ block: "nearest" });
				const r = n.getBoundingClientRect();
				window.tapped = "";
				addEventListener("click", (e) => (window.tapped = e.pointerType), { once: true, capture: true });
				return { X: r.x + r.width / 2, Y: r.y + r.height / 2 };
			})()`, &at))
		do(t, ctx,
			input.DispatchTouchEvent(input.TouchStart, []*input.TouchPoint{{X: at.X, Y: at.Y}}),
			input.DispatchTouchEvent(input.TouchEnd, []*input.TouchPoint{}))
		for range 8 {
			var by string
			do(t, ctx, chromedp.Evaluate("window.tapped", &by))
			if by == "touch" {
				return
			}
			time.Sleep(50 * time.Millisecond)
		}
	}
	t.Fatalf("#%s cannot be tapped with a finger", id)
}

// testByHand reads a pair of coils by needle, the one twice, and measures one, with keys or with
// a finger: A1 as planned, A2 the wrong way round.
func testByHand(t *testing.T, press func(*testing.T, context.Context, string), typed func(ctx context.Context, id, value string)) {
	program := startProgram(t, "--plan", smallPlan(t))
	phone := newBrowser(t, 360, 740, noRawReadings()...)
	do(t, phone, emulation.SetTouchEmulationEnabled(true))
	sent := keepBook(t, phone)
	do(t, phone, chromedp.Navigate(program.Phone))
	waitFor(t, phone, "the first screen", `document.querySelector("#begin")`)
	if b := text(t, phone, "#begin"); b != "Begin by hand" {
		t.Fatalf("the page offers %q", b)
	}
	press(t, phone, "begin")
	press(t, phone, "call-north")
	// Before the supply is switched on the cautions are in sight, whole.
	says(t, phone, "#title", "Switch the supply on")
	waitFor(t, phone, "the cautions in sight", `(() => {
		const c = document.querySelector(".caution").getBoundingClientRect();
		return c.height > 100 && c.top > 0 && c.bottom <= document.querySelector("#actions").getBoundingClientRect().top;
	})()`)
	press(t, phone, "is-on")
	says(t, phone, "#title", "Which face of A1 looks up?")
	press(t, phone, "ohms")
	says(t, phone, "#title", "Ohms")
	typed(phone, "ohms-value", "0,x")
	press(t, phone, "note-ohms")
	says(t, phone, "#note", "Expected a number of ohms")
	typed(phone, "ohms-value", "0,98")
	typed(phone, "celsius", "400")
	press(t, phone, "note-ohms")
	says(t, phone, "#note", "Expected a temperature from -50 to 200")
	if s := text(t, phone, "#body"); strings.Contains(s, "ohm,") {
		t.Errorf("something was noted with a temperature of 400:\n%s", s)
	}
	typed(phone, "celsius", "20")
	do(t, phone, chromedp.KeyEvent(kb.Enter))
	says(t, phone, "[aria-label=Noted]", "coil A1: 0.98 ohm, planned 0.")
	// A point forgotten: it is asked about, and taken back.
	typed(phone, "ohms-value", "98")
	press(t, phone, "note-ohms")
	says(t, phone, "#note", "coil A2: 98 ohm is far from the planned 0.")
	press(t, phone, "undo-ohms")
	says(t, phone, "#note", "Taken back: coil A2.")
	press(t, phone, "back")
	press(t, phone, "north")
	says(t, phone, "#title", "Which face of A2 looks up?")
	press(t, phone, "south")
	// One needle may have been read wrongly: what the page asks for is done.
	says(t, phone, "#lead", "Read the face of A2 once more")
	press(t, phone, "go-on")
	says(t, phone, "#title", "Which face of A2 looks up?")
	press(t, phone, "south")
	// Nothing more is asked for: the result comes by itself.
	says(t, phone, "#title", "A2 reversed")
	says(t, phone, "#lead", "Supply off before you touch a joint.")
	shot(t, phone, "result")
	s := program.waitState(t, "A2 claimed reversed", is("A2", "reversed"))
	if c := s.coil("A1"); c.State != "as-planned" {
		t.Errorf("A1 is said to be %s", c.State)
	}
	lines := sent.check(t, program)
	read := ""
	for _, o := range s.SignOff.Ohms {
		read += fmt.Sprintf("%s %.2f;", o.Across, *o.Ohms)
	}
	if read != "coil:A1 0.98;" {
		t.Errorf("the ohms are %s", read)
	}
	if all := strings.Join(lines, "\n"); count(lines, "ohms") != 2 || // one was taken back
		!strings.Contains(all, `"across":"coil:A1","ohms":0.98,"celsius":20`) {
		t.Errorf("stored:\n%s", all)
	}
}

func TestPhoneByKeys(t *testing.T) {
	t.Parallel()
	testByHand(t, byKeys, func(ctx context.Context, id, value string) {
		t.Helper()
		tabTo(t, ctx, id)
		do(t, ctx, chromedp.Evaluate(`document.activeElement.select()`, nil), chromedp.KeyEvent(value))
	})
}

func TestPhoneByTouch(t *testing.T) {
	t.Parallel()
	testByHand(t, byTouch, func(ctx context.Context, id, value string) {
		t.Helper()
		byTouch(t, ctx, id)
		waitFor(t, ctx, "the field to be touched", `document.activeElement?.id === "`+id+`"`)
		do(t, ctx, chromedp.Evaluate(`document.activeElement.select()`, nil), chromedp.KeyEvent(value))
	})
}

// TestPhoneOnManyCoils reads a pad of 200 coils by needle: on a drawing so small the
// next coil has its name beside it, another one is picked from a list, and another screen begins at its top, however far
// down the one before was scrolled, for the help below it too.
func TestPhoneOnManyCoils(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "many.toml")
	if err := os.WriteFile(file, []byte(testplan.Many(10, testplan.Round70)), 0o600); err != nil {
		t.Fatal(err)
	}
	program := startProgram(t, "--plan", file)
	phone := newBrowser(t, 360, 740, noRawReadings()...)
	do(t, phone, chromedp.Navigate(program.Phone))
	for _, id := range []string{"begin", "call-north", "is-on"} {
		waitFor(t, phone, id, fmt.Sprintf(`document.querySelector("#%s")`, id))
		do(t, phone, press("#"+id))
	}
	asked := func(coil string) {
		t.Helper()
		says(t, phone, "#title", "Which face of "+coil+" looks up?")
		waitFor(t, phone, coil+" named", fmt.Sprintf(`(() => {
			const name = document.querySelector("#drawing .far-name.is-next");
			const [text, box] = [name.querySelector("text").getBoundingClientRect(), document.querySelector("#drawing").getBoundingClientRect()];
			const title = document.querySelector("#title").getBoundingClientRect();
			return name.textContent === %q && text.height >= 11 && text.left >= box.left && text.right <= box.right && title.top >= 0 && title.bottom < innerHeight / 2;
		})()`, coil))
	}
	asked("A1")
	shot(t, phone, "first")
	do(t, phone, press("#others > summary"), chromedp.Evaluate(`scrollTo(0, 1e4)`, nil))
	waitFor(t, phone, "it to be scrolled", `scrollY > 50`)
	do(t, phone, press("#north"))
	waitFor(t, phone, "the help to be closed", `!document.querySelector("#others").open`)
	asked("A2")
	// No finger hits a coil of that drawing, and nobody presses Tab two hundred times.
	var stops, height float64
	do(t, phone, chromedp.Evaluate(`document.querySelectorAll("#drawing [tabindex], #drawing [role=button]").length`, &stops),
		chromedp.Evaluate(`document.querySelector("#pick-coil").getBoundingClientRect().height`, &height))
	if stops != 0 || height < 44 {
		t.Errorf("%g coils of the drawing take the focus, and the list to pick from is %g pixels high", stops, height)
	}
	tabTo(t, phone, "pick-coil")
	do(t, phone, chromedp.KeyEvent("J2"), chromedp.KeyEvent(kb.ArrowDown))
	asked("A2")
	byKeys(t, phone, "pick-it")
	asked("J3")
	do(t, phone, press("#south"))
	asked("A2")
	do(t, phone, press("#result"))
	says(t, phone, "#lead", "Next: A2. A2 has not been read yet.")
	shot(t, phone, "result")
}
