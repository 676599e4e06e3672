package rehearsal

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"polewise/layout"
)

// Difficulty says how well hidden a picked fault is.
type Difficulty string

// Difficulties.
const (
	Easy  Difficulty = "easy"  // one coil or one whole string the wrong way round
	Usual Difficulty = "usual" // also two coils, the whole pad, something open or shorted, or nothing at all
	Hard  Difficulty = "hard"  // wrong joins, shorted turns, two things at once, or nothing at all
)

// PickFault picks what is to be wrong with a pad; an empty list means nothing.
// Every fault it picks changes some coil's current.
func PickFault(plan *layout.Plan, d Difficulty, rng *rand.Rand) ([]layout.Fault, error) {
	var kinds []func() []layout.Fault
	p := picker{plan, rng}
	switch d {
	case Easy:
		kinds = []func() []layout.Fault{p.coil, p.coil, p.str}
	case Usual:
		kinds = []func() []layout.Fault{p.coil, p.coil, p.twoCoils, p.str, p.pad, p.open, p.shorted, p.nothing}
	case Hard:
		kinds = []func() []layout.Fault{p.series, p.wrongString, p.turns, p.coilAndString, p.stringAndShort, p.twoCoils, p.open, p.nothing}
	default:
		return nil, fmt.Errorf("expected difficulty easy, usual or hard, found %q", d)
	}
	const tries = 100 // some pads are too small for some faults
	for range tries {
		faults := kinds[rng.IntN(len(kinds))]()
		if faults == nil {
			continue
		}
		if len(faults) == 0 || changes(plan, faults) {
			return faults, nil
		}
	}
	return p.coil(), nil
}

// changes tells whether faults make sense and can be seen at all.
func changes(plan *layout.Plan, faults []layout.Fault) bool {
	c, err := plan.Solve(faults...)
	if err != nil {
		return false
	}
	planned, err := plan.Solve()
	if err != nil {
		return false
	}
	for j := range plan.Coils {
		if d := c.AmpereTurns(plan, j) - planned.AmpereTurns(plan, j); d*d > 0.01*planned.AmpereTurns(plan, j)*planned.AmpereTurns(plan, j) {
			return true
		}
	}
	return false
}

// picker draws faults. Its methods return nil when the pad has no room for what
// they draw.
type picker struct {
	plan *layout.Plan
	rng  *rand.Rand
}

func (p picker) anyCoil() string   { return p.plan.Coils[p.rng.IntN(len(p.plan.Coils))].ID }
func (p picker) anyString() string { return p.plan.Strings[p.rng.IntN(len(p.plan.Strings))].ID }

func (p picker) nothing() []layout.Fault { return []layout.Fault{} }

func (p picker) coil() []layout.Fault {
	return []layout.Fault{{Kind: layout.CoilReversed, ID: p.anyCoil()}}
}

func (p picker) twoCoils() []layout.Fault {
	a, b := p.anyCoil(), p.anyCoil()
	if a == b || p.pair(a) && p.stringOf(a) == p.stringOf(b) {
		return nil // both of a pair are their string, reversed
	}
	return []layout.Fault{{Kind: layout.CoilReversed, ID: a}, {Kind: layout.CoilReversed, ID: b}}
}

// str needs a string of several coils beside another string: else it is a coil
// or the pad that is reversed.
func (p picker) str() []layout.Fault {
	id := p.anyString()
	if len(p.plan.Strings) < 2 || len(p.plan.Strings[p.plan.StringIndex(id)].Coils) < 2 {
		return nil
	}
	return []layout.Fault{{Kind: layout.StringReversed, ID: id}}
}

func (p picker) pad() []layout.Fault { return []layout.Fault{{Kind: layout.PadReversed}} }

func (p picker) open() []layout.Fault {
	return []layout.Fault{{Kind: layout.StringOpen, ID: p.anyString()}}
}

func (p picker) shorted() []layout.Fault {
	id := p.anyCoil()
	if len(p.plan.Strings[p.plan.StringOf(p.plan.CoilIndex(id))].Coils) < 2 {
		return nil // the string would be a short across the supply
	}
	return []layout.Fault{{Kind: layout.CoilShorted, ID: id}}
}

func (p picker) turns() []layout.Fault {
	lost := float64(25+5*p.rng.IntN(7)) / 100
	return []layout.Fault{{Kind: layout.TurnsShorted, ID: p.anyCoil(), Lost: lost}}
}

func (p picker) series() []layout.Fault {
	var members []string
	if len(p.plan.Groups) == 0 {
		members = p.plan.StringIDs()
	} else if g := &p.plan.Groups[p.rng.IntN(len(p.plan.Groups))]; g.Join == layout.Parallel {
		members = append(members, g.Of...)
	}
	if len(members) < 2 {
		return nil
	}
	p.rng.Shuffle(len(members), func(i, k int) { members[i], members[k] = members[k], members[i] })
	return []layout.Fault{{Kind: layout.StringsInSeries, IDs: members[:2]}}
}

func (p picker) wrongString() []layout.Fault {
	coil, to := p.anyCoil(), p.anyString()
	from := p.plan.StringOf(p.plan.CoilIndex(coil))
	if p.plan.Strings[from].ID == to || len(p.plan.Strings[from].Coils) < 2 {
		return nil
	}
	return []layout.Fault{{Kind: layout.CoilInWrongString, ID: coil, String: to}}
}

func (p picker) coilAndString() []layout.Fault {
	str, coil := p.str(), p.coil()
	if str == nil || p.pair(coil[0].ID) && p.stringOf(coil[0].ID) == str[0].ID {
		return nil // that is the other one of a pair, reversed
	}
	return append(str, coil...)
}

// stringOf is the string that a coil is in.
func (p picker) stringOf(coil string) string {
	return p.plan.Strings[p.plan.StringOf(p.plan.CoilIndex(coil))].ID
}

// pair tells whether a coil is one of two in its string.
func (p picker) pair(coil string) bool {
	return len(p.plan.Strings[p.plan.StringIndex(p.stringOf(coil))].Coils) == 2
}

func (p picker) stringAndShort() []layout.Fault {
	str, short := p.str(), p.shorted()
	if str == nil || short == nil {
		return nil
	}
	return append(str, short...)
}

// Describe says what is wrong, in words.
func Describe(faults []layout.Fault) string {
	if len(faults) == 0 {
		return "Nothing was wrong: the pad was as planned."
	}
	said := make([]string, len(faults))
	for i, f := range faults {
		switch f.Kind {
		case layout.CoilReversed:
			said[i] = fmt.Sprintf("Coil %s faced the wrong way.", f.ID)
		case layout.StringReversed:
			said[i] = fmt.Sprintf("String %s was joined the wrong way round.", f.ID)
		case layout.GroupReversed:
			said[i] = fmt.Sprintf("Group %s was joined the wrong way round.", f.ID)
		case layout.PadReversed:
			said[i] = "The pad's plug was the wrong way round."
		case layout.CoilShorted:
			said[i] = fmt.Sprintf("Coil %s was shorted: its leads touched.", f.ID)
		case layout.TurnsShorted:
			lost := f.Lost
			if lost == 0 {
				lost = layout.DefaultLost
			}
			said[i] = fmt.Sprintf("Coil %s had %.0f percent of its turns shorted.", f.ID, 100*lost)
		case layout.StringOpen:
			said[i] = fmt.Sprintf("String %s was open: a joint in it did not conduct.", f.ID)
		case layout.CoilOpen:
			said[i] = fmt.Sprintf("Coil %s was open, and with it its string.", f.ID)
		case layout.StringsInSeries:
			said[i] = fmt.Sprintf("Strings %s were joined in series.", strings.Join(f.IDs, " and "))
		case layout.CoilInWrongString:
			said[i] = fmt.Sprintf("Coil %s was joined into string %s.", f.ID, f.String)
		default:
			said[i] = f.Text() + "."
		}
	}
	return strings.Join(said, " ")
}
