package verdict

import "testing"

// TestPassPromises: a way to understand a pass was found with a coil as planned. Its
// form, carried on to a coil four times as strong, promises a far better fit than any
// way that was found; no more than a little of that is believed.
func TestPassPromises(t *testing.T) {
	found := way{log: -200, most: 0, top: -20, h: []float64{50}, hh: []float64{0.1}, best: []float64{0}, lack: 180}
	p := &passFactor{
		passDigest: &passDigest{near: []int32{0}, weight: 1, samples: make([]sample, 12), lanes: []lane{{ways: []way{found}}}, aligner: &aligner{planned: []float64{0}}},
		ph:         &phone{grid: &grid{}, view: view{cells: []int{0}}},
		known:      &likes{said: map[likeKey]*said{}, most: mostLikes},
		sides:      []int{0},
		beams:      [][]float64{{1}},
	}
	p.learn()
	like := func(turns float64) float64 {
		out := []float64{0}
		p.like(out, []float64{turns}, nil, &p.ph.view, nil, &scales{s: []float64{1}})
		return out[0] / p.trust()
	}
	if got := like(4); got > found.log+fitsBetter+0.1 {
		t.Errorf("carried on: %.1f, the way found has %.1f", got, found.log)
	}
	if got := like(0); got < found.log-0.1 || got > found.log+0.1 {
		t.Errorf("where it was found: %.1f, want %.1f", got, found.log)
	}
}
