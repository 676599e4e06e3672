package rehearsal

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field"
	"polewise/layout"
)

// Units at the edge.
const (
	millimetre = 1e-3
	microtesla = 1e-6
)

// world is a pad with its faults, on a bench, on the earth.
type world struct {
	plan     *layout.Plan
	pad      *field.Pad
	currents *layout.Currents
	turns    []float64 // ampere-turns of each coil, pad frame, supply fully on
	earth    r3.Vec    // teslas, pad axes
	steel    []dipole
}

// dipole is a piece of magnetised steel under the bench.
type dipole struct {
	at     r3.Vec
	moment r3.Vec // times mu0 / 4 pi: tesla cubic metres
}

func (d *dipole) field(at r3.Vec) r3.Vec {
	r := r3.Sub(at, d.at)
	n := r3.Norm(r)
	u := r3.Scale(1/n, r)
	return r3.Scale(1/(n*n*n), r3.Sub(r3.Scale(3*r3.Dot(u, d.moment), u), d.moment))
}

// newWorld builds the faults in and draws the surroundings. scale multiplies
// every current.
func newWorld(plan *layout.Plan, faults []layout.Fault, scale, earthUT, steelUT float64, rng *rand.Rand) (*world, error) {
	c, err := plan.Solve(faults...)
	if err != nil {
		return nil, err
	}
	w := &world{plan: plan, pad: field.NewPad(plan), currents: c, turns: make([]float64, len(plan.Coils))}
	for j := range w.turns {
		w.turns[j] = scale * c.AmpereTurns(plan, j)
	}
	// The earth's field dips anywhere between level and nearly upright, but
	// never so far that a compass fails (the horizontal part stays at 10 uT).
	if earthUT == 0 {
		earthUT = 25 + 40*rng.Float64()
	}
	steepest := math.Acos(math.Min(1, 10/earthUT))
	dip := math.Min(steepest, (10+65*rng.Float64())*degree)
	if rng.IntN(4) == 0 {
		dip = -dip // the other half of the earth
	}
	sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
	w.earth = r3.Scale(earthUT*microtesla, r3.Vec{X: cos * math.Cos(dip), Y: sin * math.Cos(dip), Z: -math.Sin(dip)})
	w.addSteel(steelUT, rng)
	return w, nil
}

// addSteel lays a few magnetised pieces under the pad, so strong that over no
// coil they add more than a share of steelUT, drawn from a third to all of it.
func (w *world) addSteel(steelUT float64, rng *rand.Rand) {
	lo := r3.Vec{X: math.Inf(1), Y: math.Inf(1)}
	hi := r3.Vec{X: math.Inf(-1), Y: math.Inf(-1)}
	for j := range w.plan.Coils {
		at := w.plan.Coils[j].At
		lo.X, lo.Y = math.Min(lo.X, at.X), math.Min(lo.Y, at.Y)
		hi.X, hi.Y = math.Max(hi.X, at.X), math.Max(hi.Y, at.Y)
	}
	for range 3 {
		depth := 0.06 + 0.25*rng.Float64()
		d := dipole{at: r3.Vec{X: lo.X + (hi.X-lo.X)*rng.Float64(), Y: lo.Y + (hi.Y-lo.Y)*rng.Float64(), Z: -depth}}
		d.moment = r3.Scale(depth*depth*depth, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		w.steel = append(w.steel, d)
	}
	most := 0.0
	for j := range w.plan.Coils {
		most = math.Max(most, r3.Norm(w.steelAt(w.over(j))))
	}
	share := (1 + 2*rng.Float64()) / 3
	for i := range w.steel {
		w.steel[i].moment = r3.Scale(share*steelUT*microtesla/most, w.steel[i].moment)
	}
}

func (w *world) steelAt(at r3.Vec) r3.Vec {
	var b r3.Vec
	for i := range w.steel {
		b = r3.Add(b, w.steel[i].field(at))
	}
	return b
}

// over is the place of the sensor over a coil's centre.
func (w *world) over(j int) r3.Vec {
	c := &w.plan.Coils[j]
	return r3.Vec{X: c.At.X, Y: c.At.Y, Z: w.plan.SensorHeight(j)}
}

// background is what a sensor there meets with the supply off, teslas.
func (w *world) background(at r3.Vec) r3.Vec { return r3.Add(w.earth, w.steelAt(at)) }

// height is that of a sensor in a phone that lies on the pad there: as over the
// nearest coil.
func (w *world) height(x, y float64) float64 {
	best, z := math.Inf(1), 0.0
	for j := range w.plan.Coils {
		if d := math.Hypot(x-w.plan.Coils[j].At.X, y-w.plan.Coils[j].At.Y); d < best {
			best, z = d, w.plan.SensorHeight(j)
		}
	}
	return z
}
