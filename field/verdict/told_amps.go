package verdict

import (
	"math"

	"polewise/field/capture"
)

// A told current far from the planned one may be what the supply was set to, or a figure typed
// wrong: in milliamperes, or with the point elsewhere. The search is then done both ways, with
// the figure and without it. The bounds are estimates, no source.

const (
	mistoldDecades = 3.0 // a figure typed wrong lies anywhere within so many
	mistoldClear   = 4.6 // log units, a hundred to one, by which the one must be likelier than the other
)

// decide searches for what explains the captures, with those from before a mend. A current told
// that is likelier wrong than right is left out, and noted.
func (m *Model) decide(before *Before, captures []*capture.Capture) (*engine, []*scored, error) {
	e, err := m.engineFor(before, captures)
	if err != nil {
		return nil, nil, err
	}
	list := e.search()
	if _, far := e.setOtherwise(m.planned); !far || e.ev.setFirst != 0 || len(list) == 0 {
		return e, list, nil
	}
	// The display may show just what is wrong, as that one string carries no current. Else the
	// figure is doubtful where the best explanation is a sound pad set otherwise, or explains
	// badly.
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

// explained tells whether the best explanation leaves no reading unexplained.
func (e *engine) explained(list []*scored) bool {
	u := e.unexplained(e.evaluate(&scored{hyp: list[0].hyp}))
	return !u.many && len(u.holds)+len(u.passes) == 0
}
