package verdict

import (
	"cmp"
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
	baseWithin    = 25.0 // log units below the best within which a hypothesis that a search starts from is grown from: what lies far apart is not reached fault by fault
	refineBest    = 8    // neighbours of each expanded hypothesis that get a full score
	expandWithin  = 5.5  // log units below the best that are still worth growing from
	coarseWithin  = 20.0 // log units below the best that stay in play after the coarse look
)

// search scores hypotheses and returns them best first.
func (e *engine) search() []*scored {
	if !e.wide() {
		return e.grown()
	}
	e.narrow()
	out := e.grown()
	if e.ratio {
		if all := e.elsewhere(out); all != nil {
			*e = *all
			out = e.grown()
		}
	} else if all, anew := e.anywhere(out); all != nil {
		*e = *all
		out = anew
	}
	return out
}

// anywhere is an engine with every place in play and what it grew, where that explains
// the readings better; nil where it does not. The coarse look goes by the faults that
// change most, one after the other: where two others together are what is wrong, it
// leaves out the place where the sensor is, and what it leaves explains the readings
// badly.
func (e *engine) anywhere(list []*scored) (*engine, []*scored) {
	if len(list) == 0 || len(e.ev.passes) > 0 || len(e.factors) > coarseKept || !e.astray(e.evaluate(&scored{hyp: list[0].hyp})) {
		return nil, nil
	}
	all := e.m.newEngine(e.ev, e.res)
	all.reach = anywhereReach
	if anew := all.grown(); all.best > e.best+1 {
		return all, anew
	}
	return nil, nil
}

// anywhereReach is by how many times its usual reach the search then looks for the way
// to what explains more.
const anywhereReach = 3

// elsewhere is an engine with more places in play, where the coarse look left out the one
// where the sensor is; nil where it did not. Headings tell the current only by its ratio to
// the earth's field, and a pad turned over as a whole fits nearly as well with the sensor
// elsewhere: the best explanations, and what they come to the other way round, are looked
// at coarsely, and held against each place that is likely then.
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
	wider := false
	for p, ph := range e.phones {
		likely := len(in[p])
		for _, cell := range ph.cells {
			if in[p][cell] {
				likely--
			}
			in[p][cell] = true
		}
		wider = wider || likely > 0
	}
	if !wider {
		return nil
	}
	all := e.m.newEngine(e.ev, e.res)
	all.earths, all.coarse = e.earths, e.coarse
	all.leave(in)
	for _, h := range held {
		if all.nodeOf(&scored{hyp: h}).log > e.best+1 {
			return all
		}
	}
	return nil
}

// grown are the hypotheses grown from the best, best first.
func (e *engine) grown() []*scored {
	e.grow()
	for range realignments {
		if !e.realign() {
			break
		}
		e.rebase()
		e.grow()
	}
	if e.settles() || e.ratio {
		e.scoreAnew()
	}
	e.exchangeCoils()
	if e.finerShares() {
		e.growOn(e.best)
	}
	e.simplify()
	out := e.ranked()
	for k, s := range out {
		if s.log <= e.best-bail {
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

// highest is the score of the best hypothesis seen.
func (e *engine) highest() float64 {
	best := math.Inf(-1)
	for _, s := range e.seen {
		if s != nil {
			best = math.Max(best, s.log)
		}
	}
	return best
}

// put records a hypothesis unless an equal one is known.
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

// grow grows hypotheses from the best until none worth growing is left.
func (e *engine) grow() {
	for _, h := range e.bases() {
		if len(h.faults) == 0 || !e.idle[h.key] {
			e.put(h, math.Inf(-1)).base = true
		}
	}
	first := make([]*scored, 0, len(e.seen))
	for _, s := range e.seen {
		first = append(first, s)
	}
	slices.SortFunc(first, func(a, b *scored) int { return cmp.Compare(a.hyp.key, b.hyp.key) })
	var beginnings []*node
	for _, s := range first {
		n := e.nodeOf(s)
		e.slim(n)
		e.best = math.Max(e.best, s.log)
		beginnings = append(beginnings, n)
	}
	ground := e.best
	if e.ratio {
		e.narrowEarths(beginnings)
	}
	if e.settles() {
		e.pairBases(first)
	} else if !e.ratio && len(e.m.plan.Coils) <= largePad { // by headings they are not hopeless
		e.begins(e.joins(e.m.planned, mostJoins))
	}
	e.growOn(ground)
	// Else the coarse look has climbed; by passes alone it costs little to climb once more.
	if (!e.wide() || len(e.factors) == len(e.ev.passes)) && e.dubious() {
		e.climbAnew()
		e.growOn(ground)
	}
}

// growOn goes on growing from the best of what was seen, and from beginnings that were near
// the best of those, which had a log posterior of ground: what grew from that may be
// patched up, and the fault that goes with another one not found yet.
func (e *engine) growOn(ground float64) {
	work := e.newWorkspace()
	e.within = expandWithin
	grown := map[string]bool{} // by the names of faults, whatever their degree
	for round := 0; round < 2*maxExpansions; {
		if round >= maxExpansions && e.within == expandWithin {
			return
		}
		late := round >= maxExpansions/2
		var next *scored
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
			if next == nil || s.promise(e.within, late) > next.promise(e.within, late) || s.promise(e.within, late) == next.promise(e.within, late) && s.hyp.key < next.hyp.key {
				next = s
			}
		}
		if next == nil {
			return
		}
		next.expanded = true
		if name := faultNames(next.hyp.faults); !grown[name] {
			grown[name] = true
		} else if next.log < e.best-nearBest && !e.puzzled() {
			continue // the same coils with more or fewer turns lost: what goes with them was seen
		}
		round++
		led := next.log >= e.best-1e-9
		n := e.expand(next, work)
		if led {
			e.best = e.highest() // seen from what it was grown from it may have looked better
		}
		// As long as nothing explains the readings well, the way to what does
		// may lead over something that explains them worse.
		if n.log >= e.best-1e-9 {
			e.within = expandWithin + math.Min(e.reach*n.misfit(), 60)
		} else if e.bestFits() {
			e.within = expandWithin
		}
		if n != e.first.n {
			e.slim(n)
		}
	}
}

// tellingGain is the least that a fault must explain, in log units, for others to
// be looked for beside it; unless the readings are so puzzling, by what the best of all
// falls short, in log units: so much at least, and so much for each.
const (
	tellingGain  = 0.7
	puzzling     = 5.0
	puzzlingEach = 0.03
)

// puzzled tells whether nothing found so far explains the readings, so that the way to what
// does may lead anywhere.
func (e *engine) puzzled() bool {
	return e.within > expandWithin+math.Max(puzzling, puzzlingEach*float64(len(e.factors)))
}

// wanted tells whether a hypothesis is one to begin from: the plan itself always.
func (s *scored) wanted(least float64) bool {
	return s.base && (s.log > least || len(s.hyp.faults) == 0)
}

// crowdCost is what every fault of a hypothesis takes from its turn to be grown
// from as long as nothing explains the readings: simple ones first, or the search
// spends itself on patching up a wrong beginning.
const crowdCost = 25

// promise orders hypotheses by whose turn it is to be grown from. The plan's comes before
// it is too late for what grows from it: one fault alone is likelier than any other
// explanation.
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
	n := e.bestAnew()
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
		if c := cmp.Compare(b.log, a.log); c != 0 {
			return c
		}
		return cmp.Compare(a.hyp.key, b.hyp.key)
	})
	return all
}
