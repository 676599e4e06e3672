package verdict

import (
	"math"

	"polewise/layout"
)

// ohmReading is what an ohmmeter showed across something.
type ohmReading struct {
	kind    string  // coil, string, group or pad
	index   int     // of the coil, string or group
	ohms    float64 // +Inf when open
	leaked  float64 // what the meter showed though it is open; 0 where it showed nothing
	celsius float64 // NaN when not given
}

const (
	// All of these are estimates without a source, but for the last.
	ohmShare     = 0.015 // error of an ohmmeter with its leads, as a share,
	ohmAbsolute  = 0.05  // and in ohms
	wireShare    = 0.02  // resistance against the plan: gauge, stretched wire
	unknownRoom  = 6.0   // kelvin, where no temperature was given
	misreadShare = 0.003 // an open reading from a bad contact, a number from the wrong leads
	anyFigure    = 10.0  // ohms over which a figure lies anywhere where the wire is open,
	anyOhms      = 20.0  // and where it was read across something else
	// So many ohms, and so many times what is planned, is what fingers and flux let through of an
	// open wire (common practice, no source).
	openOhms, openTimes = 1000.0, 100.0
)

// ohmLike is the log likelihood of an ohmmeter reading.
func ohmLike(r *ohmReading, h *hypothesis) float64 {
	open := math.IsInf(r.expected(h), 1)
	if math.IsInf(r.ohms, 1) {
		if open {
			return math.Log(1 - misreadShare)
		}
		return math.Log(misreadShare)
	}
	if open {
		return math.Log(misreadShare) - math.Log(anyFigure)
	}
	return math.Log(r.rightly(h) + r.wrongly())
}

// rightly is the density of a figure that was read across what was said.
func (r *ohmReading) rightly(h *hypothesis) float64 {
	want, rel := r.expected(h), wireShare
	if math.IsNaN(r.celsius) {
		rel = math.Hypot(rel, unknownRoom*layout.CopperPerKelvin)
	}
	sd := math.Hypot(ohmShare*want+ohmAbsolute, rel*want)
	d := (r.ohms - want) / sd
	return (1 - misreadShare) * math.Exp(-d*d/2) / (sd * math.Sqrt(2*math.Pi))
}

// wrongly is the density of one that was read across something else.
func (r *ohmReading) wrongly() float64 { return misreadShare / anyOhms }

// misreadUnder tells whether under a hypothesis a reading was rather read wrongly.
func (r *ohmReading) misreadUnder(h *hypothesis) bool {
	if open := math.IsInf(r.expected(h), 1); open || math.IsInf(r.ohms, 1) {
		return open != math.IsInf(r.ohms, 1)
	}
	return r.rightly(h) < r.wrongly()
}

// expected is what should be read under a hypothesis: ohms at the temperature told, +Inf
// where it is open.
func (r *ohmReading) expected(h *hypothesis) float64 {
	ohms := r.of(h.currents())
	if math.IsNaN(r.celsius) {
		return ohms
	}
	return layout.OhmsAt(ohms, r.celsius)
}

// of is the resistance of what was measured under some currents, ohms at 20 C.
func (r *ohmReading) of(c *layout.Currents) float64 {
	switch r.kind {
	case "coil":
		return c.CoilOhms[r.index]
	case "string":
		return c.StringOhms[r.index]
	case "group":
		return c.GroupOhms[r.index]
	}
	return c.PadOhms
}

// same tells whether two readings are of the same, to the last digit.
func (r *ohmReading) same(o ohmReading) bool {
	return r.kind == o.kind && r.index == o.index && r.ohms == o.ohms && r.leaked == o.leaked && (r.celsius == o.celsius || math.IsNaN(r.celsius) && math.IsNaN(o.celsius))
}

// leaks tells whether a figure is far too large for copper: it is the meter's own, or that of
// fingers on its tips, and what was measured is open.
func (r *ohmReading) leaks(plan *layout.Plan) bool {
	if r.ohms < openOhms || math.IsInf(r.ohms, 1) {
		return false
	}
	c, err := plan.Solve()
	return err == nil && r.ohms > openTimes*r.of(c)
}

// coils are those that the meter's current goes through.
func (r *ohmReading) coils(plan *layout.Plan) []int {
	switch r.kind {
	case "coil":
		return []int{r.index}
	case "string":
		return plan.Strings[r.index].Coils
	case "group":
		return coilsOfGroup(plan, plan.Groups[r.index].ID, 0)
	}
	return flips(plan, &layout.Fault{Kind: layout.PadReversed})
}

// across is what was measured, in words.
func (r *ohmReading) across(plan *layout.Plan) string {
	switch r.kind {
	case "coil":
		return "coil " + plan.Coils[r.index].ID
	case "string":
		return "string " + plan.Strings[r.index].ID
	case "group":
		return "group " + plan.Groups[r.index].ID
	}
	return "the pad"
}

// again asks for the same once more.
func (r *ohmReading) again(plan *layout.Plan, why string) Next {
	n := Next{At: plan.Coils[r.coils(plan)[0]].ID, Route: "ohms", Why: why}
	switch r.kind {
	case "coil":
	case "string":
		n.Across = "string:" + plan.Strings[r.index].ID
	case "group":
		n.Across = "group:" + plan.Groups[r.index].ID
	default:
		n.Across = "pad"
	}
	return n
}
