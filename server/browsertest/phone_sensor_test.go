package browsertest

import (
	"context"
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/assets"
	"polewise/field"
	"polewise/layout"
)

// virtualPhone is a phone over the demo pad, whose magnetometer is set reading
// by reading in the browser's own sensor service.
type virtualPhone struct {
	t    *testing.T
	ctx  context.Context
	plan *layout.Plan
	pad  *field.Pad
	at   []float64 // ampere-turns of each coil, with the faults
	on   bool
	here r3.Vec // the mark
	turn float64
	rng  *rand.Rand
	// give makes a reading of the field; nil: the magnetometer's.
	give func(b r3.Vec) chromedp.Action
	// offset is where the sensor sits from the mark.
	offset r3.Vec
	other  *virtualPhone // lies there at the same time
	heeds  bool          // sets the current that the page asks for
	set    float64       // share of the planned current; 0: as planned
}

// The sensor's place in the phone, metres from the mark, and the background,
// microtesla: along the pad's x, y and z, of a middle latitude.
var (
	sensorOffset = r3.Vec{X: 0.004, Y: 0.021}
	background   = r3.Vec{X: 3.1, Y: 18.9, Z: -45.2}
)

const tick = 100 * time.Millisecond // browsers give ten readings a second at most

func demoPlan(t *testing.T) *layout.Plan {
	t.Helper()
	plan, err := layout.Parse("kennel.toml", assets.Demo())
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

func planOf(t *testing.T, file string) *layout.Plan {
	t.Helper()
	raw, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	plan, err := layout.Parse(file, raw)
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

func newVirtualPhone(t *testing.T, ctx context.Context, faults ...layout.Fault) *virtualPhone {
	t.Helper()
	return newVirtualPhoneOver(t, ctx, demoPlan(t), faults...)
}

// newVirtualPhoneOver is newVirtualPhone over another pad.
func newVirtualPhoneOver(t *testing.T, ctx context.Context, plan *layout.Plan, faults ...layout.Fault) *virtualPhone {
	t.Helper()
	cur, err := plan.Solve(faults...)
	if err != nil {
		t.Fatal(err)
	}
	v := &virtualPhone{t: t, ctx: ctx, plan: plan, pad: field.NewPad(plan), rng: rand.New(rand.NewPCG(1, 2)), offset: sensorOffset}
	v.at = cur.AllAmpereTurns(plan)
	v.here = r3.Vec{X: -0.3, Y: 0.2, Z: 0.01}
	do(t, ctx, emulation.SetSensorOverrideEnabled(true, emulation.SensorTypeMagnetometer))
	v.read()
	return v
}

func (v *virtualPhone) share() float64 {
	if v.set == 0 {
		return 1
	}
	return v.set
}

func turnedBy(p r3.Vec, rad float64) r3.Vec {
	sin, cos := math.Sincos(rad)
	return r3.Vec{X: cos*p.X - sin*p.Y, Y: sin*p.X + cos*p.Y, Z: p.Z}
}

// sensor is where the sensor is over the pad.
func (v *virtualPhone) sensor() r3.Vec { return r3.Add(v.here, turnedBy(v.offset, v.turn)) }

// field is what the sensor sees, in the phone's axes, microtesla without noise.
func (v *virtualPhone) field() r3.Vec {
	b := background
	if v.on {
		b = r3.Add(b, r3.Scale(1e6*v.share(), v.pad.At(v.at, v.sensor())))
	}
	return turnedBy(b, -v.turn)
}

// read sets one reading.
func (v *virtualPhone) read() {
	do(v.t, v.ctx, v.reading())
	if v.other != nil {
		do(v.other.t, v.other.ctx, v.other.reading())
	}
	time.Sleep(tick)
}

// reading makes one reading with noise.
func (v *virtualPhone) reading() chromedp.Action {
	b := v.field()
	if v.give != nil {
		return v.give(b)
	}
	noise := func() float64 { return 0.3 * v.rng.NormFloat64() }
	return emulation.SetSensorOverrideReadings(emulation.SensorTypeMagnetometer, &emulation.SensorReading{
		Xyz: &emulation.SensorReadingXYZ{X: b.X + noise(), Y: b.Y + noise(), Z: b.Z + noise()},
	})
}

// lieUntil gives readings where the phone lies until the page shows what it
// should.
func (v *virtualPhone) lieUntil(what, expression string) {
	v.t.Helper()
	v.lieUntilOn(v.ctx, what, expression)
}

// lieUntilOther is lieUntil, looking at the other phone's page.
func (v *virtualPhone) lieUntilOther(what, expression string) {
	v.t.Helper()
	v.lieUntilOn(v.other.ctx, what, expression)
}

func (v *virtualPhone) lieUntilOn(ctx context.Context, what, expression string) {
	v.t.Helper()
	for range 150 {
		v.read()
		var ok bool
		do(v.t, ctx, chromedp.Evaluate("!!("+expression+")", &ok))
		if ok {
			return
		}
	}
	shot(v.t, ctx, "lying")
	v.t.Fatalf("15 s of readings and still not: %s. The page says:\n%s", what, text(v.t, ctx, "body"))
}

// over is where the mark lies on a coil.
func (v *virtualPhone) over(id string) r3.Vec {
	j := v.plan.CoilIndex(id)
	c := v.plan.Coils[j]
	return r3.Vec{X: c.At.X, Y: c.At.Y, Z: v.plan.SensorHeight(j)}
}

// carryTo lifts the phone to another place in a second or so.
func (v *virtualPhone) carryTo(to r3.Vec) {
	const steps = 8
	from := v.here
	for i := 1; i <= steps; i++ {
		s := float64(i) / steps
		v.here = r3.Add(from, r3.Scale(s, r3.Sub(to, from)))
		v.here.Z += 0.05 * 4 * s * (1 - s)
		v.read()
	}
	v.here = to
}

// tap presses a button of the page by its id, once it is there.
func (v *virtualPhone) tap(id string) {
	v.t.Helper()
	v.lieUntil("a button "+id, `document.querySelector("#`+id+`")`)
	do(v.t, v.ctx, press("#"+id))
}

// beginVector goes from the first screen to the supply being on: the phone lies
// on the first coil.
func (v *virtualPhone) beginVector() {
	v.t.Helper()
	v.tap("begin")
	v.lieUntil("asked to switch off", `document.querySelector("#is-off")`)
	v.carryTo(v.over(v.plan.Coils[0].ID))
	v.tap("is-off")
	v.lieUntil("asked to switch on", `document.querySelector("#is-on")`)
	v.on = true
	v.tap("is-on")
}

// count waits until the page has counted a coil that the phone lies on.
func (v *virtualPhone) count(id string) {
	v.t.Helper()
	v.lieUntil(id+" counted", `document.querySelector("#undo")?.textContent.includes("`+id+`")`)
}
