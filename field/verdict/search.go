package verdict

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"polewise/layout"
)

// Bounds on the search. Hypotheses grow from the best ones by one fault at a
// time, so that three coils turned in one pad are found without trying every
// triple.
const (
	maxFaults     = 6
	maxExpansions = 14
	expandWithin  = 5.5  // log units below the best that are still worth growing from,
	baseWithin    = 25.0 // and for a base: what lies far apart is not reached fault by fault
	coarseWithin  = 20.0 // log units below the best that stay in play after the coarse look
)

// search scores hypotheses and returns them best first. It may go on with another engine's work,
// which has more places in play, and then becomes that engine.
func (e *engine) search() []*scored {
	if !e.wide() {
		return e.grown()
	}
	e.narrow()
	out := e.grown()
	if e.onlyBearings {
		if wider := e.elsewhere(out); wider != nil {
			*e = *wider
			out = e.grown()
		}
	} else if wider, anew := e.anywhere(out); wider != nil {
		*e = *wider
		out = anew
	}
	return out
}

// anywhere is an engine with every place in play and what it grew, if that explains the
// readings better than the list, which explains them badly; nil otherwise. The coarse look
// climbs by the faults that change most. Where two other faults together are what is wrong, it
// may have left out the place where the sensor is.
func (e *engine) anywhere(list []*scored) (*engine, []*scored) {
	if len(list) == 0 || len(e.ev.passes) > 0 || len(e.factors) > coarseKept || !e.astray(e.evaluate(&scored{hyp: list[0].hyp})) {
		return nil, nil
	}
	wider := e.m.newEngine(e.ev, e.res)
	wider.misfitReach = anywhereReach
	if anew := wider.grown(); wider.best > e.best+1 {
		return wider, anew
	}
	return nil, nil
}

// anywhereReach is the misfitReach of a search with every place in play; the usual one is 1.
const anywhereReach = 3

// elsewhere is an engine with more places in play, where the coarse look of headings left out
// the one where the sensor is; nil where it did not. Headings tell the current only by its
// ratio to the earth's field, and a pad turned over as a whole fits nearly as well with the
// sensor elsewhere. So the best explanations, and each of them with the pad turned over, are
// looked at coarsely once more, and the places that are likely then come into play too.
func (e *engine) elsewhere(list []*scored) *engine {
	var held []*hypothesis
	for _, s := range list[:min(len(list), 3)] {
		faults := slices.DeleteFunc(slices.Clone(s.hyp.faults), func(f layout.Fault) bool { return f.Kind == layout.PadReversed })
		if len(faults) == len(s.hyp.faults) {
			faults = append(faults, layout.Fault{Kind: layout.PadReversed})
		}
		held = append(held, s.hyp)
		if h := newHypothesis(e.m, faults, e.priorOf(faults...)); h != nil {
			held = append(held, h)
		}
	}
	var nodes []*node
	for _, h := range held {
		nodes = append(nodes, e.coarse.bare(h))
	}
	in := e.coarse.likelyCells(nodes, e)
	anyNew := false
	for p, ph := range e.phones {
		before := len(ph.cells)
		for _, cell := range ph.cells {
			in[p][cell] = true
		}
		anyNew = anyNew || len(in[p]) > before
	}
	if !anyNew {
		return nil
	}
	more := e.m.newEngine(e.ev, e.res)
	more.earths, more.coarse = e.earths, e.coarse
	more.leave(in)
	for _, h := range held {
		if more.nodeOf(&scored{hyp: h}).log > e.best+1 {
			return more
		}
	}
	return nil
}

// grown does all of a search over the places in play: it grows hypotheses, does over what may
// have been judged unfairly, and returns those that count, best first.
func (e *engine) grown() []*scored {
	e.grow()
	for range realignments {
		if !e.realign() {
			break
		}
		e.rebase()
		e.grow()
	}
	if e.fitsBackgrounds() || e.onlyBearings {
		e.scoreAnew()
	}
	e.exchangeCoils()
	if e.finerShares() {
		e.growOn(e.best)
	}
	e.simplify()
	out := e.ranked()
	for k, s := range out {
		if s.log <= e.best-usualGiveUp {
			out = out[:k]
			break
		}
	}
	if len(out) == 0 {
		// The readings fit nothing at all: what is known is what was known before.
		for _, h := range e.bases() {
			out = append(out, &scored{hyp: h, log: h.logPrior})
		}
		return out
	}
	return e.overHeights(out)
}

// highest is the log posterior of the best hypothesis seen.
func (e *engine) highest() float64 {
	best := math.Inf(-1)
	for _, s := range e.seen {
		if s != nil {
			best = math.Max(best, s.log)
		}
	}
	return best
}

// put records a hypothesis and its score. Where an equal one is known that one stays, as the set
// of faults that is likelier before any reading.
func (e *engine) put(h *hypothesis, log float64) *scored {
	if s := e.seen[h.key]; s != nil {
		if h.logPrior > s.hyp.logPrior {
			s.log += h.logPrior - s.hyp.logPrior
			s.hyp = h
		}
		return s
	}
	s := &scored{hyp: h, log: log}
	e.seen[h.key] = s
	return s
}

// grow scores the hypotheses that a search begins from, and grows from the best of them.
func (e *engine) grow() {
	for _, h := range e.bases() {
		if len(h.faults) == 0 || !e.hopelessBases[h.key] {
			e.put(h, math.Inf(-1)).base = true
		}
	}
	begin := slices.SortedFunc(maps.Values(e.seen), func(a, b *scored) int { return cmp.Compare(a.hyp.key, b.hyp.key) })
	var beginnings []*node
	for _, s := range begin {
		n := e.nodeOf(s)
		e.slim(n)
		e.best = math.Max(e.best, s.log)
		beginnings = append(beginnings, n)
	}
	ground := e.best
	if e.onlyBearings {
		e.narrowEarths(beginnings)
	}
	if e.fitsBackgrounds() {
		e.pairBases(begin)
	} else if !e.onlyBearings && len(e.m.plan.Coils) <= largePad { // by headings they are not hopeless
		e.begins(e.joins(e.m.planned, mostJoins))
	}
	e.growOn(ground)
	// Where there was a coarse look, that has climbed; by passes alone it costs little to do it
	// again.
	if (!e.wide() || len(e.factors) == len(e.ev.passes)) && e.dubious() {
		e.climbAnew()
		e.growOn(ground)
	}
}

// growOn goes on growing from the best of what was seen. A base that is near the best base, whose
// log posterior ground is, is grown from however far ahead others are: what grew from these may
// be patched up, and the fault that goes with the base not found yet.
func (e *engine) growOn(ground float64) {
	work := e.newWorkspace()
	e.within = expandWithin
	grown := map[string]bool{} // by the names of faults, whatever their degree
	for round := 0; round < 2*maxExpansions; {
		if round >= maxExpansions && e.within == expandWithin {
			return
		}
		next := e.nextToGrow(ground, round >= maxExpansions/2)
		if next == nil {
			return
		}
		next.expanded = true
		if name := nameOfFaults(next.hyp.faults); !grown[name] {
			grown[name] = true
		} else if next.log < e.best-nearBest && !e.puzzled() {
			continue // the same coils with more or fewer turns lost: what goes with them was seen
		}
		round++
		led := next.log >= e.best-1e-9
		n := e.expand(next, work)
		if led {
			e.best = e.highest() // its own score may have come down: it was seen from what it was grown from
		}
		// As long as nothing explains the readings well, the way to what does
		// may lead over something that explains them worse.
		if n.log >= e.best-1e-9 {
			e.within = expandWithin + math.Min(e.misfitReach*n.misfit(), 60)
		} else if e.bestFits() {
			e.within = expandWithin
		}
		if n != e.first.n {
			e.slim(n)
		}
	}
}

// nextToGrow is the hypothesis whose turn it is to be grown from; nil where none is worth it.
func (e *engine) nextToGrow(ground float64, late bool) (next *scored) {
	for _, s := range e.seen {
		if s == nil || s.expanded || len(s.hyp.faults) >= maxFaults || s.log < e.best-e.within && !s.wanted(math.Min(ground, e.best)-max(baseWithin, e.within)) {
			continue
		}
		if s.hyp.fine() && len(s.hyp.faults) > 0 {
			continue // a coil that lost a few turns changes nothing worth following up
		}
		if !e.puzzled() && len(s.hyp.faults) > 0 && !s.base && s.gain < tellingGain && s.log < e.best {
			continue // possible, as over a coil nobody read yet, but nothing speaks for it
		}
		if next == nil {
			next = s
			continue
		}
		p, most := s.promise(e.within, late), next.promise(e.within, late)
		if p > most || p == most && s.hyp.key < next.hyp.key {
			next = s
		}
	}
	return next
}

// Bounds on what others are looked for beside, log units.
const (
	tellingGain  = 0.7  // that a fault must explain, unless the search is puzzled:
	puzzling     = 5.0  // by so much that the best leaves unexplained,
	puzzlingEach = 0.03 // and by no less than so much for each reading
)

// puzzled tells whether nothing found so far explains the readings, so that the way to what
// does may lead anywhere.
func (e *engine) puzzled() bool {
	return e.within > expandWithin+math.Max(puzzling, puzzlingEach*float64(len(e.factors)))
}

// wanted tells whether a hypothesis is a base to be grown from, given the least log posterior of
// those: the plan itself always is.
func (s *scored) wanted(least float64) bool {
	return s.base && (s.log > least || len(s.hyp.faults) == 0)
}

// crowdCost is how many log units each fault of a hypothesis takes from its promise, as long as
// nothing explains the readings. Simple ones come first then, or the search would spend itself
// on patching up a wrong beginning.
const crowdCost = 25

// promise tells whose turn it is to be grown from: that of the greatest. The plan as it is comes
// first where nothing explains the readings, and late in the search at the latest: one fault
// alone is likelier than any other explanation.
func (s *scored) promise(within float64, late bool) float64 {
	if len(s.hyp.faults) == 0 && (late || within > expandWithin) {
		return math.Inf(1)
	}
	if within <= expandWithin {
		return s.log
	}
	return s.log - crowdCost*float64(len(s.hyp.faults))
}

// bestFits tells whether the best hypothesis explains every reading.
func (e *engine) bestFits() bool {
	n := e.bestNode()
	return n != nil && n.misfit() == 0
}

// ranked lists all scored hypotheses, best first, also those too unlikely to
// count in the verdict.
func (e *engine) ranked() []*scored {
	all := make([]*scored, 0, len(e.seen))
	for _, s := range e.seen {
		if s != nil && !math.IsInf(s.log, -1) {
			all = append(all, s)
		}
	}
	slices.SortFunc(all, func(a, b *scored) int {
		return cmp.Or(likelierFirst(a, b), cmp.Compare(a.hyp.key, b.hyp.key))
	})
	return all
}
