package verdict

import (
	"math"
	"testing"

	"polewise/field/capture"
	"polewise/field/rehearsal"
)

// TestPassesFallShortByChanceAlone: of passes over a pad as planned, the ampere-turns of the
// plan are likely. By how much others fit better is half a squared deviation for each coil
// that the pass tells apart (Wilks, The large-sample distribution of the likelihood ratio,
// Annals of Mathematical Statistics 9, 1938): were a hand's slips along the row taken for errors
// of single samples, it would be more than that.
func TestPassesFallShortByChanceAlone(t *testing.T) {
	p, m := warmed(t)
	short, coils := 0.0, 0
	for seed := range uint64(20) {
		o := rehearsal.Defaults()
		o.Seed, o.Passes, o.TellOffsetMM, o.OffsetMM = seed, true, 3, &[2]float64{2, 12}
		e, err := m.engineFor(nil, []*capture.Capture{madeUp(t, p, o)})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range e.factors {
			pass := f.(*passFactor)
			best := math.Inf(-1)
			for _, w := range pass.forms {
				best = max(best, w.log+w.lin-w.quad/2)
			}
			short += pass.top.atBest() - best
			coils += len(pass.coils)
		}
	}
	if each := short / float64(coils); each < 0.2 || each > 0.65 {
		t.Errorf("the plan falls short by %.2f log units for each of %d coils, about 0.5 expected", each, coils)
	}
}
