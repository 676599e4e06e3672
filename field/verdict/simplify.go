package verdict

import (
	"math"
	"slices"

	"polewise/layout"
)

// Different sets of faults may come to the same currents. What is told is the likeliest of them.

// simplify exchanges the faults of every hypothesis that counts for the likeliest that come to
// the same currents.
func (e *engine) simplify() {
	for _, s := range e.seen {
		if s == nil || s.log < e.best-usualGiveUp {
			continue
		}
		before := s.hyp.logPrior
		e.fewerFaults(s)
		if e.fewerReversals(s) {
			e.fewerFaults(s) // a string without current turned over, for one
		}
		s.log += s.hyp.logPrior - before
	}
	e.best = math.Max(e.best, e.highest())
}

// exchange makes a hypothesis of other faults, if these come to the same currents and are
// likelier before any reading. It reports whether they do and are.
func (e *engine) exchange(s *scored, faults []layout.Fault) bool {
	logPrior := e.priorOf(faults...)
	if logPrior <= s.hyp.logPrior+1e-9 {
		return false
	}
	h := newHypothesis(e.m, faults, logPrior)
	if h == nil || h.key != s.hyp.key {
		return false
	}
	s.hyp = h
	return true
}

// fewerFaults takes away faults that change nothing once the others are there: an
// open coil leaves its string without current by itself.
func (e *engine) fewerFaults(s *scored) {
	for i := 0; len(s.hyp.faults) > 1 && i < len(s.hyp.faults); i++ {
		if e.exchange(s, slices.Delete(slices.Clone(s.hyp.faults), i, i+1)) {
			i = -1 // begin again with what is left
		}
	}
}

// mostGroups bounds the groups that are thought of as reversed together.
const mostGroups = 6

// fewerReversals exchanges reversals for the likeliest that leave the same coils turned: a string
// of three with two coils reversed is the string reversed and one coil of it too, and so on up to
// the pad. It reports whether others were likelier.
func (e *engine) fewerReversals(s *scored) bool {
	p := e.m.plan
	var kept []layout.Fault
	turned := make([]bool, len(p.Coils))
	count := 0
	for _, f := range s.hyp.faults {
		coils := flips(p, &f)
		if coils == nil {
			kept = append(kept, f)
			continue
		}
		count++
		for _, j := range coils {
			turned[j] = !turned[j]
		}
	}
	if count < 2 {
		return false
	}
	wide := []layout.Fault{{Kind: layout.PadReversed}}
	for g := range p.Groups {
		if g != p.RootGroup() && len(wide) <= mostGroups {
			wide = append(wide, layout.Fault{Kind: layout.GroupReversed, ID: p.Groups[g].ID})
		}
	}
	var best []layout.Fault
	bestLog := math.Inf(-1)
	for set := range 1 << len(wide) {
		var faults []layout.Fault
		left := slices.Clone(turned)
		for k, f := range wide {
			if set>>k&1 == 0 {
				continue
			}
			faults = append(faults, f)
			for _, j := range flips(p, &f) {
				left[j] = !left[j]
			}
		}
		for i := range p.Strings {
			faults = append(faults, e.turnedIn(&p.Strings[i], left)...)
		}
		if log := e.priorOf(faults...); log > bestLog {
			best, bestLog = faults, log
		}
	}
	return e.exchange(s, append(best, kept...))
}

// turnedIn lists the likeliest faults that turn just these coils of a string.
func (e *engine) turnedIn(s *layout.String, turned []bool) []layout.Fault {
	var one []layout.Fault // coil by coil
	other := []layout.Fault{{Kind: layout.StringReversed, ID: s.ID}}
	for _, j := range s.Coils {
		f := layout.Fault{Kind: layout.CoilReversed, ID: e.m.plan.Coils[j].ID}
		if turned[j] {
			one = append(one, f)
		} else {
			other = append(other, f)
		}
	}
	if e.priorOf(other...) > e.priorOf(one...) {
		return other
	}
	return one
}
