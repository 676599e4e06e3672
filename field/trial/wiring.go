package trial

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"polewise/layout"
)

// flow is what a wired pad does when driven.
// unsaidLost is the share of shorted turns of a fault that names none.
const unsaidLost = 0.35

type flow struct {
	amps     []float64 // of each coil, signed so that positive is counter-clockwise from above
	share    []float64 // of each coil's turns that carry it
	padAmps  float64
	padOhms  float64
	coilOhms []float64 // of each coil by itself; +Inf open
}

// wired is a pad with faults built in.
type wired struct {
	p          *pad
	sign       []float64 // of each coil in its string
	share      []float64
	shorted    []bool
	coilOpen   []bool
	ohms       []float64 // of each coil with its turns all there, at the temperature of the day
	chain      [][]int   // coils of each string as joined
	stringTurn []bool
	stringOpen []bool
	groupTurn  []bool
	padTurn    bool
	series     [][]string // strings or groups chained by mistake

	parts []part
	nodes int
}

// build joins a pad as planned but for the faults. ohms are the coils' own; nil
// for those of the plan.
func (p *pad) build(ohms []float64, faults []layout.Fault) (*wired, error) {
	n := len(p.coils)
	w := &wired{p: p, sign: make([]float64, n), share: make([]float64, n), shorted: make([]bool, n), coilOpen: make([]bool, n),
		ohms: slices.Clone(ohms), stringTurn: make([]bool, len(p.strings)), stringOpen: make([]bool, len(p.strings)), groupTurn: make([]bool, len(p.groups))}
	if ohms == nil {
		for j := range p.coils {
			w.ohms = append(w.ohms, p.coils[j].kind.ohms20())
		}
	}
	for j := range n {
		w.sign[j], w.share[j] = p.coils[j].north(), 1
	}
	for _, s := range p.strings {
		w.chain = append(w.chain, slices.Clone(s.coils))
	}
	for _, f := range faults {
		coil, str := p.coilIndex(f.ID), p.stringIndex(f.ID)
		missing := fmt.Errorf("fault %s: no such part", f.Text())
		switch f.Kind {
		case layout.CoilReversed, layout.CoilShorted, layout.TurnsShorted, layout.CoilOpen, layout.CoilInWrongString:
			if coil < 0 {
				return nil, missing
			}
		case layout.StringReversed, layout.StringOpen:
			if str < 0 {
				return nil, missing
			}
		}
		switch f.Kind {
		case layout.CoilReversed:
			w.sign[coil] *= -1
		case layout.CoilShorted:
			w.shorted[coil] = true
		case layout.TurnsShorted:
			lost := f.Lost
			if lost == 0 {
				lost = unsaidLost
			}
			w.share[coil] *= 1 - lost
		case layout.CoilOpen:
			w.coilOpen[coil] = true
		case layout.StringReversed:
			w.stringTurn[str] = !w.stringTurn[str]
		case layout.StringOpen:
			w.stringOpen[str] = true
		case layout.GroupReversed:
			k := slices.IndexFunc(p.groups, func(g padGroup) bool { return g.id == f.ID })
			if k < 0 {
				return nil, missing
			}
			w.groupTurn[k] = !w.groupTurn[k]
		case layout.PadReversed:
			w.padTurn = !w.padTurn
		case layout.CoilInWrongString:
			to := p.stringIndex(f.String)
			if to < 0 {
				return nil, missing
			}
			for i := range w.chain {
				w.chain[i] = slices.DeleteFunc(w.chain[i], func(j int) bool { return j == coil })
			}
			w.chain[to] = append(w.chain[to], coil)
		case layout.StringsInSeries:
			w.series = append(w.series, f.IDs)
		default:
			return nil, fmt.Errorf("fault %s: unknown kind", f.Text())
		}
	}
	return w, nil
}

func (w *wired) node() int {
	w.nodes++
	return w.nodes - 1
}

func (w *wired) begin() {
	w.parts = nil
	w.nodes = 2 // 0 minus, 1 plus
}

// joinCoil puts a coil between two nodes: start lead at from.
func (w *wired) joinCoil(j, from, to int) {
	ohms := w.ohms[j] * w.share[j]
	if w.coilOpen[j] {
		ohms = math.Inf(1)
	}
	w.parts = append(w.parts, part{from, to, ohms, j})
	if w.shorted[j] {
		w.parts = append(w.parts, part{from, to, 0, -1})
	}
}

func (w *wired) joinString(i, from, to int) {
	if w.stringTurn[i] {
		from, to = to, from
	}
	if len(w.chain[i]) == 0 {
		return // bare leads
	}
	at := from
	for _, j := range w.chain[i] {
		next := w.node()
		// A coil joined the wrong way round has its start lead at the far end.
		// A coil planned north down is only another sense of winding.
		if w.sign[j]*w.p.coils[j].north() > 0 {
			w.joinCoil(j, at, next)
		} else {
			w.joinCoil(j, next, at)
		}
		at = next
	}
	lead := w.p.strings[i].leadOhms
	if lead == 0 {
		lead = 1e-4 // no joint is perfect; keeps a shorted lone coil from being a perfect short
	}
	if w.stringOpen[i] {
		lead = math.Inf(1)
	}
	w.parts = append(w.parts, part{at, to, lead, -1})
}

func (w *wired) joinAny(id string, from, to int) {
	if i := w.p.stringIndex(id); i >= 0 {
		w.joinString(i, from, to)
		return
	}
	for k, g := range w.p.groups {
		if g.id != id {
			continue
		}
		if w.groupTurn[k] {
			from, to = to, from
		}
		if g.series {
			w.inRow(g.of, from, to)
		} else {
			w.beside(g.of, from, to)
		}
	}
}

func (w *wired) inRow(ids []string, from, to int) {
	at := from
	for k, id := range ids {
		next := to
		if k < len(ids)-1 {
			next = w.node()
		}
		w.joinAny(id, at, next)
		at = next
	}
}

func (w *wired) beside(ids []string, from, to int) {
	for _, id := range ids {
		row := []string{id}
		later := false
		for _, s := range w.series {
			if slices.Contains(s, id) {
				row, later = s, s[0] != id
			}
		}
		if !later {
			w.inRow(row, from, to)
		}
	}
}

func (w *wired) joinPad(from, to int) {
	if w.padTurn {
		from, to = to, from
	}
	if g := w.p.rootGroup(); g >= 0 {
		w.joinAny(w.p.groups[g].id, from, to)
		return
	}
	var all []string
	for _, s := range w.p.strings {
		all = append(all, s.id)
	}
	w.beside(all, from, to)
}

// drive solves the pad at its supply.
func (w *wired) drive() flow {
	w.begin()
	w.joinPad(1, 0)
	perVolt, total := nodal(w.parts, w.nodes)
	f := flow{amps: make([]float64, len(w.p.coils)), share: slices.Clone(w.share), coilOhms: make([]float64, len(w.p.coils)), padOhms: math.Inf(1)}
	if total > 0 {
		f.padOhms = 1 / total
	}
	s := w.p.supply
	switch {
	case total == 0:
	case s.volts > 0:
		f.padAmps = s.volts / (s.sourceOhms + f.padOhms)
	default:
		f.padAmps = s.amps
	}
	if s.limitAmps > 0 {
		f.padAmps = math.Min(f.padAmps, s.limitAmps)
	}
	for k, part := range w.parts {
		if part.coil >= 0 && total > 0 {
			f.amps[part.coil] = perVolt[k] * f.padAmps * f.padOhms * w.p.coils[part.coil].north()
			if w.shorted[part.coil] {
				f.amps[part.coil] = 0
			}
		}
	}
	for j := range w.p.coils {
		f.coilOhms[j] = w.ohmsOf(func() { w.joinCoil(j, 1, 0) })
	}
	return f
}

// ohmsOf measures something by itself.
func (w *wired) ohmsOf(join func()) float64 {
	w.begin()
	join()
	_, total := nodal(w.parts, w.nodes)
	switch {
	case total == 0:
		return math.Inf(1)
	case math.IsInf(total, 1):
		return 0
	}
	return 1 / total
}

// measure is what an ideal ohmmeter reads across something, named as in a
// capture: coil:ID, string:ID, group:ID, pad.
func (w *wired) measure(across string) float64 {
	return w.ohmsOf(func() {
		if across == "pad" {
			w.joinPad(1, 0)
			return
		}
		_, id, _ := strings.Cut(across, ":")
		if j := w.p.coilIndex(id); j >= 0 {
			w.joinCoil(j, 1, 0)
			return
		}
		w.joinAny(id, 1, 0)
	})
}
