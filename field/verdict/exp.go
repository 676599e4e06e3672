package verdict

import "math"

// expSteps is into how many parts expTable divides a doubling.
const expSteps = 64

// expTable holds 2^(j/expSteps).
var expTable = func() (t [expSteps]float64) {
	for j := range t {
		t[j] = math.Exp2(float64(j) / expSteps)
	}
	return t
}()

// expDown is the exponential of a number between -700 and 0, within 4e-11 of it: a
// third of what math.Exp takes, and a score over places is hardly anything else.
func expDown(x float64) float64 {
	k := int(x*(expSteps/math.Ln2) - 0.5) // the nearest: x is not above 0
	r := x - float64(k)*(math.Ln2/expSteps)
	// The power of two goes straight into the exponent's bits.
	scale := math.Float64frombits(uint64(1023+k>>6) << 52)
	return scale * expTable[k&(expSteps-1)] * (1 + r*(1+r*(0.5+r*(1.0/6))))
}
