package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"polewise/field/readings"
)

// Aligning a pass climbs to the nearest summit. Whether that is the right one depends on where it
// begins: which coils of the row are taken to face which way, under which background, and in
// which lane.

const (
	rounds       = 5   // of expectation and maximisation
	carried      = 3   // of them, for a guess carried on from a neighbouring lane or a warmer start
	mostPatterns = 6   // ways for the coils of a row to face that are begun from
	mostTried    = 400 // of these that are looked at, about
	mostLikely   = 3   // hypotheses of whole strings that are begun from
	mostGrounds  = 3   // backgrounds that are begun from
	// Those that suit the row with one coil otherwise are sought in so many lanes, and so many
	// of them are begun from besides.
	otherwiseLanes, moreGrounds = 2, 2
	// Log units behind the best:
	hopelessLane = 80 // a lane is not begun in, before anything in it is fitted
	hopelessWay  = 30 // a way to understand the pass is given up
	laneInPlay   = 12 // within which a lane is worth another look
	// wellSettled is by how many log units a pass that was understood may fall short of what
	// samples that fit come to.
	wellSettled = 0
)

// warmth is the share of their weight that samples have in the stages of a warm start.
var warmth = [...]float64{0.15, 0.3, 0.6}

// warmSlack is by how many log units a warm start may fall behind what it must come to in the
// end, as far as its samples count.
const warmSlack = 10

// guess is what a climb goes by: the ampere-turns of the near coils, as shares of the planned
// ones, and the background, in pad axes.
type guess struct {
	share []float64
	b     [3]float64
}

// asPlanned is the guess that nothing is wrong, under the first background to begin from.
func (a *aligner) asPlanned() guess {
	g := guess{share: make([]float64, len(a.near)), b: a.grounds[0]}
	for i := range g.share {
		g.share[i] = 1
	}
	return g
}

// guessOf is a hypothesis' ampere-turns as a guess.
func (a *aligner) guessOf(turns []float64) guess {
	g := guess{share: make([]float64, len(a.near)), b: a.grounds[0]}
	for i, j := range a.near {
		g.share[i] = turns[j] / a.planned[i]
	}
	return g
}

// like tells whether two guesses have about the same ampere-turns.
func (g guess) like(o guess) bool {
	for i := range g.share {
		if math.Abs(g.share[i]-o.share[i]) > 0.1 {
			return false
		}
	}
	return true
}

// begin aligns in some lanes, given best first, from several beginnings in each, and carries what
// was found outward, reach lanes far. Warm starts follow only where nothing fits well.
func (a *aligner) begin(lanes []laneFit, reach int, bases []*hypothesis) {
	begin := map[int][]tried{}
	best := math.Inf(-1)
	for _, l := range lanes {
		if l.log < best-hopelessLane {
			break
		}
		begin[l.lane] = a.beginnings(l.lane, bases)
		best = max(best, begin[l.lane][0].log)
	}
	type start struct {
		lane int
		tried
	}
	var starts []start
	top := best
	for _, settleAll := range [2]func(int, []tried, float64) []guess{a.settleCold, a.settleWarm} {
		lack := math.Inf(1)
		for _, l := range lanes {
			from := begin[l.lane]
			if len(from) == 0 || from[0].log < best-hopelessLane {
				continue
			}
			for _, g := range settleAll(l.lane, from, top-hopelessWay) {
				o := a.fitted(l.lane, g)
				top = max(top, o.log)
				starts = append(starts, start{l.lane, tried{g, o.log}})
				lack = min(lack, o.lack)
			}
		}
		if lack < wellSettled {
			break
		}
	}
	for _, s := range starts {
		if s.log < top-hopelessWay {
			continue
		}
		a.add(s.lane, s.guess)
		a.lanes[s.lane].begun = true
		for _, dir := range [2]int{-1, 1} {
			g := s.guess
			for l := s.lane + dir; l >= max(0, s.lane-reach) && l <= min(len(a.lanes)-1, s.lane+reach); l += dir {
				g = a.settle(l, g)
				a.add(l, g)
			}
		}
	}
}

// begun are the lanes that a pass is begun in, best first, and how many lanes to each side what is
// found there is carried. Where the sensor's place is known the middle lane serves. Where it is
// not, it is every other lane: coils look from beside them much as if they faced the other way,
// and neither explanation leads to the other.
func (a *aligner) begun() (lanes []laneFit, reach int) {
	mid := len(a.sides) / 2
	if a.narrow() {
		return []laneFit{{lane: mid}}, len(a.sides)
	}
	for l := mid % 2; l < len(a.sides); l += 2 {
		// With each sample free to choose a way to face, a lane is about as likely as it can get.
		lanes = append(lanes, laneFit{l, a.logOf(l, a.asPlanned(), true)})
	}
	slices.SortStableFunc(lanes, func(p, q laneFit) int { return cmp.Compare(q.log, p.log) })
	return lanes, 1
}

// findGrounds finds the backgrounds to begin from. What was known before may be nothing at all,
// or a rest from before the phone re-zeroed itself, and under the wrong background a row fits
// best facing the wrong way. So the backgrounds are those that suit the row as planned and the
// row turned over. Without a rest it may be another altogether, under which the row as planned
// fits nothing: then those that suit the row with one coil dead or turned are begun from besides.
func (a *aligner) findGrounds() {
	a.grounds = [][3]float64{a.ground}
	if a.rested && !a.narrow() {
		return
	}
	middle := a.middle()
	var rows, otherwise []tried
	var lanes []laneFit
	for _, l := range a.everyFew() {
		asked := append(a.settleGround(l, a.asPlanned(), middle), a.settleGround(l, a.turned(), middle)...)
		slices.SortStableFunc(asked, likelierTried)
		rows, lanes = append(rows, asked...), append(lanes, laneFit{l, asked[0].log})
	}
	if a.rested {
		a.grounds = withGrounds(a.grounds, rows, mostGrounds)
		return
	}
	slices.SortStableFunc(lanes, func(p, q laneFit) int { return cmp.Compare(q.log, p.log) })
	for _, l := range lanes[:min(len(lanes), otherwiseLanes)] {
		for i := range a.near {
			if !a.inRow[i] {
				continue
			}
			for _, to := range [2]float64{0, -1} {
				g := a.asPlanned()
				g.share[i] = to
				otherwise = append(otherwise, a.settleGround(l.lane, g, middle)...)
			}
		}
	}
	a.grounds = withGrounds(nil, rows, mostGrounds)
	a.grounds = withGrounds(a.grounds, otherwise, len(a.grounds)+moreGrounds)
}

// settleGround are the backgrounds that suit the shares of a guess in a lane, from what was known
// before and from the middle of what was read.
func (a *aligner) settleGround(l int, g guess, middle [3]float64) (out []tried) {
	for _, g.b = range [2][3]float64{a.ground, middle} {
		for range rounds {
			g.b = a.improve(l, g, false).b
		}
		out = append(out, tried{g, a.logOf(l, g, false)})
	}
	return out
}

// withGrounds adds the backgrounds of the likeliest guesses, up to so many in all.
func withGrounds(found [][3]float64, from []tried, most int) [][3]float64 {
	slices.SortStableFunc(from, likelierTried)
	for _, t := range from {
		if t.log < from[0].log-hopelessLane || len(found) >= most {
			break
		}
		if !slices.ContainsFunc(found, func(b [3]float64) bool { return within(b, t.b, sameGround) }) {
			found = append(found, t.b)
		}
	}
	return found
}

// middle is the median of what was read, each axis by itself.
func (a *aligner) middle() (m [3]float64) {
	for r := range m {
		var along []float64
		for i := range a.ticks {
			if !a.ticks[i].blank {
				along = append(along, a.ticks[i].pull[r])
			}
		}
		m[r] = readings.Median(along)
	}
	return m
}

// sameGround is how many microtesla apart two backgrounds lead to the same place.
const sameGround = 8

// within tells whether two backgrounds differ by less than so many microtesla on every axis.
func within(a, b [3]float64, ut float64) bool {
	return math.Abs(a[0]-b[0]) < ut && math.Abs(a[1]-b[1]) < ut && math.Abs(a[2]-b[2]) < ut
}

// turned is the guess that the whole row faces the wrong way.
func (a *aligner) turned() guess {
	g := a.asPlanned()
	for i := range a.near {
		if a.inRow[i] {
			g.share[i] = -1
		}
	}
	return g
}

// everyFew is every fourth lane; of a narrow pass, the middle one.
func (a *aligner) everyFew() []int {
	if a.narrow() {
		return []int{len(a.sides) / 2}
	}
	var lanes []int
	for l := 0; l < len(a.sides); l += 4 {
		lanes = append(lanes, l)
	}
	return lanes
}

// laneFit is a lane, and how likely a pass is in it at best.
type laneFit struct {
	lane int
	log  float64
}

// narrow tells whether the lanes lie so close together that what is found in the middle one leads
// to what there is in the others.
func (a *aligner) narrow() bool {
	return a.sides[len(a.sides)-1]-a.sides[0] < 0.06
}

// beginnings are the guesses to begin from in a lane, the likeliest first.
func (a *aligner) beginnings(l int, bases []*hypothesis) []tried {
	return append(a.patterns(l), a.likely(l, bases)...)
}

// settleCold are the guesses that beginnings lead to, without those that would not make the pass
// likelier than least. The beginnings themselves and the plan are among them: what lies near the
// plan has to be judged by how well it fits as it is.
func (a *aligner) settleCold(l int, begin []tried, least float64) []guess {
	found := []guess{a.asPlanned()}
	both := func(g guess) {
		found = withNew(found, g)
		if end, ok := a.settleAbove(l, g, 2*rounds, least); ok {
			found = withNew(found, end)
		}
	}
	for _, t := range begin {
		both(t.guess)
	}
	both(a.improve(l, a.asPlanned(), true))
	return found
}

// settleWarm are the guesses that beginnings lead to if samples count for little at first, so
// that a few that lie wrong do not hold a climb back; without those that would not make the pass
// likelier than least.
func (a *aligner) settleWarm(l int, begin []tried, least float64) (found []guess) {
	full := a.eachCounts
	var came [len(warmth)][]guess
beginnings:
	for _, t := range begin {
		g := t.guess
		for i, w := range warmth {
			a.eachCounts = w * full
			g = a.settle(l, g)
			same := slices.ContainsFunc(came[i], func(o guess) bool { return o.like(g) && within(o.b, g.b, 1) })
			behind := !same && math.IsInf(a.logAbove(l, g, w*least-warmSlack), -1)
			a.eachCounts = full
			if same || behind {
				continue beginnings // it leads where another did, or nowhere
			}
			came[i] = append(came[i], g)
		}
		if g, ok := a.settleAbove(l, g, 2*rounds, least); ok {
			found = withNew(found, g)
		}
	}
	return found
}

// withNew is a list with one guess more, unless one like it is there.
func withNew(list []guess, g guess) []guess {
	if slices.ContainsFunc(list, func(o guess) bool { return o.like(g) }) {
		return list
	}
	return append(list, g)
}

// anchor aligns to given ampere-turns as well: it adds ways to understand the pass that begin from
// them, in the lanes in play, the likeliest first. It reports whether it added any. Ampere-turns
// that are only guessed are dropped where the likeliest lane shows them to be hopeless.
func (a *aligner) anchor(turns []float64, guessed bool) (added bool) {
	g := a.guessOf(turns)
	if slices.ContainsFunc(a.anchors, func(o guess) bool { return o.like(g) }) {
		return false
	}
	a.anchors = append(a.anchors, g)
	var lanes []laneFit
	best := math.Inf(-1)
	for l := range a.lanes {
		if top := a.lanes[l].top(); !math.IsInf(top, -1) {
			lanes = append(lanes, laneFit{l, top})
			best = max(best, top)
		}
	}
	slices.SortStableFunc(lanes, func(p, q laneFit) int { return cmp.Compare(q.log, p.log) })
	grounds := a.grounds
	for i, l := range lanes {
		if l.log <= best-laneInPlay {
			break
		}
		under := a.under(l.lane, g, grounds)
		if i == 0 && guessed && under[0].log < best-hopelessWay {
			return false
		}
		added = a.add(l.lane, under[0].guess) || added
		grounds = nil // in the other lanes it goes on from what it came to here
		for _, t := range under {
			if t.log > under[0].log-hopelessWay {
				grounds = append(grounds, t.b)
			}
		}
	}
	return added
}

// under is a guess' ampere-turns under the backgrounds that some to begin from lead to, each with
// about how likely that makes the pass, the likeliest first.
func (a *aligner) under(l int, g guess, grounds [][3]float64) (out []tried) {
	same := func(b [3]float64) bool {
		return slices.ContainsFunc(out, func(t tried) bool { return within(b, t.b, 1) })
	}
	for _, g.b = range grounds {
		at := g
		better := a.improve(l, g, false)
		if !within(better.b, g.b, 1) {
			if same(better.b) {
				continue // one that leads where another did
			}
			at.b = better.b
			better = a.improve(l, at, false)
		}
		if out == nil || !same(better.b) {
			log := a.logOf(l, at, false)
			at.b = better.b
			out = append(out, tried{at, log})
		}
	}
	slices.SortStableFunc(out, likelierTried)
	return out
}

// likely are the bases that the pass fits best, as guesses: their faults are of whole strings,
// and so of coils beside the row too.
func (a *aligner) likely(l int, bases []*hypothesis) []tried {
	var all []tried
	for _, h := range bases {
		g := a.guessOf(h.ampTurns())
		best := tried{log: math.Inf(-1)}
		for _, g.b = range a.grounds {
			if log := a.logOf(l, g, false); log > best.log {
				best = tried{g, log}
			}
		}
		all = append(all, best)
	}
	return bestOf(all, mostLikely)
}

// tried is a guess and how likely it makes the pass.
type tried struct {
	guess
	log float64
}

// likelierTried compares for sorting, the likelier first.
func likelierTried(p, q tried) int { return cmp.Compare(q.log, p.log) }

// bestOf are the best few guesses, as long as they are not hopeless.
func bestOf(all []tried, most int) (out []tried) {
	slices.SortStableFunc(all, likelierTried)
	for _, p := range all[:min(most, len(all))] {
		if p.log > all[0].log-hopelessWay {
			out = append(out, p)
		}
	}
	return out
}

// patterns are the likeliest ways for the coils of the row to face: as planned, the other way, or
// dead. Expectation and maximisation does not get from one to another, and the best alone will
// not do, since a row seen half a coil too far on fits a pattern of its own.
func (a *aligner) patterns(l int) (out []tried) {
	for _, b := range a.grounds {
		out = append(out, a.patternsOver(l, b)...)
	}
	slices.SortStableFunc(out, likelierTried)
	return out
}

// patternsOver are the patterns under one background, found by changing one coil at a time in the
// best found so far.
func (a *aligner) patternsOver(l int, b [3]float64) []tried {
	var all []tried
	seen := map[string]bool{}
	var highest []float64 // the logs of the best, ascending: one that is below these need not be known
	try := func(share []float64) {
		if key := fmt.Sprint(share); !seen[key] {
			seen[key] = true
			g := guess{share, b}
			least := math.Inf(-1)
			if len(highest) == mostPatterns {
				least = highest[0]
			}
			log := a.logAbove(l, g, least)
			all = append(all, tried{g, log})
			at, _ := slices.BinarySearch(highest, log)
			highest = slices.Insert(highest, at, log)
			highest = highest[max(0, len(highest)-mostPatterns):]
		}
	}
	try(a.asPlanned().share)
	try(a.turned().share)
	for grown := 0; grown < len(all) && len(all) < mostTried; {
		grown = len(all)
		best := slices.Clone(all[:min(mostPatterns, len(all))])
		for _, p := range best {
			for i := range a.near {
				for _, to := range [3]float64{1, 0, -1} {
					if a.inRow[i] && to != p.share[i] {
						o := slices.Clone(p.share)
						o[i] = to
						try(o)
					}
				}
			}
		}
		slices.SortStableFunc(all, likelierTried)
	}
	return bestOf(all, mostPatterns)
}
