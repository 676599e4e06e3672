package verdict

import (
	"math/rand/v2"
	"testing"
)

func TestBackgroundSteps(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	var list []left
	for i := range 20 {
		l := left{factor: i, t: float64(i)}
		for a := range l.b {
			l.b[a] = 2 * rng.NormFloat64()
			if i >= 12 {
				l.b[a] += 30
			}
			l.w[a] = 1 / (3.0 * 3)
		}
		list = append(list, l)
	}
	if cuts := steps(list); len(cuts) != 3 || cuts[1] != 12 {
		t.Errorf("cut at %v, expected one step before the 13th", cuts)
	}
	// A single reading far off is not a step of the background.
	for a := range list[5].b {
		list[5].b[a] = 800
	}
	if cuts := steps(list[:12]); len(cuts) != 2 {
		t.Errorf("a reading that nothing explains was taken for steps at %v", cuts)
	}
}
