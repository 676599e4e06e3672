package layout

// Measurable is what an ohmmeter can be put across (coil:ID, string:ID, group:ID or
// pad), by itself, and its resistance at 20 C; +Inf: open.
type Measurable struct {
	Across string
	Ohms20 float64
}

// Measurables lists everything an ohmmeter can be put across: coils, strings and groups
// in the plan's order, and the pad.
func (p *Plan) Measurables(c *Currents) []Measurable {
	var out []Measurable
	for j := range p.Coils {
		out = append(out, Measurable{"coil:" + p.Coils[j].ID, c.CoilOhms[j]})
	}
	for i := range p.Strings {
		out = append(out, Measurable{"string:" + p.Strings[i].ID, c.StringOhms[i]})
	}
	for g := range p.Groups {
		out = append(out, Measurable{"group:" + p.Groups[g].ID, c.GroupOhms[g]})
	}
	return append(out, Measurable{"pad", c.PadOhms})
}
