package verdict

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"

	"polewise/field/readings"
)

// How well ampere-turns fit a pass, by the ways in which it was understood as it was aligned.

// passFactor is a pass as a factor.
type passFactor struct {
	fr frame
	*passDigest
	ph    *phone
	known *likes
	sides []int       // per offset cell: its beam
	beams [][]float64 // how likely the sensor went in each of the lanes, in all 1: one for all cells as far beside the line
	forms []laneForm  // the ways to understand it
	top   *way        // the one that fits best; nil where there is none
	// The near coils of each string that has several of them: a fault mostly changes all of
	// these alike.
	strings [][]int
	// Set by differ for the ampere-turns of a hypothesis; reused.
	shares []float64   // of each of strings: by what share of the planned its coils differ
	turns  []float64   // of each near coil: the ampere-turns by which it differs besides
	index  []int       // the near coils that do
	scores []laneScore // reused
	room   []float64   // reused
}

// laneForm is a way to understand a pass, with its quadratic form (way) worked out for the planned
// ampere-turns. For others only what differs from these has to be summed: mostly few coils, or
// all of a string alike.
type laneForm struct {
	*way
	lane      int
	quad, lin float64   // p'Hp and h'p, of the planned ampere-turns p
	at        []float64 // Hp
	strings   []stringForm
}

// stringForm is the part of one string in that: q is its planned ampere-turns, and 0 elsewhere.
type stringForm struct {
	quad, lin float64   // q'Hp and h'q
	at        []float64 // Hq
	with      []float64 // r'Hq for each string's r
}

// laneScore is what one way says of the common scale s: the log likelihood is top + b s - a s^2 /
// 2, but no more than most.
type laneScore struct {
	lane      int
	top, a, b float64
	most      float64
}

func (p *passFactor) frame() *frame { return &p.fr }

func (p *passFactor) time() float64 { return p.from }

func (p *passFactor) name() string {
	return fmt.Sprintf("pass from %s at %.0f s", p.label, p.from)
}

// addPassFactors adds an aligned pass to the factors.
func (e *engine) addPassFactors(d *passDigest) {
	ph := e.phones[d.source]
	f := &passFactor{passDigest: d, ph: ph, known: e.known}
	f.sides = make([]int, ph.offsets())
	known := map[int]int{}
	for c := range f.sides {
		beside := d.beside(ph, c)
		at := int(math.Round(beside / beamStep))
		if _, ok := known[at]; !ok {
			known[at] = len(f.beams)
			f.beams = append(f.beams, d.beam(beside))
		}
		f.sides[c] = known[at]
	}
	cols := &columns{near: d.near, peak: d.peak}
	f.fr = frame{src: d.source, group: e.groupFor(d.source, d.topDeg), coil: -1, cols: cols, isPass: true}
	of := make([][]int, len(e.m.plan.Strings))
	for i, j := range d.near {
		s := e.m.plan.StringOf(int(j))
		of[s] = append(of[s], i)
	}
	for _, list := range of {
		if len(list) > 2 {
			f.strings = append(f.strings, list)
		}
	}
	f.learn()
	e.factors = append(e.factors, f)
}

// learn takes over the ways in which the pass is understood by now. They and the cells make the
// factor's id, in this verdict or the next.
func (p *passFactor) learn() {
	g := p.ph.grid
	k := p.id
	for _, x := range [...]float64{g.x0, g.y0, g.step, float64(g.ox), float64(g.oy)} {
		k.mix(x)
	}
	p.forms = p.forms[:0]
	for l := range p.lanes {
		k.mix(float64(l))
		for i := range p.lanes[l].ways {
			w := &p.lanes[l].ways[i]
			k.mix(w.log)
			k.mix(w.lack)
			for _, x := range w.h {
				k.mix(x)
			}
			p.forms = append(p.forms, w.seenFrom(p.aligner.planned, p.strings, l))
		}
	}
	p.fr.id, p.top = k, p.best()
}

// seenFrom works out a way's form for the planned ampere-turns.
func (w *way) seenFrom(planned []float64, strings [][]int, lane int) laneForm {
	n := len(planned)
	f := laneForm{way: w, lane: lane, at: make([]float64, n)}
	for i, x := range planned {
		f.at[i] = floats.Dot(w.hh[i*n:i*n+n], planned)
		f.quad += x * f.at[i]
		f.lin += x * w.h[i]
	}
	for _, list := range strings {
		s := stringForm{at: make([]float64, n)}
		for _, i := range list {
			floats.AddScaled(s.at, planned[i], w.hh[i*n:i*n+n]) // H is symmetric
			s.quad += planned[i] * f.at[i]
			s.lin += planned[i] * w.h[i]
		}
		for _, other := range strings {
			sum := 0.0
			for _, i := range other {
				sum += planned[i] * s.at[i]
			}
			s.with = append(s.with, sum)
		}
		f.strings = append(f.strings, s)
	}
	return f
}

// form is a'Ha and h'a for ampere-turns a that differ from the planned ones by shares of these in
// whole strings, and besides by so much in the coils listed.
func (f *laneForm) form(shares []float64, index []int, by []float64) (quad, lin float64) {
	quad, lin = f.quad, f.lin
	n := len(by)
	for _, i := range index {
		v, row := 2*f.at[i], f.hh[i*n:i*n+n]
		for _, k := range index {
			v += row[k] * by[k]
		}
		quad += by[i] * v
		lin += by[i] * f.h[i]
	}
	for q, share := range shares {
		if share == 0 {
			continue
		}
		s := &f.strings[q]
		v := 2*s.quad + floats.Dot(s.with, shares)
		for _, i := range index {
			v += 2 * s.at[i] * by[i]
		}
		quad += share * v
		lin += share * s.lin
	}
	return quad, lin
}

// differ sets shares, turns and index for ampere-turns.
func (p *passFactor) differ(at []float64) {
	planned := p.aligner.planned
	p.turns, p.index, p.shares = p.turns[:0], p.index[:0], p.shares[:0]
	for i, j := range p.near {
		p.turns = append(p.turns, at[j]-planned[i])
	}
	for _, list := range p.strings {
		var most majority
		for _, i := range list {
			most.count(p.turns[i] / planned[i])
		}
		if math.IsNaN(most.of) || math.IsInf(most.of, 0) {
			most.of = 0
		}
		p.shares = append(p.shares, most.of)
		for _, i := range list {
			if p.turns[i] -= most.of * planned[i]; math.Abs(p.turns[i]) < 1e-9*math.Abs(planned[i]) {
				p.turns[i] = 0
			}
		}
	}
	for i, d := range p.turns {
		if d != 0 {
			p.index = append(p.index, i)
		}
	}
}

// like implements factor.
func (p *passFactor) like(out []float64, at []float64, _ []nine, in *view, _ *background, sc *scales) {
	sums, nodes := p.sums(at, sc), len(sc.s)
	for c, cell := range in.cells {
		for m, v := range sums.log[p.sides[cell]*nodes:][:nodes] {
			out[c*nodes+m] = float64(v)
		}
	}
}

// sums are the log likelihoods of ampere-turns for each beam and scale, at beam*scales+scale.
func (p *passFactor) sums(at []float64, sc *scales) *said {
	key := likeKey{p.fr.id, newKey()}
	for _, j := range p.near {
		key.rest.mix(at[j])
	}
	key.rest.join(sc.key)
	s := p.known.find(key)
	if s == nil {
		p.room = sized(p.room, len(p.beams)*len(sc.s))
		p.sumUp(p.room, at, sc)
		s = newSaid(p.room)
		p.known.keep(key, s)
	}
	return s
}

// sumUp works out sums.
func (p *passFactor) sumUp(out, at []float64, sc *scales) {
	p.differ(at)
	p.scores = p.scores[:0]
	// A form is good near the ampere-turns it was made for. Far from them it may
	// promise a better fit than any that was ever found; that is not believed.
	most := math.Inf(-1)
	if p.top != nil {
		most = p.top.atBest() + fitsBetter
	}
	for i := range p.forms {
		f := &p.forms[i]
		a, b := f.form(p.shares, p.index, p.turns)
		p.scores = append(p.scores, laneScore{f.lane, f.log, a, b, math.Min(f.way.top, most)})
	}
	nodes := len(sc.s)
	shares, chance := settingsOf(p.ofCurrent)
	low, trust := p.stray(), p.trust()
	var by [maxScales][maxLanes]float64 // relative to ref
	ref := math.Inf(-1)
	for _, s := range p.scores {
		ref = math.Max(ref, math.Min(s.most, s.top+s.b*s.b/(2*math.Max(s.a, 1e-9))))
	}
	for _, s := range p.scores {
		// The scale's own width within a node softens the likelihood. Every way
		// bounds it from below, so that the best one counts.
		soft := 1 + s.a*sc.sd*sc.sd
		best := s.b / math.Max(s.a, 1e-9)
		top, width, high := s.top+s.b*best/2-ref, s.a/(2*soft), math.Min(s.most-ref, 0)
		tall := 1 / math.Sqrt(soft)
		for q, of := range shares {
			for m, x := range sc.s {
				x *= of / p.ofCurrent[0]
				if below := math.Min(top-width*(x-best)*(x-best), high); below > -700 {
					by[m][s.lane] = math.Max(by[m][s.lane], chance[q]*tall*expDown(below))
				}
			}
		}
	}
	for b, beam := range p.beams {
		for m := range nodes {
			var sum float64
			for l, w := range beam {
				sum += w * by[m][l]
			}
			out[b*nodes+m] = trust * readings.LogAdd(ref+math.Log(sum+1e-300), low)
		}
	}
}

// trust is the share of what a pass says that is believed: all, unless it fits nothing well. Then
// something was not as it is thought of here, the way it went perhaps, and errors are taken to be
// as much larger as they turned out.
func (p *passFactor) trust() float64 {
	const usual = 15 // log units by which a good pass may fall short
	misfit := 1.5 * p.weight * float64(len(p.aligner.together))
	return misfit / (misfit + math.Max(0, p.lack()-usual))
}

// stray is the log likelihood of a pass in which no sample fits anything.
func (p *passFactor) stray() float64 {
	return p.weight*float64(len(p.aligner.together))*strayLog + math.Log(passStray)
}

// ceiling implements factor: it is that of the ampere-turns that fit best.
func (p *passFactor) ceiling([]nine, *background, *scales) float64 {
	top := p.stray()
	if p.top != nil {
		top = math.Max(top, p.top.atBest())
	}
	return top * p.trust()
}

// lack is how many log units the way that fits the pass best falls short of what samples that fit
// come to.
func (p *passFactor) lack() float64 {
	if p.top != nil {
		return p.top.lack
	}
	return 0
}
