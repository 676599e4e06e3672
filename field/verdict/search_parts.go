package verdict

import (
	"math"
	"slices"

	"polewise/field/readings"
)

// Neighbours of a node are scored over part of a phone's cells: those where the node may have the
// sensor.

// part is some of a phone's cells in play, with the places that belong to them.
type part struct {
	view
	index []int   // of each cell: its position among the phone's
	from  []int32 // of each place: its position among the phone's
}

// large tells whether a part is so large that a glance at fewer cells, or remembering what was
// said in it, saves anything.
func (p *part) large() bool { return len(p.places) > 2*glanceCells }

// parts are one part of each phone.
type parts []part

// cells are those of a phone's part.
func (ps parts) cells(phone int) []int { return ps[phone].cells }

// Bounds on the parts that neighbours are looked at in.
const (
	likelyWithin = 16.0 // log units below the likeliest cell: less likely ones hardly count,
	likelySpare  = 4.0  // but so many more are taken, so that the same cells do after the next reading
	likelyWorth  = 0.5  // of all cells, at most: else all are taken, and what is known of them is shared
)

// partsFor is the cells in which neighbours of a node are scored: those where the node may have
// the sensor, or anywhere if the neighbour may have it elsewhere.
func (e *engine) partsFor(n *node, anywhere bool) parts {
	if e.whole == nil {
		for _, ph := range e.phones {
			e.whole = append(e.whole, ph.part(ph.view))
		}
	}
	if anywhere {
		return e.whole
	}
	if n.likely == nil {
		n.likely = slices.Clone(e.whole)
		for p, ph := range e.phones {
			log := e.cellLogs(n, p)
			top := slices.Max(log)
			var needed, wanted []int
			for c, l := range log {
				if l > top-likelyWithin {
					needed = append(needed, ph.cells[c])
				}
				if l > top-likelyWithin-likelySpare {
					wanted = append(wanted, ph.cells[c])
				}
			}
			if float64(len(wanted)) < likelyWorth*float64(len(log)) {
				n.likely[p] = ph.part(e.m.views.of(p, ph, n.hyp.key, needed, wanted, ph.inPlay))
			}
		}
	}
	return n.likely
}

// glanceFor is the few likeliest cells of each phone, of those within likelyWithin.
func (e *engine) glanceFor(n *node) (out parts) {
	for p, ph := range e.phones {
		log := e.cellLogs(n, p)
		least := slices.Max(log) - likelyWithin
		var few []int
		for range min(glanceCells, len(log)) {
			best := 0
			for c := range log {
				if log[c] > log[best] {
					best = c
				}
			}
			if log[best] <= least {
				break
			}
			few = append(few, ph.cells[best])
			log[best] = math.Inf(-1)
		}
		slices.Sort(few)
		out = append(out, ph.part(ph.viewOf(few)))
	}
	return out
}

// cellLogs are the logs of how likely the sensor sits in each of a phone's cells in play under a
// node, up to a constant.
func (e *engine) cellLogs(n *node, p int) []float64 {
	ph := e.phones[p]
	out := make([]float64, len(ph.cells))
	nodes := len(n.sc.s)
	for c, cell := range ph.cells {
		out[c] = math.Inf(-1)
		for m := range nodes {
			out[c] = readings.LogAdd(out[c], ph.prior[cell]+n.tot[p][c*nodes+m]+n.sc.lp[m])
		}
	}
	return out
}

// part is a view of some of the phone's cells in play, with where these stand among all.
func (ph *phone) part(v view) part {
	p := part{view: v}
	for at, c := range ph.cells {
		if len(p.index) < len(v.cells) && v.cells[len(p.index)] == c {
			p.index = append(p.index, at)
		}
	}
	for _, k := range v.places {
		p.from = append(p.from, ph.slot[k])
	}
	return p
}

// inPlay tells whether an offset cell is in play.
func (ph *phone) inPlay(cell int) bool {
	_, ok := slices.BinarySearch(ph.cells, cell)
	return ok
}

// pick appends to a list what another holds for the part's cells, so many numbers a cell.
func (p *part) pick(to, all []float64, nodes int) []float64 {
	for _, c := range p.index {
		to = append(to, all[c*nodes:(c+1)*nodes]...)
	}
	return to
}

// exchangeIn is exchange in a sum over a part's cells: what the factor says now is given for these,
// what it said before for all the phone's.
func exchangeIn[Now float32 | float64](p *part, sum []float64, now []Now, was []float32, nodes int) {
	for q, c := range p.index {
		exchange(sum[q*nodes:(q+1)*nodes], now[q*nodes:(q+1)*nodes], was[c*nodes:(c+1)*nodes])
	}
}

// pickFrom is pick from what a larger part, which has all of this one's cells, holds for its own.
func (p *part) pickFrom(to []float64, larger *part, some []float64, nodes int) []float64 {
	at := 0
	for _, c := range p.index {
		for larger.index[at] != c {
			at++
		}
		to = append(to, some[at*nodes:(at+1)*nodes]...)
	}
	return to
}
