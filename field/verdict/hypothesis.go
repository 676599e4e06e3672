package verdict

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/layout"
)

// hypothesis is one way the pad may be wired and wound.
type hypothesis struct {
	faults   []layout.Fault
	logPrior float64
	of       *Model
	solved   *flow
	states   []coilState
	key      uint64 // equal where no reading, by phone or ohmmeter, could tell two apart
}

// flow is what flows where, at the planned supply.
type flow struct {
	*layout.Currents
	turns []float64 // ampere-turns per coil, pad frame
}

// cur is what flows where. Where it was let go of it is worked out again.
func (h *hypothesis) cur() *layout.Currents { return h.flow().Currents }

// at are the ampere-turns of each coil, pad frame, at the planned supply.
func (h *hypothesis) at() []float64 { return h.flow().turns }

func (h *hypothesis) flow() *flow {
	if h.solved == nil {
		cur, err := h.of.plan.Solve(h.faults...)
		if err != nil {
			panic("a network that was solved before: " + err.Error())
		}
		h.solved = flowOf(h.of.plan, cur)
	}
	return h.solved
}

func flowOf(p *layout.Plan, cur *layout.Currents) *flow {
	f := &flow{cur, make([]float64, len(p.Coils))}
	for j := range f.turns {
		f.turns[j] = cur.AmpereTurns(p, j)
	}
	return f
}

// letGo frees the currents of a hypothesis of a large pad: most of the thousands that are
// scored are never asked for theirs again.
func (h *hypothesis) letGo() {
	if len(h.states) > largePad {
		h.solved = nil
	}
}

// coilState is a coil's state under a hypothesis, in a byte: thousands are kept at once.
type coilState uint8

const (
	coilAsPlanned coilState = iota
	coilReversed
	coilDead
	coilWeak
	coilStates // how many there are

	coilStarved coilState = 1 << 7 // and so little current that nothing is claimed of it
)

var stateNames = [coilStates]State{StateAsPlanned, StateReversed, StateDead, StateWeak}

// bare is the state itself.
func (s coilState) bare() coilState { return s &^ coilStarved }

func (h *hypothesis) state(j int) State { return stateNames[h.states[j].bare()] }

// starves tells whether a hypothesis leaves coil j next to no current, and yet some.
func (h *hypothesis) starves(j int) bool { return h.states[j]&coilStarved != 0 }

// sameStates tells whether every coil is the same under two hypotheses.
func (h *hypothesis) sameStates(o *hypothesis) bool {
	return slices.EqualFunc(h.states, o.states, func(a, b coilState) bool { return a.bare() == b.bare() })
}

// starvedBelow is the share of its planned current below which a coil makes next to no field,
// through no fault of its own (an estimate, no source).
const starvedBelow = 0.15

// single is one fault with its prior chance.
type single struct {
	fault layout.Fault
	logP  float64
	kind  layout.FaultKind
}

// singles lists every single fault of the plan.
func singles(p *layout.Plan, openCoils map[int]bool) []single {
	var out []single
	add := func(chance float64, f layout.Fault) {
		out = append(out, single{fault: f, logP: math.Log(chance), kind: f.Kind})
	}
	for j := range p.Coils {
		id := p.Coils[j].ID
		add(pCoilReversed, layout.Fault{Kind: layout.CoilReversed, ID: id})
		shorts := shortsOf(p, j)
		for _, ohms := range shorts {
			add(pCoilShorted/float64(len(shorts)), layout.Fault{Kind: layout.CoilShorted, ID: id, Ohms: ohms})
		}
		for _, lost := range lostShares {
			add(pTurnsShorted/float64(len(lostShares)), layout.Fault{Kind: layout.TurnsShorted, ID: id, Lost: lost})
		}
		if openCoils[j] {
			add(inCoil*pStringOpen/float64(len(p.Strings[p.StringOf(j)].Coils)), layout.Fault{Kind: layout.CoilOpen, ID: id})
		}
	}
	for i := range p.Strings {
		id := p.Strings[i].ID
		add(pStringReversed, layout.Fault{Kind: layout.StringReversed, ID: id})
		atJoint := 1.0
		if openCoils[p.Strings[i].Coils[0]] {
			atJoint = 1 - inCoil
		}
		add(atJoint*pStringOpen, layout.Fault{Kind: layout.StringOpen, ID: id})
	}
	for _, g := range p.Groups {
		add(pGroupReversed, layout.Fault{Kind: layout.GroupReversed, ID: g.ID})
	}
	add(pPadReversed, layout.Fault{Kind: layout.PadReversed})
	near := nearestStrings(p)
	for _, set := range parallelSets(p) {
		for a := range set {
			for b := a + 1; b < len(set); b++ {
				if len(set) <= fewStrings || sideBySide(p, near, set[a], set[b]) {
					add(pSeries*2/float64(len(set)), layout.Fault{Kind: layout.StringsInSeries, IDs: []string{set[a], set[b]}})
				}
			}
		}
		chains := longChains(set)
		for _, c := range chains {
			add(pChain/float64(len(chains)), layout.Fault{Kind: layout.StringsInSeries, IDs: c})
		}
	}
	if n := len(p.Coils) * (len(p.Strings) - 1); n > 0 {
		for i := range p.Strings {
			if len(p.Strings[i].Coils) < 2 {
				continue
			}
			for _, j := range p.Strings[i].Coils {
				for _, k := range near[j] {
					if k != i {
						add(pWrongString/float64(n), layout.Fault{Kind: layout.CoilInWrongString, ID: p.Coils[j].ID, String: p.Strings[k].ID})
					}
				}
			}
		}
	}
	return out
}

// What a short across a coil comes to: bare wires that touch, a drop of solder, and
// the way there (an estimate, no source).
const (
	mostShortOhms = 0.25
	shortGrowth   = 1.35 // from one to the next, of the whole string
	thinString    = 0.01 // ohms of a string from which they grow at least
)

// shortsOf are the ohms that may be left across coil j where it is shorted. They matter
// where the coil is all its string has and the supply cannot keep its voltage: what
// the short and the leads come to then decides what the other strings get.
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
	if rest := math.Max(least.StringOhms[own], thinString); matters {
		for whole := rest * shortGrowth; whole-rest < mostShortOhms; whole *= shortGrowth {
			out = append(out, whole-rest)
		}
	}
	return out
}

// Of so many strings any two may have been joined by mistake, and a coil of one into any
// other. Of more, only those are thought of that have a coil among the nearest.
const (
	fewStrings   = 12
	nearestOfAll = 6
)

// chainedStrings is of how many strings side by side three are thought of in one chain.
const chainedStrings = 6

// longChains are three of a few strings one after the other. All in one chain are not thought
// of: every coil then carries the same share of what it should, as where the supply is set
// otherwise.
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

// nearestStrings lists, for each coil, the strings with a coil nearest to it, its own among
// them; all where they are few.
func nearestStrings(p *layout.Plan) (out [][]int) {
	for j := range p.Coils {
		out = append(out, nearestTo(p, j))
	}
	return out
}

// nearestTo lists those of one coil.
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

// newHypothesis solves the network for a set of faults. It returns nil for
// sets that make no sense together.
func newHypothesis(m *Model, faults []layout.Fault, logPrior float64) *hypothesis {
	cur, err := m.plan.Solve(faults...)
	if err != nil {
		return nil
	}
	h := &hypothesis{faults: faults, logPrior: logPrior, of: m}
	h.fill(cur)
	return h
}

// fill takes the currents, and derives ampere-turns, states and key from them.
func (h *hypothesis) fill(cur *layout.Currents) {
	p := h.of.plan
	h.solved = flowOf(p, cur)
	h.states = make([]coilState, len(p.Coils))
	k := newKey()
	for j := range p.Coils {
		facing := cur.CoilAmps[j] * cur.CoilTurns[j]
		switch {
		case facing == 0:
			h.states[j] = coilDead
		case facing < 0:
			h.states[j] = coilReversed
		case cur.CoilTurns[j] < weakBelow*float64(p.WindingOf(j).Turns):
			h.states[j] = coilWeak
		default:
			h.states[j] = coilAsPlanned
		}
		if planned := h.of.planned; planned != nil && facing != 0 && math.Abs(cur.CoilAmps[j]) < starvedBelow*math.Abs(planned.cur().CoilAmps[j]) {
			h.states[j] |= coilStarved
		}
		k.add(facing)
		k.add(cur.CoilOhms[j])
	}
	for i := range p.Strings {
		k.add(cur.StringOhms[i])
	}
	k.add(cur.PadOhms)
	h.key = uint64(k)
}

// key is an FNV-1a hash of numbers rounded to a little less than single
// precision: sums taken in another order differ in the last digits.
type key uint64

func newKey() key { return 14695981039346656037 }

func (k *key) add(x float64) {
	bits := roundedBits(x)
	for i := 0; i < 4; i++ {
		*k = (*k ^ key(bits>>(8*i)&0xff)) * 1099511628211
	}
}

// mix is add in one step instead of four, for where it is done over and over.
func (k *key) mix(x float64) {
	*k = (*k ^ key(roundedBits(x))) * 0x9e3779b97f4a7c15
	*k ^= *k >> 29
}

// join adds another key.
func (k *key) join(o key) {
	*k = (*k ^ o) * 0x9e3779b97f4a7c15
	*k ^= *k >> 29
}

func roundedBits(x float64) uint32 { return (math.Float32bits(float32(x+0)) + 32) >> 6 }

// text adds a name.
func (k *key) text(s string) {
	for i := range len(s) {
		*k = (*k ^ key(s[i])) * 1099511628211
	}
}

// with adds a fault, or returns nil where it would speak twice of one thing.
func (h *hypothesis) with(s single) *hypothesis {
	p := h.of.plan
	for _, f := range h.faults {
		if f.Kind == s.fault.Kind && f.ID == s.fault.ID && f.String == s.fault.String && slices.Equal(f.IDs, s.fault.IDs) {
			return nil
		}
		// A coil fails in one way at a time, and joins in one wrong place.
		if f.ID != "" && f.ID == s.fault.ID && coilWound(f.Kind) && coilWound(s.fault.Kind) {
			return nil
		}
	}
	// What else is wrong with a coil that carries no current nobody can see,
	// and it is not offered as a second fault.
	if s.kind == layout.CoilShorted || s.kind == layout.TurnsShorted {
		if j := p.CoilIndex(s.fault.ID); h.cur().CoilAmps[j] == 0 {
			return nil
		}
	}
	faults := append(slices.Clone(h.faults), s.fault)
	logPrior := h.logPrior + s.logP + together(len(faults)) - together(len(h.faults))
	flipped := flips(p, &s.fault)
	if flipped == nil || slices.ContainsFunc(faults, func(f layout.Fault) bool { return f.Kind == layout.CoilInWrongString }) {
		return newHypothesis(h.of, faults, logPrior)
	}
	// A reversal changes signs and nothing else.
	cur := *h.cur()
	cur.CoilAmps = slices.Clone(cur.CoilAmps)
	for _, j := range flipped {
		cur.CoilAmps[j] = -cur.CoilAmps[j]
	}
	n := &hypothesis{faults: faults, logPrior: logPrior, of: h.of}
	n.fill(&cur)
	return n
}

// flips lists the coils that a fault of reversal turns; nil for other faults.
func flips(p *layout.Plan, f *layout.Fault) []int {
	switch f.Kind {
	case layout.CoilReversed:
		return []int{p.CoilIndex(f.ID)}
	case layout.StringReversed:
		return p.Strings[p.StringIndex(f.ID)].Coils
	case layout.GroupReversed:
		return coilsOfGroup(p, f.ID, 0)
	case layout.PadReversed:
		all := make([]int, len(p.Coils))
		for j := range all {
			all[j] = j
		}
		return all
	}
	return nil
}

// coilWound tells faults of which a coil can have but one.
func coilWound(k layout.FaultKind) bool {
	switch k {
	case layout.CoilShorted, layout.TurnsShorted, layout.CoilOpen, layout.CoilInWrongString:
		return true
	}
	return false
}

// faultNames is a name equal for equal sets of faults, whatever their degree.
func faultNames(faults []layout.Fault) string {
	var names []string
	for _, f := range faults {
		names = append(names, string(f.Kind)+":"+f.ID+":"+strings.Join(f.IDs, ",")+":"+f.String)
	}
	slices.Sort(names)
	return strings.Join(names, ";")
}
