package trial

import (
	"math"
	"slices"

	"polewise/layout"
)

// ailment is what is wrong with a pad, and what a judge may know of it.
type ailment struct {
	faults []layout.Fault
	// broken names the coils inside which open strings are broken; the others
	// are broken at a joint.
	broken []int
}

// real are the faults as they are built in: an open string whose break lies in
// a coil is an open coil.
func (a ailment) real(p *pad) []layout.Fault {
	out := slices.Clone(a.faults)
	for i, f := range out {
		for _, j := range a.broken {
			if f.Kind == layout.StringOpen && p.strings[p.stringOf(j)].id == f.ID {
				out[i] = layout.Fault{Kind: layout.CoilOpen, ID: p.coils[j].id}
			}
		}
	}
	return out
}

// makeAilment draws faults: none in a third of the pads, one in most others.
func makeAilment(r random, p *pad) ailment {
	count := 0
	switch u := r.Float64(); {
	case u < 0.33:
	case u < 0.78:
		count = 1
	default:
		count = 2
	}
	for range 200 {
		var a ailment
		for len(a.faults) < count {
			f, broken, ok := makeFault(r, p)
			if !ok {
				continue
			}
			if broken >= 0 {
				a.broken = append(a.broken, broken)
			}
			a.faults = append(a.faults, f)
		}
		if count == 0 || p.makesSense(a.faults) {
			return a
		}
	}
	return ailment{}
}

func makeFault(r random, p *pad) (f layout.Fault, broken int, ok bool) {
	coil := r.IntN(len(p.coils))
	str := r.IntN(len(p.strings))
	id, sid := p.coils[coil].id, p.strings[str].id
	mates := len(p.strings[p.stringOf(coil)].coils)
	switch u := r.Float64(); {
	case u < 0.34:
		return layout.Fault{Kind: layout.CoilReversed, ID: id}, -1, true
	case u < 0.48:
		return layout.Fault{Kind: layout.StringReversed, ID: sid}, -1, true
	case u < 0.54:
		if len(p.groups) < 2 {
			return f, -1, false
		}
		g := p.groups[r.IntN(len(p.groups)-1)]
		return layout.Fault{Kind: layout.GroupReversed, ID: g.id}, -1, true
	case u < 0.61:
		return layout.Fault{Kind: layout.PadReversed}, -1, true
	case u < 0.70:
		return layout.Fault{Kind: layout.CoilShorted, ID: id}, -1, mates > 1
	case u < 0.80:
		lost := r.between(0.2, 0.75)
		if r.chance(0.15) {
			lost = r.between(0.03, 0.2)
		}
		// whole turns only
		turns := float64(p.coils[coil].kind.turns)
		lost = math.Max(1, math.Round(lost*turns)) / turns
		return layout.Fault{Kind: layout.TurnsShorted, ID: id, Lost: lost}, -1, true
	case u < 0.89:
		if len(p.strings) == 1 && !r.chance(0.2) {
			return f, -1, false
		}
		broken = -1
		if r.chance(0.5) {
			broken = pick(r, p.strings[str].coils...)
		}
		return layout.Fault{Kind: layout.StringOpen, ID: sid}, broken, true
	case u < 0.94:
		a := parallelMembers(r, p)
		if a == nil {
			return f, -1, false
		}
		return layout.Fault{Kind: layout.StringsInSeries, IDs: a}, -1, true
	default:
		to := r.IntN(len(p.strings))
		if to == p.stringOf(coil) || mates < 2 {
			return f, -1, false
		}
		return layout.Fault{Kind: layout.CoilInWrongString, ID: id, String: p.strings[to].id}, -1, true
	}
}

// parallelMembers are two strings that belong side by side.
func parallelMembers(r random, p *pad) []string {
	var sets [][]string
	if len(p.groups) == 0 {
		var all []string
		for _, s := range p.strings {
			all = append(all, s.id)
		}
		sets = append(sets, all)
	}
	for _, g := range p.groups {
		if g.series {
			continue
		}
		var s []string
		for _, id := range g.of {
			if p.stringIndex(id) >= 0 {
				s = append(s, id)
			}
		}
		sets = append(sets, s)
	}
	sets = slices.DeleteFunc(sets, func(s []string) bool { return len(s) < 2 })
	if len(sets) == 0 {
		return nil
	}
	s := slices.Clone(sets[r.IntN(len(sets))])
	r.Shuffle(len(s), func(i, j int) { s[i], s[j] = s[j], s[i] })
	return s[:2]
}

// makesSense tells whether faults can be together: not two of one thing, none
// that hides another or undoes it, and something left to see.
func (p *pad) makesSense(faults []layout.Fault) bool {
	touched := map[string]bool{}
	for _, f := range faults {
		ids := append([]string{f.ID}, f.IDs...)
		if f.Kind == layout.CoilInWrongString {
			ids = append(ids, f.String)
		}
		if f.Kind == layout.StringOpen { // hides what is in it
			for _, j := range p.strings[p.stringIndex(f.ID)].coils {
				ids = append(ids, p.coils[j].id)
			}
		}
		for _, id := range ids {
			if id != "" && touched[id] {
				return false
			}
			touched[id] = true
		}
	}
	none, err := p.effect(nil, nil)
	if err != nil {
		return false
	}
	all, err := p.effect(faults, nil)
	if err != nil || all.like(none) {
		return false
	}
	// Each fault must change something.
	for k := range faults {
		rest := slices.Delete(slices.Clone(faults), k, k+1)
		e, err := p.effect(rest, nil)
		if err != nil || e.like(all) {
			return false
		}
	}
	return true
}

// effect is what can be seen of a set of faults in the plan's nominal network.
type effect struct {
	turns []float64 // signed ampere-turns as a share of the planned ones
	ohms  []float64 // across what was measured
}

func (p *pad) effect(faults []layout.Fault, across []string) (effect, error) {
	var e effect
	w, err := p.build(nil, faults)
	if err != nil {
		return e, err
	}
	planned, err := p.build(nil, nil)
	if err != nil {
		return e, err
	}
	is, should := w.drive(), planned.drive()
	for j := range p.coils {
		e.turns = append(e.turns, is.amps[j]*is.share[j]/should.amps[j])
	}
	for _, a := range across {
		e.ohms = append(e.ohms, w.measure(a))
	}
	return e, nil
}

// like tells whether two effects cannot be told apart by any reading: equal to
// a part in a thousand (shorts and joints are idealised that coarsely).
func (e effect) like(o effect) bool {
	same := func(a, b float64) bool {
		return a == b || math.Abs(a-b) <= 1e-3*math.Max(math.Abs(a), math.Abs(b))+1e-6
	}
	return slices.EqualFunc(e.turns, o.turns, same) && slices.EqualFunc(e.ohms, o.ohms, same)
}
