package feed

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// Axes turns three numbers as picked into the device's own axes: x to the right
// of its face, y to its top edge, z out of the face. Device axis i is
// Sign[i] times number From[i].
type Axes struct {
	From [3]int `json:"from"`
	Sign [3]int `json:"sign"`
}

// AsPicked leaves the numbers as they are.
var AsPicked = Axes{From: [3]int{0, 1, 2}, Sign: [3]int{1, 1, 1}}

// Apply turns a vector.
func (a Axes) Apply(v [3]float64) (out [3]float64) {
	for i := range out {
		out[i] = float64(a.Sign[i]) * v[a.From[i]]
	}
	return out
}

// undo turns device axes into numbers as picked.
func (a Axes) undo(v [3]float64) (out [3]float64) {
	for i := range v {
		out[a.From[i]] = float64(a.Sign[i]) * v[i]
	}
	return out
}

// Valid tells whether a is a signed permutation.
func (a Axes) Valid() bool {
	seen := 0
	for i := range 3 {
		if a.From[i] < 0 || a.From[i] > 2 || a.Sign[i] != 1 && a.Sign[i] != -1 {
			return false
		}
		seen |= 1 << a.From[i]
	}
	return seen == 7
}

// handed is +1 for a rotation and -1 for a mirror image.
func (a Axes) handed() int {
	h := a.Sign[0] * a.Sign[1] * a.Sign[2]
	if (a.From[1]-a.From[0]+3)%3 != 1 {
		h = -h
	}
	return h
}

func (a Axes) String() string {
	var b strings.Builder
	for i := range 3 {
		if i > 0 {
			b.WriteString(", ")
		}
		sign := ""
		if a.Sign[i] < 0 {
			sign = "-"
		}
		fmt.Fprintf(&b, "%c = %s%c", "xyz"[i], sign, "xyz"[a.From[i]])
	}
	return b.String()
}

// allAxes are the 24 rotations and their 24 mirror images.
var allAxes = func() (out []Axes) {
	for _, from := range [][3]int{{0, 1, 2}, {1, 2, 0}, {2, 0, 1}, {0, 2, 1}, {2, 1, 0}, {1, 0, 2}} {
		for s := range 8 {
			out = append(out, Axes{from, [3]int{1 - 2*(s&1), 1 - (s & 2), 1 - (s&4)/2}})
		}
	}
	return out
}()

// Step is one of the ways in which the person lays the device down.
type Step string

// The steps, all from the first: the device flat, its top edge away from the
// person.
const (
	Flat    Step = "flat"
	Quarter Step = "quarter" // turned a quarter to the left, still flat
	OnTop   Step = "on-top"  // stood on its top edge, the face away from the person
	OnLeft  Step = "on-left" // stood on its left edge, the face to the left
	noSteps      = 4
)

// Steps are all of them in order.
var Steps = [noSteps]Step{Flat, Quarter, OnTop, OnLeft}

// inDevice turns a vector of the bench (x right, y away, z up) into the axes of
// a device that lies as the step says.
func (s Step) inDevice(v [3]float64) [3]float64 {
	x, y, z := v[0], v[1], v[2]
	switch s {
	case Quarter:
		return [3]float64{y, -x, z}
	case OnTop:
		return [3]float64{x, -z, y}
	case OnLeft:
		return [3]float64{z, y, -x}
	}
	return v
}

// onBench is the inverse of inDevice.
func (s Step) onBench(v [3]float64) [3]float64 {
	x, y, z := v[0], v[1], v[2]
	switch s {
	case Quarter:
		return [3]float64{-y, x, z}
	case OnTop:
		return [3]float64{x, z, -y}
	case OnLeft:
		return [3]float64{-z, y, x}
	}
	return v
}

// Still is what a source read while it lay in a step.
type Still struct {
	Step    Step
	Mean    [3]float64  // as picked: microtesla by the unit picked, or counts
	SD      float64     // of a reading, the worst of the three
	N       int         // readings
	Gravity *[3]float64 // mean of the gravity numbers, where picked
}

// Half is which half of the earth the bench stands on: what tells the two signs
// of the field apart.
type Half string

// Halves.
const (
	North   Half = "north" // the field points down into the ground
	South   Half = "south" // out of it
	Unknown Half = "unknown"
)

// Bounds on what steps may differ from one another.
const (
	leastReadings = 5
	stillUT       = 4.0  // sd of a reading, at most
	leastEarthUT  = 15.0 // the earth's field with some iron in the bench
	mostEarthUT   = 90.0
	fitShare      = 0.22 // residual of the steps, as a share of what turned
	clearRatio    = 2.2  // by which the next best axes must fit worse
	clearShare    = 0.15 // and by how much, as a share of what turned
	leastDipUT    = 8.0  // upright part that tells the half of the earth
)

// Solved is what the steps told.
type Solved struct {
	Axes    Axes
	EarthUT [3]float64 // the field that stayed on the bench while the device turned
	ZeroUT  [3]float64 // what the sensor adds by itself, as picked
	Share   float64    // residual, as a share of the earth's field
}

// solveAxes finds how the numbers lie in the device from the earth's field in the
// four steps. Named says that the numbers are called x, y and z, in that order,
// by whoever made the device: those make a right-handed frame. Where steps do not
// settle the axes the error says why; nothing is ever guessed.
func solveAxes(steps []Still, half Half, named bool) (*Solved, error) {
	if len(steps) != noSteps {
		return nil, fmt.Errorf("expected %d steps, found %d. Take all of them, in their order", noSteps, len(steps))
	}
	for i, s := range steps {
		if s.Step != Steps[i] {
			return nil, fmt.Errorf("expected step %q, found %q", Steps[i], s.Step)
		}
		if s.N < leastReadings {
			return nil, fmt.Errorf("step %d has %d readings; expected %d or more. Keep it still a little longer", i+1, s.N, leastReadings)
		}
		if !(s.SD <= stillUT) {
			return nil, fmt.Errorf("the readings of step %d wander by %.1f uT; expected less than %.0f. Was it still, the supply off, and nothing magnetic moved nearby? Take the steps again", i+1, s.SD, stillUT)
		}
	}
	means := make([][3]float64, len(steps))
	for i := range steps {
		means[i] = steps[i].Mean
	}
	if err := turned(means); err != nil {
		return nil, err
	}
	fits := make([]fit, len(allAxes))
	best := 0
	for i, a := range allAxes {
		fits[i] = fitEarth(a, means)
		if fits[i].rms < fits[best].rms {
			best = i
		}
	}
	// A frame and its mirror image under the opposite field fit alike: the fits
	// come in pairs. What the pair has in common must be clear first.
	b := fits[best]
	strength := norm(b.earth)
	if strength < leastEarthUT || strength > mostEarthUT {
		return nil, fmt.Errorf("the field that stayed while the device turned is %.0f uT strong; the earth's is 25 to 65. Is the unit right, and is anything magnetic nearby?", strength)
	}
	if b.rms > fitShare*strength {
		return nil, fmt.Errorf("the steps do not agree: they differ by %.0f uT from any way the axes could lie, expected less than %.0f. Did it stand as drawn each time, at one place, away from steel and the pad? Take the steps again", b.rms, fitShare*strength)
	}
	for i, f := range fits {
		if i == best || opposite(allAxes[i], allAxes[best]) {
			continue
		}
		if f.rms < clearRatio*b.rms || f.rms < clearShare*strength {
			return nil, errors.New("the steps fit more than one way the axes could lie. Turn to another direction by about 30 degrees, so that \"away from you\" points elsewhere, and take the steps again")
		}
	}
	if allAxes[best].handed() < 0 { // look at the rotation of the pair
		for i := range allAxes {
			if opposite(allAxes[i], allAxes[best]) {
				b, best = fits[i], i
				break
			}
		}
	}
	down := -b.earth[2]
	switch half {
	case North, South:
		if half == South {
			down = -down
		}
		switch {
		case down > leastDipUT:
		case down < -leastDipUT:
			return nil, errors.New("the numbers come out as a mirror image. Either it was turned to the right instead of the left, or two of the numbers are picked in the wrong order. Take the steps again; if it says the same, swap the numbers picked as x and y and take them once more")
		case !named:
			return nil, fmt.Errorf("the field is nearly level here (%.0f uT upright), so that nothing tells these numbers from their mirror image. Name them x, y and z where they come from", math.Abs(down))
		}
	default:
		if !named {
			return nil, errors.New("say on which half of the earth the bench stands: these numbers have no names x, y and z, and only the field's dip tells them from their mirror image")
		}
	}
	return &Solved{Axes: allAxes[best], EarthUT: b.earth, ZeroUT: b.zero, Share: b.rms / strength}, nil
}

// turned refuses steps in which next to nothing changed.
func turned(means [][3]float64) error {
	for i := 1; i < len(means); i++ {
		var d [3]float64
		for a := range d {
			d[a] = means[i][a] - means[0][a]
		}
		if norm(d) < 6 {
			return fmt.Errorf("step %d reads the same as step 1, to %.1f uT. Was it laid as drawn? Are these numbers the field?", i+1, norm(d))
		}
	}
	return nil
}

// solveGravity finds how the gravity numbers lie, and their unit, from the same
// steps: gravity is known to point down, so that this one is settled outright.
func solveGravity(steps []Still) (axes Axes, scale float64, err error) {
	means := make([][3]float64, 0, noSteps)
	for _, s := range steps {
		if s.Gravity == nil {
			return axes, 0, errors.New("the gravity numbers are missing in a step")
		}
		means = append(means, *s.Gravity)
	}
	if len(means) != noSteps {
		return axes, 0, fmt.Errorf("expected %d steps, found %d", noSteps, len(means))
	}
	best, second := math.Inf(1), math.Inf(1)
	g := 0.0
	for _, a := range allAxes {
		strength, rms := fitUp(a, means)
		switch {
		case strength <= 0:
		case rms < best:
			axes, g, second, best = a, strength, best, rms
		default:
			second = math.Min(second, rms)
		}
	}
	if g == 0 || best > fitShare*g || second < clearRatio*best || second < clearShare*g {
		return Axes{}, 0, errors.New("the gravity numbers do not turn as the device did; they are left out")
	}
	for _, unit := range [...]float64{1, 9.80665, 9.80665e-3} { // m/s2, g, mg
		if r := g * unit / 9.80665; r > 0.85 && r < 1.15 {
			return axes, unit, nil
		}
	}
	return Axes{}, 0, fmt.Errorf("the gravity numbers are %.3g strong; expected 9.8 (m/s2), 1 (g) or 1000 (mg); they are left out", g)
}

type fit struct {
	earth, zero [3]float64
	rms         float64 // of the three axes together
}

// fitEarth fits a field fixed to the bench and a zero fixed to the sensor, by
// least squares. In device axes a step reads R_k e + z, so e is found from
// R_k^-1 (s_k - z). The normal equations are n e + sum(R_k^-1) z = sum(R_k^-1 s_k)
// and sum(R_k) e + n z = sum(s_k).
func fitEarth(a Axes, means [][3]float64) fit {
	n := float64(len(means))
	var sum, back [3]float64
	for k, m := range means {
		s := a.Apply(m)
		r := Steps[k].onBench(s)
		for i := range sum {
			sum[i] += s[i]
			back[i] += r[i]
		}
	}
	// With T = sum(R_k): (n I - T' T / n) e = back - T' sum / n.
	var t [3][3]float64
	for j := range 3 {
		var unit [3]float64
		unit[j] = 1
		for _, s := range Steps[:len(means)] {
			c := s.inDevice(unit)
			for i := range 3 {
				t[i][j] += c[i]
			}
		}
	}
	var lhs [3][3]float64
	var rhs [3]float64
	for i := range 3 {
		rhs[i] = back[i]
		for k := range 3 {
			rhs[i] -= t[k][i] * sum[k] / n
			for j := range 3 {
				lhs[i][j] -= t[k][i] * t[k][j] / n
			}
		}
		lhs[i][i] += n
	}
	var f fit
	f.earth = solve3(lhs, rhs)
	var zero [3]float64
	for i := range 3 {
		zero[i] = sum[i] / n
		for j := range 3 {
			zero[i] -= t[i][j] * f.earth[j] / n
		}
	}
	ss := 0.0
	for k, m := range means {
		s, e := a.Apply(m), Steps[k].inDevice(f.earth)
		for i := range 3 {
			ss += sq(s[i] - e[i] - zero[i])
		}
	}
	f.zero = a.undo(zero)
	f.rms = math.Sqrt(ss / n)
	return f
}

// fitUp fits one strength to gravity, which pulls every step the same way; the
// W3C's sign, +9.81 on z when flat.
func fitUp(a Axes, means [][3]float64) (strength, rms float64) {
	n := float64(len(means))
	for k, m := range means {
		strength += dot(a.Apply(m), Steps[k].inDevice([3]float64{0, 0, 1})) / n
	}
	for k, m := range means {
		s, up := a.Apply(m), Steps[k].inDevice([3]float64{0, 0, strength})
		for i := range 3 {
			rms += sq(s[i]-up[i]) / n
		}
	}
	return strength, math.Sqrt(rms)
}

// solve3 solves three linear equations by Cramer's rule; those here depend on the
// steps alone and are never singular.
func solve3(m [3][3]float64, v [3]float64) (out [3]float64) {
	det := func(m [3][3]float64) float64 {
		return m[0][0]*(m[1][1]*m[2][2]-m[1][2]*m[2][1]) - m[0][1]*(m[1][0]*m[2][2]-m[1][2]*m[2][0]) + m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0])
	}
	d := det(m)
	for j := range 3 {
		c := m
		for i := range 3 {
			c[i][j] = v[i]
		}
		out[j] = det(c) / d
	}
	return out
}

func opposite(a, b Axes) bool {
	return a.From == b.From && a.Sign[0] == -b.Sign[0] && a.Sign[1] == -b.Sign[1] && a.Sign[2] == -b.Sign[2]
}

func norm(v [3]float64) float64   { return math.Sqrt(dot(v, v)) }
func dot(a, b [3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func sq(x float64) float64        { return x * x }
