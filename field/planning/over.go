package planning

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/layout"
)

// Over is the field where the sensor lies.
type Over struct {
	Coils []OverCoil `json:"coils"`
	// Evenness is the weakest coil's vertical field over the strongest's.
	Evenness  float64 `json:"evenness"`
	Weakest   string  `json:"weakest"`
	Strongest string  `json:"strongest"`
	// Of the strength of the field over the whole pad at the sensor's height:
	// mean, least and most, and standard deviation over mean.
	MeanUT  float64 `json:"mean_uT"`
	LeastUT float64 `json:"least_uT"`
	MostUT  float64 `json:"most_uT"`
	Spread  float64 `json:"spread"`
}

// OverCoil is the field over a coil's centre with every coil driven as planned,
// and the strongest spot within its outer edge, at the sensor's height.
type OverCoil struct {
	ID     string     `json:"id"`
	AtMM   [3]float64 `json:"at_mm"`
	BUT    [3]float64 `json:"b_uT"`
	MostUT float64    `json:"most_uT"`
	// AsideUT is the sideways pull where a compass is read: over the winding's
	// inner edge, along the coil's own x and y, the weakest and strongest of the
	// four places.
	AsideUT [2]float64 `json:"aside_uT"`
}

func (j *job) at(x, y, z float64) r3.Vec {
	return r3.Scale(1/microtesla, j.pad.At(j.turns, r3.Vec{X: x, Y: y, Z: z}))
}

func (j *job) over() {
	j.overCoils()
	j.overPad()
}

// overCoils fills in the coils.
func (j *job) overCoils() {
	p := j.plan
	o := Over{Coils: []OverCoil{}}
	weakest, strongest := math.Inf(1), 0.0
	for k := range p.Coils {
		c, w, z := &p.Coils[k], p.WindingOf(k), p.SensorHeight(k)
		b := j.at(c.At.X, c.At.Y, z)
		over := OverCoil{ID: c.ID, AtMM: [3]float64{c.At.X / millimetre, c.At.Y / millimetre, z / millimetre}, BUT: [3]float64{b.X, b.Y, b.Z}}
		if s := math.Abs(b.Z); s < weakest {
			weakest, o.Weakest = s, c.ID
		}
		if s := math.Abs(b.Z); s > strongest {
			strongest, o.Strongest = s, c.ID
		}
		n := 10 // steps across the coil: some centimetre each
		if len(p.Coils) > 50 {
			n = 4 // or it would take seconds
		}
		sin, cos := math.Sincos(c.Turned)
		half := w.HalfExtent()
		for a := range n + 1 {
			for e := range n + 1 {
				u, v := half.X*(2*float64(a)/float64(n)-1), half.Y*(2*float64(e)/float64(n)-1)
				over.MostUT = math.Max(over.MostUT, r3.Norm(j.at(c.At.X+cos*u-sin*v, c.At.Y+sin*u+cos*v, z)))
			}
		}
		over.AsideUT[0] = math.Inf(1)
		for _, d := range [4][2]float64{{w.InnerX / 2, 0}, {-w.InnerX / 2, 0}, {0, w.InnerY / 2}, {0, -w.InnerY / 2}} {
			b := j.at(c.At.X+cos*d[0]-sin*d[1], c.At.Y+sin*d[0]+cos*d[1], z)
			pull := math.Hypot(b.X, b.Y)
			over.AsideUT[0], over.AsideUT[1] = math.Min(over.AsideUT[0], pull), math.Max(over.AsideUT[1], pull)
		}
		o.Coils = append(o.Coils, over)
	}
	if strongest > 0 {
		o.Evenness = weakest / strongest
	}
	j.f.Over = o
}

// overPad fills in what is told of the whole pad.
func (j *job) overPad() {
	o := &j.f.Over
	lo, hi, z := j.extent()
	const n = 40
	var sum, square float64
	o.LeastUT = math.Inf(1)
	for a := range n {
		for e := range n {
			x, y := lo[0]+(hi[0]-lo[0])*(float64(a)+0.5)/n, lo[1]+(hi[1]-lo[1])*(float64(e)+0.5)/n
			b := r3.Norm(j.at(x, y, z+j.plan.Above))
			sum += b
			square += b * b
			o.LeastUT, o.MostUT = math.Min(o.LeastUT, b), math.Max(o.MostUT, b)
		}
	}
	o.MeanUT = sum / (n * n)
	if o.MeanUT > 0 {
		o.Spread = math.Sqrt(math.Max(0, square/(n*n)-o.MeanUT*o.MeanUT)) / o.MeanUT
	}
}

// extent is the box around all copper: corners in the plane, and half the
// height, metres.
func (j *job) extent() (lo, hi [2]float64, half float64) {
	lo, hi = [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for k := range j.plan.Coils {
		c, w := &j.plan.Coils[k], j.plan.WindingOf(k)
		// A rounded rectangle turned: its core's box, and the rounding around it.
		e := w.HalfExtent()
		r := math.Min(e.X, e.Y)
		if w.Shape == layout.Rectangle {
			r = math.Min(r, w.Corner+w.Build)
		}
		sin, cos := math.Sincos(c.Turned)
		x := math.Abs(cos)*(e.X-r) + math.Abs(sin)*(e.Y-r) + r
		y := math.Abs(sin)*(e.X-r) + math.Abs(cos)*(e.Y-r) + r
		lo[0], hi[0] = math.Min(lo[0], c.At.X-x), math.Max(hi[0], c.At.X+x)
		lo[1], hi[1] = math.Min(lo[1], c.At.Y-y), math.Max(hi[1], c.At.Y+y)
		half = math.Max(half, w.Width/2)
	}
	return lo, hi, half
}
