package verdict

import (
	"math"
	"slices"

	"polewise/field/readings"
)

// part is some of the cells of a phone that a node was scored over.
type part struct {
	view
	index []int   // of each cell, where it stands among the phone's
	from  []int32 // of each place, likewise
}

// large tells whether a glance at fewer cells, or remembering what was said in the
// part, saves anything.
func (p *part) large() bool { return len(p.places) > 2*glanceCells }

// parts are one of each phone.
type parts []part

func (ps parts) cells(phone int) []int { return ps[phone].cells }

// Bounds on the parts that neighbours are looked at in.
const (
	likelyWithin = 16.0 // log units below the likeliest cell: less likely ones hardly count
	likelySpare  = 4.0  // more, so that the same cells will do after the next reading
	likelyWorth  = 0.5  // of all cells, at most, or sharing what all nodes know saves more
)

// partsFor is where neighbours of a node are scored: with the sensor where the node
// may have it, or anywhere if it may turn out to sit elsewhere.
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

// cellLogs are the log chances of a phone's cells under a node, up to a constant.
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

// part is a view as part of the cells in play.
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

// pick appends a part of what there is, so many numbers a cell.
func (p *part) pick(to, all []float64, nodes int) []float64 {
	for _, c := range p.index {
		to = append(to, all[c*nodes:(c+1)*nodes]...)
	}
	return to
}

// exchangeIn puts what a factor says now in a part in the place of what it said of
// all the cells.
func exchangeIn[Now float32 | float64](p *part, sum []float64, now []Now, was []float32, nodes int) {
	for q, c := range p.index {
		exchange(sum[q*nodes:(q+1)*nodes], now[q*nodes:(q+1)*nodes], was[c*nodes:(c+1)*nodes])
	}
}

// pickFrom is pick from a part that has all of this one's cells.
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
