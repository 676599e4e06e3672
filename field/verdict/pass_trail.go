package verdict

import "math"

// A sensor that smooths its readings trails behind a phone that is drawn along a row:
// what it reads comes late and is blurred, by a centimetre for every tenth of a second,
// and the coil gone by last shows in it still. Aligned as it is, such a pass fits other
// coils than those it went over.

// trails are the time constants tried, seconds: readings that follow the field as a
// first-order low-pass does.
var trails = [...]float64{0, 0.05, 0.1, 0.15, 0.2, 0.27, 0.35, 0.45}

const (
	leastTrail = 3.0  // log units by which a time constant has to explain the passes better than none
	lostTrail  = 25.0 // log units by which it may fall behind before longer ones are not tried
	trailBase  = 0.08 // seconds between the samples of which the change is taken; from closer ones it is noise
)

// trailing is what is known of a pass under one time constant or another.
type trailing struct {
	facing map[float64]float64 // by time constant: facingAny
	tau    float64             // that ticks, grounds and recall are for,
	laid   bool                // if they are for any
}

// catchUp finds how slowly a phone follows, from all its passes together, and turns their samples
// into what a sensor that follows at once would have read.
func catchUp(passes []*passDigest) {
	best, found := math.Inf(-1), 0.0
	for i, tau := range trails {
		var log float64
		for _, d := range passes {
			log += d.aligner.facingWith(tau)
		}
		least := best
		if found == 0 && i > 0 {
			least += leastTrail
		}
		if log > least {
			best, found = log, tau
		}
		if log < best-lostTrail {
			break
		}
	}
	for _, d := range passes {
		d.aligner.follow(found)
		d.samples = caughtUp(d.samples, found)
	}
}

// facingWith is facingAny of a sensor that follows with a time constant.
func (a *aligner) facingWith(tau float64) float64 {
	log, ok := a.facing[tau]
	if !ok {
		a.read(caughtUp(a.samples, tau))
		a.grounds = [][3]float64{a.ground}
		a.laid = false
		log = a.facingAny()
		if a.facing == nil {
			a.facing = map[float64]float64{}
		}
		a.facing[tau] = log
	}
	return log
}

// follow gets a pass ready to be aligned as that of a sensor that follows with a time
// constant.
func (a *aligner) follow(tau float64) {
	if a.laid && a.tau == tau {
		return
	}
	if a.tau != tau {
		a.recall = recall{}
	}
	a.read(caughtUp(a.samples, tau))
	a.grounds = [][3]float64{a.ground}
	a.findPhase()
	a.findGrounds()
	a.tau, a.laid = tau, true
}

// facingAny is the log likelihood of a pass if each sample may have been read over coils that face
// either way, in the lane that suits it best.
func (a *aligner) facingAny() float64 {
	best := math.Inf(-1)
	for _, l := range a.everyFew() {
		best = max(best, a.sum(l, a.asPlanned(), true))
	}
	return best
}

// caughtUp are samples of a sensor that follows with a time constant tau, with what it
// was late by put back.
func caughtUp(xs []sample, tau float64) []sample {
	if tau == 0 {
		return xs
	}
	out := make([]sample, len(xs))
	before := -1 // the last sample at least trailBase ago
	for i, x := range xs {
		for before+1 < i && x.t-xs[before+1].t >= trailBase {
			before++
		}
		out[i] = x
		if before < 0 {
			continue
		}
		left := math.Exp(-(x.t - xs[before].t) / tau)
		for q := range x.u {
			out[i].u[q] = (x.u[q] - left*xs[before].u[q]) / (1 - left)
		}
	}
	return out
}
