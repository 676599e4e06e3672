package field

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/layout"
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

// benchWinding is an ordinary coil: 90 mm across inside, 60 turns.
const (
	benchInner, benchBuild, benchWidth = .045, .006, .008
	benchTurns                         = 60
)

// benchPoints are points of a map 6 mm over the coil's face, in the order of a map.
func benchPoints(n int) []r3.Vec {
	points := make([]r3.Vec, 0, n*n)
	for j := range n {
		for i := range n {
			points = append(points, r3.Vec{X: .3 * ((float64(i)+.5)/float64(n) - .5), Y: .3 * ((float64(j)+.5)/float64(n) - .5), Z: benchWidth/2 + .006})
		}
	}
	return points
}

// BenchmarkRoundWinding: a round winding from its table, against one thin loop
// ("loops": what it costs in thin loops; at most 3 wanted) and against the sum
// over its turns as thin loops ("x-filaments": how many times faster; at least
// 20 wanted).
func BenchmarkRoundWinding(b *testing.B) {
	table := newRoundTable(benchInner, benchBuild, benchWidth)
	points := benchPoints(64)
	n := len(points)
	one := nsPerCall(n, func() {
		for _, p := range points {
			r, z := Loop(benchInner+benchBuild/2, math.Hypot(p.X, p.Y), p.Z)
			sink += r + z
		}
	})
	filaments := nsPerCall(n, func() {
		for _, p := range points {
			rho := math.Hypot(p.X, p.Y)
			for k := range benchTurns {
				// Ten layers of six.
				r, z := Loop(benchInner+benchBuild*(float64(k%6)+.5)/6, rho, p.Z-benchWidth*((float64(k/6)+.5)/10-.5))
				sink += r + z
			}
		}
	})
	fast := nsPerCall(n, func() {
		for _, p := range points {
			r, z := table.at(math.Sqrt(p.X*p.X+p.Y*p.Y), p.Z)
			sink += r + z
		}
	})
	i := 0
	for b.Loop() {
		p := points[i%n]
		r, z := table.at(math.Sqrt(p.X*p.X+p.Y*p.Y), p.Z)
		sink += r + z
		i++
	}
	b.ReportMetric(fast/one, "loops")
	b.ReportMetric(filaments/fast, "x-filaments")
}

// BenchmarkNewRound: a winding nobody has asked for yet, and a map over it.
func BenchmarkNewRound(b *testing.B) {
	points := benchPoints(200)
	for b.Loop() {
		table := newRoundTable(benchInner, benchBuild, benchWidth)
		for _, p := range points {
			r, z := table.at(math.Sqrt(p.X*p.X+p.Y*p.Y), p.Z)
			sink += r + z
		}
	}
}

// BenchmarkPathWinding: a rectangular winding by the distance of the reader from
// its copper, against the sum over its turns as filaments.
func BenchmarkPathWinding(b *testing.B) {
	w := &layout.Winding{Shape: layout.Rectangle, InnerX: .1, InnerY: .06, Corner: .01, Turns: benchTurns, Build: benchBuild, Width: benchWidth}
	p, field := pathOf(w), fieldOfPath(w)
	rng := rand.New(rand.NewPCG(1, 2))
	for _, reach := range []struct {
		name           string
		nearest, limit float64
	}{{"1-2mm", .001, .002}, {"5-8mm", .005, .008}, {"10-20mm", .01, .02}, {"20-50mm", .02, .05}, {"next-coil", .06, .15}, {"far", .15, .5}} {
		var points []r3.Vec
		for len(points) < 1000 {
			at := r3.Vec{X: (.1 + 2*reach.limit) * (rng.Float64() - .5), Y: (.08 + 2*reach.limit) * (rng.Float64() - .5), Z: .002 + (.03+reach.limit)*rng.Float64()}
			if gap := field.section.gap(p.outward(at.X, at.Y), at.Z); gap > reach.nearest && gap < reach.limit {
				points = append(points, at)
			}
		}
		b.Run(reach.name, func(b *testing.B) {
			filaments := nsPerCall(len(points), func() {
				for _, at := range points {
					for k := range benchTurns {
						at := at
						at.Z -= benchWidth * ((float64(k/6)+.5)/10 - .5)
						sink += p.turn(benchBuild*(float64(k%6)+.5)/6, at).Z
					}
				}
			})
			one := nsPerCall(len(points), func() {
				for _, at := range points {
					sink += field.at(at).Z
				}
			})
			i := 0
			for b.Loop() {
				sink += field.at(points[i%len(points)]).Z
				i++
			}
			b.ReportMetric(filaments/one, "x-filaments")
		})
	}
}

// benchPad is a pad of n coils, five to a row.
func benchPad(n int, shape layout.Shape) (*Pad, []float64) {
	p := &layout.Plan{Windings: []layout.Winding{{ID: "w", Shape: shape, InnerX: 2 * benchInner, InnerY: 2 * benchInner, Corner: .01, Turns: benchTurns, Build: benchBuild, Width: benchWidth}}}
	turns := make([]float64, n)
	for j := range n {
		p.Coils = append(p.Coils, layout.Coil{At: r2.Vec{X: .112 * float64(j%5), Y: .112 * float64(j/5)}})
		turns[j] = float64(1 - j%2*2)
	}
	return NewPad(p), turns
}

// BenchmarkMap: 200 by 200 points 6 mm over 15 coils, tables made before; the
// cost of a coil at a point also in thin loops on one processor ("loops").
func BenchmarkMap(b *testing.B) {
	over := r2.Box{Min: r2.Vec{X: -.06, Y: -.06}, Max: r2.Vec{X: .51, Y: .29}}
	const n = 200
	for _, shape := range []layout.Shape{layout.Round, layout.Rectangle} {
		b.Run(string(shape), func(b *testing.B) {
			pad, turns := benchPad(15, shape)
			one := nsPerCall(n*n, func() {
				for i := range n * n {
					r, z := Loop(.048, .57*float64(i%n)/n, .01)
					sink += r + z
				}
			})
			ctx := b.Context()
			began, times := time.Now(), 0
			for b.Loop() {
				m, _ := pad.Map(ctx, turns, over, n, n, benchWidth/2+.006, nil)
				sink += m[0].Z
				times++
			}
			each := float64(time.Since(began).Nanoseconds()) / float64(times) / (n * n * 15)
			b.ReportMetric(each, "ns/coil-point")
			b.ReportMetric(each/one, "loops")
		})
	}
}

// Columns returns the field of every coil in teslas per ampere-turn at a point
// of the pad frame. It writes to dst where that has room for all coils.
func (pad *Pad) Columns(dst []r3.Vec, at r3.Vec) []r3.Vec {
	dst = dst[:0]
	for j := range pad.coils {
		dst = append(dst, pad.coils[j].at(at))
	}
	return dst
}

// BenchmarkColumns: the cost per coil must not grow with the number of coils;
// "x-one" is the cost per coil and point over that of a pad of one coil.
func BenchmarkColumns(b *testing.B) {
	points := benchPoints(64)
	cost := func(n int) float64 {
		pad, _ := benchPad(n, layout.Round)
		dst := make([]r3.Vec, n)
		return nsPerCall(n*len(points), func() {
			for _, p := range points {
				dst = pad.Columns(dst, p)
			}
		})
	}
	for _, n := range []int{1, 5, 15, 60} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			one, each := cost(1), cost(n)
			pad, _ := benchPad(n, layout.Round)
			dst := make([]r3.Vec, n)
			i := 0
			for b.Loop() {
				dst = pad.Columns(dst, points[i%len(points)])
				i++
			}
			b.ReportMetric(each, "ns/coil-point")
			b.ReportMetric(each/one, "x-one")
		})
	}
}
