package verdict

import "math"

// In a pass under pulses, only when the pulses were tells a coil without field from one that went
// by between two pulses. Their rate is known, so one phase tells it for every sample of the pass.

const (
	passPhases = 48 // of a period that are tried
	// surest is how sure a sample may be of its pulse: clocks drift, and pulses are
	// not square.
	surest = 0.99
)

// findPhase finds how likely the pulse was on at every sample. For that, coils may face either
// way or be dead.
func (a *aligner) findPhase() {
	if !a.pulsed {
		return
	}
	every := a.every()
	var logs [passPhases]float64
	best := math.Inf(-1)
	for p := range logs {
		a.pulse(func(t float64) float64 { return a.lit(t, every, p) })
		logs[p] = a.facingAny()
		best = max(best, logs[p])
	}
	var sum float64
	for p := range logs {
		logs[p] = math.Exp(logs[p] - best)
		sum += logs[p]
	}
	a.pulse(func(t float64) (s float64) {
		for p, w := range logs {
			s += w / sum * a.lit(t, every, p)
		}
		return s
	})
}

// pulse sets how likely the pulse was on at every sample taken under pulses.
func (a *aligner) pulse(on func(t float64) float64) {
	for i := range a.ticks {
		if x := &a.ticks[i]; x.s > 0 && x.s < 1 {
			x.s = max(1-surest, min(surest, on(x.t)))
		}
	}
}

// lit is the share of the time since the sample before, every seconds ago, that the
// pulses of a phase are on.
func (a *aligner) lit(t, every float64, phase int) float64 {
	const parts = 5
	on := 0
	for i := range parts {
		at := (t-every*float64(i)/(parts-1))*a.hz + float64(phase)/passPhases
		if at-math.Floor(at) < a.duty {
			on++
		}
	}
	return float64(on) / parts
}
