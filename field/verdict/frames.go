package verdict

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Which way a phone points: its own axes are x to the right of the screen, y to the top edge
// and z out of the screen; the pad's stand in the package comment of field. A direction of the
// top edge is told in degrees counter-clockwise from the pad's y.

// alikeDeg is the turn, degrees, within which a phone lies as it lay: who lays it down along
// an edge is off by a few (an estimate, no source).
const alikeDeg = 15

// lieAlike tells whether a phone lies as it lay.
func lieAlike(topDeg, wasDeg float64) bool { return math.Abs(wrapDeg(wasDeg-topDeg)) < alikeDeg }

// toPad turns a vector of the frame of a phone that lies flat into the pad's.
func toPad(o r2.Vec, topDeg float64) r2.Vec {
	sin, cos := math.Sincos(topDeg * math.Pi / 180)
	return r2.Vec{X: cos*o.X - sin*o.Y, Y: sin*o.X + cos*o.Y}
}

// toPhone turns a vector of the pad's frame into that of a phone that lies flat on it.
func toPhone(o r2.Vec, topDeg float64) r2.Vec { return toPad(o, -topDeg) }

// wrapDeg is the same direction within -180 and 180 degrees, the one left out.
func wrapDeg(d float64) float64 {
	d = math.Mod(d, 360)
	switch {
	case d > 180:
		d -= 360
	case d <= -180:
		d += 360
	}
	return d
}

// rotation returns the matrix that takes phone axes to pad axes: gravity says
// which way is up, topDeg where the top edge points.
func rotation(topDeg float64, up [3]float64) [3][3]float64 {
	s, c := math.Sincos(topDeg * math.Pi / 180)
	turn := [3][3]float64{{c, -s, 0}, {s, c, 0}, {0, 0, 1}}
	u := r3.Vec{X: up[0], Y: up[1], Z: up[2]}
	if r3.Norm(u) < 0.5 || u.Z < -0.9 {
		return turn
	}
	// The shortest rotation that takes u to z.
	axis := r3.Vec{X: u.Y, Y: -u.X}
	sin := r3.Norm(axis)
	if sin < 1e-6 {
		return turn
	}
	rot := r3.NewRotation(math.Atan2(sin, u.Z), axis)
	var m [3][3]float64
	for a, e := range [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		v := rot.Rotate(e)
		m[0][a], m[1][a], m[2][a] = v.X, v.Y, v.Z
	}
	return mul3(turn, m)
}

// mul3 is the product of two matrices.
func mul3(a, b [3][3]float64) (c [3][3]float64) {
	for i := range c {
		for j := range c {
			for k := range c {
				c[i][j] += a[i][k] * b[k][j]
			}
		}
	}
	return c
}
