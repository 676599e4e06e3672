package planning

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
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
		n := 10 // steps across the coil
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
		for _, d := range p.Beside(k) {
			b := j.at(c.At.X+d.X, c.At.Y+d.Y, z)
			over.MostUT = math.Max(over.MostUT, r3.Norm(b)) // the field is strongest near the winding
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
	lo, hi := j.plan.Copper()
	const n = 40
	var sum, square float64
	o.LeastUT = math.Inf(1)
	for a := range n {
		for e := range n {
			x, y := lo.X+(hi.X-lo.X)*(float64(a)+0.5)/n, lo.Y+(hi.Y-lo.Y)*(float64(e)+0.5)/n
			b := r3.Norm(j.at(x, y, j.halfHeight()+j.plan.Above))
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

// halfHeight is half the height of the highest winding, metres.
func (j *job) halfHeight() (half float64) {
	for k := range j.plan.Coils {
		half = math.Max(half, j.plan.WindingOf(k).Width/2)
	}
	return half
}
