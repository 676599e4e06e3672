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

const logBits = 7

// logTable holds, of the middle of each of 2^logBits parts of 1 to 2, one over it and its
// logarithm.
var logTable = func() (t [1 << logBits]struct{ over, log float64 }) {
	for j := range t {
		middle := 1 + (float64(j)+0.5)/(1<<logBits)
		t[j].over, t[j].log = 1/middle, math.Log(middle)
	}
	return t
}()

// logUp is the logarithm of a number of at least 1e-300, within 6e-11 of it: what expDown
// is to math.Exp this is to math.Log.
func logUp(x float64) float64 {
	const fraction = 52 // bits
	bits := math.Float64bits(x)
	part := &logTable[bits>>(fraction-logBits)&(1<<logBits-1)]
	r := math.Float64frombits(bits&(1<<fraction-1)|1023<<fraction)*part.over - 1
	return float64(int(bits>>fraction)-1023)*math.Ln2 + part.log + r*(1+r*(-0.5+r*(1.0/3)))
}
