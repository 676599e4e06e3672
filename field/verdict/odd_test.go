package verdict

import (
	"testing"

	"polewise/layout"
)

// TestBorneByOthers: a coil over which the phone re-zeroed itself is claimed only where what is
// wrong with it is no fault of its own and shows in other coils too.
func TestBorneByOthers(t *testing.T) {
	p, m := warmed(t)
	e := &engine{m: m, ev: &evidence{}}
	for j := range p.Coils {
		e.factors = append(e.factors, &holdFactor{fr: frame{coil: j}, digest: &digest{coil: j, jumped: j == 0}})
	}
	for _, tc := range []struct {
		fault layout.Fault
		borne bool
	}{
		{layout.Fault{Kind: layout.StringReversed, ID: p.Strings[0].ID}, true},
		{layout.Fault{Kind: layout.CoilReversed, ID: p.Coils[0].ID}, false},
		{layout.Fault{Kind: layout.CoilOpen, ID: p.Coils[0].ID}, false}, // though the others of its string are dead as well
	} {
		h := newHypothesis(m, []layout.Fault{tc.fault}, 0)
		if h == nil {
			t.Fatalf("%v is no hypothesis", tc.fault)
		}
		sure := make([]map[State]float64, len(p.Coils))
		for k := range sure {
			sure[k] = map[State]float64{h.state(k): 1}
		}
		if got := e.borne([]*scored{{hyp: h}}, sure, 0, func(j int) bool { return j == 0 }); got != tc.borne {
			t.Errorf("%v: borne out by other coils %v", tc.fault, got)
		}
	}
}

// TestPassThatNothingFits: a pass that lacks too much of what samples that fit have is
// unexplained; one that lacks less is not.
func TestPassThatNothingFits(t *testing.T) {
	_, m := warmed(t)
	for lack, odd := range map[float64]bool{10: false, passLack - 1: false, passLack + 1: true} {
		ph := &phone{grid: &grid{prior: []float64{0}}, view: view{cells: []int{0}}}
		p := &passFactor{
			passDigest: &passDigest{weight: 1, coils: []int{0, 1}, aligner: &aligner{together: make([][2]int, 100)}},
			ph:         ph, top: &way{lack: lack},
		}
		e := &engine{m: m, ev: &evidence{rests: make([]restReading, 1)}, factors: []factor{p}, phones: []*phone{ph}}
		n := &node{scored: &scored{hyp: m.planned}, short: []float64{0}, sc: scales{s: []float64{1}, lp: []float64{0}}, said: []*said{newSaid([]float64{-10})}, tot: [][]float64{{-10}}}
		if u := e.unexplained(n); (len(u.passes) > 0) != odd {
			t.Errorf("a pass that lacks %g log units: %d unexplained", lack, len(u.passes))
		}
	}
}
