package verdict

import (
	"slices"

	"polewise/layout"
)

// mendFor returns the fewest actions that put a pad with these faults right.
// Joints and coils are mended first; what is left is a pattern of coils facing
// the wrong way, for which every choice of swapping the pad's plug, groups,
// strings and single coils is weighed.
func mendFor(plan *layout.Plan, faults []layout.Fault) []Mend {
	var out []Mend
	for _, f := range faults {
		switch f.Kind {
		case layout.CoilShorted, layout.CoilOpen, layout.StringOpen:
			out = append(out, Mend{RemakeJoint, f.ID})
		case layout.TurnsShorted:
			out = append(out, Mend{Replace, f.ID})
		case layout.StringsInSeries:
			for _, id := range f.IDs[1:] {
				out = append(out, Mend{Rejoin, id})
			}
		case layout.CoilInWrongString:
			out = append(out, Mend{Rejoin, f.ID})
		}
	}
	plug := slices.ContainsFunc(faults, func(f layout.Fault) bool { return f.Kind == layout.PadReversed })
	return append(out, fewestSwaps(plan, turned(plan, faults), plug)...)
}

// turned tells which coils face the wrong way once joints and strings are put
// as planned.
func turned(plan *layout.Plan, faults []layout.Fault) []bool {
	wrong := make([]bool, len(plan.Coils))
	for i := range faults {
		for _, j := range flips(plan, &faults[i]) {
			wrong[j] = !wrong[j]
		}
	}
	return wrong
}

// coilsOfGroup lists the coils under a group. depth guards against a cycle,
// which a valid plan cannot have.
func coilsOfGroup(plan *layout.Plan, id string, depth int) []int {
	i := plan.GroupIndex(id)
	if i < 0 || depth > len(plan.Groups) {
		return nil
	}
	var out []int
	for _, m := range plan.Groups[i].Of {
		if s := plan.StringIndex(m); s >= 0 {
			out = append(out, plan.Strings[s].Coils...)
		} else {
			out = append(out, coilsOfGroup(plan, m, depth+1)...)
		}
	}
	return out
}

// eitherWay are the fewest mends of a part of the pad: with what it is joined into left as it is,
// and with that swapped.
type eitherWay [2][]Mend

// orSwapped takes, for each way, the mends of the other way and a swap of the part where that is
// fewer.
func (e eitherWay) orSwapped(swap Mend) eitherWay {
	out := e
	for way, straight := range e {
		if other := e[1-way]; 1+len(other) < len(straight) {
			out[way] = append([]Mend{swap}, other...)
		}
	}
	return out
}

// fewestSwaps finds the fewest flips and swaps that turn the wrong coils, from the strings up to
// the groups and the pad. Where swapping the pad's plug does as well as anything else, preferPad
// decides.
func fewestSwaps(plan *layout.Plan, wrong []bool, preferPad bool) []Mend {
	ofString := func(i int) (e eitherWay) {
		for _, j := range plan.Strings[i].Coils {
			way := 0
			if !wrong[j] {
				way = 1
			}
			e[way] = append(e[way], Mend{Flip, plan.Coils[j].ID})
		}
		return e.orSwapped(Mend{SwapString, plan.Strings[i].ID})
	}
	add := func(e *eitherWay, o eitherWay) {
		for way := range e {
			e[way] = append(e[way], o[way]...)
		}
	}
	// depth guards against a cycle, which a valid plan cannot have.
	var within func(g, depth int) eitherWay
	within = func(g, depth int) (e eitherWay) {
		for _, id := range plan.Groups[g].Of {
			if i := plan.StringIndex(id); i >= 0 {
				add(&e, ofString(i))
			} else if k := plan.GroupIndex(id); k >= 0 && depth < len(plan.Groups) {
				add(&e, within(k, depth+1).orSwapped(Mend{Rejoin, id}))
			}
		}
		return e
	}
	var pad eitherWay
	if len(plan.Groups) > 0 {
		pad = within(plan.RootGroup(), 0)
	} else {
		for i := range plan.Strings {
			add(&pad, ofString(i))
		}
	}
	straight, plug := pad[0], append([]Mend{{Do: SwapPad}}, pad[1]...)
	if len(plug) < len(straight) || preferPad && len(plug) == len(straight) {
		return plug
	}
	return straight
}
