package verdict

import (
	"fmt"
	"maps"
	"slices"

	"polewise/field/capture"
	"polewise/layout"
)

// Before is what was read of a pad before it was mended. What was read over coils
// that the mend did not touch still counts.
type Before struct {
	Captures []*capture.Capture
	Mend     []Mend
}

// afterMend is what a mend changed, by coil.
type afterMend struct {
	touched map[int]bool // to be read again
	turned  map[int]bool // its field runs the other way since
	key     string       // equal for equal turned
	passed  map[int]bool // read before it by passes, which no longer count
}

// mendedBy works out which coils a mend touched and turned; nil where it changed
// the currents, so that nothing read before can be compared.
func mendedBy(plan *layout.Plan, mend []Mend) *afterMend {
	a := &afterMend{touched: map[int]bool{}, turned: map[int]bool{}, passed: map[int]bool{}}
	turn := func(j int) {
		a.touched[j] = true
		if a.turned[j] = !a.turned[j]; !a.turned[j] {
			delete(a.turned, j)
		}
	}
	for _, m := range mend {
		switch m.Do {
		case Flip:
			if j := plan.CoilIndex(m.ID); j >= 0 {
				turn(j)
			}
		case SwapString:
			if i := plan.StringIndex(m.ID); i >= 0 {
				for _, j := range plan.Strings[i].Coils {
					turn(j)
				}
			}
		case SwapPad:
			for j := range plan.Coils {
				turn(j)
			}
		case Rejoin:
			group := coilsOfGroup(plan, m.ID, 0) // its two ends were swapped
			if group == nil {
				return nil // a string or a coil was joined elsewhere
			}
			for _, j := range group {
				turn(j)
			}
		default:
			return nil
		}
	}
	if len(a.touched) == 0 {
		return nil
	}
	a.key = fmt.Sprint(slices.Sorted(maps.Keys(a.turned)))
	return a
}

// gatherAfter gathers what was read since a mend, and what was read before it and still counts:
// holds, headings and faces over coils that it left alone and that were not read again, and the
// ohms of what it did not open a joint of. Passes do not: each row is drawn once more in the end
// anyway.
func gatherAfter(plan *layout.Plan, before *Before, captures []*capture.Capture) (*evidence, error) {
	ev, err := gather(plan, captures)
	if err != nil || before == nil {
		return ev, err
	}
	var since *ampsReading
	if n := len(ev.amps); n > 0 {
		since = &ev.amps[n-1]
	}
	old, err := gatherBefore(plan, before.Captures, since)
	if err != nil {
		return nil, err
	}
	if a := mendedBy(plan, before.Mend); a != nil {
		ev.carryOver(plan, old, a)
	} else {
		ev.noteBeginsAnew(plan, old)
	}
	return ev, nil
}

// noteBeginsAnew says that nothing read before a mend counts, where all of it is to be read again.
func (ev *evidence) noteBeginsAnew(plan *layout.Plan, old *evidence) {
	again := ev.held()
	for i := range ev.passes {
		for _, j := range ev.passes[i].coils {
			again[j] = true
		}
	}
	if len(again) < len(plan.Coils) {
		ev.note("The mend changed the currents: what was read before it no longer counts. Read every coil again.")
	}
	ev.noteOhmsGone(plan, old.ohms)
}

// carryOver takes on what was read before a mend and still counts.
func (ev *evidence) carryOver(plan *layout.Plan, old *evidence, a *afterMend) {
	stale := ev.held()
	maps.Copy(stale, a.touched)
	ev.mended = a
	shift := len(ev.sources) // of the old sources' numbers
	for _, s := range old.sources {
		s.mended = a
		ev.sources = append(ev.sources, s)
	}
	for _, r := range old.rests {
		r.source += shift
		ev.rests = append(ev.rests, r)
	}
	for _, h := range old.holds {
		if !stale[h.coil] {
			h.source += shift
			ev.holds = append(ev.holds, h)
		}
	}
	for _, b := range old.bearings {
		if !stale[b.coil] {
			b.source += shift
			ev.bearings = append(ev.bearings, b)
		}
	}
	for _, f := range old.faces {
		if !stale[f.coil] {
			f.old = true
			ev.faces = append(ev.faces, f)
		}
	}
	var ohms, gone []ohmReading
	for _, o := range old.ohms {
		if slices.ContainsFunc(o.coils(plan), func(j int) bool { return a.touched[j] }) {
			gone = append(gone, o)
		} else {
			ohms = append(ohms, o)
		}
	}
	ev.noteOhmsGone(plan, gone)
	ev.ohms = append(ohms, ev.ohms...)
	for _, p := range old.passes {
		for _, j := range p.coils {
			a.passed[j] = true
		}
	}
	if len(old.passes) > 0 {
		ev.note("What was read by drawing the phone along a row before the mend no longer counts. Draw it along each row again, or lay it on each coil.")
	}
}

// held are the coils that something was read over other than in a pass.
func (ev *evidence) held() map[int]bool {
	out := map[int]bool{}
	for i := range ev.holds {
		out[ev.holds[i].coil] = true
	}
	for i := range ev.bearings {
		out[ev.bearings[i].coil] = true
	}
	for _, f := range ev.faces {
		out[f.coil] = true
	}
	return out
}

// noteOhmsGone notes which ohms from before a mend no longer count, but for what was measured
// since.
func (ev *evidence) noteOhmsGone(plan *layout.Plan, gone []ohmReading) {
	var names []string
	for i := range gone {
		name := gone[i].across(plan)
		since := slices.ContainsFunc(ev.ohms, func(o ohmReading) bool { return o.across(plan) == name })
		if !since && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	switch {
	case len(names) > mostNamed:
		ev.note("%d ohms noted before the mend no longer count: joints were opened since.", len(names))
	case len(names) > 0:
		ev.note("The ohms of %s noted before the mend no longer count: joints were opened since.", and(names))
	}
}

// mostNamed is the most ohms that are named there.
const mostNamed = 4

// readSince tells whether a coil has been read since the mend.
func (e *engine) readSince(j int) bool {
	for _, f := range e.factors {
		if fr := f.frame(); fr.coil == j && e.ev.sources[fr.src].mended == nil {
			return true
		}
	}
	for i := range e.ev.passes {
		if slices.Contains(e.ev.passes[i].coils, j) {
			return true
		}
	}
	for _, f := range e.ev.faces {
		if f.coil == j && !f.old {
			return true
		}
	}
	return false
}

// stillWrong is a coil that was to be turned and reads as reversed since; -1 for none. Another
// one may have been turned instead, and what was read before the mend then tells nothing of any.
func (e *engine) stillWrong(p []map[State]float64) int {
	if e.ev.mended == nil {
		return -1
	}
	for j := range e.m.plan.Coils {
		if e.ev.mended.turned[j] && e.readSince(j) && p[j][StateReversed] > 0.5 {
			return j
		}
	}
	return -1
}

// turnedInstead asks for the coil nearest to one that is still wrong, of those not read since the
// mend; nil where all were read, or none is wrong.
func (e *engine) turnedInstead(still int) *Next {
	if still < 0 {
		return nil
	}
	for _, j := range e.nearestCoils(still, len(e.m.plan.Coils)) {
		if !e.readSince(j) {
			id := e.m.plan.Coils[j].ID
			return &Next{At: id, Why: fmt.Sprintf("%s was mended and is not as planned yet. Was %s turned in its place? Read %s before you turn anything.", e.m.plan.Coils[still].ID, id, id)}
		}
	}
	return nil
}

// closing asks for what must still be read after a mend before the pad as a whole is called as
// planned: first what was mended, then every other coil once, since nobody knows what else was
// turned; nil where nothing is missing.
func (e *engine) closing() *Next {
	a := e.ev.mended
	if a == nil {
		return nil
	}
	var rest *Next
	for j := range e.m.plan.Coils {
		id := e.m.plan.Coils[j].ID
		switch {
		case e.readSince(j):
		case a.touched[j]:
			return &Next{At: id, Why: fmt.Sprintf("%s was mended and has not been read since.", id)}
		case rest != nil:
		case e.used(j) == e.measured(j) && !a.passed[j]:
			rest = &Next{At: id, Why: fmt.Sprintf("%s has not been read yet.", id)}
		default:
			how := "Read every coil once more"
			if len(e.ev.holds)+len(e.ev.passes) > 0 {
				how = "Draw the phone along every row once, or lay it on every coil"
			}
			rest = &Next{At: id, Why: fmt.Sprintf("%s was read before the mend only. %s, so that nothing else turned goes unseen.", id, how)}
		}
	}
	return rest
}
