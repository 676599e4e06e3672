package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/layout"
)

// Who is asked for A2 and lays the phone on A3 reads A3. Where coils differ, A2 may then look
// weak or dead, which is dear to mend. So before a coil is called that on one hold alone, the
// hold is held against the coils beside it as well. Or A2 may look as planned but read poorly,
// though it was not read at all.

const (
	pWrongCoil   = 0.004 // that a hold lay on a coil beside the one told (an estimate, no source)
	besideCoils  = 8     // nearest coils that are thought of
	muchLikelier = 3.0   // log units by which one further away must explain more to be named instead of a nearer one
	worthAsking  = 0.01  // of the likeliest explanation's chance, from which a coil called weak or dead is asked for again
	maybeUnread  = 0.2   // the same for a coil called as planned,
	poorly       = 5.0   // whose hold must fall short by so many log units
)

// readBeside are coils that were read by one hold alone which may have lain on a coil beside, each
// with that coil: coils called weak or dead, and coils called as planned whose hold the other
// explains far better.
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

// likeliestBeside is the coil beside a hold's own on which the phone most likely lay instead, under
// a node, and the log posterior of that.
func (e *engine) likeliestBeside(n *node, factor int, h *holdFactor) (coil int, log float64) {
	log = math.Inf(-1)
	src := &e.ev.sources[h.source]
	before, all := n.tot[h.source], e.total(n.tot, &n.sc)
	for _, j := range e.nearestCoils(h.coil, besideCoils) {
		there, d := *h, *h.digest
		d.coil = j
		there.digest, there.made, there.buf, there.weighed = &d, nil, nil, nil
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

// nearestCoils are the coils nearest to one, so many at most, the nearest first.
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
