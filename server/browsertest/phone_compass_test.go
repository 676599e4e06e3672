package browsertest

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field"
	"polewise/layout"
)

// A compass source is set to a heading, clockwise from north, and to how far the
// phone was turned by hand, clockwise, both in degrees.
type compassSource struct {
	flags []chromedp.ExecAllocatorOption
	begin []chromedp.Action // before the page is opened
	set   func(heading, turned float64) chromedp.Action
	held  float64 // how far the phone is turned in the hand before it lies, radians, counter-clockwise
}

func noRawReadings() []chromedp.ExecAllocatorOption {
	return []chromedp.ExecAllocatorOption{chromedp.Flag("enable-features", "")}
}

// turnAboutZ is the quaternion of a turn, clockwise in degrees.
func turnAboutZ(deg float64) *emulation.SensorReading {
	sin, cos := math.Sincos(-deg * math.Pi / 360)
	return &emulation.SensorReading{Quaternion: &emulation.SensorReadingQuaternion{Z: sin, W: cos}}
}

// orientationSensors are the browser's own AbsoluteOrientationSensor and
// RelativeOrientationSensor, in its own sensor service.
func orientationSensors() compassSource {
	abs, rel := emulation.SensorTypeAbsoluteOrientation, emulation.SensorTypeRelativeOrientation
	return compassSource{
		flags: noRawReadings(),
		begin: []chromedp.Action{allow("magnetometer"), allow("accelerometer"), allow("gyroscope"),
			emulation.SetSensorOverrideEnabled(true, abs), emulation.SetSensorOverrideEnabled(true, rel),
			// Only the sensors: events come from the same service.
			before(`for (const e of ["deviceorientation", "deviceorientationabsolute"]) addEventListener(e, (x) => x.stopImmediatePropagation(), true);`)},
		set: func(heading, turned float64) chromedp.Action {
			const someStart = 71 // a gyroscope's zero is anywhere
			return chromedp.Tasks{
				emulation.SetSensorOverrideReadings(abs, turnAboutZ(heading)),
				emulation.SetSensorOverrideReadings(rel, turnAboutZ(someStart+turned)),
			}
		},
	}
}

// absoluteEvents are deviceorientationabsolute events, made by a script: alpha is
// counter-clockwise from north.
func absoluteEvents() compassSource {
	return compassSource{
		flags: noRawReadings(),
		begin: []chromedp.Action{before(`
			delete window.AbsoluteOrientationSensor; delete window.RelativeOrientationSensor;
			window.compass = 0;
			setInterval(() => dispatchEvent(new DeviceOrientationEvent("deviceorientationabsolute", { alpha: (720 - window.compass) % 360, beta: 0.5, gamma: 0.3, absolute: true })), 40);`)},
		set: func(heading, _ float64) chromedp.Action {
			return chromedp.Evaluate(fmt.Sprintf("window.compass = %g", wrap(heading)), nil)
		},
	}
}

// appleEvents imitates an iPhone, which Chromium cannot be: webkitCompassHeading,
// and alpha by gyroscope alone.
func appleEvents(answer string) compassSource {
	return compassSource{
		begin: appleLike(answer),
		set: func(heading, turned float64) chromedp.Action {
			return chromedp.Evaluate(fmt.Sprintf("window.heading = %g; window.alpha = %g", wrap(heading), wrap(100-turned)), nil)
		},
	}
}

func wrap(deg float64) float64 { return math.Mod(math.Mod(deg, 360)+360, 360) }

// newCompassPhone is a virtual phone over the pair of smallPlan whose only sensor
// is a compass. Its needle follows the field at the sensor.
func newCompassPhone(t *testing.T, ctx context.Context, source compassSource, plan *layout.Plan, faults ...layout.Fault) *virtualPhone {
	t.Helper()
	cur, err := plan.Solve(faults...)
	if err != nil {
		t.Fatal(err)
	}
	v := &virtualPhone{t: t, ctx: ctx, plan: plan, pad: field.NewPad(plan), rng: rand.New(rand.NewPCG(3, 4)), offset: sensorOffset}
	v.at = cur.AllAmpereTurns(plan)
	v.here, v.turn = r3.Vec{X: -0.3, Y: 0.2, Z: 0.01}, source.held
	v.give = func(b r3.Vec) chromedp.Action {
		heading := -math.Atan2(b.X, b.Y)*180/math.Pi + 0.3*v.rng.NormFloat64()
		return source.set(heading, -v.turn*180/math.Pi)
	}
	do(t, ctx, source.begin...)
	return v
}

// besideCoil lays the phone where the page asks for it.
func (v *virtualPhone) besideCoil(id string) {
	v.t.Helper()
	v.lieUntil("a place beside "+id, `document.querySelector("#title").textContent.includes("beside `+id+`")`)
	lead := text(v.t, v.ctx, "#lead")
	const reach = 0.045 // over the winding: half the inner diameter
	to := v.over(id)
	switch {
	case strings.Contains(lead, "right side"):
		to.X += reach
	case strings.Contains(lead, "left side"):
		to.X -= reach
	case strings.Contains(lead, "away from you,"), strings.Contains(lead, "side away"):
		to.Y += reach
	default:
		to.Y -= reach
	}
	v.here = to
	v.read()
}

var advisedAmps = regexp.MustCompile(`about ([0-9.]+) A in all`)

// heedAdvice sets the current that the page asks for, and tells the page what the
// supply shows.
func (v *virtualPhone) heedAdvice() {
	v.t.Helper()
	m := advisedAmps.FindStringSubmatch(text(v.t, v.ctx, "#lead"))
	if m == nil {
		return
	}
	amps, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		v.t.Fatal(err)
	}
	cur, err := v.plan.Solve()
	if err != nil {
		v.t.Fatal(err)
	}
	v.set = amps / cur.PadAmps
	do(v.t, v.ctx, chromedp.SendKeys("#amps", m[1], chromedp.ByQuery))
	v.t.Logf("the page asks for %s A, %.2g of the plan's", m[1], v.set)
}

// readBeside reads a coil by compass at the place that the page asks for; during
// is called when the supply has been switched on.
func (v *virtualPhone) readBeside(id string, during func()) {
	v.t.Helper()
	v.on = false
	v.besideCoil(id)
	v.tap("is-off")
	v.lieUntil("asked to switch on", `document.querySelector("#is-on")`)
	if v.heeds {
		v.heedAdvice()
	}
	v.on = true
	v.tap("is-on")
	if during != nil {
		during()
	}
	v.count(id)
}

// leaning tells which of two states of a coil the bench holds for likelier.
func leaning(t *testing.T, program *Running, id string) string {
	t.Helper()
	s := program.waitState(t, id+" read", used(id))
	p := s.coil(id).P
	raw, _ := json.Marshal(p)
	t.Logf("%s: %s %s", id, s.coil(id).State, raw)
	if p["as-planned"] > p["reversed"] {
		return "as-planned"
	}
	return "reversed"
}

// testCompass reads a coil by one source of headings, as planned and reversed.
func testCompass(t *testing.T, source func() compassSource, fault bool, then func(v *virtualPhone)) {
	t.Helper()
	file := smallPlan(t)
	program := startProgram(t, "--plan", file)
	s := source()
	phone := newBrowser(t, 360, 740, s.flags...)
	sent := keepBook(t, phone)
	var faults []layout.Fault
	want := "as-planned"
	if fault {
		faults = append(faults, layout.Fault{Kind: layout.CoilReversed, ID: "A1"})
		want = "reversed"
	}
	v := newCompassPhone(t, phone, s, planOf(t, file), faults...)
	do(t, phone, chromedp.Navigate(program.Phone))
	v.lieUntil("the first screen", `document.querySelector("#begin")`)
	if b := text(t, phone, "#begin"); b != "Begin with the compass" {
		t.Fatalf("the page offers %q; it says %s", b, text(t, phone, "body"))
	}
	v.tap("begin")
	then(v)
	if got := leaning(t, program, "A1"); got != want {
		t.Errorf("A1 is %s, and the bench leans to %s", want, got)
	}
	lines := sent.check(t, program)
	if count(lines, "heading") < 40 {
		t.Errorf("%d headings stored, expected ten a second", count(lines, "heading"))
	}
}

// turnAboutSensor turns the phone by hand, counter-clockwise, so that its sensor
// stays where it is: what a sensor reads elsewhere is another question.
func (v *virtualPhone) turnAboutSensor(rad float64) {
	at := v.sensor()
	v.turn += rad
	v.here = r3.Add(v.here, r3.Sub(at, v.sensor()))
}

// TestPhoneByOrientationSensors: absolute minus relative orientation, while the
// phone is turned by hand, further than the coil turns its compass and the other
// way: taken for the coil's, the turn would tell the opposite. The current is the
// plan's: strong, so that the direction alone tells.
func TestPhoneByOrientationSensors(t *testing.T) {
	t.Parallel()
	testCompass(t, orientationSensors, true, func(v *virtualPhone) {
		v.readBeside("A1", func() {
			for range 5 {
				v.turnAboutSensor(0.3)
				v.read()
			}
		})
		says(v.t, v.ctx, "#note", "The phone was turned by 86 degrees meanwhile. That was allowed for")
		shot(v.t, v.ctx, "turned")
	})
}

// TestPhoneByAbsoluteEvents: deviceorientationabsolute, as Chromium on a phone
// gives it with nothing switched on. The phone is held turned by a quarter at first,
// so that the first place asked for is one where the coil turns nothing.
func TestPhoneByAbsoluteEvents(t *testing.T) {
	t.Parallel()
	held := func() compassSource {
		s := absoluteEvents()
		s.held = math.Pi / 2
		return s
	}
	testCompass(t, held, false, func(v *virtualPhone) {
		v.heeds = true
		v.lieUntil("the far side asked for", `document.querySelector("#lead").textContent.includes("side away from you")`)
		v.on = false
		v.besideCoil("A1")
		v.turn = 0
		v.tap("is-off")
		v.lieUntil("another side asked for", `document.querySelector("#lead").textContent.includes("right side")`)
		says(v.t, v.ctx, "#note", "Now it knows where north is: another side of A1 turns the compass more.")
		shot(v.t, v.ctx, "elsewhere")
		v.readBeside("A1", nil)
		if note := text(v.t, v.ctx, "#note"); strings.Contains(note, "too strong") || strings.Contains(note, "too weak") {
			v.t.Errorf("with the current that was asked for the page says %q", note)
		}
	})
}

// TestPhoneLikeApple imitates an iPhone (Chromium cannot be one): it is asked in
// the tap that begins, then headings come with the gyroscope's alpha beside them.
func TestPhoneLikeApple(t *testing.T) {
	t.Parallel()
	testCompass(t, func() compassSource { return appleEvents("granted") }, false, func(v *virtualPhone) {
		var inTap []bool
		do(v.t, v.ctx, chromedp.Evaluate("window.asked", &inTap))
		if len(inTap) != 1 || !inTap[0] {
			v.t.Errorf("expected to be asked once, in a tap; found %v", inTap)
		}
		v.readBeside("A1", nil)
	})
}
