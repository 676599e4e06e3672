package feed

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// madeUp is a made-up bench with a device on it; its turns are made by rotations
// about axes, not by the table of steps that the solver uses.
type madeUp struct {
	earth r3.Vec     // bench axes, uT
	axes  Axes       // how the numbers lie
	zero  [3]float64 // as picked
	noise float64
	slack float64 // sd of how the device is laid, radians
	rng   *rand.Rand
}

// poses are the device's turns from flat, as rotations of the device.
var poses = map[Step]r3.Rotation{
	Flat:    r3.NewRotation(0, r3.Vec{Z: 1}),
	Quarter: r3.NewRotation(math.Pi/2, r3.Vec{Z: 1}),  // seen from above counter-clockwise: to the left
	OnTop:   r3.NewRotation(-math.Pi/2, r3.Vec{X: 1}), // the top edge goes down
	OnLeft:  r3.NewRotation(-math.Pi/2, r3.Vec{Y: 1}), // the left edge goes down
}

func (m *madeUp) still(s Step) Still {
	turn := poses[s]
	if m.slack == 0 {
		return m.read(s, turn.Rotate)
	}
	axis := r3.Vec{X: m.rng.NormFloat64(), Y: m.rng.NormFloat64(), Z: m.rng.NormFloat64()}
	off := r3.NewRotation(m.slack*m.rng.NormFloat64(), axis)
	return m.read(s, func(v r3.Vec) r3.Vec { return off.Rotate(turn.Rotate(v)) })
}

// read gives what a device reads whose own axes were turned by rotate.
func (m *madeUp) read(s Step, rotate func(r3.Vec) r3.Vec) Still {
	x, y, z := rotate(r3.Vec{X: 1}), rotate(r3.Vec{Y: 1}), rotate(r3.Vec{Z: 1})
	in := func(v r3.Vec) [3]float64 { return [3]float64{r3.Dot(x, v), r3.Dot(y, v), r3.Dot(z, v)} }
	v := m.axes.undo(in(m.earth))
	for a := range v {
		v[a] += m.zero[a] + m.noise*m.rng.NormFloat64()
	}
	g := m.axes.undo(in(r3.Vec{Z: 9.81}))
	return Still{Step: s, Mean: v, SD: 0.5, N: 20, Gravity: &g}
}

func (m *madeUp) steps() []Still {
	var out []Still
	for _, s := range Steps {
		out = append(out, m.still(s))
	}
	return out
}

func earthField(strength, dip, azimuth float64) r3.Vec {
	sd, cd := math.Sincos(dip)
	sa, ca := math.Sincos(azimuth)
	return r3.Vec{X: strength * cd * sa, Y: strength * cd * ca, Z: -strength * sd}
}

// TestAxesOfEveryRotation solves all 24 ways in which a right-handed sensor can
// sit in a device, on both halves of the earth.
func TestAxesOfEveryRotation(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	solved := 0
	for _, a := range allAxes {
		if a.handed() < 0 {
			continue
		}
		for _, half := range []Half{North, South} {
			dip := 1.1
			if half == South {
				dip = -0.9
			}
			m := &madeUp{earth: earthField(48, dip, 0.35), axes: a, zero: [3]float64{30, -55, 12}, noise: 0.2, rng: rng}
			got, err := solveAxes(m.steps(), half, false)
			if err != nil {
				t.Fatalf("%v, %s half: %v", a, half, err)
			}
			if got.Axes != a {
				t.Fatalf("%s half: got %v, expected %v", half, got.Axes, a)
			}
			if math.Abs(got.EarthUT[2]-m.earth.Z) > 1 || math.Abs(got.ZeroUT[1]-m.zero[1]) > 1 {
				t.Errorf("earth %v, zero %v; expected %v, %v", got.EarthUT, got.ZeroUT, m.earth, m.zero)
			}
			ga, scale, err := solveGravity(m.steps())
			if err != nil || ga != a || scale != 1 {
				t.Errorf("gravity: %v, scale %g, %v; expected %v", ga, scale, err, a)
			}
			solved++
		}
	}
	if solved != 48 {
		t.Fatalf("%d cases solved, expected 24 rotations twice", solved)
	}
}

// TestAxesRefused: what cannot be known is refused in words.
func TestAxesRefused(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	whole := func() *madeUp {
		return &madeUp{earth: earthField(48, 1.1, 0.35), axes: AsPicked, noise: 0.2, rng: rng}
	}
	turnedWrong := func() []Still { // to the right
		s := whole().steps()
		s[1] = whole().read(Quarter, r3.NewRotation(-math.Pi/2, r3.Vec{Z: 1}).Rotate)
		return s
	}
	bothWrong := func() []Still { // to the right, and on its right edge: a mirror image
		s := turnedWrong()
		s[3] = whole().read(OnLeft, r3.NewRotation(math.Pi/2, r3.Vec{Y: 1}).Rotate)
		return s
	}
	mirrored := whole()
	mirrored.axes = Axes{From: [3]int{1, 0, 2}, Sign: [3]int{1, 1, 1}}
	weak := whole()
	weak.earth = earthField(4, 1.1, 0.35)
	weak.zero = [3]float64{20, 20, 20}
	strong := whole()
	strong.earth = earthField(480, 1.1, 0.35)
	level := whole()
	level.earth = earthField(40, 0.05, 0.35)
	noisy := whole().steps()
	noisy[2].SD = 9
	few := whole().steps()
	few[1].N = 2
	unmoved := whole().steps()
	unmoved[1].Mean = unmoved[0].Mean
	other := whole().steps()
	other[2] = whole().read(OnTop, func(v r3.Vec) r3.Vec { // the face to the person
		return r3.NewRotation(math.Pi, r3.Vec{Z: 1}).Rotate(r3.NewRotation(-math.Pi/2, r3.Vec{X: 1}).Rotate(v))
	})
	cases := []struct {
		name  string
		steps []Still
		half  Half
		named bool
		want  string
	}{
		{"turned to the right", turnedWrong(), North, true, ""},
		{"right and on its right edge", bothWrong(), North, true, "mirror image"},
		{"mirrored numbers", mirrored.steps(), North, false, "mirror image"},
		{"half not known, no names", whole().steps(), Unknown, false, "say on which half"},
		{"the other half", whole().steps(), South, true, "mirror image"},
		{"hardly a field", weak.steps(), North, true, "reads the same as step 1"},
		{"too strong", strong.steps(), North, true, "Is the unit right"},
		{"level field, no names", level.steps(), North, false, "nearly level"},
		{"not still", noisy, North, true, "step 3 wander"},
		{"few readings", few, North, true, "step 2 has 2 readings"},
		{"not moved", unmoved, North, true, "step 2 reads the same"},
		{"faced the wrong way", other, North, true, ""},
		{"three steps", whole().steps()[:3], North, true, "expected 4 steps"},
	}
	for _, c := range cases {
		got, err := solveAxes(c.steps, c.half, c.named)
		if err == nil {
			t.Errorf("%s: solved as %v, expected a refusal", c.name, got.Axes)
		} else if !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v; expected words with %q", c.name, err, c.want)
		}
	}
	// Names x, y, z settle what a level field cannot.
	if got, err := solveAxes(level.steps(), Unknown, true); err != nil || got.Axes != AsPicked {
		t.Errorf("level field with names: %v, %v", got, err)
	}
}

// TestAxesByHand lays the device as a person does, some degrees off, under every
// field there is on earth: axes may be refused, never wrong.
func TestAxesByHand(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	const n = 4000
	solved, wrong, refused := 0, 0, map[string]int{}
	for range n {
		dip := (rng.Float64()*2 - 1) * 75 * math.Pi / 180
		half := North
		if dip < 0 {
			half = South
		}
		m := &madeUp{earth: earthField(25+40*rng.Float64(), dip, 2*math.Pi*rng.Float64()), noise: 0.4, slack: 5 * math.Pi / 180, rng: rng}
		for m.axes = allAxes[rng.IntN(48)]; m.axes.handed() < 0; m.axes = allAxes[rng.IntN(48)] {
		}
		for a := range m.zero {
			m.zero[a] = 40 * rng.NormFloat64()
		}
		got, err := solveAxes(m.steps(), half, false)
		switch {
		case err != nil:
			refused[strings.Fields(err.Error())[2]+" "+strings.Fields(err.Error())[3]]++
		case got.Axes != m.axes:
			wrong++
		default:
			solved++
		}
	}
	t.Logf("%d of %d solved, %d wrong, refused: %v", solved, n, wrong, refused)
	if wrong > 0 {
		t.Errorf("%d of %d axes came out wrong, expected none", wrong, n)
	}
	if solved < n*6/10 {
		t.Errorf("%d of %d solved, expected most", solved, n)
	}
}
