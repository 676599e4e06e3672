package field

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/layout"
)

// Pad is the coils of a plan in their places, ready to be asked for the field.
// It is safe for concurrent use.
type Pad struct{ coils []coil }

// coil is a winding in its place.
type coil struct {
	x, y     float64
	sin, cos float64
	source
}

// NewPad returns the field model of a plan, which must not change afterwards.
func NewPad(p *layout.Plan) *Pad {
	pad := &Pad{coils: make([]coil, len(p.Coils))}
	for j := range p.Coils {
		c := &p.Coils[j]
		m := &pad.coils[j]
		m.x, m.y, m.source = c.At.X, c.At.Y, sourceOf(p.WindingOf(j))
		m.sin, m.cos = math.Sincos(c.Turned)
	}
	return pad
}

func (c *coil) at(at r3.Vec) r3.Vec {
	x, y := at.X-c.x, at.Y-c.y
	if c.round != nil {
		r, z := c.round.at(math.Sqrt(x*x+y*y), at.Z)
		return r3.Vec{X: r * x, Y: r * y, Z: z}
	}
	b := c.path.at(r3.Vec{X: c.cos*x + c.sin*y, Y: -c.sin*x + c.cos*y, Z: at.Z})
	return r3.Vec{X: c.cos*b.X - c.sin*b.Y, Y: c.sin*b.X + c.cos*b.Y, Z: b.Z}
}

// Column returns the field of coil j in teslas per ampere-turn at a point of
// the pad frame in metres.
func (pad *Pad) Column(j int, at r3.Vec) r3.Vec { return pad.coils[j].at(at) }

// slopeStep is the length over which a slope is taken where no formula gives it, metres.
const slopeStep = 1e-3

// slopes returns the field and how it changes along x and z, per metre. Off the copper of a
// round winding B_x = a x, B_y = a y with a = B_rho/rho, and no curl and no divergence give
// the rest from the slopes of a.
func (c *coil) slopes(at r3.Vec) (b, alongX, alongZ r3.Vec) {
	if c.round != nil {
		x, y := at.X-c.x, at.Y-c.y
		rho := math.Sqrt(x*x + y*y)
		if a, z, aRho, aZ, ok := c.round.slopes(rho, at.Z); ok {
			perRho := aRho / max(rho, 1e-9) // on the axis a is level
			return r3.Vec{X: a * x, Y: a * y, Z: z},
				r3.Vec{X: a + perRho*x*x, Y: perRho * x * y, Z: aZ * x},
				r3.Vec{X: aZ * x, Y: aZ * y, Z: -2*a - perRho*rho*rho}
		}
	}
	b = c.at(at)
	slope := func(step r3.Vec) r3.Vec {
		return r3.Scale(1/slopeStep, r3.Sub(c.at(r3.Add(at, step)), b))
	}
	return b, slope(r3.Vec{X: slopeStep}), slope(r3.Vec{Z: slopeStep})
}

// Slopes returns the field of coil j in teslas per ampere-turn at a point of the pad frame
// in metres, and how it changes along x and along z, per metre.
func (pad *Pad) Slopes(j int, at r3.Vec) (b, alongX, alongZ r3.Vec) { return pad.coils[j].slopes(at) }

// At returns the field of all coils together at a point of the pad frame,
// teslas; ampereTurns has one value per coil, positive for north up.
func (pad *Pad) At(ampereTurns []float64, at r3.Vec) r3.Vec {
	var b r3.Vec
	for j, a := range ampereTurns {
		if a != 0 {
			c := pad.coils[j].at(at)
			b.X += a * c.X
			b.Y += a * c.Y
			b.Z += a * c.Z
		}
	}
	return b
}
