package rehearsal

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"
)

const degree = math.Pi / 180

// posture is how a phone lies, as a rotation from its axes to the pad's. It is
// that of the W3C's device orientation, Z-X'-Y”: first the turn about z,
// counter-clockwise and 0 with the top edge away from the person, then the pitch
// about the phone's x, then the roll about its y.
type posture struct{ x, y, z r3.Vec } // the phone's axes, in pad axes

func lie(topDeg, pitchDeg, rollDeg float64) posture {
	sa, ca := math.Sincos(topDeg * degree)
	sb, cb := math.Sincos(pitchDeg * degree)
	sg, cg := math.Sincos(rollDeg * degree)
	return posture{
		x: r3.Vec{X: ca*cg - sa*sb*sg, Y: sa*cg + ca*sb*sg, Z: -cb * sg},
		y: r3.Vec{X: -sa * cb, Y: ca * cb, Z: sb},
		z: r3.Vec{X: ca*sg + sa*sb*cg, Y: sa*sg - ca*sb*cg, Z: cb * cg},
	}
}

// toPhone turns a vector of the pad frame into phone axes.
func (p *posture) toPhone(v r3.Vec) r3.Vec {
	return r3.Vec{X: r3.Dot(p.x, v), Y: r3.Dot(p.y, v), Z: r3.Dot(p.z, v)}
}

// offset is where a point of the phone lies relative to the mark, in pad axes.
func (p *posture) offset(x, y float64) r3.Vec {
	return r3.Add(r3.Scale(x, p.x), r3.Scale(y, p.y))
}

// gravity is what the gravity sensor reads: +9.81 on z when the phone lies flat.
func (p *posture) gravity() [3]float64 {
	const g = 9.81
	return [3]float64{g * p.x.Z, g * p.y.Z, g * p.z.Z}
}

// readGravity is one reading of it, with its noise.
func (p *posture) readGravity(noise *rand.Rand) [3]float64 {
	g := p.gravity()
	for a := range g {
		g[a] = math.Round(1e3*(g[a]+0.02*noise.NormFloat64())) / 1e3
	}
	return g
}

// headingDeg is the compass heading of the top edge, clockwise from the
// horizontal part of a field given in pad axes, from 0 up to 360. Tilt is taken
// to be compensated in full.
func (p *posture) headingDeg(b r3.Vec) float64 {
	north := math.Atan2(-b.X, b.Y) // counter-clockwise from pad +y
	top := math.Atan2(-p.y.X, p.y.Y)
	return wrap360((north - top) / degree)
}

func wrap360(deg float64) float64 {
	deg = math.Mod(deg, 360)
	if deg < 0 {
		deg += 360
	}
	return deg
}

// wrap180 is the same angle from -180 up to 180.
func wrap180(deg float64) float64 { return wrap360(deg+180) - 180 }
