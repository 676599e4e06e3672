package field

// What the fast ways of computing must keep: the laws, continuity, no garbage,
// the same answer however many ask at once.

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"runtime"
	"sync"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"polewise/layout"
)

// drawSource draws a winding of any shape and a point off its copper.
func drawSource(rng *rand.Rand, nearest, farthest float64) (field func(r3.Vec) r3.Vec, at r3.Vec, gap float64) {
	pad, at, gap := drawOne(rng, nearest, farthest)
	return func(at r3.Vec) r3.Vec { return pad.Column(0, at) }, at, gap
}

// drawOne is drawSource with the pad itself.
func drawOne(rng *rand.Rand, nearest, farthest float64) (pad *Pad, at r3.Vec, gap float64) {
	w, at, gap := drawPath(rng, nearest, farthest)
	if rng.IntN(2) == 0 {
		d := drawRound(rng, nearest, farthest)
		w = &layout.Winding{Shape: layout.Round, InnerX: 2 * d.inner, InnerY: 2 * d.inner, Build: d.build, Width: d.width}
		at, gap = r3.Vec{X: d.rho * .6, Y: d.rho * .8, Z: d.z}, d.gap()
	}
	return NewPad(&layout.Plan{Windings: []layout.Winding{*w}, Coils: []layout.Coil{{}}}), at, gap
}

// slopeOf is the slope of a field along a unit vector by differences of the sixth order.
func slopeOf(field func(r3.Vec) r3.Vec, at, along r3.Vec, h float64) (d r3.Vec) {
	for k, w := range []float64{3. / 4, -3. / 20, 1. / 60} {
		step := r3.Scale(float64(k+1)*h, along)
		d = r3.Add(d, r3.Scale(w/h, r3.Sub(field(r3.Add(at, step)), field(r3.Sub(at, step)))))
	}
	return d
}

// Divergence and curl of each winding, by differences of the sixth order over
// steps of a thirtieth of the gap. What the laws leave over is at most 5e-5 of
// |B| over the gap, the steepest slope a wire could make there: a step of 3e-7
// of |B| between two cells would give 1e-5.
func TestFastFieldObeysTheLaws(t *testing.T) {
	worst := 0.0
	draws(t, 10, func(t *rapid.T, rng *rand.Rand) {
		field, at, gap := drawSource(rng, .001, .4)
		if gap < .001 {
			return // too near another side
		}
		h := gap / 30
		slope := func(e r3.Vec) r3.Vec { return slopeOf(field, at, e, h) }
		x, y, z := slope(r3.Vec{X: 1}), slope(r3.Vec{Y: 1}), slope(r3.Vec{Z: 1})
		unit := r3.Norm(field(at)) / gap
		for name, v := range map[string]float64{"divergence": x.X + y.Y + z.Z, "curl x": y.Z - z.Y, "curl y": z.X - x.Z, "curl z": x.Y - y.X} {
			worst = max(worst, math.Abs(v)/unit)
			if !(math.Abs(v) <= 5e-5*unit) {
				t.Fatalf("%s is %.1e of |B|/gap at %v, %.1f mm off the copper", name, math.Abs(v)/unit, at, gap*1e3)
			}
		}
	})
	t.Logf("at most %.1e of |B|/gap", worst)
}

// What Slopes says against differences of the field: of a round winding to 3e-4 of |B| over
// the gap, as derivatives of a fit lose a digit or two; of others to what a one-sided
// difference over a millimetre leaves out.
func TestSlopesAreThoseOfTheField(t *testing.T) {
	worst := map[bool]float64{}
	draws(t, 10, func(t *rapid.T, rng *rand.Rand) {
		pad, at, gap := drawOne(rng, .002, .4)
		if gap < .002 {
			return // too near another side
		}
		field := func(at r3.Vec) r3.Vec { return pad.Column(0, at) }
		b, alongX, alongZ := pad.Slopes(0, at)
		if r3.Norm(r3.Sub(b, field(at))) > 1e-12*r3.Norm(b) {
			t.Fatalf("Slopes has %v for the field at %v, Column %v", b, at, field(at))
		}
		round := pad.coils[0].round != nil
		limit := 3e-4
		if !round {
			if gap < 20*slopeStep {
				return
			}
			limit = 10 * slopeStep / gap
		}
		for e, got := range map[r3.Vec]r3.Vec{{X: 1}: alongX, {Z: 1}: alongZ} {
			want := slopeOf(field, at, e, gap/30)
			off := r3.Norm(r3.Sub(got, want)) / r3.Norm(b) * gap
			worst[round] = max(worst[round], off)
			if !(off <= limit) {
				t.Fatalf("along %v the slope is %v at %v, %.1f mm off the copper; by differences %v", e, got, at, gap*1e3, want)
			}
		}
	})
	t.Logf("at most %.1e of |B|/gap (round), %.1e (others)", worst[true], worst[false])
}

// step is the change of a field from just before a place to just behind it, as a
// share of |B|; between the two lies a part in 1e11 of the gap.
func step(field func(r3.Vec) r3.Vec, at, dir r3.Vec, gap float64) float64 {
	d := r3.Scale(gap*5e-12, dir)
	before, behind := field(r3.Sub(at, d)), field(r3.Add(at, d))
	return r3.Norm(r3.Sub(before, behind)) / r3.Norm(before)
}

// Where one cell of a table ends and the next begins, and where one level does,
// the field has no step of more than the two errors together.
func TestNoStepBetweenCells(t *testing.T) {
	worst := 0.0
	draws(t, 10, func(t *rapid.T, rng *rand.Rand) {
		d := drawRound(rng, .001, .4)
		inner, build, width := d.inner, d.build, d.width
		table := newRoundTable(inner, build, width)
		field := func(at r3.Vec) r3.Vec {
			r, z := table.at(at.X, at.Z)
			return r3.Vec{X: r * at.X, Z: z}
		}
		// An edge of a cell: a whole number of cells off one face of the copper,
		// and somewhere along it. The fourth is where the next level begins.
		gap := firstGap * math.Exp2(float64(rng.IntN(9)))
		cell := gap / cellsPerGap
		i, j, along := rng.IntN(8), 4+rng.IntN(4), rng.Float64()
		at, dir := r3.Vec{X: inner + build + float64(i)*cell, Z: width/2 + (float64(j)+along)*cell}, r3.Vec{X: 1}
		switch rng.IntN(3) {
		case 1:
			if at.X = inner - float64(i)*cell; at.X <= 0 {
				return // over the axis
			}
		case 2:
			at = r3.Vec{X: inner + build + (float64(i)+along)*cell, Z: width/2 + float64(j)*cell}
			dir = r3.Vec{Z: 1}
		}
		e := step(field, at, dir, cell)
		worst = max(worst, e)
		if !(e <= 6e-7) {
			t.Fatalf("a step of %.1e of |B| at %v", e, at)
		}
	})
	t.Logf("at most %.1e of |B|", worst)
}

// The same where the multipoles begin.
func TestNoStepWhereTheMultipolesBegin(t *testing.T) {
	draws(t, 1, func(t *rapid.T, rng *rand.Rand) {
		w, _, _ := drawPath(rng, .001, .4)
		f := fieldOfPath(w)
		dir := r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		at := r3.Scale(math.Sqrt(f.reach2), dir)
		if e := step(f.at, at, dir, .1); !(e <= 8e-7) {
			t.Fatalf("a step of %.1e of |B| at %v, %+v", e, at, w)
		}
	})
}

// Through the copper the field is finite and has no step worth speaking of: its
// edge, the planes where the sum is cut, and where cells begin.
func TestThroughTheCopper(t *testing.T) {
	for name, w := range map[string]layout.Winding{
		"round":     {Shape: layout.Round, InnerX: .09, InnerY: .09, Build: .006, Width: .008},
		"rectangle": {Shape: layout.Rectangle, InnerX: .1, InnerY: .06, Corner: .01, Build: .006, Width: .008},
	} {
		pad := NewPad(&layout.Plan{Windings: []layout.Winding{w}, Coils: []layout.Coil{{}}})
		peak := r3.Norm(pad.Column(0, r3.Vec{X: w.InnerX/2 - 1e-4}))
		lines := map[string]func(float64) r3.Vec{
			"along x in the mid-plane": func(s float64) r3.Vec { return r3.Vec{X: w.InnerX/2 - .003 + s*.012} },
			"along x under the face":   func(s float64) r3.Vec { return r3.Vec{X: w.InnerX/2 - .003 + s*.012, Y: .001, Z: .0039} },
			"up through the middle":    func(s float64) r3.Vec { return r3.Vec{X: w.InnerX/2 + .003, Z: -.008 + s*.016} },
		}
		if w.Shape == layout.Rectangle {
			lines["through a corner"] = func(s float64) r3.Vec {
				return r3.Vec{X: .04 + .006*s + .006, Y: .02 + .006 + .006*s, Z: .001}
			}
		}
		for line, at := range lines {
			const n = 400
			last := pad.Column(0, at(0))
			for i := 1; i <= n; i++ {
				b := pad.Column(0, at(float64(i)/n))
				// 0.03 to 0.04 mm: with current density 1/(build width) the
				// slope is mu0 J, which makes up to 1 % of the peak a step.
				if step := r3.Norm(r3.Sub(b, last)) / peak; !(step <= .025) {
					t.Errorf("%s, %s: a step of %.2g of the peak at %v", name, line, step, at(float64(i)/n))
				}
				last = b
			}
			for _, s := range []float64{0, .1, .25, .5, .75, .9} {
				a, b := pad.Column(0, at(s)), pad.Column(0, at(s+1e-9))
				if d := r3.Norm(r3.Sub(a, b)) / peak; !(d <= 1e-4) {
					t.Errorf("%s, %s: %.1e of the peak between neighbours at %v", name, line, d, at(s))
				}
			}
		}
		// On the very faces and edges.
		for _, u := range []float64{0, w.Build} {
			for _, z := range []float64{0, w.Width / 2} {
				at := r3.Vec{X: w.InnerX/2 + u, Z: z}
				for _, d := range []r3.Vec{{X: 1e-9}, {X: -1e-9}, {Z: 1e-9}, {Z: -1e-9}} {
					a, b := pad.Column(0, at), pad.Column(0, r3.Add(at, d))
					if e := r3.Norm(r3.Sub(a, b)) / peak; !(e <= 2e-4) {
						t.Errorf("%s: %.1e of the peak across the copper's edge at %v towards %v", name, e, at, d)
					}
				}
			}
		}
	}
}

func TestNoGarbage(t *testing.T) {
	_, pad := testPad()
	turns := []float64{1, -2, 3}
	dst := make([]r3.Vec, 3)
	for name, at := range map[string]r3.Vec{"near": {X: .05, Y: .14, Z: .01}, "far": {X: .6, Z: .02}, "in the copper": {X: .047}} {
		if n := testing.AllocsPerRun(20, func() {
			sink += pad.At(turns, at).Z
			sink += pad.Columns(dst, at)[0].Z
		}); n != 0 {
			t.Errorf("%s: %g allocations", name, n)
		}
	}
	// A map makes its result and starts its workers; nothing by the point.
	over := r2.Box{Max: r2.Vec{X: .2, Y: .2}}
	few := testing.AllocsPerRun(5, func() { pad.Map(t.Context(), turns, over, 5, 5, .01, nil) })
	many := testing.AllocsPerRun(5, func() { pad.Map(t.Context(), turns, over, 60, 60, .01, nil) })
	if many > few+4 {
		t.Errorf("a map of 25 points makes %g allocations, one of 3600 makes %g", few, many)
	}
}

func TestMapIsAt(t *testing.T) {
	_, pad := testPad()
	turns := []float64{1, -2, 3}
	over := r2.Box{Min: r2.Vec{X: -.1, Y: -.05}, Max: r2.Vec{X: .2, Y: .3}}
	for _, n := range [][2]int{{7, 5}, {1, 1}, {3, 40}, {0, 3}, {3, 0}} {
		m, err := pad.Map(t.Context(), turns, over, n[0], n[1], .012, nil)
		if err != nil || len(m) != n[0]*n[1] {
			t.Fatalf("%v: %d points, %v", n, len(m), err)
		}
		for k, b := range m {
			i, j := k%n[0], k/n[0]
			at := r3.Vec{X: -.1 + (float64(i)+.5)*.3/float64(n[0]), Y: -.05 + (float64(j)+.5)*.35/float64(n[1]), Z: .012}
			want := pad.At(turns, at)
			if r3.Norm(r3.Sub(b, want)) > 1e-6*r3.Norm(want) {
				t.Errorf("%v: %v at %v, expected %v", n, b, at, want)
			}
		}
	}
}

// A map tells how many of its rows are done, one after the other, and ends where it
// is told to.
func TestMapTellsAndEnds(t *testing.T) {
	_, pad := testPad()
	turns := []float64{1, -2, 3}
	over := r2.Box{Min: r2.Vec{X: -.1, Y: -.05}, Max: r2.Vec{X: .2, Y: .3}}
	const nx, ny = 5, 300
	last := 0
	if _, err := pad.Map(t.Context(), turns, over, nx, ny, .012, func(done, of int) {
		if done != last+1 || of != ny {
			t.Errorf("after %d of %d rows it tells %d of %d", last, ny, done, of)
		}
		last = done
	}); err != nil || last != ny {
		t.Errorf("told of %d rows of %d, %v", last, ny, err)
	}
	ctx, end := context.WithCancel(t.Context())
	defer end()
	const enough = 3
	_, err := pad.Map(ctx, turns, over, nx, ny, .012, func(done, of int) {
		if last = done; done == enough {
			end()
		}
	})
	if most := enough + runtime.GOMAXPROCS(0); !errors.Is(err, context.Canceled) || last > most {
		t.Errorf("ended after %d rows, it worked on to %d: %v", enough, last, err)
	}
}

// Many who ask a new winding at once get what one alone gets, to the last bit.
func TestManyAtOnce(t *testing.T) {
	points := benchPoints(40)
	alone, shared := newRoundTable(benchInner, benchBuild, benchWidth), newRoundTable(benchInner, benchBuild, benchWidth)
	p, s := pathOf(&layout.Winding{Shape: layout.Oblong, InnerX: .03, InnerY: .02}), section{build: .004, half: .003}
	pathAlone, pathShared := newPathField(p, s), newPathField(p, s)
	var done sync.WaitGroup
	var many [8][]r3.Vec
	for k := range many {
		done.Go(func() {
			for i := range points {
				at := points[(i*(2*k+1))%len(points)]
				r, z := shared.at(math.Hypot(at.X, at.Y), at.Z)
				many[k] = append(many[k], r3.Vec{X: r, Z: z}, pathShared.at(at))
				sourceOf(&layout.Winding{Shape: layout.Round, InnerX: .01 * float64(1+i%100), Build: .004, Width: .004})
			}
		})
	}
	done.Wait()
	for k := range many {
		for i := range points {
			at := points[(i*(2*k+1))%len(points)]
			r, z := alone.at(math.Hypot(at.X, at.Y), at.Z)
			if got := many[k][2*i]; got != (r3.Vec{X: r, Z: z}) {
				t.Fatalf("round at %v: %v, alone (%g, %g)", at, got, r, z)
			}
			if got, want := many[k][2*i+1], pathAlone.at(at); got != want {
				t.Fatalf("path at %v: %v, alone %v", at, got, want)
			}
		}
	}
	sources.Lock()
	defer sources.Unlock()
	if len(sources.kept) > keptSources {
		t.Errorf("%d windings kept", len(sources.kept))
	}
}

// Sizes as large and as small as a plan may have, and points that are no points.
func TestStrangeSizes(t *testing.T) {
	for _, w := range []layout.Winding{
		{Shape: layout.Round, InnerX: 2e-5, InnerY: 2e-5, Build: 1e-5, Width: 1e-5},
		{Shape: layout.Round, InnerX: 10, InnerY: 10, Build: 10, Width: 10},
		{Shape: layout.Round, InnerX: 1e-5, InnerY: 1e-5, Build: 10, Width: 1e-5},
		{Shape: layout.Oblong, InnerX: 10, InnerY: 1e-5, Build: 1e-5, Width: 10},
		{Shape: layout.Rectangle, InnerX: 10, InnerY: 10, Build: 10, Width: 10},
		{Shape: layout.Rectangle, InnerX: 1e-5, InnerY: 1e-5, Build: 1e-5, Width: 1e-5},
	} {
		pad := NewPad(&layout.Plan{Windings: []layout.Winding{w}, Coils: []layout.Coil{{}}})
		for _, v := range []float64{0, 1e-6, .001, .01, .3, 3, 30, 1e6} {
			for _, at := range []r3.Vec{{X: v}, {Z: v}, {X: v, Y: v, Z: v}} {
				if b := pad.Column(0, at); math.IsNaN(b.X+b.Y+b.Z) || math.IsInf(b.X+b.Y+b.Z, 0) {
					t.Errorf("%+v at %v: %v", w, at, b)
				}
			}
		}
		for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64} {
			pad.Column(0, r3.Vec{X: v}) // anything but a panic
			pad.Column(0, r3.Vec{Z: v})
		}
	}
}
