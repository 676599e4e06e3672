package verdict

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"polewise/layout"
)

// Readings that the best hypothesis does not explain, and readings that cannot be relied on.
// Nothing is claimed of coils that rest on them.

// Bounds on readings that nothing explains.
const (
	strayMargin = 3     // log units above the outlier level up to which a reading counts as unexplained
	straysMany  = 3     // so many such holds, and
	straysShare = 0.25  // such a share of all holds, put everything in doubt
	passesMany  = 0.5   // such a share of all passes does
	passShort   = 40.0  // log units by which a pass may fall short of what fits it best,
	passLack    = 150.0 // and that of what samples that fit come to
	shortAll    = 30.0  // log units beyond the usual by which all holds together may fall short,
	shortEach   = 3.0   // or so many for each hold, before nothing is explained
)

// unexplained is what the best hypothesis does not explain, or what is doubtful otherwise.
type unexplained struct {
	holds     []*holdFactor
	passes    []*passFactor
	explained map[int]bool // coils with a hold that is explained
	many      bool         // it is so much that nothing may be claimed
	why       string       // what to say of that, where it is no matter of single readings
	turned    bool         // the holds fit if their coils were turned between two readings
	idle      map[int]bool // coils of strings that seem to carry no current, and may carry some
	beside    map[int]int  // coils that may have been read with the phone on another, and that one
}

// groundTold tells whether any phone was read with the supply off. Where none was, nothing tells
// the backgrounds but the hypothesis itself.
func (e *engine) groundTold() bool {
	return len(e.ev.rests) > 0 || slices.ContainsFunc(e.ev.holds, func(h digest) bool { return h.toggled })
}

// maybeIdle are the coils of strings that carry no current under the best hypothesis and may carry
// some all the same, where nothing was read with the supply off, by hand or by ohmmeter. Then all
// these coils read alike, but so would a background, with a steady hand. So an explanation in
// which the string carries current only has to fit the readings about as well; that it foretells
// them less sharply does not count against it.
func (e *engine) maybeIdle(n *node, list []*scored) map[int]bool {
	if n == nil || e.groundTold() || len(e.ev.holds) == 0 || len(e.ev.ohms)+len(e.ev.faces) > 0 {
		return nil
	}
	out := map[int]bool{}
	shorts := map[uint64]float64{} // by hypothesis.key, log units by which it falls short in all
	short := func(h *hypothesis) float64 {
		if _, ok := shorts[h.key]; !ok {
			o := e.evaluate(&scored{hyp: h})
			e.slim(o)
			shorts[h.key] = floats.Sum(o.short)
		}
		return shorts[h.key]
	}
	var rivals []*hypothesis
	for i := range e.m.plan.Strings {
		if n.hyp.currents().StringAmps[i] != 0 {
			continue
		}
		if rivals == nil {
			rivals = e.revived(n.hyp)
		}
		if e.mayFlow(i, n, list, rivals, short) {
			for _, j := range e.m.plan.Strings[i].Coils {
				out[j] = true
			}
		}
	}
	return out
}

// revived are a hypothesis with each of its open strings whole again: either way round, by itself
// or in series with others.
func (e *engine) revived(h *hypothesis) (out []*hypothesis) {
	for i, f := range h.faults {
		if f.Kind != layout.StringOpen {
			continue
		}
		rest := slices.Delete(slices.Clone(h.faults), i, i+1)
		more := [][]layout.Fault{nil}
		for _, s := range e.singles {
			if s.Kind == layout.StringsInSeries && slices.Contains(s.IDs, f.ID) {
				more = append(more, []layout.Fault{s.Fault})
			}
		}
		for _, m := range more[:min(len(more), mostRevived)] {
			whole := append(slices.Clone(rest), m...)
			turned := append(slices.Clone(whole), layout.Fault{Kind: layout.StringReversed, ID: f.ID})
			for _, faults := range [2][]layout.Fault{whole, turned} {
				if o := newHypothesis(e.m, faults, e.priorOf(faults...)); o != nil {
					out = append(out, o)
				}
			}
		}
	}
	return out
}

// Bounds on what is held against a string without current.
const (
	mostRevived   = 12   // ways for an open string to be whole, each of them either way round
	flowingLooked = 4    // explanations found in which the string carries current
	flowingShort  = 9.0  // log units by which all of these must fit worse,
	flowingEach   = 0.25 // and so many more for each reading
)

// mayFlow tells whether some explanation in which string i carries current fits the readings
// about as well as node n, in which it carries none.
func (e *engine) mayFlow(i int, n *node, list []*scored, revived []*hypothesis, short func(*hypothesis) float64) bool {
	rivals := slices.DeleteFunc(slices.Clone(revived), func(h *hypothesis) bool { return h.currents().StringAmps[i] == 0 })
	looked := 0
	for _, s := range list {
		if looked < flowingLooked && s.hyp.currents().StringAmps[i] != 0 {
			rivals = append(rivals, s.hyp)
			looked++
		}
	}
	least := floats.Sum(n.short) + flowingShort + flowingEach*float64(len(n.short))
	return len(rivals) == 0 || slices.ContainsFunc(rivals, func(h *hypothesis) bool { return short(h) < least })
}

// unexplained looks at every reading under the best hypothesis.
func (e *engine) unexplained(n *node) (u unexplained) {
	if n == nil {
		return u
	}
	holds, passes, short := 0, 0, 0.0
	u.explained = map[int]bool{}
	for i, f := range e.factors {
		switch f := f.(type) {
		case *holdFactor:
			holds++
			short += math.Max(0, n.short[i]-usualShort)
			if e.strays(n, i, f) {
				u.holds = append(u.holds, f)
			} else {
				u.explained[f.coil] = true
			}
		case *passFactor:
			passes++
			if n.short[i] > passShort || f.lack() > passLack || e.logOf(n, i) < f.stray()*f.trust()+strayMargin {
				u.passes = append(u.passes, f)
			}
		}
	}
	u.many = len(u.holds) >= straysMany && float64(len(u.holds)) > straysShare*float64(holds) ||
		float64(len(u.passes)) > passesMany*float64(passes)
	switch {
	case e.ev.unsure:
		u.many, u.why = true, "What the supply is told to have shown is far from the plan, and the readings go with the one as well as with the other. Look at the supply and tell the amps again. Nothing is claimed."
	case !u.many && short > math.Max(shortAll, shortEach*float64(holds)):
		u.many, u.why = true, "Nothing known here explains the readings as a whole: it may be another plan, or the phone's sensor sits where none was looked for. Find the phone's sensor, and read the coils again. Nothing is claimed."
	case holds > 0 && n.hyp.currents().PadAmps <= 0 && !e.groundTold():
		u.many, u.why = true, "It may be that no current flows at all. Nothing was read with the supply off, and so nothing tells that from a pad that is as planned. Switch it off for three seconds and on again over a coil. Nothing is claimed."
	}
	return u
}

// strays tells whether a node takes a hold, the i-th factor, for hardly more than an outlier.
func (e *engine) strays(n *node, i int, h *holdFactor) bool {
	return e.logOf(n, i) < outlierLog(h.pulls(&n.bg[i]))+strayMargin
}

// turnedBetween tells whether holds that a node does not explain are of coils that somebody turned
// between two readings without saying so. They must be explained with the coils the other way
// round, and must all come before, or all after, what else the same phone read over the coil.
func (e *engine) turnedBetween(n *node, holds []*holdFactor) bool {
	if len(holds) == 0 {
		return false
	}
	faults := slices.Clone(n.hyp.faults)
	coils := map[int]bool{}
	for _, h := range holds {
		if coils[h.coil] {
			continue
		}
		coils[h.coil] = true
		turn := layout.Fault{Kind: layout.CoilReversed, ID: h.label}
		same := func(f layout.Fault) bool { return f.Kind == turn.Kind && f.ID == turn.ID }
		if slices.ContainsFunc(faults, same) {
			faults = slices.DeleteFunc(faults, same)
		} else {
			faults = append(faults, turn)
		}
		if !e.apartInTime(h, holds) {
			return false
		}
	}
	turned := newHypothesis(e.m, faults, e.priorOf(faults...))
	if turned == nil {
		return false
	}
	o := e.evaluate(&scored{hyp: turned})
	defer e.slim(o)
	for i, f := range e.factors {
		if h, ok := f.(*holdFactor); ok && slices.Contains(holds, h) && e.strays(o, i, h) {
			return false
		}
	}
	return true
}

// apartInTime tells whether, of all that a phone read over a hold's coil, the holds listed come
// first, or last, and are not all.
func (e *engine) apartInTime(of *holdFactor, holds []*holdFactor) bool {
	before, after := 0, 0
	for _, f := range e.factors {
		h, ok := f.(*holdFactor)
		if !ok || h.coil != of.coil || h.source != of.source || slices.Contains(holds, h) {
			continue
		}
		for _, s := range holds {
			switch {
			case s.coil != of.coil || s.source != of.source:
			case h.from < s.from:
				before++
			default:
				after++
			}
		}
	}
	return (before == 0) != (after == 0)
}

// nextTurned asks for the coil of such a hold once more, unless it was read three times.
func (e *engine) nextTurned(h *holdFactor) *Next {
	n := &Next{At: h.label, Why: fmt.Sprintf("The readings of %s do not go together; the notes say why.", h.label)}
	if e.used(h.coil) < 3 {
		n.Why += " Read it once more."
	}
	return n
}

// shaky are the coils whose every reading is a hold in which the phone re-zeroed itself or was
// moved.
func (e *engine) shaky() map[int]bool {
	jumped := map[int]int{}
	for _, f := range e.factors {
		if h, ok := f.(*holdFactor); ok && (h.jumped || h.moved) {
			jumped[h.coil]++
		}
	}
	out := map[int]bool{}
	for j, n := range jumped {
		out[j] = n == e.used(j)
	}
	return out
}

// borne tells whether what is wrong with coil j, whose own holds cannot be relied on, shows in
// another coil as well. The likeliest hypothesis must have a fault, not of coil j itself, that
// makes both coils what they are; both must be sure, and the other one read and not doubtful.
func (e *engine) borne(list []*scored, p []map[State]float64, j int, doubtful func(int) bool) bool {
	if len(list) == 0 {
		return false
	}
	h := list[0].hyp
	for i := range h.faults {
		if e.m.plan.CoilIndex(h.faults[i].ID) == j {
			return false
		}
	}
	for i := range h.faults {
		without := newHypothesis(e.m, slices.Delete(slices.Clone(h.faults), i, i+1), 0)
		if without == nil || without.state(j) == h.state(j) || p[j][h.state(j)] < MinClaim {
			continue
		}
		for k := range h.states {
			if k != j && !doubtful(k) && without.state(k) != h.state(k) && p[k][h.state(k)] >= MinClaim && e.used(k) > 0 {
				return true
			}
		}
	}
	return false
}

// coils tells which coils must not be claimed, since nothing explains what was read over them:
// all of so many coils, where it is too much.
func (u *unexplained) coils(count int) map[int]bool {
	out := map[int]bool{}
	for _, h := range u.holds {
		out[h.coil] = true
	}
	for _, p := range u.passes {
		for _, j := range p.coils {
			if !u.explained[j] {
				out[j] = true
			}
		}
	}
	for j := 0; u.many && j < count; j++ {
		out[j] = true
	}
	return out
}

// notes tells of readings that no hypothesis explains.
func (u *unexplained) notes() (out []string) {
	var bad []string
	for _, h := range u.holds {
		bad = append(bad, h.label)
	}
	slices.Sort(bad)
	bad = slices.Compact(bad)
	if u.turned && len(bad) == 1 {
		return append(out, fmt.Sprintf("%[1]s was read facing one way, and later the other way. If it was turned in between, throw out what was read over it before that, or begin a new check. If nobody turned it, read %[1]s again.", bad[0]))
	}
	if u.turned {
		return append(out, fmt.Sprintf("%s were read facing one way, and later the other way. If they were turned or swapped in between, throw out what was read over them before that, or begin a new check. If nobody turned them, read them again.", and(bad)))
	}
	if u.why != "" {
		return []string{u.why}
	}
	if u.many {
		for _, p := range u.passes {
			bad = append(bad, "the row "+p.label)
		}
		return []string{fmt.Sprintf("The readings over %s fit neither the plan nor any fault known here: a bridge between strings, the wrong plan, or the wrong coils under the phone. Nothing is claimed.", and(bad))}
	}
	if len(u.idle) > 0 {
		out = append(out, "Nothing was read with the supply off, and so hardly anything tells a string without current from another background. Switch it off for three seconds and on again over one of its coils.")
	}
	if len(bad) > 0 {
		out = append(out, fmt.Sprintf("What was read over %s fits neither the plan nor any fault known here. Was the phone on that coil? Is steel near? Read it again.", and(bad)))
	}
	for _, p := range u.passes {
		out = append(out, fmt.Sprintf("The pass from %s fits neither the plan nor any fault known here. Draw the phone along that row again, or lay it on each of its coils.", p.label))
	}
	return out
}
