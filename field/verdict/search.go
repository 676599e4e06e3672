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
	baseWithin    = 25.0 // the same for the hypotheses a search starts from: what lies far apart is not reached fault by fault
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

// elsewhere is an engine with every place in play, where the coarse look left out the
// one where the sensor is; nil where it did not. Headings tell the current only by its
// ratio to the earth's field, and a pad turned over as a whole fits nearly as well with
// the sensor elsewhere: the best explanations, and what they come to the other way
// round, are held against every place.
func (e *engine) elsewhere(list []*scored) *engine {
	all := e.m.newEngine(e.ev, e.res)
	all.earths = e.earths
	for _, s := range list[:min(len(list), 3)] {
		faults := slices.DeleteFunc(slices.Clone(s.hyp.faults), func(f layout.Fault) bool { return f.Kind == layout.PadReversed })
		if len(faults) == len(s.hyp.faults) {
			faults = append(faults, layout.Fault{Kind: layout.PadReversed})
		}
		for _, h := range [2]*hypothesis{s.hyp, newHypothesis(e.m.plan, faults, e.priorOf(faults...))} {
			if h != nil && all.evaluate(&scored{hyp: h}).log > e.best+1 {
				return all
			}
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

// scoreAnew scores the best hypotheses once more, each with backgrounds and scales
// of its own: they were listed as seen from what they were grown from. What leads then is
// held against what is near it, and grown from, if it was not.
func (e *engine) scoreAnew() {
	near := e.own()
	if len(near) == 0 {
		return
	}
	e.loosely(near[0].hyp)
	if len(near[0].hyp.faults) > 0 {
		e.loosely(e.m.planned)
	}
	var led []*scored
	for range mostLeading {
		near = e.own()
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
	e.own()
}

// own are the best hypotheses, each with backgrounds and scales of its own.
func (e *engine) own() []*scored {
	var least float64
	near := e.ranked()
	near = near[:min(len(near), anewBest)]
	e.best = math.Inf(-1)
	for k, s := range near {
		if k > 0 && s.log < least {
			near = near[:k]
			break
		}
		if k == 0 {
			least = s.log - anewWithin
		}
		if !s.own {
			e.score(s)
		}
	}
	slices.SortStableFunc(near, byLog)
	e.best = e.highest()
	return near
}

// mostLeading bounds the explanations that are looked at as they come to lead in the end.
const mostLeading = 3

// anewNearby scores what is near the best explanations by several faults: with one fault
// less, of those with faults of strings or pad, and the best with another fault of the coil,
// or of strings or pad, in the place of each; each with backgrounds of its own. Strings
// in series and a string turned read, but for the backgrounds, nearly as those in series
// in a pad that is turned over as a whole.
func (e *engine) anewNearby(list []*scored) {
	more := mostNearby
	try := func(h *hypothesis) {
		if h == nil || more == 0 {
			return
		}
		if c := e.put(h, math.Inf(-1)); !c.own {
			e.score(c)
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
				try(newHypothesis(e.m.plan, rest, e.priorOf(rest...)))
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

// mostNearby bounds the explanations scored so.
const mostNearby = 60

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

// loosely scores an explanation with one coil more turned or shorted, each with
// backgrounds of its own, where a hold does not tell the background and the others leave
// it wide open: with the background of an explanation in which that coil is otherwise its
// hold speaks against that whatever it read.
func (e *engine) loosely(h *hypothesis) {
	n := e.evaluate(&scored{hyp: h})
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
		if s.kind != layout.CoilReversed && s.kind != layout.CoilShorted || !loose[s.fault.ID] {
			continue
		}
		o := h.with(e.m.plan, s)
		if o == nil {
			continue
		}
		if c := e.put(o, math.Inf(-1)); !c.own {
			e.score(c)
		}
	}
}

// What a background must be open by, in microtesla, for loosely; less where so few holds
// tell it that one of them bends it.
const (
	looseSD      = 15.0
	looseOfFewSD = 5.0
	fewHolds     = 10
)

// Bounds on what is scored anew before it is told.
const (
	anewBest   = 20
	anewWithin = 8 // log units of the best
)

// bases are the hypotheses a search starts from: far apart, so that a phone
// whose sensor place is unknown is not settled by the first guess.
func (e *engine) bases() []*hypothesis {
	p := e.m.plan
	out := []*hypothesis{newHypothesis(p, nil, 0)}
	for _, s := range e.singles {
		if !s.changesMany() {
			continue
		}
		if h := out[0].with(p, s); h != nil {
			out = append(out, h)
		}
	}
	return out
}

// changesMany tells faults of whole strings, groups or the pad.
func (s *single) changesMany() bool {
	switch s.kind {
	case layout.PadReversed, layout.StringReversed, layout.GroupReversed, layout.StringOpen:
		return true
	}
	return false
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
		n := e.evaluate(s)
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
	} else if len(e.m.plan.Coils) <= largePad {
		e.begins(e.joins(e.m.planned, mostJoins))
	}
	e.growOn(ground)
	if !e.wide() && e.dubious() { // else the coarse look has climbed
		e.climbAnew()
		e.growOn(ground)
	}
}

// dubious tells whether the best explanation found is one that a search may have been
// led to by patching up a wrong beginning: of many faults, or one that explains the readings
// badly.
func (e *engine) dubious() bool {
	n := e.bestAnew()
	return n != nil && (len(n.hyp.faults) >= manyFaults || e.astray(n))
}

// manyFaults at once are rare.
const manyFaults = 3

// climbAnew goes from each beginning by the fault that explains most, and from there by the
// next, whatever was found elsewhere: beside a pad that was patched up coil by coil the
// half of what is wrong looks hopeless.
func (e *engine) climbAnew() {
	was := e.bail
	e.bail = climbBail
	nodes, _ := e.climb()
	e.bail = was
	nodes = append(nodes, e.allPairs()...)
	for _, n := range nodes {
		if old := e.seen[n.hyp.key]; old == nil || !old.own {
			n.base = true
			e.seen[n.hyp.key] = n.scored
		}
	}
	e.best = e.highest()
}

// allPairs are the best of all pairs of faults, where the pad is so small that they are
// few: two coils of one string may be shorted, and either alone explain less than nothing.
func (e *engine) allPairs() []*node {
	var singles []single
	for _, s := range e.singles {
		if s.kind != layout.TurnsShorted {
			singles = append(singles, s)
		}
	}
	if len(singles)*(len(singles)-1)/2 > mostPairs {
		return nil
	}
	var out []*node
	for i, s := range singles {
		h := e.m.planned.with(e.m.plan, s)
		if h == nil {
			continue
		}
		for _, o := range singles[:i] {
			if pair := h.with(e.m.plan, o); pair != nil {
				n := e.evaluate(&scored{hyp: pair})
				e.slim(n)
				out = append(out, n)
			}
		}
	}
	slices.SortStableFunc(out, nodesByLog)
	return out[:min(len(out), pairClimbs)]
}

// mostPairs bounds the pairs looked at.
const mostPairs = 800

// growOn goes on growing from the best of what was seen, and from beginnings that were near
// the best of those, which had a log posterior of ground: what grew from that may be
// patched up, and the fault that goes with another one not found yet.
func (e *engine) growOn(ground float64) {
	work := e.newWorkspace()
	within := expandWithin
	grown := map[string]bool{} // by the names of faults, whatever their degree
	for round := 0; round < 2*maxExpansions; {
		if round >= maxExpansions && within == expandWithin {
			return
		}
		late := round >= maxExpansions/2
		var next *scored
		for _, s := range e.seen {
			if s == nil || s.expanded || len(s.hyp.faults) >= maxFaults || s.log < e.best-within && !s.wanted(math.Min(ground, e.best)-max(baseWithin, within)) {
				continue
			}
			if s.hyp.fine() && len(s.hyp.faults) > 0 {
				continue // a coil that lost a few turns changes nothing worth following up
			}
			if within < expandWithin+puzzling*float64(len(e.factors)) && len(s.hyp.faults) > 0 && !s.base && s.gain < tellingGain && s.log < e.best {
				continue // possible, as over a coil nobody read yet, but nothing speaks for it
			}
			if next == nil || s.promise(within, late) > next.promise(within, late) || s.promise(within, late) == next.promise(within, late) && s.hyp.key < next.hyp.key {
				next = s
			}
		}
		if next == nil {
			return
		}
		next.expanded = true
		if name := faultNames(next.hyp.faults); !grown[name] {
			grown[name] = true
		} else if next.log < e.best-nearBest {
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
			within = expandWithin + math.Min(e.reach*n.misfit(), 60)
		} else if e.bestFits() {
			within = expandWithin
		}
		if n != e.first.n {
			e.slim(n)
		}
	}
}

// pairBases adds to the best beginnings each fault that changes many coils, and to
// the plan and the best of them each pair of strings in series, with backgrounds of their own. Against the background of one alone the two together
// look hopeless where readings do not tell the background: a string without
// current then passes for a phone that re-zeroed itself.
func (e *engine) pairBases(first []*scored) {
	slices.SortStableFunc(first, byLog)
	var list []*hypothesis
	for _, s := range e.singles {
		if s.changesMany() {
			for _, b := range first[:min(len(first), pairsOf)] {
				list = append(list, b.hyp.with(e.m.plan, s))
			}
		}
	}
	if !e.wide() { // else the coarse look had them
		list = append(list, e.joins(e.m.planned, mostJoins)...)
		if len(first) > 0 && len(first[0].hyp.faults) > 0 {
			list = append(list, e.joins(first[0].hyp, joinsBeside)...)
		}
	}
	e.begins(list)
	if !e.wide() && !e.groundTold() {
		for _, n := range e.pairs() {
			if !e.met(n.hyp) {
				n.base = true
				e.seen[n.hyp.key] = n.scored
				e.best = math.Max(e.best, n.log)
			}
		}
	}
}

// groundTold tells whether any phone was read with the supply off. Where none was, the
// levels are anybody's guess, and two faults of whole strings may read as another alone.
func (e *engine) groundTold() bool {
	return len(e.ev.rests) > 0 || slices.ContainsFunc(e.ev.holds, func(h digest) bool { return h.toggled })
}

// begins takes hypotheses for ones to begin from too; nil are none.
func (e *engine) begins(list []*hypothesis) {
	for _, h := range list {
		if h != nil && !e.met(h) {
			c := e.put(h, math.Inf(-1))
			c.base = true
			e.score(c)
		}
	}
}

// joins are a hypothesis with two strings in series, so many at most.
func (e *engine) joins(beside *hypothesis, most int) (out []*hypothesis) {
	for _, s := range e.singles {
		if s.kind == layout.StringsInSeries && len(out) < most {
			if h := beside.with(e.m.plan, s); h != nil {
				out = append(out, h)
			}
		}
	}
	return out
}

// Bounds on the strings in series that are thought of so, beside nothing else and beside the
// best beginning.
const (
	mostJoins   = 45
	joinsBeside = 15
)

// pairsOf is how many beginnings are paired.
const pairsOf = 2

// tellingGain is the least that a fault must explain, in log units, for others to
// be looked for beside it; unless the readings are so puzzling, misfit in log
// units, that the way to what explains them may lead anywhere.
const (
	tellingGain = 0.7
	puzzling    = 0.03 // a reading
)

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

// bestAnew is the best hypothesis seen with backgrounds of its own; nil where there is none.
func (e *engine) bestAnew() *node {
	all := e.ranked()
	if len(all) == 0 {
		return nil
	}
	n := e.evaluate(&scored{hyp: all[0].hyp})
	e.slim(n)
	return n
}
