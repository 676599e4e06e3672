package verdict

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// placeOf is where a phone's sensor sits as all hypotheses together have it:
// middle and standard deviation, metres in the phone frame.
func (e *engine) placeOf(src int, list []*scored) (mean, sd r2.Vec) {
	ph := e.phones[src]
	nodes := e.res.scales
	weights := normalise(list)
	var sum, sxx, syy float64
	for i, s := range list {
		if weights[i] < 1e-3 {
			break // best first
		}
		n := e.evaluate(&scored{hyp: s.hyp})
		logs := make([]float64, len(ph.cells))
		top := math.Inf(-1)
		for c, cell := range ph.cells {
			logs[c] = math.Inf(-1)
			for m := range n.sc.s {
				logs[c] = logAdd(logs[c], ph.prior[cell]+n.tot[src][c*nodes+m]+n.sc.lp[m])
			}
			top = math.Max(top, logs[c])
		}
		var total float64
		for _, l := range logs {
			total += math.Exp(l - top)
		}
		for c, cell := range ph.cells {
			w := weights[i] * math.Exp(logs[c]-top) / total
			o := ph.offset(ph.middle(cell))
			sum += w
			mean = r2.Add(mean, r2.Scale(w, o))
			sxx += w * o.X * o.X
			syy += w * o.Y * o.Y
		}
	}
	if sum == 0 {
		return r2.Vec{}, r2.Vec{X: math.Inf(1), Y: math.Inf(1)}
	}
	mean = r2.Scale(1/sum, mean)
	wide := func(square, middle float64) float64 {
		return math.Sqrt(math.Max(square/sum-middle*middle, 0) + ph.step*ph.step/12)
	}
	return mean, r2.Vec{X: wide(sxx, mean.X), Y: wide(syy, mean.Y)}
}

// A pass says how coils face only where the sensor's place is known well enough:
// an unknown one can be made to fit a row of coils that face otherwise.
const (
	passPlaceSD = 0.009 // metres
	foundSD     = 0.003 // no place is taken for surer than this
)

// settlePlaces finds the sensors' places from holds before passes are read, and
// leaves out the passes of phones whose place stays unknown.
func (m *Model) settlePlaces(ev *evidence) {
	unsure := func(src int) bool {
		s := &ev.sources[src]
		return math.Max(s.sd[0], s.sd[1]) > passPlaceSD
	}
	var passes, kept []passDigest
	for i := range ev.passes {
		if unsure(ev.passes[i].source) {
			passes = append(passes, ev.passes[i])
		} else {
			kept = append(kept, ev.passes[i])
		}
	}
	if len(passes) == 0 {
		return
	}
	ev.passes = kept
	held := map[int]bool{}
	for i := range ev.holds {
		held[ev.holds[i].source] = true
	}
	var e *engine
	var list []*scored
	for i := range passes {
		src := passes[i].source
		if held[src] && unsure(src) {
			if e == nil {
				e = m.newEngine(ev, fineCells)
				list = e.search()
			}
			mean, sd := e.placeOf(src, list)
			if sd.X <= passPlaceSD && sd.Y <= passPlaceSD {
				s := &ev.sources[src]
				s.offset = [2]float64{mean.X, mean.Y}
				s.sd = [2]float64{math.Max(sd.X, foundSD), math.Max(sd.Y, foundSD)}
			}
		}
		if unsure(src) {
			ev.note("The pass from %s is left out: nobody knows where in the phone its sensor sits. Find the sensor first, or lay the phone on two coils.", passes[i].label)
			continue
		}
		ev.passes = append(ev.passes, passes[i])
	}
}
