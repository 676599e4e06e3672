package verdict

import "math"

// Many beginnings of an alignment lead to the same guesses, and explanations found later, or in the
// next verdict, to some that were seen before. What a guess came to is remembered, and a climb that
// crosses the path of another ends where that one did.

// recall is what is remembered of aligning a pass.
type recall struct {
	outcomes map[key]*outcome
	crossed  map[key][]crossing // by lane, and by the weight of samples
}

// outcome is what a guess came to in a lane. What was not asked for yet is NaN or nil.
type outcome struct {
	log      float64 // log likelihood of the pass
	below    float64 // where log is not known: it is less than this
	lack     float64 // as way.lack
	better   *guess  // one round of improving it
	way      *way    // nil too where it makes none
	wayAsked bool
}

// crossing is a guess that a climb came by, and where the climb ended.
type crossing struct {
	by, end guess
	rounds  int // that the climb was allowed
}

// Moves of a guess (see moved).
const (
	// So near the path of another climb, one ends as that did. Of guesses up to three times as far
	// apart one is kept in the end.
	crossingWithin = 0.03
	settled        = 0.003 // so little is not worth another round
)

// stageOf names a lane and the weight of samples.
func (a *aligner) stageOf(l int) key {
	k := newKey()
	k.mix(float64(l))
	k.mix(a.eachCounts)
	return k
}

// outcome is the entry of a guess in a lane, made if there is none.
func (a *aligner) outcome(l int, g guess, eitherWay bool) *outcome {
	k := a.stageOf(l)
	for _, x := range g.share {
		k.mix(x)
	}
	for _, x := range g.b {
		k.mix(x)
	}
	if eitherWay {
		k.mix(1)
	}
	o := a.outcomes[k]
	if o == nil {
		if a.outcomes == nil || len(a.outcomes) >= mostOutcomes {
			a.outcomes, a.crossed = map[key]*outcome{}, map[key][]crossing{}
		}
		o = &outcome{log: math.NaN(), below: math.Inf(1), lack: math.NaN()}
		a.outcomes[k] = o
	}
	return o
}

// logOf is the log likelihood of the pass in a lane under a guess.
func (a *aligner) logOf(l int, g guess, eitherWay bool) float64 {
	o := a.outcome(l, g, eitherWay)
	if math.IsNaN(o.log) {
		o.log = a.sum(l, g, eitherWay)
	}
	return o.log
}

// logAbove is logOf for a guess that is of no use unless that is more than least; -Inf where it
// is less.
func (a *aligner) logAbove(l int, g guess, least float64) float64 {
	o := a.outcome(l, g, false)
	if math.IsNaN(o.log) {
		if o.below <= least {
			return math.Inf(-1)
		}
		log, ok := a.sumAbove(l, g, least)
		if !ok {
			o.below = least
			return math.Inf(-1)
		}
		o.log = log
	}
	return o.log
}

// fitted is what a guess came to, with log and lack worked out.
func (a *aligner) fitted(l int, g guess) *outcome {
	o := a.outcome(l, g, false)
	if math.IsNaN(o.lack) {
		s := a.walk(l, g, false)
		o.log, o.lack = s.log, a.lacks(s)
	}
	return o
}

// improve makes a better guess from where a guess puts the samples: one round of climbing.
func (a *aligner) improve(l int, g guess, eitherWay bool) guess {
	o := a.outcome(l, g, eitherWay)
	if o.better == nil {
		s := a.walk(l, g, eitherWay)
		better := a.better(l, g, s)
		o.log, o.lack, o.better = s.log, a.lacks(s), &better
	}
	return *o.better
}

// wayOf is a guess in a lane as a way to understand the pass; nil where it makes none.
func (a *aligner) wayOf(l int, g guess) *way {
	o := a.outcome(l, g, false)
	if !o.wayAsked {
		o.wayAsked, o.way = true, a.newWay(l, g)
	}
	return o.way
}

// settle climbs from a guess that is carried on, to where it stands or for a few rounds.
func (a *aligner) settle(l int, g guess) guess {
	g, _ = a.settleAbove(l, g, carried, math.Inf(-1))
	return g
}

// stillGained is how many times as much as one round of improving gained the rounds after it may
// still gain, about.
const stillGained = 10

// settleAbove climbs from a guess for so many rounds at most. A guess is of no use unless it
// comes to make the pass likelier than least: not ok as soon as it looks as if it would not.
func (a *aligner) settleAbove(l int, g guess, most int, least float64) (end guess, ok bool) {
	var came []guess
	at := a.stageOf(l)
	was := math.Inf(-1)
climb:
	for range most {
		for _, c := range a.crossed[at] {
			if c.rounds >= most && c.by.moved(g) < crossingWithin {
				g = c.end
				break climb
			}
		}
		better := a.improve(l, g, false)
		log := a.logOf(l, g, false)
		if log+stillGained*max(log-was, 0) < least {
			return g, false
		}
		was = log
		still := better.moved(g) < settled
		came = append(came, g)
		g = better
		if still {
			break
		}
	}
	for _, by := range came {
		a.crossed[at] = append(a.crossed[at], crossing{by, g, most})
	}
	return g, true
}

// aligners are those of the passes of the last verdicts, by passDigest.id.
type aligners struct {
	of map[key]*aligner
}

// Bounds on what is remembered of passes: 30 MB of fields, and what so many guesses of
// a pass came to.
const (
	mostAligned  = 30 << 20 / 36
	mostOutcomes = 1 << 14
)

// keep remembers an aligner, and forgets all others when they hold too much.
func (l *aligners) keep(id key, a *aligner) {
	held := 0 // fields
	for _, o := range l.of {
		for _, lane := range o.perCoil {
			held += len(lane)
		}
	}
	if l.of == nil || held > mostAligned {
		l.of = map[key]*aligner{}
	}
	l.of[id] = a
}

// identity is equal for equal readings of a pass, drawn with a sensor in an equal place
// over an equal background.
func (d *passDigest) identity(src *sourceInfo, bg *background) key {
	k := newKey()
	for _, v := range [][]float64{
		src.offset[:], src.sd[:], src.sigma[:], bg.b[:], bg.variance[:], d.up[:],
		d.ofCurrent, {float64(d.source), d.from, d.to, d.topDeg, d.hz, d.duty, d.overrun, float64(len(d.samples))},
	} {
		for _, x := range v {
			k.add(x)
		}
	}
	for i, j := range d.coils {
		k.add(float64(j))
		k.add(d.path[i].X)
		k.add(d.path[i].Y)
	}
	for i := range d.samples {
		x := &d.samples[i]
		for _, v := range [...]float64{x.t, x.s, x.u[0], x.u[1], x.u[2]} {
			k.mix(v)
		}
	}
	return k
}
