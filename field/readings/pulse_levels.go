package readings

import (
	"math"
	"slices"
)

// Under pulses the samples of a sharp sensor lie at two levels, and some on an edge between.

// levelPair is the two levels that samples under pulses lie at; most of it by level.
type levelPair struct {
	label  []int  // per sample: 0 or 1
	used   []bool // per sample: it lies at its level, and was not taken on an edge
	mean   [2][3]float64
	spread [2][3]float64 // squared deviations from the median
	count  [2]int        // samples used
	far    [2][3]float64 // the sample furthest from the other level
	hazy   [2]bool       // no two samples agree on it
	short  [2]bool       // samples lie beyond it, or all were taken at one moment of the period
	open   [2][3]float64 // variance for want of knowing how far it reaches: see reach
	inStep bool          // pulses and sampling keep step: few moments of a period were seen
}

// reach is where a level may really lie whose samples were taken on an edge: so many times as far
// from the other level as the furthest of them, with a standard deviation, and how likely that is
// (estimates, no source).
type reach struct{ times, sd, p float64 }

var (
	asRead = []reach{{1, 0, 1}}
	// Where all samples were taken on edges.
	onEdges = []reach{{1, 0.05, 0.55}, {1.3, 0.12, 0.3}, {1.9, 0.35, 0.15}}
	// Where there is a single one: nobody knows whether it was.
	ofOne = []reach{{1, 0, 0.9}, {1.3, 0.12, 0.07}, {1.9, 0.35, 0.03}}
	// Where sampling keeps step with the pulses and samples do not agree, or are one or two: they
	// came at another moment of the period only since times are a little off, and hardly got
	// beyond the edge.
	inStep = []reach{{1, 0.05, 0.3}, {1.3, 0.12, 0.25}, {1.9, 0.35, 0.25}, {4, 1.5, 0.2}}
)

// edgeHaze is the scatter of samples at a level, as a share of the gap between the levels, from
// which they were taken on edges.
const edgeHaze = 0.05

// reaches lists where one of the levels may lie; brief tells that it lasts the shorter part
// of a period.
func (l *levelPair) reaches(k int, brief bool) []reach {
	switch {
	case l.inStep && (l.hazy[k] || l.short[k] || l.count[k] <= 2):
		return inStep
	case l.hazy[k] || brief && l.short[k]:
		return onEdges
	case l.count[k] == 1:
		return ofOne
	}
	return asRead
}

// reaching is the pair with level k where it may really lie.
func (l levelPair) reaching(k int, r reach) levelPair {
	if r == asRead[0] {
		return l
	}
	for a := range l.mean[k] {
		by := l.far[k][a] - l.mean[1-k][a]
		l.open[k][a] = r.sd * by * r.sd * by
		l.mean[k][a] = l.mean[1-k][a] + r.times*by
	}
	return l
}

// twoLevels reads samples that lie at two levels of which one is the pulse, as likely as was
// found.
func (l levelPair) twoLevels(logs [2]float64, sigma [3]float64, duty float64) (out []Reading) {
	total := LogAdd(logs[0], logs[1])
	for _, on := range [2]int{1, 0} {
		w := logs[on] - total
		if w < -16 {
			continue
		}
		for _, off := range l.reaches(1-on, duty > 0.5) {
			from := l.reaching(1-on, off)
			for _, top := range l.reaches(on, duty <= 0.5) {
				to := from.reaching(on, top)
				out = append(out, Reading{LogW: w + math.Log(off.p*top.p), Ax: to.axes(on, sigma)})
			}
		}
	}
	return out
}

// levelsOf finds the two levels and leaves out samples that lie at neither.
func levelsOf(xs []sample, label []int, gap float64, sigma [3]float64, hz float64) levelPair {
	l := levelPair{label: label, used: make([]bool, len(xs))}
	var middle [2][3]float64
	for k := range middle {
		for a := range middle[k] {
			var v []float64
			for i, x := range xs {
				if label[i] == k {
					v = append(v, x.u[a])
				}
			}
			slices.Sort(v)
			middle[k][a] = v[len(v)/2] // the upper of two in the middle, where there are two: their mean may lie at no level
		}
	}
	l.mean = middle
	var sum [2][3]float64
	near := edgeShare*gap + 6*sizeOf(sigma)
	for i, x := range xs {
		k := label[i]
		var off [3]float64
		for a := range off {
			off[a] = x.u[a] - middle[k][a]
		}
		if sizeOf(off) > near {
			continue
		}
		l.used[i] = true
		l.count[k]++
		for a := range off {
			sum[k][a] += x.u[a]
			l.spread[k][a] += off[a] * off[a]
		}
	}
	for k, n := range l.count {
		for a := range sum[k] {
			if n > 0 {
				l.mean[k][a] = sum[k][a] / float64(n)
			}
		}
	}
	l.findHaze(xs, sigma)
	l.findShort(xs, sigma, hz)
	return l
}

// oneMoment is the part of a period, in seconds, within which samples may all have been taken on
// one edge (an estimate, no source): what a sensor averages over, and the errors of its times.
const oneMoment = 0.012

// findShort finds whether pulses and sampling keep step, and the levels that fall short of where
// the field gets to: samples lie beyond them, or all samples at them were taken at one moment of
// a period, and agree though that is on an edge.
func (l *levelPair) findShort(xs []sample, sigma [3]float64, hz float64) {
	gap := Gap(l.mean[0], l.mean[1])
	l.inStep = keepStep(xs, hz)
	for k, n := range l.count {
		l.short[k] = n > 0 && Gap(l.far[k], l.mean[k]) > math.Max(edgeHaze*gap, 6*sizeOf(sigma))
		var at []float64
		for i, x := range xs {
			if l.label[i] == k && l.used[i] {
				at = append(at, withinPeriod(x.t, hz))
			}
		}
		l.short[k] = l.short[k] || n > 2 && spanOf(at) < oneMoment*hz
	}
}

const (
	momentsOfPeriod = 20 // that a period is parted into
	// Of the moments that as many samples at random would meet, samples in step meet no more than
	// this share (an estimate, no source).
	fewOfMoments = 0.5
)

// keepStep tells whether samples were taken at few moments of a period.
func keepStep(xs []sample, hz float64) bool {
	var seen [momentsOfPeriod]bool
	met := 0
	for _, x := range xs {
		if m := &seen[int(withinPeriod(x.t, hz)*momentsOfPeriod)%momentsOfPeriod]; !*m {
			*m = true
			met++
		}
	}
	random := momentsOfPeriod * (1 - math.Pow(1-1./momentsOfPeriod, float64(len(xs))))
	return float64(met) <= fewOfMoments*random
}

// withinPeriod is where in a period of the pulses a time lies, in periods.
func withinPeriod(t, hz float64) float64 { return t*hz - math.Floor(t*hz) }

// spanOf is how far times within a period, in periods, lie apart. It sorts them.
func spanOf(at []float64) float64 {
	slices.Sort(at)
	widest := 1 + at[0] - at[len(at)-1] // the widest part of the period with none
	for i := 1; i < len(at); i++ {
		widest = math.Max(widest, at[i]-at[i-1])
	}
	return 1 - widest
}

// findHaze finds the levels that no two samples agree on, and the furthest sample of each.
func (l *levelPair) findHaze(xs []sample, sigma [3]float64) {
	var way [3]float64
	for a := range way {
		way[a] = l.mean[1][a] - l.mean[0][a]
	}
	gap := Gap(l.mean[0], l.mean[1])
	best := [2]float64{math.Inf(1), math.Inf(-1)}
	for i, x := range xs {
		k := l.label[i]
		if at := Dot(&x.u, &way); k == 0 && at < best[0] || k == 1 && at > best[1] {
			best[k], l.far[k] = at, x.u
		}
	}
	for k, n := range l.count {
		if n > 1 {
			scatter := math.Sqrt((l.spread[k][0] + l.spread[k][1] + l.spread[k][2]) / float64(n))
			l.hazy[k] = scatter > math.Max(edgeHaze*gap, (1+4/math.Sqrt(float64(n)))*sizeOf(sigma))
		}
	}
}

// pulse is the log of how likely each of the levels is the pulse: that it was on whenever a
// sample at that level was taken, and off whenever one at the other was, summed over the phases.
func (l *levelPair) pulse(xs []sample, hz, duty float64) [2]float64 {
	logs := [2]float64{math.Inf(-1), math.Inf(-1)}
	for p := range phases {
		phi := (float64(p) + 0.5) / phases
		var at [2]float64
		for i, x := range xs {
			if !l.used[i] {
				continue
			}
			on := mislabel/2 + (1-mislabel)*onAt(x.t, hz, duty, phi)
			at[l.label[i]] += math.Log(on)
			at[1-l.label[i]] += math.Log(1 - on)
		}
		for k := range logs {
			logs[k] = LogAdd(logs[k], at[k])
		}
	}
	return logs
}

// axes are background and pull if level on is the pulse. A spread beyond the noise (a jump, a
// slow sensor) is doubt that more samples do not take away.
func (l *levelPair) axes(on int, sigma [3]float64) (ax [3]Axis) {
	off := 1 - on
	for a := range ax {
		noise, extra := sigma[a]*sigma[a], 0.0
		for k, n := range l.count {
			if n > 2 && !l.hazy[k] {
				extra = math.Max(extra, l.spread[k][a]/float64(n)-2*noise)
			}
		}
		v := func(k int) float64 { return noise/math.Max(1, float64(l.count[k])) + extra/2 + l.open[k][a] }
		ax[a] = Axis{
			B: l.mean[off][a], D: l.mean[on][a] - l.mean[off][a],
			VB: v(off), VD: v(off) + v(on), CV: -v(off),
		}
	}
	return ax
}
