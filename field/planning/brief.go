package planning

import (
	"polewise/field"
	"polewise/layout"
)

// Brief is what follows a plan while its coils are being moved: only what is
// quick to work out. It says the same as Plan.
func Brief(p *layout.Plan) (Check, error) {
	c, err := p.Solve()
	if err != nil {
		return Check{}, err
	}
	j := &job{o: Defaults(), plan: p, pad: field.NewPad(p), c: c, turns: make([]float64, len(p.Coils))}
	for k := range j.turns {
		j.turns[k] = c.AmpereTurns(p, k)
	}
	j.overCoils()
	j.check()
	return j.f.Check, nil
}
