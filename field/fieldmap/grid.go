// Package fieldmap samples the field a plan should make on a grid over the pad,
// at the sensor's height, and draws it or writes it as a table.
package fieldmap

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field"
	"polewise/layout"
)

// Grid is the field on a grid of points, metres and teslas, pad frame. Points
// lie row by row from the lowest y, each row from the lowest x.
type Grid struct {
	X0, Y0, Step float64
	NX, NY       int
	Z            float64 // over the mid-plane of the coils
	B            []r3.Vec
}

// X and Y are the places of a column and a row.
func (g *Grid) X(i int) float64 { return g.X0 + float64(i)*g.Step }
func (g *Grid) Y(j int) float64 { return g.Y0 + float64(j)*g.Step }

// box is the rectangle in whose equal cells the points are the middles.
func (g *Grid) box() r2.Box {
	x, y := g.X0-g.Step/2, g.Y0-g.Step/2
	return r2.Box{Min: r2.Vec{X: x, Y: y}, Max: r2.Vec{X: x + float64(g.NX)*g.Step, Y: y + float64(g.NY)*g.Step}}
}

// Points along the longer side of a grid: as many as asked for when nobody
// chose, and the bounds of a choice.
const (
	UsualPoints = 200
	leastPoints = 10
	mostPoints  = 1000
)

// around is how much of the longer side is seen around pad and coils.
const around = 0.05

// Sample works out the field of a plan with every coil driven as planned, on a
// grid of so many points along the longer side. The height is that of the sensor
// over the thickest coil. It ends early when the context does; told, if it is not
// nil, hears how many rows of all are done.
func Sample(ctx context.Context, p *layout.Plan, points int, told func(done, of int)) (*Grid, error) {
	if points < leastPoints || points > mostPoints {
		return nil, fmt.Errorf("expected a grid of %d to %d points along the longer side, found %d", leastPoints, mostPoints, points)
	}
	cur, err := p.Solve()
	if err != nil {
		return nil, err
	}
	x0, y0, x1, y1, z := extent(p)
	long := math.Max(x1-x0, y1-y0)
	x0, y0, x1, y1 = x0-around*long, y0-around*long, x1+around*long, y1+around*long
	step := math.Max(x1-x0, y1-y0) / float64(points-1)
	const hair = 1e-9 // of rounding
	g := &Grid{X0: x0, Y0: y0, Step: step, Z: z,
		NX: int(math.Ceil((x1-x0)/step-hair)) + 1, NY: int(math.Ceil((y1-y0)/step-hair)) + 1}
	g.B, err = field.NewPad(p).Map(ctx, cur.AllAmpereTurns(p), g.box(), g.NX, g.NY, z, told)
	if err != nil {
		return nil, err
	}
	for _, b := range g.B {
		if s := r3.Norm(b); math.IsNaN(s) || math.IsInf(s, 0) {
			return nil, fmt.Errorf("the field of plan %q comes out as %g: a number in it is too large or too small to work with", p.Name, s)
		}
	}
	return g, nil
}

// extent is the box around the pad and its coils, and the sensor's height.
func extent(p *layout.Plan) (x0, y0, x1, y1, z float64) {
	lo, hi := p.Copper()
	if p.Outline.X > 0 {
		lo, hi = r2.Vec{X: math.Min(0, lo.X), Y: math.Min(0, lo.Y)}, r2.Vec{X: math.Max(p.Outline.X, hi.X), Y: math.Max(p.Outline.Y, hi.Y)}
	}
	for k := range p.Coils {
		z = math.Max(z, p.SensorHeight(k))
	}
	return lo.X, lo.Y, hi.X, hi.Y, z
}

// Units at the edge.
const (
	millimetre = 1e-3
	microtesla = 1e-6
)
