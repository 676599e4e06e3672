package trial

import "math"

// mu0Over4Pi in microtesla metre per ampere; mu0 as in CODATA 2022,
// 1.256 637 061 27e-6 N/A2.
const mu0Over4Pi = 1.25663706127e-6 / (4 * math.Pi) * 1e6

// ellipticKE are the complete elliptic integrals K(m) and E(m), parameter
// m = k squared < 1, by the arithmetic-geometric mean (DLMF 19.8.5, 19.8.6).
func ellipticKE(m float64) (k, e float64) {
	a, b := 1.0, math.Sqrt(1-m)
	c, sum, power := math.Sqrt(m), 0.5*m, 1.0
	for range 40 {
		if math.Abs(c) < 1e-15*a {
			break
		}
		a, b, c = (a+b)/2, math.Sqrt(a*b), (a-b)/2
		sum += power * c * c
		power *= 2
	}
	k = math.Pi / (2 * a)
	return k, k * (1 - sum)
}

// ring is the field of a circular turn of radius a in its own plane z = 0
// around the origin, for one ampere, at distance rho from the axis and height
// z: microtesla along rho and z. Smythe, Static and Dynamic Electricity, 7.10
// (from memory; checked against tabulated values). On the wire it is infinite.
func ring(a, rho, z float64) (along, up float64) {
	far := (a+rho)*(a+rho) + z*z
	near := (a-rho)*(a-rho) + z*z
	k, e := ellipticKE(4 * a * rho / far)
	f := 2 * mu0Over4Pi / math.Sqrt(far)
	up = f * (k + e*(a*a-rho*rho-z*z)/near)
	if rho < 1e-4*a {
		// The closed form cancels near the axis; the field grows in proportion
		// to rho there: -rho/2 dBz/dz.
		return mu0Over4Pi * 3 * math.Pi * a * a * z * rho / math.Pow(a*a+z*z, 2.5), up
	}
	along = f * z / rho * (-k + e*(a*a+rho*rho+z*z)/near)
	return along, up
}

// segment is a straight piece of a turn in the coil's own frame.
type segment struct{ from, to vec }

// at is the field of one ampere along a straight piece (Biot and Savart,
// integrated between the ends).
func (s segment) at(p vec) vec {
	a, b := p.minus(s.from), p.minus(s.to)
	la, lb := a.length(), b.length()
	f := mu0Over4Pi * (la + lb) / (la * lb * (la*lb + a.dot(b)))
	return vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}.times(f)
}

const chordsPerQuarter = 12

// outline is a turn that lies u outside the inner path of a winding, at height
// z, counter-clockwise from above: four straight pieces and four quarter
// circles of chords. The chords lie so far out that the area is the circle's.
func outline(innerX, innerY, corner, u, z float64) []segment {
	r := corner + u
	hx, hy := innerX/2-corner, innerY/2-corner
	step := math.Pi / 2 / chordsPerQuarter
	rr := r * math.Sqrt(step/math.Sin(step))
	var points []vec
	for q := range 4 {
		sx, sy := []float64{1, -1, -1, 1}[q], []float64{1, 1, -1, -1}[q]
		for i := 0; i <= chordsPerQuarter; i++ {
			s, c := math.Sincos(float64(q)*math.Pi/2 + float64(i)*step)
			if i == 0 || i == chordsPerQuarter {
				// keep the straight pieces where they are
				points = append(points, vec{sx*hx + r*math.Round(c), sy*hy + r*math.Round(s), z})
				continue
			}
			points = append(points, vec{sx*hx + rr*c, sy*hy + rr*s, z})
			if r == 0 {
				break
			}
		}
	}
	var out []segment
	for i, p := range points {
		q := points[(i+1)%len(points)]
		if q.minus(p).length() > 1e-9 {
			out = append(out, segment{p, q})
		}
	}
	return out
}

// turn is one turn of a winding, or several that lie together.
type turn struct {
	radius, z float64   // round
	pieces    []segment // other shapes
	weight    float64   // turns it stands for
}

// winder is a kind of coil with its turns in place.
type winder struct {
	round  bool
	extent float64 // from the centre to the farthest copper
	turns  []turn  // each turn where it lies
	lumped []turn  // nine that stand for all, for places well outside
	count  float64
}

// wind lays the turns of a winding into its section, layer by layer.
func wind(k *kind) *winder {
	w := &winder{round: k.shape == "round", count: float64(k.turns)}
	w.extent = math.Hypot(k.innerX, k.innerY)/2 + k.build
	if w.round {
		w.extent = k.innerX/2 + k.build
	}
	lay := func(u, z, weight float64) turn {
		t := turn{z: z, weight: weight}
		if w.round {
			t.radius = k.innerX/2 + u
		} else {
			t.pieces = outline(k.innerX, k.innerY, k.cornerRadius(), u, z)
		}
		return t
	}
	layers := int(math.Max(1, math.Round(math.Sqrt(float64(k.turns)*k.build/k.width))))
	layers = min(layers, k.turns)
	for l := range layers {
		// turns spread over the layers as evenly as whole turns can be
		in := k.turns*(l+1)/layers - k.turns*l/layers
		for i := range in {
			w.turns = append(w.turns, lay(k.build*(float64(l)+0.5)/float64(layers), k.width*((float64(i)+0.5)/float64(in)-0.5), 1))
		}
	}
	gauss := [3]float64{-math.Sqrt(0.6), 0, math.Sqrt(0.6)}
	weight := [3]float64{5.0 / 18, 8.0 / 18, 5.0 / 18}
	for i, gu := range gauss {
		for j, gz := range gauss {
			w.lumped = append(w.lumped, lay(k.build*(1+gu)/2, k.width*gz/2, w.count*weight[i]*weight[j]))
		}
	}
	return w
}

// at is the field for one ampere in every turn, at a place in the coil's own
// frame, in microtesla.
func (w *winder) at(p vec) vec {
	turns := w.turns
	if p.length() > 1.7*w.extent {
		turns = w.lumped
	}
	if !w.round {
		var sum vec
		for _, t := range turns {
			var one vec
			for _, s := range t.pieces {
				one = one.plus(s.at(p))
			}
			sum = sum.plus(one.times(t.weight))
		}
		return sum
	}
	rho := math.Hypot(p[0], p[1])
	along, up := 0.0, 0.0
	for _, t := range turns {
		a, u := ring(t.radius, rho, p[2]-t.z)
		along += t.weight * a
		up += t.weight * u
	}
	if rho == 0 {
		return vec{0, 0, up}
	}
	return vec{along * p[0] / rho, along * p[1] / rho, up}
}
