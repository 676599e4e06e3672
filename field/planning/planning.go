// Package planning works out what a maker wants to know before the first turn
// is wound: wire, layers, ohms, inductance, currents and heat, what to set the
// supply to for the check, leads to cut and spools to buy, an ohms sheet and the
// card to wind by. It warns, with numbers, of what cannot be built or read.
//
// Figures carry their unit in their name. Where a rule of thumb had to be used,
// the constant says where it comes from.
package planning

import (
	"fmt"

	"polewise/field"
	"polewise/layout"
)

// Options is what planning asks beyond the plan. Start from Defaults.
type Options struct {
	RoomCelsius float64
	SpoolKg     float64 // copper on a spool
	TailMM      float64 // wire left at each end of a coil
	LeadSlack   float64 // share by which leads are cut longer
}

// Defaults is a room at 20 C, spools of half a kilogram, tails of 150 mm and 15
// percent of slack.
func Defaults() Options {
	return Options{RoomCelsius: 20, SpoolKg: 0.5, TailMM: 150, LeadSlack: 0.15}
}

// Check tells of an option out of range.
func (o *Options) Check() error {
	for _, k := range []struct {
		name      string
		x, lo, hi float64
	}{
		{"room temperature in C", o.RoomCelsius, -40, 80}, {"kilograms on a spool", o.SpoolKg, 0.01, 1000},
		{"tails in mm", o.TailMM, 0, 5000}, {"slack of leads in percent", 100 * o.LeadSlack, 0, 500},
	} {
		if !(k.x >= k.lo && k.x <= k.hi) {
			return fmt.Errorf("%s: expected a number from %g to %g, found %g", k.name, k.lo, k.hi, k.x)
		}
	}
	return nil
}

// Figures is everything planning has to say of a plan.
type Figures struct {
	RoomCelsius float64   `json:"room_celsius"`
	Windings    []Winding `json:"windings"`
	Strings     []String  `json:"strings"`
	Pad         Pad       `json:"pad"`
	Check       Check     `json:"check"`
	Over        Over      `json:"over"`
	Keep        Keep      `json:"keep"`
	Cut         Cut       `json:"cut"`
	Ohms        []Ohms    `json:"ohms"`
	Cards       []Card    `json:"cards"`
	Warnings    []Warning `json:"warnings"`
}

// job is a plan being worked on.
type job struct {
	o       Options
	plan    *layout.Plan
	pad     *field.Pad
	c       *layout.Currents // as planned
	turns   []float64        // ampere-turns as planned, pad frame
	henries [][]float64      // self and mutual inductance of the coils, in the sense of their planned currents
	rise    *rise            // nil where no current rises
	f       Figures
}

func newJob(p *layout.Plan, o Options) (*job, error) {
	c, err := p.Solve()
	if err != nil {
		return nil, err
	}
	return &job{o: o, plan: p, pad: field.NewPad(p), c: c, turns: c.AllAmpereTurns(p)}, nil
}

// Plan works out the figures of a plan. It fails on options out of range, on
// plans that cannot be solved and on figures that are no finite numbers.
func Plan(p *layout.Plan, o Options) (*Figures, error) {
	if err := o.Check(); err != nil {
		return nil, err
	}
	j, err := newJob(p, o)
	if err != nil {
		return nil, err
	}
	j.f = Figures{RoomCelsius: o.RoomCelsius, Warnings: []Warning{}}
	j.henries = inductances(p)
	j.windings()
	j.currents()
	j.over()
	j.check()
	j.keep()
	j.cut()
	j.ohms()
	j.cards()
	j.warn()
	if err := Finite(&j.f); err != nil {
		return nil, err
	}
	return &j.f, nil
}

// Brief is what follows a plan while its coils are being moved: only what is
// quick to work out. It says the same as Plan.
func Brief(p *layout.Plan) (Check, error) {
	j, err := newJob(p, Defaults())
	if err != nil {
		return Check{}, err
	}
	j.overCoils()
	j.check()
	return j.f.Check, nil
}

// Units at the edge.
const (
	millimetre = 1e-3
	microtesla = 1e-6
)
