package browsertest

import (
	"context"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/assets"
	"polewise/field"
	"polewise/layout"
)

// virtualPhone is a magnetometer over the demo pad, set reading by reading in
// the browser's own sensor service.
type virtualPhone struct {
	t    *testing.T
	ctx  context.Context
	plan *layout.Plan
	pad  *field.Pad
	at   []float64
	on   bool
	rng  *rand.Rand
}

// The sensor's place in the phone (metres from the mark) and the background,
// east, north, up of a middle latitude, in microtesla.
var (
	sensorOffset = r3.Vec{X: 0.004, Y: 0.021}
	background   = r3.Vec{X: 3.1, Y: 18.9, Z: -45.2}
)

func newVirtualPhone(t *testing.T, ctx context.Context, faults ...layout.Fault) *virtualPhone {
	t.Helper()
	plan, err := layout.Parse("kennel.toml", assets.Demo())
	if err != nil {
		t.Fatal(err)
	}
	cur, err := plan.Solve(faults...)
	if err != nil {
		t.Fatal(err)
	}
	v := &virtualPhone{t: t, ctx: ctx, plan: plan, pad: field.NewPad(plan), rng: rand.New(rand.NewPCG(1, 2))}
	for j := range plan.Coils {
		v.at = append(v.at, cur.AmpereTurns(plan, j))
	}
	do(t, ctx, emulation.SetSensorOverrideEnabled(true, emulation.SensorTypeMagnetometer))
	v.set(background)
	return v
}

func (v *virtualPhone) set(b r3.Vec) {
	noise := func() float64 { return 0.3 * v.rng.NormFloat64() }
	do(v.t, v.ctx, emulation.SetSensorOverrideReadings(emulation.SensorTypeMagnetometer, &emulation.SensorReading{
		Xyz: &emulation.SensorReadingXYZ{X: b.X + noise(), Y: b.Y + noise(), Z: b.Z + noise()},
	}))
}

// over sets one reading with the mark over a place, lift metres above where it
// lies.
func (v *virtualPhone) over(mark r3.Vec, lift float64) {
	b := background
	if v.on {
		at := r3.Add(mark, sensorOffset)
		at.Z += lift
		b = r3.Add(b, r3.Scale(1e6, v.pad.At(v.at, at)))
	}
	v.set(b)
	time.Sleep(100 * time.Millisecond)
}

// lieUntil gives readings over a place until the page shows what it should.
func (v *virtualPhone) lieUntil(mark r3.Vec, what, expression string) {
	v.t.Helper()
	for range 150 {
		v.over(mark, 0)
		var ok bool
		do(v.t, v.ctx, chromedp.Evaluate("!!("+expression+")", &ok))
		if ok {
			return
		}
	}
	shot(v.t, v.ctx, "lying")
	v.t.Fatalf("15 s of readings and still not: %s. The page says:\n%s", what, text(v.t, v.ctx, "body"))
}

func (v *virtualPhone) coil(id string) r3.Vec {
	j := v.plan.CoilIndex(id)
	c := v.plan.Coils[j]
	return r3.Vec{X: c.At.X, Y: c.At.Y, Z: v.plan.SensorHeight(j)}
}

// carry lifts the phone from one place to another in a second or so.
func (v *virtualPhone) carry(from, to r3.Vec) {
	const steps = 8
	for i := 1; i <= steps; i++ {
		s := float64(i) / steps
		v.over(r3.Add(from, r3.Scale(s, r3.Sub(to, from))), 0.05*4*s*(1-s)+0.004)
	}
}

// check goes through the whole phone page: begin, rest, supply on, every coil.
func (v *virtualPhone) check() {
	v.t.Helper()
	waitFor(v.t, v.ctx, "the begin button", `document.querySelector("#begin")`)
	shot(v.t, v.ctx, "begin")
	do(v.t, v.ctx, chromedp.Click("#begin", chromedp.ByQuery))
	away := r3.Vec{X: -0.3, Y: 0.2, Z: 0.01}
	v.lieUntil(away, "asked to switch off", `document.querySelector("#is-off")`)
	do(v.t, v.ctx, chromedp.Click("#is-off", chromedp.ByQuery))
	v.lieUntil(away, "asked to switch on", `document.querySelector("#is-on")`)
	shot(v.t, v.ctx, "switch-on")
	v.on = true
	do(v.t, v.ctx, chromedp.Click("#is-on", chromedp.ByQuery))
	at := away
	for _, c := range v.plan.Coils {
		to := v.coil(c.ID)
		v.carry(at, to)
		v.lieUntil(to, c.ID+" counted", `document.querySelector("#undo")?.textContent.includes("`+c.ID+`")`)
		at = to
		if c.ID == "B1" {
			waitFor(v.t, v.ctx, "a claim for "+c.ID, `document.querySelector("#claim").textContent.startsWith("B1")`)
			shot(v.t, v.ctx, "claim")
		}
	}
}

func testPhoneFinds(t *testing.T, fault layout.Fault, outcome func(say string) bool) {
	program := startProgram(t)
	phone := newBrowser(t, 360, 740)
	bench := newBrowser(t, 1280, 800)
	do(t, phone, allow("magnetometer"))
	do(t, bench, chromedp.Navigate(program.Bench))
	do(t, phone, chromedp.Navigate(program.Phone))
	v := newVirtualPhone(t, phone, fault)
	v.check()
	waitFor(t, bench, "a fault on the bench page", `document.querySelector(".outcome").textContent.includes("Something is wrong")`)
	do(t, phone, chromedp.Evaluate(`[...document.querySelectorAll("#actions button")].find((b) => b.textContent === "Result so far")?.click()`, nil))
	waitFor(t, phone, "the result on the phone page", `document.querySelector("#title").textContent === "Something is wrong"`)
	shot(t, phone, "result")
	shot(t, bench, "bench")
	for name, say := range map[string]string{"phone": text(t, phone, "#lead"), "bench": text(t, bench, ".cause")} {
		if !outcome(say) {
			t.Errorf("the %s page says %q", name, say)
		}
	}
}

func TestPhoneFindsReversedCoil(t *testing.T) {
	testPhoneFinds(t, layout.Fault{Kind: layout.CoilReversed, ID: "B2"}, func(say string) bool {
		return strings.Contains(say, "Coil B2 faces the wrong way") && strings.Contains(say, "Turn B2 over")
	})
}

func TestPhoneFindsReversedString(t *testing.T) {
	testPhoneFinds(t, layout.Fault{Kind: layout.StringReversed, ID: "C"}, func(say string) bool {
		return strings.Contains(say, "whole string C runs the wrong way") && strings.Contains(say, "Swap the two ends of string C")
	})
}
