package verdict

import (
	"math"
	"testing"
)

// A phone that gave few readings, far apart, may have run past the end of its way by any
// pace before the last of them. That is unlikely, and a number all the same.
func TestWalkPastTheEnd(t *testing.T) {
	const points, ticks = 20, 8
	a := &aligner{
		passDigest: &passDigest{}, n: points, eachCounts: 1, walker: &walker{},
		ticks: make([]tick, ticks), strides: make([][paces]stride, ticks),
		start: make([]float64, points), finish: make([]float64, points), wander: make([]float64, points),
		noise: sym3{xx: 1, yy: 1, zz: 1}, whole: [][]nine{make([]nine, points)},
	}
	for k := range points {
		a.start[k], a.finish[k] = 1, 1
	}
	for i := range ticks {
		a.ticks[i].s = 1
		for v, pace := range paceOf {
			a.strides[i][v] = strideOf(pace * 20)
		}
	}
	s := a.walk(0, guess{}, false)
	if math.IsNaN(s.log) || math.IsInf(s.log, 0) {
		t.Errorf("log likelihood %v, expected a number", s.log)
	}
	for i := range s.weight {
		sum := 0.0
		for _, w := range s.weight[i] {
			sum += w
		}
		if !(sum >= 0 && sum < 1.001) {
			t.Errorf("tick %d: weights %v, expected shares of 1, or none", i, s.weight[i])
		}
	}
}
