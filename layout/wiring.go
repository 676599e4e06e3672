package layout

import (
	"fmt"
	"math"
	"slices"
)

// wiring is a pad as it is really joined: the plan with faults built in.
type wiring struct {
	plan       *Plan
	coils      [][]int   // of each string, in order
	coilSign   []float64 // -1: joined the wrong way round in its string
	turnsLeft  []float64 // share of a coil's turns that carry current
	shortOhms  []float64 // across a coil that is shorted
	coilOpen   []bool
	stringSign []float64
	stringOpen []bool
	groupSign  []float64
	padSign    float64
	chains     [][]string // members of one parallel join, in series by mistake
}

// wired builds faults into the plan. Corner cases:
//
//   - A coil joined into the wrong string comes at that string's minus end, the
//     way round it was planned. A string that has lost all its coils that way
//     is open: nobody joins two bare leads.
//   - Reversals add up: a coil reversed in a reversed string faces as planned.
//   - A short across a coil bridges whatever else is wrong with it.
//   - The same fault twice, or two that contradict each other (a coil joined
//     into two strings, two shares of turns, a string in two chains), make no
//     sense and are an error.
func (p *Plan) wired(faults []Fault) (*wiring, error) {
	nc, ns, ng := len(p.Coils), len(p.Strings), len(p.Groups)
	w := &wiring{plan: p, coils: make([][]int, ns), coilOpen: make([]bool, nc), stringOpen: make([]bool, ns), padSign: 1}
	w.shortOhms = make([]float64, nc)
	ones := make([]float64, 2*nc+ns+ng)
	for i := range ones {
		ones[i] = 1
	}
	w.coilSign, w.turnsLeft = ones[:nc], ones[nc:2*nc]
	w.stringSign, w.groupSign = ones[2*nc:2*nc+ns], ones[2*nc+ns:]
	for i := range p.Strings {
		w.coils[i] = p.Strings[i].Coils
	}
	moved := map[int]bool(nil)
	for k, f := range faults {
		fail := func(format string, args ...any) error {
			return fmt.Errorf("fault %s: %s", f.Text(), fmt.Sprintf(format, args...))
		}
		for _, g := range faults[:k] {
			if sameFault(f, g) {
				return nil, fail("given twice")
			}
		}
		coil, str, group := -1, -1, -1
		switch f.Kind {
		case CoilReversed, CoilShorted, TurnsShorted, CoilOpen, CoilInWrongString:
			if coil = p.CoilIndex(f.ID); coil < 0 {
				return nil, fail("the plan has no coil %q", f.ID)
			}
		case StringReversed, StringOpen:
			if str = p.StringIndex(f.ID); str < 0 {
				return nil, fail("the plan has no string %q", f.ID)
			}
		case GroupReversed:
			if group = p.GroupIndex(f.ID); group < 0 {
				return nil, fail("the plan has no group %q", f.ID)
			}
		}
		switch f.Kind {
		case CoilReversed:
			w.coilSign[coil] = -1
		case StringReversed:
			w.stringSign[str] = -1
		case GroupReversed:
			w.groupSign[group] = -1
		case PadReversed:
			w.padSign = -1
		case CoilShorted:
			if !(f.Ohms >= 0) || math.IsInf(f.Ohms, 1) {
				return nil, fail("expected ohms from 0 on between the leads of a shorted coil, found %g", f.Ohms)
			}
			w.turnsLeft[coil], w.shortOhms[coil] = 0, f.Ohms
		case TurnsShorted:
			lost := f.lost()
			if !(lost > 0 && lost < 1) {
				return nil, fail("expected a share of turns between 0 and 1, found %g", lost)
			}
			if w.turnsLeft[coil] != 0 {
				w.turnsLeft[coil] = 1 - lost
			}
		case CoilOpen:
			w.coilOpen[coil] = true
		case StringOpen:
			w.stringOpen[str] = true
		case CoilInWrongString:
			to, from := p.StringIndex(f.String), p.StringOf(coil)
			switch {
			case to < 0:
				return nil, fail("the plan has no string %q", f.String)
			case to == from:
				return nil, fail("coil %q is planned in string %q", f.ID, f.String)
			case moved[coil]:
				return nil, fail("coil %q cannot be in two wrong strings", f.ID)
			}
			if moved == nil {
				moved = map[int]bool{}
			}
			moved[coil] = true
			if from >= 0 {
				w.coils[from] = slices.DeleteFunc(slices.Clone(w.coils[from]), func(j int) bool { return j == coil })
			}
			w.coils[to] = append(slices.Clip(w.coils[to]), coil)
		case StringsInSeries:
			if err := w.chain(f.IDs); err != nil {
				return nil, fail("%v", err)
			}
		default:
			return nil, fail("expected a kind of fault, found %q", f.Kind)
		}
	}
	return w, nil
}

// chain notes that members of one parallel join are in series.
func (w *wiring) chain(ids []string) error {
	if len(ids) < 2 {
		return fmt.Errorf("expected at least two strings, found %d", len(ids))
	}
	for i, id := range ids {
		if slices.Contains(ids[:i], id) {
			return fmt.Errorf("%q is named twice", id)
		}
		for _, c := range w.chains {
			if slices.Contains(c, id) {
				return fmt.Errorf("%q is in another chain already", id)
			}
		}
	}
	p := w.plan
	if len(p.Groups) == 0 {
		for _, id := range ids {
			if p.StringIndex(id) < 0 {
				return fmt.Errorf("the plan has no string %q", id)
			}
		}
		w.chains = append(w.chains, ids)
		return nil
	}
	for g := range p.Groups {
		if !slices.Contains(p.Groups[g].Of, ids[0]) {
			continue
		}
		for _, id := range ids {
			if !slices.Contains(p.Groups[g].Of, id) {
				return fmt.Errorf("expected members of one group, found %q outside group %q", id, p.Groups[g].ID)
			}
		}
		if p.Groups[g].Join != Parallel {
			return fmt.Errorf("group %q joins its members in series as planned", p.Groups[g].ID)
		}
		w.chains = append(w.chains, ids)
		return nil
	}
	return fmt.Errorf("no group joins %q with others", ids[0])
}

func (f Fault) lost() float64 {
	if f.Lost == 0 {
		return DefaultLost
	}
	return f.Lost
}

// sameFault tells whether two faults cannot both be given: they speak of the
// same thing in the same way.
func sameFault(a, b Fault) bool {
	if a.Kind != b.Kind {
		return false
	}
	switch a.Kind {
	case PadReversed:
		return true
	case StringsInSeries, CoilInWrongString:
		return false // checked where they are built in
	}
	return a.ID == b.ID
}
