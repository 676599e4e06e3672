package verdict

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/layout"
)

// The next reading of a compass is on a side of the coil where its needle tells most.

// needleInUse is the last hold by compass; nil where a phone read something else after it, or
// there is none.
func (e *engine) needleInUse() *bearingDigest {
	var last *bearingDigest
	for i := range e.ev.bearings {
		if b := &e.ev.bearings[i]; last == nil || b.from >= last.from {
			last = b
		}
	}
	for i := range e.ev.holds {
		if last != nil && e.ev.holds[i].to > last.from {
			return nil
		}
	}
	for i := range e.ev.passes {
		if last != nil && e.ev.passes[i].to > last.from {
			return nil
		}
	}
	return last
}

// needle is a compass as it lay last, to be laid beside a coil.
type needle struct {
	*bearingDigest
	earth  r2.Vec // the earth's field, of the strength that goes with currents as planned
	sensor r2.Vec // from the mark, pad axes
}

// needleOf is the compass in use as the likeliest explanation has it; nil without.
func (e *engine) needleOf(rivals []rival) *needle {
	last := e.needleInUse()
	if last == nil {
		return nil
	}
	best := e.evaluate(&scored{hyp: rivals[0].s.hyp})
	_, m := e.likeliest(best, last.source)
	strength := 1 / best.sc.s[m] // in ratio, of the current as planned
	if !e.onlyBearings {
		strength = usualEarth / best.sc.s[m]
	}
	e.slim(best)
	north := last.topDeg*math.Pi/180 + last.off + last.hand
	out := &needle{bearingDigest: last, earth: r2.Vec{X: -strength * math.Sin(north), Y: strength * math.Cos(north)}}
	for _, p := range rivals[0].places {
		out.sensor = r2.Add(out.sensor, r2.Scale(1/float64(len(rivals[0].places)), toPad(p, last.topDeg)))
	}
	return out
}

// besides are holds by compass beside coil j, on each of its four sides, with the phone lying as it
// did last.
func (e *engine) besides(rivals []rival, j int, last *needle) (out []choice) {
	id := e.m.plan.Coils[j].ID
	for _, side := range sidesOf(e.m.plan, j) {
		shift := r2.Sub(side, last.sensor)
		shift = r2.Vec{X: math.Round(shift.X*1e3) / 1e3, Y: math.Round(shift.Y*1e3) / 1e3}
		c := e.weigh(rivals, j, func(r *rival) []foreseen {
			seen := e.over(r, j, last.topDeg, shift)
			for i := range seen {
				seen[i] = seen[i].asNeedle(last.earth)
			}
			return seen
		})
		words := shiftWords(shift)
		if words == "" {
			continue
		}
		c.next = Next{At: id, ShiftMM: wholeMM(shift), Why: c.why(id, "Lay the phone with its mark "+words+" the middle of %s, and switch the supply off and on.")}
		if top := last.topDeg; top != 0 {
			c.next.TopDeg = &top
		}
		out = append(out, c)
	}
	return out
}

// usualEarth is the earth's level field where readings do not tell it, microtesla.
const usualEarth = 20.0

// sidesOf are the four places over the middle of the sides of a coil's winding, from its centre.
func sidesOf(plan *layout.Plan, j int) (out []r2.Vec) {
	w := plan.WindingOf(j)
	e := w.HalfExtent()
	x, y := (e.X+w.InnerX/2)/2, (e.Y+w.InnerY/2)/2
	for _, v := range [4]r2.Vec{{X: x}, {Y: y}, {X: -x}, {Y: -y}} {
		out = append(out, r2.Rotate(v, plan.Coils[j].Turned, r2.Vec{}))
	}
	return out
}

// asNeedle is a field beside the earth's as a needle shows it: where that points, as a unit
// vector.
func (x foreseen) asNeedle(earth r2.Vec) foreseen {
	field := r3.Vec{X: x.b.X + earth.X, Y: x.b.Y + earth.Y}
	size := r3.Norm(field)
	if size == 0 {
		return foreseen{sd: 1, dims: 2}
	}
	return foreseen{r3.Scale(1/size, field), math.Min(1, math.Hypot(x.sd/size, needleSD)), 2}
}

// needleSD is by how many radians a needle's turn may be off.
const needleSD = 0.06
