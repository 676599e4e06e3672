package layout

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// The outline of every winding, seen from above, is a rectangle (the core)
// with everything within some distance of it added: for a round coil the core
// is a point, for an oblong one a line, for a rectangle what is left of it
// between the corners' centres. The hole and the outer outline share one core.
type core struct {
	at       r2.Vec
	along    r2.Vec // unit vector of the winding's own x axis
	hx, hy   float64
	inner    float64 // distance of the inner path from the core
	outer    float64 // distance of the outer path from the core
	farthest float64 // of the outer outline from its centre
}

func (p *Plan) core(j int) core {
	c, w := &p.Coils[j], p.WindingOf(j)
	half, r := w.HalfStraight(), w.CornerRadius()
	sin, cos := math.Sincos(c.Turned)
	k := core{
		at: c.At, along: r2.Vec{X: cos, Y: sin},
		hx: half.X, hy: half.Y,
		inner: r, outer: r + w.Build,
	}
	k.farthest = math.Hypot(k.hx, k.hy) + k.outer
	return k
}

func (k *core) corners() [4]r2.Vec {
	x := r2.Scale(k.hx, k.along)
	y := r2.Scale(k.hy, r2.Vec{X: -k.along.Y, Y: k.along.X})
	return [4]r2.Vec{
		r2.Add(r2.Add(k.at, x), y), r2.Add(r2.Sub(k.at, x), y),
		r2.Sub(r2.Sub(k.at, x), y), r2.Sub(r2.Add(k.at, x), y),
	}
}

// own turns a point into the core's own axes.
func (k *core) own(q r2.Vec) r2.Vec {
	d := r2.Sub(q, k.at)
	return r2.Vec{X: r2.Dot(d, k.along), Y: r2.Cross(k.along, d)}
}

// distance of a point from the core, 0 inside it.
func (k *core) distance(q r2.Vec) float64 {
	d := k.own(q)
	return math.Hypot(math.Max(0, math.Abs(d.X)-k.hx), math.Max(0, math.Abs(d.Y)-k.hy))
}

// gap is the distance between two cores, 0 where they cross.
func gap(a, b *core) float64 {
	// Two rectangles are apart when one of their four sides' directions shows
	// daylight between them; they are then closest at a corner of one of them.
	if !apart(a, b) && !apart(b, a) {
		return 0
	}
	nearest := math.Inf(1)
	for _, q := range a.corners() {
		nearest = math.Min(nearest, b.distance(q))
	}
	for _, q := range b.corners() {
		nearest = math.Min(nearest, a.distance(q))
	}
	return nearest
}

// apart tells whether b lies wholly beyond one side of a.
func apart(a, b *core) bool {
	lo := r2.Vec{X: math.Inf(1), Y: math.Inf(1)}
	hi := r2.Vec{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, q := range b.corners() {
		d := a.own(q)
		lo = r2.Vec{X: math.Min(lo.X, d.X), Y: math.Min(lo.Y, d.Y)}
		hi = r2.Vec{X: math.Max(hi.X, d.X), Y: math.Max(hi.Y, d.Y)}
	}
	return lo.X > a.hx || hi.X < -a.hx || lo.Y > a.hy || hi.Y < -a.hy
}

// within tells whether the outer outline of b lies in the hole of a.
func within(a, b *core) bool {
	// The hole, shrunk by b's outer distance, must still hold b's core. While
	// that is less than the hole's own distance, what is left is the core with
	// the difference added; beyond it, the core itself shrinks.
	spare := a.inner - b.outer + touch
	for _, q := range b.corners() {
		if spare >= 0 {
			if a.distance(q) > spare {
				return false
			}
			continue
		}
		d := a.own(q)
		if math.Abs(d.X) > a.hx+spare || math.Abs(d.Y) > a.hy+spare {
			return false
		}
	}
	return true
}

// touch is how far outlines may reach into each other and still count as
// touching: rounding, not copper.
const touch = 1e-8

// overlap returns how deep the copper of two coils reaches into each other in
// plan view, in metres; 0 when it does not. A coil that lies in the hole of
// another does not overlap it. Where the cores themselves cross, the depth is
// the least it can be.
func overlap(a, b *core) float64 {
	if r2.Norm(r2.Sub(a.at, b.at)) >= a.farthest+b.farthest {
		return 0
	}
	depth := a.outer + b.outer - gap(a, b)
	if depth <= touch || within(a, b) || within(b, a) {
		return 0
	}
	return depth
}
