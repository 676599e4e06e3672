package browsertest

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/layout"
	"polewise/server/testplan"
)

// drawTo draws the phone over the pad to a coil, some 6 cm a second.
func (v *virtualPhone) drawTo(id string) {
	const step = 0.0065
	from, to := v.here, v.over(id)
	n := int(math.Ceil(r3.Norm(r3.Sub(to, from)) / step))
	for i := 1; i <= n; i++ {
		v.here = r3.Add(from, r3.Scale(float64(i)/float64(n), r3.Sub(to, from)))
		v.read()
	}
}

// stroke draws along the row from one coil to another, as the page asks.
func (v *virtualPhone) stroke(first, last string) {
	v.t.Helper()
	v.lieUntil("asked for the row "+first+" to "+last, `document.querySelector("#title").textContent === "Next: `+first+` to `+last+`"`)
	v.carryTo(v.over(first))
	v.tap("stroke")
	v.drawTo(last)
	v.tap("stroke")
}

// beginRows goes from the first screen, or that of a new check, to the first coil being
// read and rows to be drawn after it.
func (v *virtualPhone) beginRows(first string) {
	v.t.Helper()
	v.tap("by-row")
	v.lieUntil("the choice to be told", `document.querySelector("#lead").textContent.includes("drawn along each row") && document.querySelector("#coil-by-coil")`)
	v.carryTo(v.over(first))
	v.tap("is-off")
	v.lieUntil("asked to switch on", `document.querySelector("#is-on")`)
	v.on = true
	v.tap("is-on")
}

// TestPhoneDrawsAlongRows: after the first coil the phone is drawn along each row in one
// stroke; one far too fast is taken back and drawn again; the coil that faces the wrong
// way is told, and what is read stands on the bench page as passes. A stroke a row is
// enough for the look over every coil after the mend.
func TestPhoneDrawsAlongRows(t *testing.T) {
	t.Parallel()
	plan := filepath.Join(t.TempDir(), "six.toml")
	if err := os.WriteFile(plan, []byte(testplan.Few("Six", 2, 3, 150)), 0o644); err != nil {
		t.Fatal(err)
	}
	program := startProgram(t, "--plan", plan)
	phone := newPhone(t)
	do(t, phone, before(knowsSensor))
	v := newVirtualPhoneOver(t, phone, planOf(t, plan), layout.Fault{Kind: layout.CoilReversed, ID: "B2"})
	do(t, phone, chromedp.Navigate(program.Phone))
	v.tap("begin")
	v.beginRows("A1")

	// The farthest row first: the second string's.
	v.lieUntil("the first row", `document.querySelector("#title").textContent === "Next: B1 to B3"`)
	v.carryTo(v.over("B1"))
	v.lieUntil("the start", `document.querySelector("#stroke")`)
	// 30 cm in less than a second, also where the machine is busy.
	do(t, phone, chromedp.Evaluate(`(() => { const tap = () => document.querySelector("#stroke").click(); tap(); setTimeout(tap, 800); })()`, nil))
	says(t, phone, "#note", "Far too fast: B1 to B3 is not counted.")
	v.stroke("B1", "B3")
	v.stroke("A1", "A3")
	v.lieUntil("the result", `document.querySelector("#title").textContent.includes("B2 reversed")`)
	if lead := text(t, phone, "#lead"); !strings.Contains(lead, "Coil B2 faces the wrong way.") {
		t.Errorf("the page says %q", lead)
	}
	shot(t, phone, "result")
	if got := passesOf(t, program); got != "B1 B2 B3 taken back, B1 B2 B3, A1 A2 A3" {
		t.Errorf("passes along %s", got)
	}

	v.on = false
	for j := range v.plan.Coils {
		v.at[j] = math.Abs(v.at[j]) // all face up
	}
	v.tap("again")
	v.tap("again-yes")
	v.lieUntil("the new check", `document.querySelector("#title").textContent.startsWith("Supply off, phone on ")`)
	v.beginRows(strings.TrimPrefix(text(t, phone, "#title"), "Supply off, phone on ")) // A1, or A2 where the hold on A1 is known to count
	v.stroke("B1", "B3")
	v.stroke("A1", "A3")
	v.lieUntil("the result", `document.querySelector("#title").textContent === "As planned"`)
	if got := passesOf(t, program); got != "B1 B2 B3, A1 A2 A3" {
		t.Errorf("after the mend passes along %s", got)
	}
}

// passesOf names the coils of all passes that the bench has.
func passesOf(t *testing.T, program *Running) string {
	t.Helper()
	var s struct {
		Passes []struct {
			Along  []string `json:"along"`
			Thrown bool     `json:"thrown_out"`
		} `json:"passes"`
	}
	raw, _ := fetchBench(t, program.Bench+"api/state")
	if err := json.Unmarshal([]byte(raw), &s); err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, p := range s.Passes {
		along := strings.Join(p.Along, " ")
		if p.Thrown {
			along += " taken back"
		}
		out = append(out, along)
	}
	return strings.Join(out, ", ")
}

// TestPhoneRowByKeysAndReload: Space begins and ends a stroke without looking for another
// button; a page loaded again in the middle of one takes it back and asks for the row again.
func TestPhoneRowByKeysAndReload(t *testing.T) {
	t.Parallel()
	program := startProgram(t, "--plan", smallPlan(t))
	phone := newPhone(t)
	do(t, phone, before(knowsSensor))
	v := newVirtualPhoneOver(t, phone, planOf(t, smallPlan(t)))
	do(t, phone, chromedp.Navigate(program.Phone))
	v.tap("begin")
	v.beginRows("A1")
	drawing := `document.querySelector("#title").textContent === "Draw it to A2" && document.activeElement.id === "stroke"`
	v.lieUntil("the row", `document.querySelector("#title").textContent === "Next: A1 to A2"`)
	do(t, phone, chromedp.Focus("#stroke", chromedp.ByQuery), chromedp.KeyEvent(" "))
	v.lieUntil("the stroke, the keys on the same button", drawing)
	shot(t, phone, "drawing")
	do(t, phone, chromedp.Reload())
	v.tap("resume")
	v.lieUntil("the row again", `document.querySelector("#title").textContent === "Next: A1 to A2"`)
	says(t, phone, "#note", "Readings stopped: A1 to A2 is not counted.")
	do(t, phone, chromedp.Focus("#stroke", chromedp.ByQuery), chromedp.KeyEvent(" "))
	v.lieUntil("the stroke", drawing)
	v.drawTo("A2")
	do(t, phone, chromedp.KeyEvent(" "))
	v.lieUntil("the result", `document.querySelector("#title").textContent === "As planned"`)
	if got := passesOf(t, program); got != "A1 A2 taken back, A1 A2" {
		t.Errorf("passes along %s", got)
	}
}
