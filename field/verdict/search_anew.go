package verdict

import (
	"math"
	"slices"

	"polewise/layout"
)

// A hypothesis is first scored with the backgrounds of the one that it was grown from. Before
// anything is told, the best are scored with backgrounds of their own, and so is what is near them.

// Bounds on what is scored anew before it is told.
const (
	anewBest    = 20
	anewWithin  = 8  // log units of the best
	mostLeading = 3  // that come to lead, one after the other, and are grown from
	mostNearby  = 60 // near the best by several faults
)

// scoreAnew scores the best hypotheses once more, each with backgrounds and scales of its own.
// Whichever leads then is held against what is near it, and grown from if it was not yet.
func (e *engine) scoreAnew() {
	near := e.ownScores()
	if len(near) == 0 {
		return
	}
	e.loosely(near[0].hyp)
	if len(near[0].hyp.faults) > 0 {
		e.loosely(e.m.planned)
	}
	var led []*scored
	for range mostLeading {
		near = e.ownScores()
		top := near[0]
		if slices.Contains(led, top) {
			return
		}
		led = append(led, top)
		e.anewNearby(near)
		if !top.expanded && len(top.hyp.faults) < maxFaults {
			top.expanded = true
			e.slim(e.expand(top, e.newWorkspace()))
		}
	}
	e.ownScores()
}

// ownScores are the best hypotheses, scored with backgrounds and scales of their own if they were
// not yet, best first.
func (e *engine) ownScores() []*scored {
	all := e.ranked()
	e.best = math.Inf(-1)
	if len(all) == 0 {
		return nil
	}
	var near []*scored
	least := all[0].log - anewWithin
	for _, s := range all[:min(len(all), anewBest)] {
		if s.log < least {
			break
		}
		near = append(near, s)
	}
	for _, s := range near {
		if !s.ownBackgrounds {
			e.score(s)
		}
	}
	slices.SortStableFunc(near, likelierFirst)
	e.best = e.highest()
	return near
}

// scoreOwn scores an explanation with backgrounds and scales of its own, unless that was done
// before. It reports whether it did.
func (e *engine) scoreOwn(h *hypothesis) bool {
	s := e.put(h, math.Inf(-1))
	if s.ownBackgrounds {
		return false
	}
	e.score(s)
	return true
}

// anewNearby scores what is near the best explanations of several faults, with backgrounds of its
// own: each of them with one fault less, if one of a string, group or the pad is left, and the
// best with each fault exchanged. Strings in series and a string turned, say, read nearly as
// those in series in a pad turned over, but for the backgrounds.
func (e *engine) anewNearby(list []*scored) {
	more := mostNearby
	try := func(h *hypothesis) {
		if h != nil && more > 0 && e.scoreOwn(h) {
			more--
		}
	}
	ofCoil := func(f layout.Fault) bool { return f.ID != "" && e.m.plan.CoilIndex(f.ID) >= 0 }
	for k, s := range list {
		h := s.hyp
		if len(h.faults) < 2 {
			continue // alone, they are what a search begins from
		}
		for i := range h.faults {
			rest := slices.Delete(slices.Clone(h.faults), i, i+1)
			if slices.ContainsFunc(rest, func(f layout.Fault) bool { return !ofCoil(f) }) {
				try(newHypothesis(e.m, rest, e.priorOf(rest...)))
			}
			if k > 0 {
				continue
			}
			for _, o := range e.instead(h, i) {
				try(o)
			}
		}
	}
}

// exchangeCoils scores the best explanations with two coils of a string in each other's place. If
// one is joined into another string and the other lost turns, that reads much as it does the
// other way round, and no single fault leads from one to the other.
func (e *engine) exchangeCoils() {
	list := e.ranked()
	for _, s := range list[:min(len(list), mostExchanged)] {
		if s.log < list[0].log-anewWithin {
			return
		}
		f := s.hyp.faults
		for i := range f {
			for k := range i {
				a, b := e.m.plan.CoilIndex(f[i].ID), e.m.plan.CoilIndex(f[k].ID)
				if a < 0 || b < 0 || f[i].Kind == f[k].Kind || e.m.plan.StringOf(a) != e.m.plan.StringOf(b) {
					continue
				}
				o := slices.Clone(f)
				o[i].ID, o[k].ID = f[k].ID, f[i].ID
				if h := newHypothesis(e.m, o, e.priorOf(o...)); h != nil {
					e.scoreOwn(h)
				}
			}
		}
	}
}

// mostExchanged bounds the explanations in which coils are exchanged.
const mostExchanged = 6

// loosely scores an explanation with one coil more turned or shorted, with backgrounds of its own,
// where a hold on that coil does not tell its background and the others leave it wide open. With
// the background fitted to the coil as it was thought to be, its hold speaks against every change
// of it, whatever it read.
func (e *engine) loosely(h *hypothesis) {
	n := e.nodeOf(&scored{hyp: h})
	least := looseSD
	if len(e.factors) <= fewHolds {
		least = looseOfFewSD
	}
	loose := map[string]bool{}
	for i, f := range e.factors {
		if hold, ok := f.(*holdFactor); ok && !hold.toggled && slices.Max(n.bg[i].variance[:]) > least*least {
			loose[e.m.plan.Coils[hold.coil].ID] = true
		}
	}
	e.slim(n)
	for _, s := range e.singles {
		if s.Kind != layout.CoilReversed && s.Kind != layout.CoilShorted || !loose[s.ID] {
			continue
		}
		if o := h.with(s); o != nil {
			e.scoreOwn(o)
		}
	}
}

// How open a background must be for loosely, microtesla, one standard deviation: less where there
// are so few holds that a single one bends it.
const (
	looseSD      = 15.0
	looseOfFewSD = 5.0
	fewHolds     = 10
)
