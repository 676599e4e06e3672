package field

import (
	"sync"

	"gonum.org/v1/gonum/integrate/quad"
)

// rule is a Gauss-Legendre rule on -1..1.
type rule struct{ x, w []float64 }

const maxOrder = 32

var (
	rules     [maxOrder + 1]rule
	makeRules sync.Once
)

// gauss returns the rule with n points, 1 <= n <= maxOrder.
func gauss(n int) *rule {
	makeRules.Do(func() {
		for k := 1; k <= maxOrder; k++ {
			rules[k] = rule{x: make([]float64, k), w: make([]float64, k)}
			quad.Legendre{}.FixedLocations(rules[k].x, rules[k].w, -1, 1)
		}
	})
	return &rules[n]
}
