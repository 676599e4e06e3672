package verdict

import (
	"math"
	"slices"

	"polewise/field/readings"
)

// scales are a few values that stand for all the current of the pad may be, relative to the plan's.
type scales struct {
	s, lp  []float64 // the values, and their log weights by the plan's tolerance and the supply's display
	sd     float64   // the width that each stands for, relative
	earths []earth   // by headings alone: the earth's fields that they stand for
	key    key       // equal for equal scales
}

// setKey works out the key.
func (a *scales) setKey() {
	a.key = newKey()
	for _, s := range a.s {
		a.key.mix(s)
	}
	a.key.mix(a.sd)
}

// equal tells whether two have the same values.
func (a *scales) equal(b *scales) bool { return slices.Equal(a.s, b.s) }

// How the scales of the current are laid (estimates, no source).
const (
	scaleStep    = 0.85  // from one to the next, standard deviations of the scale
	leastScaleSD = 0.008 // the least width that one stands for
	leastScale   = 0.02  // the smallest: some current flows
)

// scalesFor lays the scales of a hypothesis where the prior and what the supply's display showed
// have them. The display tells amperes, and the hypothesis what the pad should draw.
func (e *engine) scalesFor(h *hypothesis) scales {
	if e.onlyBearings {
		return e.earthScales(h)
	}
	first := e.ev.firstShare()
	mean, prec := 1/first, first*first/(scaleSD*scaleSD)
	sum := prec * mean
	if _, ok := e.setOtherwise(h); ok {
		prec, sum = 0, 0 // only what it shows tells
	}
	for _, a := range e.ev.amps {
		if h.currents().PadAmps <= 0 {
			continue
		}
		sd := a.sd() / h.currents().PadAmps
		prec += 1 / (sd * sd)
		sum += a.amps / h.currents().PadAmps / (sd * sd)
	}
	mean = sum / prec
	sd := 1 / math.Sqrt(prec)
	n := e.res.scales
	sc := scales{s: make([]float64, n), lp: make([]float64, n)}
	step := scaleStep * sd
	sc.sd = math.Max(0.5*step, leastScaleSD)
	if n == 1 {
		sc.sd = sd
	}
	for i := range sc.s {
		s := math.Max(mean+(float64(i)-float64(n-1)/2)*step, leastScale)
		sc.s[i] = s
		lp := scalePrior(s*first) + math.Log(step)
		for _, a := range e.ev.amps {
			lp += logNormal(a.amps, s*h.currents().PadAmps, a.sd())
		}
		sc.lp[i] = lp
	}
	sc.setKey()
	return sc
}

// setOtherwise tells whether the supply showed a current far from what the pad should draw under a
// hypothesis as the check began, and what it shows now as a share of that.
func (e *engine) setOtherwise(h *hypothesis) (share float64, ok bool) {
	if h.currents().PadAmps <= 0 || len(e.ev.amps) == 0 {
		return 1, false
	}
	share = e.ev.amps[len(e.ev.amps)-1].amps / h.currents().PadAmps
	return share, share > 0 && math.Abs(share*e.ev.firstShare()-1) > 4*scaleSD
}

// scalePrior is the log density of the current's scale: near 1, or anywhere where the supply was
// set otherwise on purpose.
func scalePrior(s float64) float64 {
	const otherwise, within = 0.05, 3.0 // how often that is, and up to how many times the planned current
	return readings.LogAdd(math.Log(1-otherwise)+logNormal(s, 1, scaleSD), math.Log(otherwise/within))
}

// logNormal is the log density of a normal distribution.
func logNormal(x, mean, sd float64) float64 {
	d := (x - mean) / sd
	return -d*d/2 - math.Log(sd) - 0.5*math.Log(2*math.Pi)
}
