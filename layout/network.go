package layout

// Currents is a solved network: what flows in every coil, string and the pad.
type Currents struct {
	// CoilAmps is positive where the coil is driven so that it faces as
	// planned, negative where it faces the other way, 0 where nothing flows.
	CoilAmps []float64
	// CoilTurns is the number of turns that carry the current: fewer than
	// planned where turns are shorted, 0 where the whole coil is.
	CoilTurns  []float64
	CoilOhms   []float64 // resistance between a coil's own leads
	StringAmps []float64 // from the string's plus end to its minus end
	StringOhms []float64 // of the string by itself, +Inf when open
	GroupOhms  []float64 // of the group by itself, unplugged from the rest, +Inf when open
	PadAmps    float64
	PadVolts   float64
	PadOhms    float64 // +Inf when open
}

// AmpereTurns returns the signed ampere-turns of coil j in the pad frame:
// positive for north up.
func (c *Currents) AmpereTurns(p *Plan, j int) float64 {
	return float64(p.Coils[j].North) * c.CoilAmps[j] * c.CoilTurns[j]
}

// AllAmpereTurns returns AmpereTurns of every coil.
func (c *Currents) AllAmpereTurns(p *Plan) []float64 {
	all := make([]float64, len(p.Coils))
	for j := range all {
		all[j] = c.AmpereTurns(p, j)
	}
	return all
}
