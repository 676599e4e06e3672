package verdict

import (
	"math"
	"slices"

	"polewise/layout"
)

// A coil may have lost any share of its turns; a few shares stand for all (lostShares). Where the
// current of much of the pad depends on one coil's ohms, readings tell its share far better than
// these lie apart, and the right fault with a share a little off explains them badly. Then shares
// between are tried.

const (
	sharpShare  = 3.0  // log units by which a share must be better than its neighbours to be looked at closer
	closerWorth = 1.0  // log units by which a share between must be better to be taken
	mostClosest = 4    // times that the step to the next share is halved
	mostSharp   = 6    // explanations that are looked at
	sharpWithin = 40.0 // log units of the best
	mostLost    = 0.85 // of the turns: a coil that lost more is as good as shorted
)

// finerShares tries shares of lost turns between those that stand for all, in the best explanations
// that have such a fault. It reports whether that made one better than the best so far.
func (e *engine) finerShares() (leads bool) {
	best := e.highest()
	seen := map[string]bool{}
	for _, s := range e.ranked() {
		if s.log < best-sharpWithin || len(seen) == mostSharp {
			break
		}
		name := nameOfFaults(s.hyp.faults)
		if seen[name] || !slices.ContainsFunc(s.hyp.faults, func(f layout.Fault) bool { return f.Kind == layout.TurnsShorted }) {
			continue
		}
		seen[name] = true
		for i := range s.hyp.faults {
			if s.hyp.faults[i].Kind == layout.TurnsShorted {
				s = e.finer(s, i)
			}
		}
	}
	e.best = e.highest()
	return e.best > best+closerWorth
}

// finer is an explanation with the share of one of its faults as close as readings tell it, found
// by halving the step to the shares beside it.
func (e *engine) finer(s *scored, fault int) *scored {
	f := &s.hyp.faults[fault]
	at := slices.Index(lostShares, f.Lost)
	if at < 1 || !e.sharpAt(s, fault, at) {
		return s
	}
	below, above := (f.Lost-lostShares[at-1])/2, (mostLost-f.Lost)/2
	if at+1 < len(lostShares) {
		above = (lostShares[at+1] - f.Lost) / 2
	}
	logP := e.priors[nameOf(f)]
	for range mostClosest {
		logP -= math.Ln2 // each share stands for half as many as before
		top := s
		for _, by := range [2]float64{-below, above} {
			switch o := e.withShare(s, fault, s.hyp.faults[fault].Lost+by, logP); {
			case o == nil:
			case o.log > top.log+closerWorth:
				top = o
			default: // the shares beside it stand for it well enough
				delete(e.seen, o.hyp.key)
			}
		}
		s = top
		below, above = below/2, above/2
	}
	return s
}

// withShare is an explanation with another share of one of its faults, scored.
func (e *engine) withShare(s *scored, fault int, lost, logP float64) *scored {
	faults := slices.Clone(s.hyp.faults)
	faults[fault].Lost = lost
	if _, ok := e.priors[nameOf(&faults[fault])]; !ok {
		e.priors[nameOf(&faults[fault])] = logP
	}
	h := newHypothesis(e.m, faults, e.priorOf(faults...))
	if h == nil {
		return nil
	}
	e.scoreOwn(h)
	return e.seen[h.key]
}

// sharpAt tells whether the shares beside the one at lostShares[at] explain the readings far worse.
func (e *engine) sharpAt(s *scored, fault, at int) bool {
	logP := e.priors[nameOf(&s.hyp.faults[fault])]
	for _, k := range [2]int{at - 1, at + 1} {
		if k == len(lostShares) {
			continue
		}
		if o := e.withShare(s, fault, lostShares[k], logP); o == nil || o.log > s.log-sharpShare {
			return false
		}
	}
	return true
}
