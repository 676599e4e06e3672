package readings

import "math"

// A phone may re-zero itself in the midst of a hold under pulses. Where the sampling meets no
// pulse, or every one of them, that leaves two levels as well, and neither is the pulse.

// withNoPulse reads samples that lie at two levels. Logs are how likely the one and the other is
// the pulse, as logarithms. Where the one came after the other for good, neither may be.
func withNoPulse(xs []sample, l *levelPair, logs [2]float64, sigma [3]float64, hz, duty float64) []Reading {
	const faint = -16
	at := l.turnsOnce()
	if at == 0 {
		return l.twoLevels(logs, sigma, duty)
	}
	pulse, neither := LogAdd(logs[0], logs[1])-math.Log(phases), math.Log(jumpPrior/float64(len(xs)-1))
	total := LogAdd(pulse, neither)
	if neither-total < faint {
		return l.twoLevels(logs, sigma, duty)
	}
	var out []Reading
	if pulse-total >= faint {
		out = weighed(l.twoLevels(logs, sigma, duty), pulse-total)
	}
	// Once with the zero of the first part, and once with that of the second.
	first, second := l.label[0], l.label[at]
	for _, own := range [2]int{first, second} {
		ys := make([]sample, len(xs))
		for i, x := range xs {
			for a := range x.u {
				x.u[a] += l.mean[own][a] - l.mean[l.label[i]][a]
			}
			ys[i] = x
		}
		rs := byPhase(ys, sigma, hz, duty)
		if label, gap := split(ys); gap > 8*perAxis(sigma) { // pulses smaller than what the zero went by
			m := levelsOf(ys, label, gap, sigma, hz)
			rs = m.twoLevels(m.pulse(ys, hz, duty), sigma, duty)
		}
		out = append(out, weighed(rs, neither-total-math.Ln2)...)
	}
	return out
}

// turnsOnce is the sample at which the readings went over from one level to the other, for
// good; 0 where they did not.
func (l *levelPair) turnsOnce() int {
	const least = 3 // samples on either side
	at := 0
	for i := 1; i < len(l.label); i++ {
		if l.label[i] == l.label[i-1] {
			continue
		}
		if at > 0 {
			return 0
		}
		at = i
	}
	if at < least || len(l.label)-at < least {
		return 0
	}
	return at
}

// weighed are readings that count less, by so much as a logarithm.
func weighed(rs []Reading, by float64) []Reading {
	for i := range rs {
		rs[i].LogW += by
	}
	return rs
}
