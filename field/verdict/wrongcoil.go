package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/layout"
)

// Who is told A2 and lays the phone on A3 reads A3. Where coils differ that may look like a
// coil that is weak or dead, which is dear to mend: before it is called so on one hold alone,
// that hold is held against the coils beside it as well. Or it may look like one as planned
// that was read poorly, and A2 was not read at all.

const (
	pWrongCoil   = 0.004 // that a hold lay on a coil beside the one told (an estimate, no source)
	besideCoils  = 8     // coils beside it that are thought of, the nearest
	muchLikelier = 3.0   // log units by which one further away must explain more to be named instead
	worthAsking  = 0.01  // of the likeliest explanation's chance, from which it is asked for again
	// The same for a coil as planned, which is likely enough as such not to have been read, and
	// by how much, in log units, its hold must fall short for that to come near.
	maybeUnread, poorly = 0.2, 5.0
)

// readBeside are the coils called weak or dead by one hold alone that reads as a coil beside
// them should, or as planned by one that reads so much better, and those coils.
func (e *engine) readBeside(list []*scored, top *node) map[int]int {
	if top == nil {
		return nil
	}
	out := map[int]int{}
	for i, f := range e.factors {
		h, ok := f.(*holdFactor)
		if !ok || e.used(h.coil)-e.measured(h.coil) > 1 {
			continue
		}
		id := e.m.plan.Coils[h.coil].ID
		if top.short[i] > poorly && list[0].hyp.states[h.coil].bare() == coilAsPlanned {
			if beside, log := e.likeliestBeside(top, i, h); log > top.log+math.Log(maybeUnread) {
				out[h.coil] = beside
			}
			continue
		}
		rest := slices.DeleteFunc(slices.Clone(list[0].hyp.faults), func(f layout.Fault) bool {
			return f.ID == id && (f.Kind == layout.CoilShorted || f.Kind == layout.TurnsShorted)
		})
		if len(rest) == len(list[0].hyp.faults) {
			continue
		}
		without := newHypothesis(e.m, rest, e.priorOf(rest...))
		if without == nil {
			continue
		}
		n := e.nodeOf(&scored{hyp: without})
		if beside, log := e.likeliestBeside(n, i, h); log > list[0].log+math.Log(worthAsking) {
			out[h.coil] = beside
		}
		e.slim(n)
	}
	return out
}

// likeliestBeside is the coil beside a hold's on which the phone likeliest lay instead under a
// node, and the log posterior of that.
func (e *engine) likeliestBeside(n *node, factor int, h *holdFactor) (coil int, log float64) {
	log = math.Inf(-1)
	src := &e.ev.sources[h.source]
	before, all := n.tot[h.source], e.total(n.tot, &n.sc)
	for _, j := range e.nearestCoils(h.coil, besideCoils) {
		there, d := *h, *h.digest
		d.coil = j
		there.digest, there.comps, there.buf, there.seen = &d, nil, nil, nil
		field := e.fieldAt(n, h.ph, e.m.columnsFor(h.ph.grid, j, d.shift, d.topDeg, src.mended))
		said := make([]float64, len(before))
		there.like(said, n.ampTurns, field, &h.ph.view, &n.bg[factor], &n.sc)
		tot := slices.Clone(n.tot)
		tot[h.source] = slices.Clone(before)
		exchange(tot[h.source], said, n.said[factor].log)
		if l := n.log + e.total(tot, &n.sc) - all; l > log+muchLikelier || math.IsInf(log, -1) {
			coil, log = j, l
		}
	}
	return coil, log + math.Log(pWrongCoil/besideCoils)
}

// nearestCoils are so many coils nearest to one, the nearest first.
func (e *engine) nearestCoils(coil, most int) []int {
	at := func(j int) float64 { return r2.Norm(r2.Sub(e.m.plan.Coils[j].At, e.m.plan.Coils[coil].At)) }
	var all []int
	for j := range e.m.plan.Coils {
		if j != coil {
			all = append(all, j)
		}
	}
	slices.SortStableFunc(all, func(a, b int) int { return cmp.Compare(at(a), at(b)) })
	return all[:min(len(all), most)]
}

// isBeside tells of a coil whether it was read as another one should.
func (u *unexplained) isBeside(coil int) bool {
	_, is := u.beside[coil]
	return is
}

// nextBeside asks for such a coil once more; nil where there is none.
func (e *engine) nextBeside(u *unexplained) *Next {
	for j := range e.m.plan.Coils {
		if k, is := u.beside[j]; is {
			id, other := e.m.plan.Coils[j].ID, e.m.plan.Coils[k].ID
			return &Next{At: id, Why: fmt.Sprintf("What was read over %[1]s may be what %[2]s beside it should give. Did the phone lie there? Read %[1]s once more.", id, other)}
		}
	}
	return nil
}
