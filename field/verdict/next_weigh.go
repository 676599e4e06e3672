package verdict

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/layout"
)

// What a reading would leave open: how alike the explanations expect it to be. next.go says how
// these are put together.

// rival is an explanation, with where it has the sensor of the phone in use.
type rival struct {
	s      *scored
	weight float64  // its chance
	places []r2.Vec // offsets in the phone frame, all as likely; empty without a phone
}

// foreseen is a reading as an explanation expects it, microtesla.
type foreseen struct {
	b    r3.Vec
	sd   float64
	dims float64 // how many independent figures are read
}

// rivals are the likeliest explanations. Those after the first few take over the sensor's place of
// the last of these.
func (e *engine) rivals(list []*scored, weights []float64) (out []rival) {
	src, _ := e.inUse()
	if needle := e.needleInUse(); needle != nil {
		src = needle.source
	}
	var places []r2.Vec
	for i, s := range list[:min(len(list), nextRivals)] {
		if src >= 0 && i < nextPlaced {
			found := e.placeOf(src, []*scored{s})
			mean, sd := r2.Vec{X: found.Offset[0], Y: found.Offset[1]}, r2.Vec{X: found.SD[0], Y: found.SD[1]}
			places = []r2.Vec{mean}
			if spread := math.Max(sd.X, sd.Y); spread > 1.5*placeSD {
				places = nil
				for _, d := range [4]r2.Vec{{X: 1, Y: 1}, {X: -1, Y: 1}, {X: 1, Y: -1}, {X: -1, Y: -1}} {
					places = append(places, r2.Vec{X: mean.X + d.X*sd.X, Y: mean.Y + d.Y*sd.Y})
				}
			}
		}
		out = append(out, rival{s, weights[i], places})
	}
	return out
}

// leftOpen is what is open without another reading.
func leftOpen(rivals []rival) (all float64) {
	for i := range rivals {
		for k := range i {
			if differ(rivals[i].s.hyp, rivals[k].s.hyp) {
				all += math.Sqrt(rivals[i].weight * rivals[k].weight)
			}
		}
	}
	return all
}

// weigh works out what a reading of coil j leaves open, given what each explanation expects to be
// read: several values where the sensor may be in several places.
func (e *engine) weigh(rivals []rival, j int, expect func(*rival) []foreseen) choice {
	var c choice
	seen := make([][]foreseen, len(rivals))
	for i := range rivals {
		seen[i] = expect(&rivals[i])
	}
	most := 0.0
	for i := range rivals {
		for k := range i {
			a, b := rivals[i].s.hyp, rivals[k].s.hyp
			if !differ(a, b) {
				continue
			}
			w := math.Sqrt(rivals[i].weight * rivals[k].weight)
			alike := 0.0
			for _, x := range seen[i] {
				for _, y := range seen[k] {
					alike += x.alike(y)
				}
			}
			alike /= float64(len(seen[i]) * len(seen[k]))
			c.open += w * alike
			if differAt(a, b, j) {
				c.left += w * alike
				c.part += w
			}
			if told := w * (1 - alike); told > most && a.state(j) != b.state(j) {
				most, c.one, c.other = told, b.state(j), a.state(j)
			}
		}
	}
	return c
}

// alike is the Bhattacharyya coefficient of two expected readings.
func (x foreseen) alike(y foreseen) float64 {
	v := x.sd*x.sd + y.sd*y.sd
	d := r3.Norm2(r3.Sub(x.b, y.b))
	return math.Pow(2*x.sd*y.sd/v, x.dims/2) * math.Exp(-d/(4*v))
}

// over is what a phone would read over coil j with its mark shifted from the coil's centre.
func (e *engine) over(r *rival, j int, topDeg float64, shift r2.Vec) []foreseen {
	const (
		noise = 4.0   // uT, with the drift between off and on
		tell  = 0.05  // of the field: tilt, height
		step  = 0.002 // metres, for the slope
	)
	middle := e.m.sensorOver(j)
	var out []foreseen
	for _, o := range r.places {
		o = toPad(o, topDeg)
		at := r3.Add(middle, r3.Vec{X: shift.X + o.X, Y: shift.Y + o.Y})
		field := func(dx, dy float64) r3.Vec {
			return r3.Scale(1e6, e.m.pad.At(r.s.hyp.ampTurns(), r3.Add(at, r3.Vec{X: dx, Y: dy})))
		}
		b := field(0, 0)
		across := r3.Norm(r3.Sub(field(step, 0), field(-step, 0))) / (2 * step)
		up := r3.Norm(r3.Sub(field(0, step), field(0, -step))) / (2 * step)
		out = append(out, foreseen{b, math.Sqrt(noise*noise + math.Pow(tell*r3.Norm(b), 2) + (across*across+up*up)*placeSD*placeSD/2), 3})
	}
	return out
}

// faceForeseen is what a needle over coil j would show, as a number: 1 as planned, -1 the other
// way. Its spread makes the two as hard to tell apart as a face that is read wrongly one time in
// a hundred: their Bhattacharyya coefficient is 2 sqrt(0.01 * 0.99) = 0.2.
func (e *engine) faceForeseen(h *hypothesis, j int) []foreseen {
	const sd = 0.56
	planned := e.m.tops[j]
	if planned == 0 {
		return []foreseen{{r3.Vec{}, sd, 1}}
	}
	return []foreseen{{r3.Vec{Z: math.Max(-1, math.Min(1, e.m.topUnder(h, j)/planned))}, sd, 1}}
}

// ohmsForeseen is what an ohmmeter would show. An open circuit is taken for a number far from any
// other.
func ohmsForeseen(ohms float64) []foreseen {
	const open = 1e6
	if math.IsInf(ohms, 1) {
		return []foreseen{{r3.Vec{X: open}, 1, 1}}
	}
	sd := math.Hypot(ohmShare*ohms+ohmAbsolute, math.Hypot(wireShare, unknownRoom*layout.CopperPerKelvin)*ohms)
	return []foreseen{{r3.Vec{X: ohms}, sd, 1}}
}
