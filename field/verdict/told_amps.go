package verdict

import (
	"math"

	"polewise/field/capture"
)

// A current far from the planned one may be what the supply was set to, or a figure typed
// wrong: in milliamperes, or with the point elsewhere. All readings are then held against the
// wiring both ways. The bounds are estimates, no source.

const (
	mistoldDecades = 3.0 // a figure typed wrong lies anywhere within so many
	mistoldClear   = 4.6 // log units, a hundred to one, by which one must be likelier than the other
)

// decide searches what the captures say, those before a mend with them.
func (m *Model) decide(before *Before, captures []*capture.Capture) (*engine, []*scored, error) {
	e, err := m.engineFor(before, captures)
	if err != nil {
		return nil, nil, err
	}
	list := e.search()
	if _, far := e.setOtherwise(m.planned); !far || e.ev.setFirst != 0 || len(list) == 0 {
		return e, list, nil
	}
	// What the display shows may be what is wrong, as a string without current; or nothing is.
	best := list[0].hyp
	if _, far := e.setOtherwise(best); (!far || best.fine()) && e.explained(list) {
		return e, list, nil
	}
	ev, err := gatherAfter(m.plan, before, captures)
	if err != nil {
		return nil, nil, err
	}
	ev.amps = nil
	o := m.engineOn(ev)
	without := o.search()
	if len(without) == 0 {
		return e, list, nil
	}
	told := e.ev.amps[len(e.ev.amps)-1].amps
	gain := without[0].log + math.Log(mistoldShare/(mistoldDecades*math.Ln10*told)) - list[0].log
	switch {
	case gain > mistoldClear:
		o.ev.note("The supply is told to have shown %.3g A, where %.3g A is planned, and the readings speak for the plan. That figure is left out. If it is right, this is not the pad of the plan.", told, m.planned.currents().PadAmps)
		return o, without, nil
	case gain > -mistoldClear && differ(best, without[0].hyp):
		e.ev.unsure = true
	}
	return e, list, nil
}

// explained tells whether the best explanation leaves nothing unexplained.
func (e *engine) explained(list []*scored) bool {
	u := e.unexplained(e.evaluate(&scored{hyp: list[0].hyp}))
	return !u.many && len(u.holds)+len(u.passes) == 0
}
