package trial

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// random draws everything of one case from its seed.
type random struct{ *rand.Rand }

func newRandom(seed uint64, purpose string) random {
	h := fnv.New64a()
	h.Write([]byte(purpose))
	return random{rand.New(rand.NewPCG(seed, h.Sum64()))}
}

func (r random) chance(p float64) bool             { return r.Float64() < p }
func (r random) between(lo, hi float64) float64    { return lo + (hi-lo)*r.Float64() }
func (r random) whole(lo, hi int) int              { return lo + r.IntN(hi-lo+1) }
func (r random) logBetween(lo, hi float64) float64 { return lo * math.Pow(hi/lo, r.Float64()) }

// normal is Gaussian without the far tails: nobody puts a phone down 3 cm off
// and calls it centred.
func (r random) normal(sd float64) float64 {
	for range 100 {
		if x := r.NormFloat64(); math.Abs(x) < 2.8 {
			return sd * x
		}
	}
	return 0
}

// direction is a unit vector, even over the sphere.
func (r random) direction() vec {
	z := r.between(-1, 1)
	s, c := math.Sincos(r.between(0, 2*math.Pi))
	h := math.Sqrt(1 - z*z)
	return vec{h * c, h * s, z}
}

func pick[T any](r random, from ...T) T { return from[r.IntN(len(from))] }
