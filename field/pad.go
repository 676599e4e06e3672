package field

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/layout"
)

// Pad is the coils of a plan in their places, ready to be asked for the field.
// It is safe for concurrent use.
type Pad struct {
	plan *layout.Plan
}

// NewPad returns the field model of a plan, which must not change afterwards.
func NewPad(p *layout.Plan) *Pad { return &Pad{plan: p} }

// Column returns the field of coil j in teslas per ampere-turn at a point of
// the pad frame in metres.
func (pad *Pad) Column(j int, at r3.Vec) r3.Vec {
	c := &pad.plan.Coils[j]
	w := pad.plan.WindingOf(j)
	x, y := at.X-c.At.X, at.Y-c.At.Y
	if w.Shape == layout.Round {
		rho := math.Hypot(x, y)
		r, z := RoundWinding(w.InnerX/2, w.Build, w.Width, rho, at.Z)
		if rho == 0 {
			return r3.Vec{Z: z}
		}
		return r3.Vec{X: r * x / rho, Y: r * y / rho, Z: z}
	}
	sin, cos := math.Sincos(c.Turned)
	b := PathWinding(w, r3.Vec{X: cos*x + sin*y, Y: -sin*x + cos*y, Z: at.Z})
	return r3.Vec{X: cos*b.X - sin*b.Y, Y: sin*b.X + cos*b.Y, Z: b.Z}
}

// Columns returns the field of every coil in teslas per ampere-turn at a point
// of the pad frame. It writes to dst where that has room for all coils.
func (pad *Pad) Columns(dst []r3.Vec, at r3.Vec) []r3.Vec {
	dst = dst[:0]
	for j := range pad.plan.Coils {
		dst = append(dst, pad.Column(j, at))
	}
	return dst
}

// At returns the field of all coils together at a point of the pad frame,
// teslas; ampereTurns has one value per coil, positive for north up.
func (pad *Pad) At(ampereTurns []float64, at r3.Vec) r3.Vec {
	var b r3.Vec
	for j, a := range ampereTurns {
		if a != 0 {
			b = r3.Add(b, r3.Scale(a, pad.Column(j, at)))
		}
	}
	return b
}
