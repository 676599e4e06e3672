package field

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"
)

// arc is a rule for integrals along a quarter circle about the origin, from the
// direction of +x to that of +y, for one reader: directions, weights, and how far
// out the reader lies in each direction.
type arc struct{ cos, sin, w, out []float64 }

// arcNodes is the room for a rule.
type arcNodes struct{ cos, sin, w, out [2 * maxOrder]float64 }

// wholeArcs are the rules that do not cut the arc, by number of points.
var wholeArcs = sync.OnceValue(func() *[maxOrder + 1]arc {
	all := new([maxOrder + 1]arc)
	for n := 1; n <= maxOrder; n++ {
		g := gauss(n)
		for i, x := range g.x {
			sin, cos := math.Sincos(math.Pi / 4 * (1 + x))
			all[n].cos, all[n].sin = append(all[n].cos, cos), append(all[n].sin, sin)
			all[n].w = append(all[n].w, g.w[i]*math.Pi/4)
		}
	}
	return all
})

// Points along an arc, whole or cut, that are enough for 5e-7 of |B| (measured;
// see TestPathOrdersAreEnough).
var (
	alongWhole = orders{{5.9, 5}, {3.2, 6}, {1.7, 7}, {1.2, 8}, {0.99, 9}, {0.9, 10}, {0.77, 11}, {0.64, 12}, {0.54, 13}, {0.45, 15}, {0.36, 18}, {0, 24}}
	alongPiece = orders{{2.5, 5}, {0.94, 6}, {0.88, 7}, {0.75, 8}, {0.56, 9}, {0.44, 10}, {0.4, 11}, {0.33, 12}, {0.29, 13}, {0.18, 15}, {0.14, 17}, {0.091, 20}, {0.078, 23}, {0.072, 27}, {0, 32}}
)

// towards returns the rule for a quarter circle of radius at most r about the
// origin and a reader at (x, y) a gap away from it. Near the arc it is cut at the
// direction nearest to the reader, and close to it the points crowd there: the
// angle is then the cube of Gauss's variable.
func (a *arcNodes) towards(r, x, y, gap float64) arc {
	length := r * math.Pi / 2
	if gap > 0.25*length {
		whole := wholeArcs()[alongWhole.points(length, gap)]
		return a.reader(whole.cos, whole.sin, whole.w, x, y)
	}
	to := math.Min(math.Max(math.Atan2(y, x), 0), math.Pi/2)
	if x < 0 && y < 0 {
		to = 0
		if y > x {
			to = math.Pi / 2
		}
	}
	k := 0
	for _, end := range [2]float64{0, math.Pi / 2} {
		d := end - to
		if d == 0 {
			continue
		}
		n, crowded := maxOrder, gap < 0.05*math.Abs(d)*r
		if !crowded {
			n = alongPiece.points(math.Abs(d)*r, gap)
		}
		g := gauss(n)
		for i, v := range g.x {
			t, w := (1+v)/2, g.w[i]/2
			if crowded {
				t, w = t*t*t, 3*t*t*w
			}
			a.sin[k], a.cos[k] = math.Sincos(to + d*t)
			a.w[k] = w * math.Abs(d)
			k++
		}
	}
	return a.reader(a.cos[:k], a.sin[:k], a.w[:k], x, y)
}

func (a *arcNodes) reader(cos, sin, w []float64, x, y float64) arc {
	for i, c := range cos {
		a.out[i] = x*c + y*sin[i]
	}
	return arc{cos: cos, sin: sin, w: w, out: a.out[:len(cos)]}
}

// field is the field, over mu0/4pi, of one ampere counter-clockwise along the
// quarter circle of radius r about the origin, at the rule's reader (x, y) and z.
func (a arc) field(r, x, y, z float64) (b r3.Vec) {
	cos, sin, w, out := a.cos, a.sin, a.w, a.out
	n := len(cos)
	sin, w, out = sin[:n], w[:n], out[:n]
	far2, r2 := x*x+y*y+z*z+r*r, 2*r
	for i, c := range cos {
		p := out[i]
		d2 := far2 - r2*p
		if d2 < 1e-18 { // a nanometre: on the arc
			d2 = 1e-18
		}
		k := w[i] / (d2 * math.Sqrt(d2))
		// dl = r (-sin, cos, 0) dphi; dl x (x - r cos, y - r sin, z).
		b.X += k * c
		b.Y += k * sin[i]
		b.Z += k * (r - p)
	}
	return r3.Vec{X: b.X * z * r, Y: b.Y * z * r, Z: b.Z * r}
}
