package verdict

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/layout"
)

// The single faults that are thought of, what they are called, and how likely each is before
// anything is read. Every hypothesis is a set of them.

// single is one fault with its log chance before any reading.
type single struct {
	layout.Fault
	logP float64
}

// singleList is single faults being listed.
type singleList []single

// add adds a fault with its chance.
func (l *singleList) add(chance float64, f layout.Fault) {
	*l = append(*l, single{f, math.Log(chance)})
}

// singles lists every single fault of the plan. Of strings of the coils given, an ohmmeter may tell
// a coil that is open from a joint that is.
func singles(p *layout.Plan, toldApart map[int]bool) []single {
	var l singleList
	for j := range p.Coils {
		l.addOfCoil(p, j, toldApart[j])
	}
	for i := range p.Strings {
		id := p.Strings[i].ID
		l.add(pStringReversed, layout.Fault{Kind: layout.StringReversed, ID: id})
		atJoint := 1.0
		if toldApart[p.Strings[i].Coils[0]] {
			atJoint = 1 - inCoil
		}
		l.add(atJoint*pStringOpen, layout.Fault{Kind: layout.StringOpen, ID: id})
	}
	for _, g := range p.Groups {
		l.add(pGroupReversed, layout.Fault{Kind: layout.GroupReversed, ID: g.ID})
	}
	l.add(pPadReversed, layout.Fault{Kind: layout.PadReversed})
	near := nearestStrings(p)
	for _, set := range parallelSets(p) {
		l.addSeries(p, near, set)
	}
	l.addWrongStrings(p, near)
	return l
}

// addOfCoil adds what may be wrong with coil j by itself, but for its joins.
func (l *singleList) addOfCoil(p *layout.Plan, j int, mayBeOpen bool) {
	id := p.Coils[j].ID
	l.add(pCoilReversed, layout.Fault{Kind: layout.CoilReversed, ID: id})
	shorts := shortsOf(p, j)
	for _, ohms := range shorts {
		l.add(pCoilShorted/float64(len(shorts)), layout.Fault{Kind: layout.CoilShorted, ID: id, Ohms: ohms})
	}
	for _, lost := range lostShares {
		l.add(pTurnsShorted/float64(len(lostShares)), layout.Fault{Kind: layout.TurnsShorted, ID: id, Lost: lost})
	}
	if mayBeOpen {
		l.add(inCoil*pStringOpen/float64(len(p.Strings[p.StringOf(j)].Coils)), layout.Fault{Kind: layout.CoilOpen, ID: id})
	}
}

// addSeries adds strings of a set, planned side by side, that are joined one after the other.
func (l *singleList) addSeries(p *layout.Plan, near [][]int, set []string) {
	for a := range set {
		for b := a + 1; b < len(set); b++ {
			if len(set) <= fewStrings || sideBySide(p, near, set[a], set[b]) {
				l.add(pSeries*2/float64(len(set)), layout.Fault{Kind: layout.StringsInSeries, IDs: []string{set[a], set[b]}})
			}
		}
	}
	chains := longChains(set)
	for _, c := range chains {
		l.add(pChain/float64(len(chains)), layout.Fault{Kind: layout.StringsInSeries, IDs: c})
	}
}

// addWrongStrings adds coils that are joined into another string than their own.
func (l *singleList) addWrongStrings(p *layout.Plan, near [][]int) {
	chance := pWrongString / float64(len(p.Coils)*(len(p.Strings)-1)) // of no use with one string
	for i := range p.Strings {
		if len(p.Strings[i].Coils) < 2 {
			continue // its string would be gone
		}
		for _, j := range p.Strings[i].Coils {
			for _, k := range near[j] {
				if k != i {
					l.add(chance, layout.Fault{Kind: layout.CoilInWrongString, ID: p.Coils[j].ID, String: p.Strings[k].ID})
				}
			}
		}
	}
}

// The ohms left across a shorted coil: bare wires that touch, a drop of solder, and the way there
// (estimates, no source).
const (
	mostShortOhms = 0.25
	shortGrowth   = 1.35 // by which the ohms of the whole string grow from one value to the next,
	thinString    = 0.01 // and from which they grow at least
)

// shortsOf are the ohms that stand for all that may be left across coil j where it is shorted. They
// matter where the coil is all its string has and the supply cannot keep its voltage: short and
// leads then decide what the other strings get.
func shortsOf(p *layout.Plan, j int) []float64 {
	own := p.StringOf(j)
	rest := p.Strings[own].LeadOhms
	for _, k := range p.Strings[own].Coils {
		if k != j {
			rest += p.WindingOf(k).Ohms20()
		}
	}
	if rest*(shortGrowth-1) > mostShortOhms {
		return []float64{0} // whatever the supply, the others get about as much
	}
	shorted := func(ohms float64) *layout.Currents {
		c, err := p.Solve(layout.Fault{Kind: layout.CoilShorted, ID: p.Coils[j].ID, Ohms: ohms})
		if err != nil {
			return nil
		}
		return c
	}
	least, most := shorted(0), shorted(mostShortOhms)
	if least == nil || most == nil {
		return []float64{0}
	}
	matters := false
	for i, amps := range least.StringAmps {
		matters = matters || i != own && math.Abs(most.StringAmps[i]) > shortGrowth*math.Abs(amps)
	}
	out := []float64{0}
	if !matters {
		return out
	}
	leads := math.Max(least.StringOhms[own], thinString)
	for whole := leads * shortGrowth; whole-leads < mostShortOhms; whole *= shortGrowth {
		out = append(out, whole-leads)
	}
	return out
}

// Bounds on what is thought to be joined by mistake.
const (
	fewStrings     = 12 // of so many, any two, and a coil of one into any other;
	nearestOfAll   = 6  // of more, only those with a coil among the nearest
	chainedStrings = 6  // of so many side by side at most, three in one chain
)

// longChains are any three of a few strings one after the other. All of them in one chain are not
// thought of: every coil then carries the same share of what it should, as where the supply is
// set otherwise.
func longChains(set []string) (out [][]string) {
	if len(set) <= 3 || len(set) > chainedStrings {
		return nil
	}
	for a := range set {
		for b := a + 1; b < len(set); b++ {
			for c := b + 1; c < len(set); c++ {
				out = append(out, []string{set[a], set[b], set[c]})
			}
		}
	}
	return out
}

// sideBySide tells whether two of many strings have coils that lie near each other.
func sideBySide(p *layout.Plan, near [][]int, a, b string) bool {
	i, k := p.StringIndex(a), p.StringIndex(b)
	return slices.ContainsFunc(p.Strings[i].Coils, func(j int) bool { return slices.Contains(near[j], k) })
}

// nearestStrings lists for each coil the strings that have a coil nearest to it, its own among
// them; all strings where they are few.
func nearestStrings(p *layout.Plan) (out [][]int) {
	for j := range p.Coils {
		out = append(out, nearestTo(p, j))
	}
	return out
}

// nearestTo lists those for one coil.
func nearestTo(p *layout.Plan, j int) []int {
	most := len(p.Strings)
	if most > fewStrings {
		most = nearestOfAll
	}
	type near struct {
		i int
		d float64
	}
	list := make([]near, len(p.Strings))
	for i := range p.Strings {
		list[i] = near{i, math.Inf(1)}
		for _, k := range p.Strings[i].Coils {
			list[i].d = math.Min(list[i].d, r2.Norm2(r2.Sub(p.Coils[k].At, p.Coils[j].At)))
		}
	}
	slices.SortStableFunc(list, func(a, b near) int { return cmp.Compare(a.d, b.d) })
	out := make([]int, 0, most)
	for _, n := range list[:min(most, len(list))] {
		out = append(out, n.i)
	}
	return out
}

// parallelSets lists the ids of strings that are planned side by side.
func parallelSets(p *layout.Plan) [][]string {
	if len(p.Groups) == 0 {
		return [][]string{p.StringIDs()}
	}
	var sets [][]string
	for _, g := range p.Groups {
		if g.Join != layout.Parallel {
			continue
		}
		var set []string
		for _, id := range g.Of {
			if p.StringIndex(id) >= 0 {
				set = append(set, id)
			}
		}
		sets = append(sets, set)
	}
	return sets
}

// coilWound tells the kinds of fault of which a coil can have but one.
func coilWound(k layout.FaultKind) bool {
	switch k {
	case layout.CoilShorted, layout.TurnsShorted, layout.CoilOpen, layout.CoilInWrongString:
		return true
	}
	return false
}

// nameOfFaults is equal for equal sets of faults, whatever their degree.
func nameOfFaults(faults []layout.Fault) string {
	var names []string
	for _, f := range faults {
		names = append(names, string(f.Kind)+":"+f.ID+":"+strings.Join(f.IDs, ",")+":"+f.String)
	}
	slices.Sort(names)
	return strings.Join(names, ";")
}

// changesMany tells the faults that turn or kill a whole string, a group or the pad.
func (s *single) changesMany() bool {
	switch s.Kind {
	case layout.PadReversed, layout.StringReversed, layout.GroupReversed, layout.StringOpen:
		return true
	}
	return false
}

// faultName is a single fault as the key of a map.
type faultName struct {
	kind      layout.FaultKind
	id, other string
	degree    float64 // share of turns lost, or ohms left
}

// nameOf is the name of a fault.
func nameOf(f *layout.Fault) faultName {
	return faultName{f.Kind, f.ID, f.String + strings.Join(f.IDs, " "), f.Lost + f.Ohms}
}

// anyDegree is the name without the degree.
func (n faultName) anyDegree() faultName {
	n.degree = 0
	return n
}

// priorOf is the log prior chance of faults that come together by coincidence.
func (e *engine) priorOf(faults ...layout.Fault) (sum float64) {
	for i := range faults {
		sum += e.priors[nameOf(&faults[i])]
	}
	return sum + together(len(faults))
}
