package verdict

import (
	"math"
	"slices"
)

// The passes of a check are aligned one after the other: each narrows down where the phone's
// sensor sits, and so in which lanes the next has to be looked for.

// alignPasses aligns the passes that have not been yet: each by itself, and then once more with
// what all passes of its phone say of where the sensor sits. A row whose coils carry half their
// current, or none, may by itself fit best where the sensor is not.
func (e *engine) alignPasses() {
	bases := e.bases()
	var fresh []*passDigest
	for i := range e.ev.passes {
		if d := &e.ev.passes[i]; d.lanes == nil {
			e.m.prepare(d, &e.ev.sources[d.source], e.groups[e.groupFor(d.source, d.topDeg)].prior())
			fresh = append(fresh, d)
		}
	}
	for src := range e.phones {
		var of []*passDigest
		for _, d := range fresh {
			if d.source == src {
				of = append(of, d)
			}
		}
		catchUp(of)
	}
	for _, d := range fresh {
		e.alignOne(d, bases)
	}
	for src := range e.phones {
		chance := e.chancesByPasses(src)
		for _, d := range fresh {
			if d.source != src || d.aligner.narrow() {
				continue
			}
			var lanes []laneFit
			for l, in := range e.lanesInPlay(d, chance) {
				if in && !d.lanes[l].begun {
					d.lanes[l].begun = true
					lanes = append(lanes, laneFit{l, math.Inf(1)})
				}
			}
			d.aligner.begin(lanes, 0, bases)
		}
	}
}

// alignOne aligns a pass in the lanes where the passes before it leave the sensor, and in all where
// it fits nothing well in those.
func (e *engine) alignOne(d *passDigest, bases []*hypothesis) {
	lanes, reach := d.aligner.begun()
	if !d.aligner.narrow() {
		in := e.lanesInPlay(d, e.chancesByPasses(d.source))
		var few []laneFit
		for _, l := range lanes {
			if in[l.lane] {
				few = append(few, l)
			}
		}
		if len(few) < len(lanes) {
			d.aligner.begin(few, reach, bases)
			if w := d.best(); w != nil && w.lack < wellSettled {
				return
			}
		}
	}
	d.aligner.begin(lanes, reach, bases)
}

// chancesByPasses is how likely a phone's sensor sits in each offset cell by the passes aligned so
// far, as a logarithm.
func (e *engine) chancesByPasses(src int) []float64 {
	ph := e.phones[src]
	chance := slices.Clone(ph.prior)
	for i := range e.ev.passes {
		d := &e.ev.passes[i]
		if d.source != src || d.best() == nil {
			continue
		}
		tops, best := make([]float64, len(d.lanes)), math.Inf(-1)
		for l := range d.lanes {
			tops[l] = d.lanes[l].top()
			best = max(best, tops[l])
		}
		for c := range chance {
			at := math.Inf(-1)
			for _, l := range d.lanesBeside(d.beside(ph, c)) {
				at = max(at, tops[l])
			}
			chance[c] += max(at-best, -hopelessLane)
		}
	}
	return chance
}

// lanesInPlay tells of each lane of a pass whether the sensor may have gone there, given how likely
// it sits in each offset cell.
func (e *engine) lanesInPlay(d *passDigest, chance []float64) []bool {
	ph, in := e.phones[d.source], make([]bool, len(d.lanes))
	likeliest := slices.Max(chance)
	for c := range chance {
		if chance[c] < likeliest-hopelessWay {
			continue
		}
		for _, l := range d.lanesBeside(d.beside(ph, c)) {
			in[l] = true
		}
	}
	return in
}
