package planning

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Keep is how far to keep away what a static field disturbs.
type Keep struct {
	LimitMT float64 `json:"limit_mT"`
	// DistanceMM is the least distance from the box around all copper beyond
	// which the field is everywhere weaker than LimitMT, pad driven as planned
	// (with pulses, at their peak); 0 when that is so a millimetre off already.
	DistanceMM float64 `json:"distance_mm"`
	Say        string  `json:"say"`
	Source     string  `json:"source"`
}

// limitMT and its source. The sentence was seen quoted in a public document, not
// in the guideline itself.
const (
	limitMT     = 0.5
	limitSource = "ICNIRP, Guidelines on limits of exposure to static magnetic fields, Health Physics 96(4):504-514, 2009: " +
		"\"In general, the operation of these devices is not adversely affected by static magnetic fields below 0.5 mT.\""
)

func (j *job) keep() {
	k := Keep{LimitMT: limitMT, Source: limitSource}
	limit := limitMT * 1e3 // microtesla
	// The strength of a static field in free space has no peak: beyond any
	// surface around all currents it is nowhere stronger than on the surface. So
	// it is enough to look at one distance at a time, and farther is weaker.
	const finest = 1 * millimetre
	lo, hi := finest, finest
	if j.reaches(lo, limit) {
		for hi = 2 * lo; j.reaches(hi, limit) && hi < 100; hi *= 2 {
			lo = hi
		}
		for hi-lo > finest/2 {
			if mid := (lo + hi) / 2; j.reaches(mid, limit) {
				lo = mid
			} else {
				hi = mid
			}
		}
		k.DistanceMM = math.Ceil(hi / millimetre)
		k.Say = fmt.Sprintf("Driven as planned, the pad's field falls below %g mT within %.0f mm of it, on every side. Keep pacemakers, insulin pumps and other implants, magnetic cards and mechanical watches farther off than that, and ask the maker of an implant.", limitMT, k.DistanceMM)
	} else {
		k.Say = fmt.Sprintf("Driven as planned, the pad's field is weaker than %g mT a millimetre from it already. Keep implants, magnetic cards and mechanical watches away all the same.", limitMT)
	}
	if j.plan.Supply.Pulsed {
		k.Say += " That limit is for a static field: from how far off pulses disturb an implant it does not tell."
	}
	j.f.Keep = k
}

// reaches tells whether the field is as strong as the limit anywhere at a
// distance from the box around all copper.
func (j *job) reaches(distance, limitUT float64) bool {
	lo, hi := j.plan.Copper()
	half := j.halfHeight()
	pitch := math.Max(distance/2, 4*millimetre)
	steps := func(length float64) int { return min(max(int(math.Ceil(length/pitch)), 2), 80) }
	strong := func(x, y, z float64) bool { return r3.Norm(j.at(x, y, z)) >= limitUT }
	nx, ny, nz := steps(hi.X-lo.X), steps(hi.Y-lo.Y), steps(2*half)
	// Above and below are alike: every coil is the same on both sides of z = 0.
	for a := range nx + 1 {
		x := lo.X + (hi.X-lo.X)*float64(a)/float64(nx)
		for b := range ny + 1 {
			y := lo.Y + (hi.Y-lo.Y)*float64(b)/float64(ny)
			if strong(x, y, half+distance) {
				return true
			}
		}
	}
	// Round the rim: the sides, and the rounded edge over them. Corners are
	// taken by turning from one side's direction to the next.
	rim := func(x, y, angle float64) bool {
		sin, cos := math.Sincos(angle)
		for a := range nz/2 + 1 {
			if strong(x+distance*cos, y+distance*sin, 2*half*float64(a)/float64(nz)) {
				return true
			}
		}
		const edge = 6
		for e := 1; e < edge; e++ {
			up, out := math.Sincos(math.Pi / 2 * float64(e) / edge)
			if strong(x+distance*out*cos, y+distance*out*sin, half+distance*up) {
				return true
			}
		}
		return false
	}
	for a := range nx + 1 {
		x := lo.X + (hi.X-lo.X)*float64(a)/float64(nx)
		if rim(x, lo.Y, -math.Pi/2) || rim(x, hi.Y, math.Pi/2) {
			return true
		}
	}
	for b := range ny + 1 {
		y := lo.Y + (hi.Y-lo.Y)*float64(b)/float64(ny)
		if rim(lo.X, y, math.Pi) || rim(hi.X, y, 0) {
			return true
		}
	}
	for e := 1; e < 6; e++ {
		turn := math.Pi / 2 * float64(e) / 6
		if rim(hi.X, hi.Y, turn) || rim(lo.X, hi.Y, math.Pi/2+turn) || rim(lo.X, lo.Y, math.Pi+turn) || rim(hi.X, lo.Y, 3*math.Pi/2+turn) {
			return true
		}
	}
	return false
}
