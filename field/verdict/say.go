package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"polewise/layout"
)

// say words a cause and its mend for a person at the bench.
func say(plan *layout.Plan, h *hypothesis, mend []Mend) string {
	return strings.Join(append([]string{sayFaults(plan, h)}, sayMend(plan, h, mend)...), " ")
}

// sayFaults words what is wrong.
func sayFaults(plan *layout.Plan, h *hypothesis) string {
	var what []string
	var coils, strings_ []string
	for _, f := range h.faults {
		switch f.Kind {
		case layout.CoilReversed:
			coils = append(coils, f.ID)
		case layout.StringReversed:
			strings_ = append(strings_, f.ID)
		}
	}
	slices.SortFunc(coils, func(a, b string) int { return cmp.Compare(plan.CoilIndex(a), plan.CoilIndex(b)) })
	slices.SortFunc(strings_, func(a, b string) int { return cmp.Compare(plan.StringIndex(a), plan.StringIndex(b)) })
	switch len(coils) {
	case 0:
	case 1:
		what = append(what, fmt.Sprintf("Coil %s faces the wrong way.", coils[0]))
	default:
		what = append(what, fmt.Sprintf("Coils %s face the wrong way.", and(coils)))
	}
	switch len(strings_) {
	case 0:
	case 1:
		what = append(what, fmt.Sprintf("The whole string %s runs the wrong way: its plus and minus ends are swapped.", strings_[0]))
	default:
		what = append(what, fmt.Sprintf("The strings %s run the wrong way: their plus and minus ends are swapped.", and(strings_)))
	}
	for _, f := range h.faults {
		switch f.Kind {
		case layout.GroupReversed:
			what = append(what, fmt.Sprintf("The group %s is joined the wrong way round.", f.ID))
		case layout.PadReversed:
			what = append(what, "The whole pad runs the wrong way: its plug or the supply's leads are swapped.")
		case layout.CoilShorted:
			what = append(what, fmt.Sprintf("Coil %s is shorted: it makes no field, and %s.", f.ID, shortDoes(plan, h, f.ID)))
		case layout.TurnsShorted:
			what = append(what, fmt.Sprintf("Coil %s is weak: some of its turns are shorted.", f.ID))
		case layout.StringOpen:
			what = append(what, fmt.Sprintf("String %s carries no current: a joint or a wire in it is open.", f.ID))
		case layout.CoilOpen:
			what = append(what, fmt.Sprintf("Coil %s is open, so its whole string carries no current.", f.ID))
		case layout.StringsInSeries:
			few := "both carry"
			if len(f.IDs) > 2 {
				few = "each carries"
			}
			what = append(what, fmt.Sprintf("Strings %s are joined one after the other instead of side by side, so %s too little.", and(f.IDs), few))
		case layout.CoilInWrongString:
			what = append(what, fmt.Sprintf("Coil %s is joined into string %s instead of %s.", f.ID, f.String, plan.Strings[plan.StringOf(plan.CoilIndex(f.ID))].ID))
		}
	}
	return strings.Join(what, " ")
}

// sayMend words what is to be done.
func sayMend(plan *layout.Plan, h *hypothesis, mend []Mend) []string {
	var out, flips []string
	for _, m := range mend {
		if m.Do == Flip {
			flips = append(flips, m.ID)
		}
	}
	for _, m := range mend {
		switch m.Do {
		case SwapPad:
			out = append(out, "Swap the pad's two leads at its plug.")
		case SwapString:
			out = append(out, fmt.Sprintf("Swap the two ends of string %s where it joins the others.", m.ID))
		case Rejoin:
			switch {
			case plan.GroupIndex(m.ID) >= 0:
				out = append(out, fmt.Sprintf("Swap the two ends of group %s where it joins the rest.", m.ID))
			case plan.CoilIndex(m.ID) >= 0:
				own := plan.Strings[plan.StringOf(plan.CoilIndex(m.ID))].ID
				out = append(out, fmt.Sprintf("Take %s out of string %s and join it into string %s.", m.ID, joinedAt(h, m.ID).String, own))
			default:
				ids, joints := joinedAt(h, m.ID).IDs, "joint"
				if len(ids) > 2 {
					joints = "joints"
				}
				if m.ID == ids[1] { // once for all of them
					out = append(out, fmt.Sprintf("Undo the %s between strings %s, and join them side by side again.", joints, and(ids)))
				}
			}
		case RemakeJoint:
			switch {
			case plan.StringIndex(m.ID) >= 0:
				out = append(out, fmt.Sprintf("Find the open joint of string %s with an ohmmeter, coil by coil, and solder it again.", m.ID))
			case shorted(h, m.ID):
				out = append(out, fmt.Sprintf("Look for touching leads or bare wire at %s; part them, or replace the coil.", m.ID))
			default:
				out = append(out, fmt.Sprintf("Solder the joints of %s again; if it stays open, replace the coil.", m.ID))
			}
		case Replace:
			out = append(out, fmt.Sprintf("Replace %s.", m.ID))
		}
	}
	switch len(flips) {
	case 0:
	case 1:
		out = append(out, fmt.Sprintf("Turn %s over, or swap its two leads.", flips[0]))
	default:
		out = append(out, fmt.Sprintf("Turn %s over, or swap the two leads of each.", and(flips)))
	}
	return out
}

// joinedAt is the fault by which a coil or a string is joined where it should not be.
func joinedAt(h *hypothesis, id string) layout.Fault {
	for _, f := range h.faults {
		if f.Kind == layout.CoilInWrongString && f.ID == id || f.Kind == layout.StringsInSeries && slices.Contains(f.IDs, id) {
			return f
		}
	}
	return layout.Fault{}
}

// shorted tells whether a coil is shorted under a hypothesis.
func shorted(h *hypothesis, id string) bool {
	return slices.ContainsFunc(h.faults, func(f layout.Fault) bool { return f.Kind == layout.CoilShorted && f.ID == id })
}

// and joins names as a person would say them.
func and(names []string) string {
	switch len(names) {
	case 0:
		return ""
	case 1:
		return names[0]
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

// shortDoes says what a shorted coil does besides.
func shortDoes(plan *layout.Plan, h *hypothesis, coil string) string {
	string_ := &plan.Strings[plan.StringOf(plan.CoilIndex(coil))]
	if len(string_.Coils) > 1 {
		if i := plan.StringOf(plan.CoilIndex(coil)); math.Abs(h.currents().StringAmps[i]) < 1.02*plannedAmps(plan, i) {
			return "the rest of its string works as before"
		}
		return "the rest of its string carries more current"
	}
	if plan.Supply.Volts == 0 || h.currents().PadVolts < starved*plan.Supply.Volts {
		return fmt.Sprintf("string %s, which has no other coil, takes the current that the others should have", string_.ID)
	}
	return fmt.Sprintf("string %s, which has no other coil, carries far too much current", string_.ID)
}

// plannedAmps is the current of a string as planned.
func plannedAmps(plan *layout.Plan, i int) float64 {
	c, err := plan.Solve()
	if err != nil {
		return 0
	}
	return math.Abs(c.StringAmps[i])
}

// starved is the share of the planned voltage below which strings get too little.
const starved = 0.8
