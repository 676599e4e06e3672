package verdict

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/field/readings"
)

// Where the sensor sits in the phone is one of a grid of offset cells, the same one in all holds of
// the phone. Where it was over a coil in one hold is a place cell: that offset, moved by a few
// cells more since the mark was not laid exactly. Each cell stands for a small Gaussian, within
// which the field is taken as linear.

// resolution is how finely places and scales are told apart.
type resolution struct {
	step   float64 // metres between cells
	sd     float64 // of the Gaussian a cell stands for
	margin int     // cells of placement around an offset cell
	scales int     // values of the common current scale
	lift   float64 // metres by which every sensor sits higher than planned
}

var (
	fineCells = resolution{step: 0.006, sd: 0.0042, margin: 2, scales: 5}
	// The coarse look takes placement and cell together for one wide Gaussian.
	coarseCells = resolution{step: 0.012, sd: 0.008, margin: 0, scales: 1}
)

// maxScales bounds resolution.scales.
const maxScales = 10

// grid is the cells of one phone.
type grid struct {
	resolution
	x0, y0 float64   // sensor offset of place cell (0,0), metres, phone frame
	nx, ny int       // place cells, each way
	ox, oy int       // offset cells, each way: the inner part of the place cells, from (margin, margin) on
	prior  []float64 // log prior of each offset cell, ox*oy
	// How likely the mark was laid off by -margin..margin cells. A phone turned a little about its
	// mark carries the sensor along, the more the further away it sits: so the weights along x
	// depend on the sensor's y, and those along y on its x.
	across [][]float64 // along x, per y of the offset cells
	up     [][]float64 // along y, per x
}

// unknownReachSD is how many standard deviations to each side of the middle an unknown place is
// looked for. Phones that nobody measured are of many makes, and one whose place is left out
// would fit best at a wrong one.
const unknownReachSD = 2.8

// newGrid lays the cells of a phone.
func newGrid(s sourceInfo, r resolution) *grid {
	g := &grid{resolution: r}
	reach := 2.4 // standard deviations each side of the middle
	if !s.known {
		reach = unknownReachSD
	}
	span := func(sd float64) int { return int(math.Ceil(reach * sd / r.step)) } // cells
	hx, hy := span(s.sd[0]), span(s.sd[1])
	g.ox, g.oy = 2*hx+1, 2*hy+1
	g.nx, g.ny = g.ox+2*r.margin, g.oy+2*r.margin
	g.x0 = s.offset[0] - float64(hx+r.margin)*r.step
	g.y0 = s.offset[1] - float64(hy+r.margin)*r.step
	g.prior = make([]float64, g.ox*g.oy)
	lp := func(i, h int, sd float64) float64 {
		if h == 0 {
			return 0
		}
		d := float64(i-h) * r.step / sd
		return -d * d / 2
	}
	total := math.Inf(-1)
	for i := 0; i < g.ox; i++ {
		for j := 0; j < g.oy; j++ {
			v := lp(i, hx, s.sd[0]) + lp(j, hy, s.sd[1])
			g.prior[i*g.oy+j] = v
			total = readings.LogAdd(total, v)
		}
	}
	for i := range g.prior {
		g.prior[i] -= total
	}
	for j := range g.oy {
		g.across = append(g.across, g.placement(g.y0+float64(j+r.margin)*r.step))
	}
	for i := range g.ox {
		g.up = append(g.up, g.placement(g.x0+float64(i+r.margin)*r.step))
	}
	return g
}

// placement is how likely the sensor is off by -margin..margin cells along one axis, if it sits
// lever metres from the mark along the other.
func (g *grid) placement(lever float64) []float64 {
	rest := math.Max(placeSD*placeSD+yawSD*yawSD*lever*lever-g.sd*g.sd, 1e-9)
	k := make([]float64, 2*g.margin+1)
	var sum float64
	for d := range k {
		x := float64(d-g.margin) * g.step
		k[d] = math.Exp(-x * x / (2 * rest))
		sum += k[d]
	}
	for d := range k {
		k[d] /= sum
	}
	return k
}

// size is how many place cells there are.
func (g *grid) size() int { return g.nx * g.ny }

// offsets is how many offset cells there are.
func (g *grid) offsets() int { return g.ox * g.oy }

// offset is the sensor offset at place cell k, metres, phone frame.
func (g *grid) offset(k int) r2.Vec {
	return r2.Vec{X: g.x0 + float64(k/g.ny)*g.step, Y: g.y0 + float64(k%g.ny)*g.step}
}

// middle is the place cell of an offset cell with the mark laid exactly.
func (g *grid) middle(cell int) int {
	return (cell/g.oy+g.margin)*g.ny + cell%g.oy + g.margin
}

// near adds the offset cells within reach of a place to a set.
func (g *grid) near(o r2.Vec, reach float64, set map[int]bool) {
	for c := range g.offsets() {
		q := g.offset(g.middle(c))
		if math.Abs(q.X-o.X) <= reach && math.Abs(q.Y-o.Y) <= reach {
			set[c] = true
		}
	}
}

// phone is a phone's grid and the cells of it in play.
type phone struct {
	*grid
	view
}

// view is a set of offset cells, with the place cells that the sensor may be in if it sits in one
// of them. What is worked out at places is kept in the order of places.
type view struct {
	cells  []int
	places []int
	slot   []int32 // per place cell: its position in places, if it is one of them
	key    key     // equal for equal cells
}

// viewOf is the view of a set of offset cells.
func (g *grid) viewOf(cells []int) view {
	in := make([]bool, g.size())
	for _, c := range cells {
		i0, j0 := c/g.oy, c%g.oy
		for i := i0; i <= i0+2*g.margin; i++ {
			for j := j0; j <= j0+2*g.margin; j++ {
				in[i*g.ny+j] = true
			}
		}
	}
	v := view{cells: cells, key: newKey()}
	for _, c := range cells {
		v.key.add(float64(c))
	}
	v.slot = make([]int32, g.size())
	for k := range in {
		if in[k] {
			v.slot[k] = int32(len(v.places))
			v.places = append(v.places, k)
		}
	}
	return v
}

// peakPlaces lists places about peakStep apart each way, the last ones too.
func (g *grid) peakPlaces() (out []int) {
	few := max(1, int(math.Round(peakStep/g.step)))
	along := func(n int) (list []int) {
		for i := 0; i < n-1; i += few {
			list = append(list, i)
		}
		return append(list, n-1)
	}
	for _, i := range along(g.nx) {
		for _, j := range along(g.ny) {
			out = append(out, i*g.ny+j)
		}
	}
	return out
}

// allCells are all offset cells.
func (g *grid) allCells() []int {
	all := make([]int, g.offsets())
	for i := range all {
		all[i] = i
	}
	return all
}

// blur turns likelihoods at places (plain numbers, relative to exp(ref)) into log likelihoods of a
// view's offset cells, by summing over where the mark may have been laid. To each cell that of an
// outlier, whose logarithm is given, is added.
func (g *grid) blur(out, score []float64, in *view, nodes int, ref, outlier float64) {
	low := math.Exp(math.Max(outlier-ref, -700))
	var sum [maxScales]float64
	for c, cell := range in.cells {
		i0, j0 := cell/g.oy, cell%g.oy
		clear(sum[:nodes])
		up := g.up[i0]
		for di, ki := range g.across[j0] {
			row := score[int(in.slot[(i0+di)*g.ny+j0])*nodes:] // all of a row's places are in play
			for dj, kj := range up {
				w := ki * kj
				for m, v := range row[dj*nodes : dj*nodes+nodes] {
					sum[m] += w * v
				}
			}
		}
		for m, s := range sum[:nodes] {
			out[c*nodes+m] = logUp(s+low) + ref
		}
	}
}
