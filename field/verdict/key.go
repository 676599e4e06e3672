package verdict

import "math"

// Names made of numbers: what has the same name needs to be worked out once only.

// key is an FNV-1a hash of numbers rounded to a little less than single
// precision: sums taken in another order differ in the last digits.
type key uint64

// newKey is the key of nothing, to be added to.
func newKey() key { return 14695981039346656037 }

// add adds a number.
func (k *key) add(x float64) {
	bits := roundedBits(x)
	for i := 0; i < 4; i++ {
		*k = (*k ^ key(bits>>(8*i)&0xff)) * 1099511628211
	}
}

// mix is add in one step instead of four, for where it is done over and over.
func (k *key) mix(x float64) {
	*k = (*k ^ key(roundedBits(x))) * 0x9e3779b97f4a7c15
	*k ^= *k >> 29
}

// join adds another key.
func (k *key) join(o key) {
	*k = (*k ^ o) * 0x9e3779b97f4a7c15
	*k ^= *k >> 29
}

// text adds a name.
func (k *key) text(s string) {
	for i := range len(s) {
		*k = (*k ^ key(s[i])) * 1099511628211
	}
}

// roundedBits are a number's leading bits, 26 of single precision; -0 is 0.
func roundedBits(x float64) uint32 { return (math.Float32bits(float32(x+0)) + 32) >> 6 }
