package field

import (
	"testing"
	"time"

	"gonum.org/v1/gonum/mathext"
)

// Benchmarks carry their baseline in the same run and report the ratio: on a
// busy or throttled machine nanoseconds mean little, ratios still do.

// sink keeps the compiler from leaving work out.
var sink float64

// nsPerCall times f, which does n calls, until it has run for about a tenth of
// a second, and returns the best of a few rounds.
func nsPerCall(n int, f func()) float64 {
	f()
	best := time.Duration(1 << 62)
	for began := time.Now(); time.Since(began) < 100*time.Millisecond; {
		t := time.Now()
		f()
		best = min(best, time.Since(t))
	}
	return float64(best.Nanoseconds()) / float64(n)
}

// BenchmarkLoop: a thin loop against the two elliptic integrals in it, off the
// axis, near it and near the wire. "integrals" is how many pairs one loop costs.
func BenchmarkLoop(b *testing.B) {
	for _, at := range []struct {
		name string
		rho  float64
		z    float64
	}{{"beside", .07, .01}, {"bore", .02, .01}, {"near-axis", .0004, .01}, {"near-wire", .0495, .001}, {"far", .3, .02}} {
		b.Run(at.name, func(b *testing.B) {
			const a, n = .05, 4096
			q := (a+at.rho)*(a+at.rho) + at.z*at.z
			pair := nsPerCall(n, func() {
				for i := range n {
					m := 4 * a * (at.rho + 1e-9*float64(i)) / q
					sink += mathext.CompleteB(m) + mathext.CompleteD(m)
				}
			})
			loop := nsPerCall(n, func() {
				for i := range n {
					r, z := Loop(a, at.rho+1e-9*float64(i), at.z)
					sink += r + z
				}
			})
			for b.Loop() {
				r, z := Loop(a, at.rho, at.z)
				sink += r + z
			}
			b.ReportMetric(loop/pair, "integrals")
		})
	}
}
