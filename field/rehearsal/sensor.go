package rehearsal

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"
)

// sensor is the magnetometer in a phone.
type sensor struct {
	rng     *rand.Rand
	noiseUT float64
	step    [3]float64 // quantisation, microtesla; 0 for none
	clip    [3][2]float64
	zeroUT  [3]float64 // what it reads where there is no field
	frozen  float64    // share of reads that repeat the one before
	last    [3]float64
	used    bool
}

func newSensor(o *Options, rng *rand.Rand) *sensor {
	s := &sensor{rng: rng, noiseUT: o.NoiseUT, frozen: o.FrozenShare}
	for a := range s.step {
		s.step[a] = o.StepUT * math.Exp2(2*rng.Float64()-1)
		s.clip[a] = [2]float64{-o.FullScaleUT * (1 - 0.2*rng.Float64()), o.FullScaleUT * (1 - 0.2*rng.Float64())}
		s.zeroUT[a] = 3 * rng.NormFloat64()
	}
	return s
}

// jump re-zeroes the sensor: from an eighth of sizeUT to all of it, in any
// direction, smaller ones more often.
func (s *sensor) jump(sizeUT float64) {
	d := r3.Vec{X: s.rng.NormFloat64(), Y: s.rng.NormFloat64(), Z: s.rng.NormFloat64()}
	d = r3.Scale(sizeUT*math.Pow(8, -s.rng.Float64()), r3.Unit(d))
	s.zeroUT[0] += d.X
	s.zeroUT[1] += d.Y
	s.zeroUT[2] += d.Z
}

// read is one sample, phone axes and microtesla, of a field in teslas and phone
// axes.
func (s *sensor) read(b r3.Vec) [3]float64 {
	if s.used && s.frozen > 0 && s.rng.Float64() < s.frozen {
		return s.last
	}
	for a, x := range [3]float64{b.X, b.Y, b.Z} {
		x = x/microtesla + s.zeroUT[a] + s.noiseUT*s.rng.NormFloat64()
		x = math.Min(math.Max(x, s.clip[a][0]), s.clip[a][1])
		if s.step[a] > 0 {
			x = s.step[a] * math.Round(x/s.step[a])
		}
		s.last[a] = math.Round(x*1e4) / 1e4
	}
	s.used = true
	return s.last
}
