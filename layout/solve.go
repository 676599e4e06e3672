package layout

import (
	"errors"
	"math"
	"slices"
)

// leastStringOhms is the least resistance a string is taken to have: a
// thousandth of an ohm, about what two soldered joints and a hand's width of
// lead come to (an estimate, no source). It only matters where a short leaves
// nothing else, and keeps the current finite there.
const leastStringOhms = 1e-3

// Solve finds the current in every coil of the pad with the given faults built
// in; with none, of the pad as planned.
//
// A limit on the supply's current holds for any supply: one set to a voltage
// then gives as much less as it takes. A supply set to a current that finds
// every way open delivers none, and PadVolts is then 0: how high such a supply
// would go is not in the plan.
//
// Faults that name what the plan does not have, or contradict each other, are
// an error.
func (p *Plan) Solve(faults ...Fault) (*Currents, error) {
	w, err := p.wired(faults)
	if err != nil {
		return nil, err
	}
	c := w.ohms()
	b := newBuilder(w, c)
	if c.PadOhms, err = b.pad(); err != nil {
		return nil, err
	}
	if math.IsInf(c.PadOhms, 1) {
		c.PadVolts = p.Supply.Volts
		return c, nil
	}
	flow, err := b.circuit.Solve()
	if err != nil {
		return nil, err
	}

	share := 1.0
	if limit := p.Supply.LimitAmps; limit > 0 && flow.SupplyAmps > limit {
		share = limit / flow.SupplyAmps // the network is linear
	}
	c.PadAmps = share * flow.SupplyAmps
	c.PadVolts = c.PadAmps * c.PadOhms
	for k, i := range b.stringOf {
		c.StringAmps[i] = b.sign[k] * share * flow.PartAmps[k]
		for _, j := range w.coils[i] {
			if w.turnsLeft[j] > 0 {
				c.CoilAmps[j] = w.coilSign[j] * c.StringAmps[i]
			}
		}
	}
	return c, nil
}

// ohms gives the turns that are left and the resistances of coils and strings; nothing
// flows yet.
func (w *wiring) ohms() *Currents {
	p := w.plan
	nc, ns := len(p.Coils), len(p.Strings)
	store := make([]float64, 3*nc+2*ns+len(p.Groups))
	take := func(n int) []float64 {
		out := store[:n:n]
		store = store[n:]
		return out
	}
	c := &Currents{
		CoilAmps: take(nc), CoilTurns: take(nc), CoilOhms: take(nc),
		StringAmps: take(ns), StringOhms: take(ns), GroupOhms: take(len(p.Groups)),
	}
	for j := range p.Coils {
		winding := p.WindingOf(j)
		c.CoilTurns[j] = float64(winding.Turns) * w.turnsLeft[j]
		c.CoilOhms[j] = winding.Ohms20()*w.turnsLeft[j] + w.shortOhms[j]
		if w.coilOpen[j] && w.turnsLeft[j] > 0 {
			c.CoilOhms[j] = math.Inf(1)
		}
	}
	for i := range p.Strings {
		ohms := p.Strings[i].LeadOhms
		for _, j := range w.coils[i] {
			ohms += c.CoilOhms[j]
		}
		if w.stringOpen[i] || len(w.coils[i]) == 0 {
			ohms = math.Inf(1)
		}
		c.StringOhms[i] = math.Max(ohms, leastStringOhms)
	}
	return c
}

// RootGroup is the index of the group that is the pad: the one that is part of
// no other. It is -1 when there are no groups.
func (p *Plan) RootGroup() int {
	for g := range p.Groups {
		if !slices.ContainsFunc(p.Groups, func(o Group) bool { return slices.Contains(o.Of, p.Groups[g].ID) }) {
			return g
		}
	}
	return -1
}

// builder lays a wiring out as a circuit, with one part for each string.
type builder struct {
	w        *wiring
	c        *Currents
	circuit  Circuit
	nodes    int
	stringOf []int     // string of each part
	sign     []float64 // of each part: -1 where the string is the wrong way round
}

// newBuilder begins with the supply alone, between nodes 1 and 0.
func newBuilder(w *wiring, c *Currents) *builder {
	supply, ns := &w.plan.Supply, len(w.plan.Strings)
	b := &builder{w: w, c: c, nodes: 2, stringOf: make([]int, 0, ns), sign: make([]float64, 0, ns)}
	b.circuit = Circuit{Plus: 1, Volts: supply.Volts, SourceOhms: supply.SourceOhms, Parts: make([]Part, 0, ns)}
	if supply.Volts == 0 {
		b.circuit.Amps = supply.Amps
	}
	return b
}

// pad joins all between the supply's terminals and returns its resistance.
func (b *builder) pad() (float64, error) {
	p := b.w.plan
	if len(p.Groups) == 0 {
		return b.join(Parallel, p.StringIDs(), 1, 0, b.w.padSign, 0)
	}
	root := p.RootGroup()
	if root < 0 {
		return 0, errors.New("layout: no group is the pad")
	}
	return b.group(root, 1, 0, b.w.padSign, 0)
}

// group joins a group between two nodes and returns its resistance.
func (b *builder) group(g, from, to int, sign float64, depth int) (float64, error) {
	if depth > len(b.w.plan.Groups) {
		return 0, errors.New("layout: a group contains itself")
	}
	group := &b.w.plan.Groups[g]
	ohms, err := b.join(group.Join, group.Of, from, to, sign*b.w.groupSign[g], depth)
	b.c.GroupOhms[g] = ohms
	return ohms, err
}

// join joins strings and groups between two nodes and returns the resistance.
func (b *builder) join(how Join, ids []string, from, to int, sign float64, depth int) (float64, error) {
	if how == Series {
		return b.series(ids, from, to, sign, depth)
	}
	siemens := 0.0
	for _, id := range ids {
		members := ids[:0:0]
		if chain := b.chainOf(id); chain == nil {
			members = append(members, id)
		} else if chain[0] == id {
			members = chain
		} else {
			continue // joined with the first of its chain
		}
		ohms, err := b.series(members, from, to, sign, depth)
		if err != nil {
			return 0, err
		}
		siemens += 1 / ohms
	}
	return 1 / siemens, nil
}

func (b *builder) chainOf(id string) []string {
	for _, c := range b.w.chains {
		if slices.Contains(c, id) {
			return c
		}
	}
	return nil
}

// series joins strings and groups one after the other. Where one of them is
// open, none is laid: nothing flows in them, and rounding should not make it
// look as if something did.
func (b *builder) series(ids []string, from, to int, sign float64, depth int) (float64, error) {
	total, laid := 0.0, len(b.stringOf)
	for k, id := range ids {
		end := to
		if k < len(ids)-1 {
			end = b.nodes
			b.nodes++
		}
		if i := b.w.plan.StringIndex(id); i >= 0 {
			b.circuit.Parts = append(b.circuit.Parts, Part{From: from, To: end, Ohms: b.c.StringOhms[i]})
			b.stringOf = append(b.stringOf, i)
			b.sign = append(b.sign, sign*b.w.stringSign[i])
			total += b.c.StringOhms[i]
		} else if g := b.w.plan.GroupIndex(id); g >= 0 {
			ohms, err := b.group(g, from, end, sign, depth+1)
			if err != nil {
				return 0, err
			}
			total += ohms
		} else {
			return 0, errors.New("layout: no string or group " + id)
		}
		from = end
	}
	if math.IsInf(total, 1) {
		b.circuit.Parts, b.stringOf, b.sign = b.circuit.Parts[:laid], b.stringOf[:laid], b.sign[:laid]
	}
	return total, nil
}
