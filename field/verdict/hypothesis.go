package verdict

import (
	"math"
	"slices"

	"polewise/layout"
)

// hypothesis is one way the pad may be wired and wound: a set of faults, and what they do.
type hypothesis struct {
	faults   []layout.Fault
	logPrior float64 // log chance before any reading
	of       *Model
	solved   *flow       // nil where it was let go of
	states   []coilState // of each coil
	key      uint64      // equal where no reading, by phone or ohmmeter, could tell two apart
}

// flow is what flows where, at the planned supply.
type flow struct {
	*layout.Currents
	ampTurns []float64 // ampere-turns per coil, pad frame
}

// currents is what flows where.
func (h *hypothesis) currents() *layout.Currents { return h.flow().Currents }

// ampTurns are the ampere-turns of each coil, pad frame, at the planned supply.
func (h *hypothesis) ampTurns() []float64 { return h.flow().ampTurns }

// flow is what flows where, solved again if it was let go of.
func (h *hypothesis) flow() *flow {
	if h.solved == nil {
		cur, err := h.of.plan.Solve(h.faults...)
		if err != nil {
			panic("a network that was solved before: " + err.Error())
		}
		h.solved = flowOf(h.of.plan, cur)
	}
	return h.solved
}

// flowOf adds the ampere-turns to the currents.
func flowOf(p *layout.Plan, cur *layout.Currents) *flow {
	f := &flow{cur, make([]float64, len(p.Coils))}
	for j := range f.ampTurns {
		f.ampTurns[j] = cur.AmpereTurns(p, j)
	}
	return f
}

// letGo frees the currents of a hypothesis of a large pad: most of the thousands that are
// scored are never asked for theirs again.
func (h *hypothesis) letGo() {
	if len(h.states) > largePad {
		h.solved = nil
	}
}

// coilState is a coil's state under a hypothesis, in a byte: thousands are kept at once.
type coilState uint8

const (
	coilAsPlanned coilState = iota
	coilReversed
	coilDead
	coilWeak
	coilStates // how many there are

	coilStarved coilState = 1 << 7 // besides: so little current that nothing is claimed of it
)

// stateNames are what the states are called in a verdict.
var stateNames = [coilStates]State{StateAsPlanned, StateReversed, StateDead, StateWeak}

// bare is the state without coilStarved.
func (s coilState) bare() coilState { return s &^ coilStarved }

// state is that of coil j, as a verdict calls it.
func (h *hypothesis) state(j int) State { return stateNames[h.states[j].bare()] }

// starves tells whether a hypothesis leaves coil j next to no current, and yet some.
func (h *hypothesis) starves(j int) bool { return h.states[j]&coilStarved != 0 }

// sameStates tells whether every coil is the same under two hypotheses.
func (h *hypothesis) sameStates(o *hypothesis) bool {
	return slices.EqualFunc(h.states, o.states, func(a, b coilState) bool { return a.bare() == b.bare() })
}

// starvedBelow is the share of its planned current below which a coil makes next to no field,
// through no fault of its own (an estimate, no source).
const starvedBelow = 0.15

// newHypothesis solves the network for a set of faults. It returns nil for
// sets that make no sense together.
func newHypothesis(m *Model, faults []layout.Fault, logPrior float64) *hypothesis {
	cur, err := m.plan.Solve(faults...)
	if err != nil {
		return nil
	}
	h := &hypothesis{faults: faults, logPrior: logPrior, of: m}
	h.fill(cur)
	return h
}

// fill sets all that follows from the currents: ampere-turns, states and key.
func (h *hypothesis) fill(cur *layout.Currents) {
	p := h.of.plan
	h.solved = flowOf(p, cur)
	h.states = make([]coilState, len(p.Coils))
	k := newKey()
	for j := range p.Coils {
		facing := cur.CoilAmps[j] * cur.CoilTurns[j]
		switch {
		case facing == 0:
			h.states[j] = coilDead
		case facing < 0:
			h.states[j] = coilReversed
		case cur.CoilTurns[j] < weakBelow*float64(p.WindingOf(j).Turns):
			h.states[j] = coilWeak
		default:
			h.states[j] = coilAsPlanned
		}
		if planned := h.of.planned; planned != nil && facing != 0 && math.Abs(cur.CoilAmps[j]) < starvedBelow*math.Abs(planned.currents().CoilAmps[j]) {
			h.states[j] |= coilStarved
		}
		k.add(facing)
		k.add(cur.CoilOhms[j])
	}
	for i := range p.Strings {
		k.add(cur.StringOhms[i])
	}
	k.add(cur.PadOhms)
	h.key = uint64(k)
}

// with is a hypothesis with one fault more; nil where that would speak twice of one thing.
func (h *hypothesis) with(s single) *hypothesis {
	p := h.of.plan
	for _, f := range h.faults {
		if f.Kind == s.Kind && f.ID == s.ID && f.String == s.String && slices.Equal(f.IDs, s.IDs) {
			return nil
		}
		// A coil fails in one way at a time, and joins in one wrong place.
		if f.ID != "" && f.ID == s.ID && coilWound(f.Kind) && coilWound(s.Kind) {
			return nil
		}
	}
	// What else is wrong with a coil that carries no current nobody can see.
	if s.Kind == layout.CoilShorted || s.Kind == layout.TurnsShorted {
		if j := p.CoilIndex(s.ID); h.currents().CoilAmps[j] == 0 {
			return nil
		}
	}
	faults := append(slices.Clone(h.faults), s.Fault)
	logPrior := h.logPrior + s.logP + together(len(faults)) - together(len(h.faults))
	flipped := flips(p, &s.Fault)
	if flipped == nil || slices.ContainsFunc(faults, func(f layout.Fault) bool { return f.Kind == layout.CoilInWrongString }) {
		return newHypothesis(h.of, faults, logPrior)
	}
	// A reversal changes signs and nothing else.
	cur := *h.currents()
	cur.CoilAmps = slices.Clone(cur.CoilAmps)
	for _, j := range flipped {
		cur.CoilAmps[j] = -cur.CoilAmps[j]
	}
	n := &hypothesis{faults: faults, logPrior: logPrior, of: h.of}
	n.fill(&cur)
	return n
}

// flips are the coils that a fault of reversal turns; nil for other faults.
func flips(p *layout.Plan, f *layout.Fault) []int {
	switch f.Kind {
	case layout.CoilReversed:
		return []int{p.CoilIndex(f.ID)}
	case layout.StringReversed:
		return p.Strings[p.StringIndex(f.ID)].Coils
	case layout.GroupReversed:
		return coilsOfGroup(p, f.ID, 0)
	case layout.PadReversed:
		all := make([]int, len(p.Coils))
		for j := range all {
			all[j] = j
		}
		return all
	}
	return nil
}

// fine tells whether nothing is wrong under h that the contract calls a fault:
// a coil that has lost a few turns and still makes most of its field is not.
func (h *hypothesis) fine() bool {
	for _, f := range h.faults {
		if f.Kind != layout.TurnsShorted || 1-f.Lost < weakBelow {
			return false
		}
	}
	return true
}

// joinedWrong tells whether strings or coils are joined where they should not be,
// which leaves every coil facing as planned.
func (h *hypothesis) joinedWrong() bool {
	return slices.ContainsFunc(h.faults, func(f layout.Fault) bool {
		return f.Kind == layout.StringsInSeries || f.Kind == layout.CoilInWrongString
	})
}

// differs counts the faults that only one of two has, whatever their degree.
func (h *hypothesis) differs(o *hypothesis) int {
	n := len(o.faults)
	for i := range h.faults {
		name := nameOf(&h.faults[i]).anyDegree()
		if slices.ContainsFunc(o.faults, func(f layout.Fault) bool { return nameOf(&f).anyDegree() == name }) {
			n--
		} else {
			n++
		}
	}
	return n
}

// differ tells whether two explanations differ in what matters: how a coil is, or
// what to mend.
func differ(a, b *hypothesis) bool {
	return !a.sameStates(b) || nameOfFaults(a.faults) != nameOfFaults(b.faults)
}

// differAt tells whether two explanations differ in what coil j does or is.
func differAt(a, b *hypothesis, j int) bool {
	const alike = 0.1
	d := math.Abs(a.ampTurns()[j] - b.ampTurns()[j])
	return a.state(j) != b.state(j) || a.currents().CoilTurns[j] != b.currents().CoilTurns[j] || d > alike*math.Max(math.Abs(a.ampTurns()[j]), math.Abs(b.ampTurns()[j]))
}
