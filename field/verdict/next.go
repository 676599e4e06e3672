package verdict

import (
	"fmt"
)

// next picks the reading expected to remove most doubt: a coil never read
// before one that was, the most doubtful first; the ohmmeter where a phone
// cannot tell what is left.
func (e *engine) next(v *Verdict, list []*scored, weights []float64) *Next {
	best, bestDoubt := -1, 0.0
	for j := range v.Coils {
		c := &v.Coils[j]
		if c.State != StateUndecided {
			continue
		}
		doubt := 1.0
		for _, p := range c.P {
			doubt = min(doubt, 1-p)
		}
		if c.Used == 0 {
			doubt += 1
		}
		if doubt > bestDoubt {
			best, bestDoubt = j, doubt
		}
	}
	if best < 0 {
		return nil
	}
	c := &v.Coils[best]
	n := &Next{At: c.ID}
	switch {
	case c.Used == 0:
		n.Why = fmt.Sprintf("%s has not been read yet.", c.ID)
	case c.P[StateWeak]+c.P[StateDead] > c.P[StateReversed] && c.Used > 1:
		n.Why = fmt.Sprintf("%s may be weak, and the phone cannot tell how weak. Measure its ohms.", c.ID)
		n.Route = "ohms"
	case c.P[StateReversed] > 0.01 && c.P[StateAsPlanned] > 0.01:
		n.Why = fmt.Sprintf("%s may face either way. Read it once more, with the phone turned by half.", c.ID)
		half := 180.0
		n.TopDeg = &half
	default:
		n.Why = fmt.Sprintf("What was read over %s leaves doubt. Read it once more.", c.ID)
	}
	return n
}
