package verdict

import (
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
	return append(out, fewestSwaps(plan, turned(plan, faults))...)
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

// fewestSwaps finds the fewest flips and swaps that turn the wrong coils.
// Strings are settled one by one, given what is swapped above them; a tree of
// groups is settled from the top, both ways.
func fewestSwaps(plan *layout.Plan, wrong []bool) []Mend {
	string_ := func(i int, above bool) []Mend {
		s := &plan.Strings[i]
		var flips, kept []Mend
		for _, j := range s.Coils {
			if wrong[j] != above {
				flips = append(flips, Mend{Flip, plan.Coils[j].ID})
			} else {
				kept = append(kept, Mend{Flip, plan.Coils[j].ID})
			}
		}
		if 1+len(kept) < len(flips) {
			return append([]Mend{{SwapString, s.ID}}, kept...)
		}
		return flips
	}
	var group func(g int, above bool, depth int) []Mend
	group = func(g int, above bool, depth int) []Mend {
		members := func(swapped bool) []Mend {
			var out []Mend
			for _, id := range plan.Groups[g].Of {
				if i := plan.StringIndex(id); i >= 0 {
					out = append(out, string_(i, swapped)...)
				} else if k := plan.GroupIndex(id); k >= 0 && depth < len(plan.Groups) {
					out = append(out, group(k, swapped, depth+1)...)
				}
			}
			return out
		}
		straight := members(above)
		if depth == 0 { // the pad's own group: its swap is the plug's
			return straight
		}
		if other := members(!above); 1+len(other) < len(straight) {
			return append([]Mend{{Rejoin, plan.Groups[g].ID}}, other...)
		}
		return straight
	}
	whole := func(above bool) []Mend {
		if len(plan.Groups) > 0 {
			return group(plan.RootGroup(), above, 0)
		}
		var out []Mend
		for i := range plan.Strings {
			out = append(out, string_(i, above)...)
		}
		return out
	}
	straight := whole(false)
	if other := whole(true); 1+len(other) < len(straight) {
		return append([]Mend{{Do: SwapPad}}, other...)
	}
	return straight
}
