package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"polewise/field/capture"
)

// Why explains a verdict: the readings that carried it and the best rival.
type Why struct {
	Best  string `json:"best"`  // the likeliest explanation, in words
	Rival string `json:"rival"` // the likeliest that claims something else; empty when there is none near
	// WorseBy is how many times less likely the rival is, all told.
	WorseBy float64   `json:"worse_by"`
	Carried []Carried `json:"carried"` // strongest first
}

// Carried is one reading's share in preferring the best to the rival.
type Carried struct {
	Reading string  `json:"reading"`
	Times   float64 `json:"times"` // how many times better the best explains it; below 1: worse
}

const maxCarried = 8

// Explain judges as Judge does and says why.
func (m *Model) Explain(captures ...*capture.Capture) (*Verdict, *Why, error) {
	e, list, err := m.decide(nil, captures)
	if err != nil {
		return nil, nil, err
	}
	v := e.conclude(list)
	return v, e.why(list), nil
}

// why holds the best explanation against its likeliest rival, reading by reading.
func (e *engine) why(list []*scored) *Why {
	w := &Why{Carried: []Carried{}}
	if len(list) == 0 {
		return w
	}
	best := list[0].hyp
	w.Best = e.describe(best)
	rival := e.rival(best)
	if rival == nil {
		return w
	}
	w.Rival = e.describe(rival)
	a, b := e.evaluate(&scored{hyp: best}), e.evaluate(&scored{hyp: rival})
	w.WorseBy = times(a.log - b.log)
	for i, f := range e.factors {
		w.Carried = append(w.Carried, Carried{Reading: f.name(), Times: e.logOf(a, i) - e.logOf(b, i)})
	}
	for _, list := range e.faces {
		var read []string
		for i := range list {
			if face := string(list[i].face); !slices.Contains(read, face) {
				read = append(read, face)
			}
		}
		d := e.m.facesLike(list, best) - e.m.facesLike(list, rival)
		w.Carried = append(w.Carried, Carried{Reading: fmt.Sprintf("%s read by hand on %s", and(read), e.m.plan.Coils[list[0].coil].ID), Times: d})
	}
	for i := range e.ev.ohms {
		o := &e.ev.ohms[i]
		w.Carried = append(w.Carried, Carried{Reading: "ohms of " + o.across(e.m.plan), Times: ohmLike(o, best) - ohmLike(o, rival)})
	}
	slices.SortStableFunc(w.Carried, func(x, y Carried) int { return cmp.Compare(math.Abs(y.Times), math.Abs(x.Times)) })
	if len(w.Carried) > maxCarried {
		w.Carried = w.Carried[:maxCarried]
	}
	for i := range w.Carried {
		w.Carried[i].Times = times(w.Carried[i].Times)
	}
	return w
}

// rival is the likeliest explanation that claims something else than best, if
// any was looked at.
func (e *engine) rival(best *hypothesis) *hypothesis {
	for _, s := range e.ranked() {
		if !s.hyp.sameStates(best) || s.hyp.fine() != best.fine() {
			return s.hyp
		}
	}
	return nil
}

// times turns a difference of log likelihoods into a ratio that JSON can carry.
func times(log float64) float64 {
	return round(math.Exp(math.Max(-30, math.Min(30, log))), 3)
}

// describe says an explanation in words.
func (e *engine) describe(h *hypothesis) string {
	if len(h.faults) == 0 {
		return "Everything is as planned."
	}
	return sayFaults(e.m.plan, h)
}
