package trial

import "math"

type vec [3]float64

func (a vec) plus(b vec) vec      { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a vec) minus(b vec) vec     { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a vec) times(k float64) vec { return vec{k * a[0], k * a[1], k * a[2]} }
func (a vec) dot(b vec) float64   { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) length() float64     { return math.Sqrt(a.dot(a)) }

// turned is a turned about z by an angle, counter-clockwise.
func (a vec) turned(angle float64) vec {
	s, c := math.Sincos(angle)
	return vec{c*a[0] - s*a[1], s*a[0] + c*a[1], a[2]}
}

// pose is how a phone lies: its three axes in the pad frame.
type pose struct{ x, y, z vec }

// lying is a phone whose top edge is turned by yaw (counter-clockwise from pad
// +y), raised at its top edge by pitch and at its left edge by roll.
func lying(yaw, pitch, roll float64) pose {
	sp, cp := math.Sincos(pitch)
	sr, cr := math.Sincos(roll)
	tilt := func(a vec) vec {
		a = vec{cr*a[0] + sr*a[2], a[1], -sr*a[0] + cr*a[2]} // about y
		return vec{a[0], cp*a[1] - sp*a[2], sp*a[1] + cp*a[2]}.turned(yaw)
	}
	return pose{tilt(vec{1, 0, 0}), tilt(vec{0, 1, 0}), tilt(vec{0, 0, 1})}
}

// sees gives a vector of the pad frame in the phone's axes.
func (p pose) sees(a vec) vec { return vec{p.x.dot(a), p.y.dot(a), p.z.dot(a)} }
