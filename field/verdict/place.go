package verdict

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field"
	"polewise/field/readings"
	"polewise/layout"
)

// The sensor's place in the phone is a grid of cells common to all holds of one
// phone; the place over a hold is the cell the offset falls in, moved by a few
// cells more for the placement of the mark. Within a cell the field is taken as
// linear, so that each cell stands for a small Gaussian.

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
	x0, y0 float64   // offset of place cell (0,0), metres, phone frame
	nx, ny int       // cells of place
	ox, oy int       // cells of offset: the inner part, from (margin, margin) on
	prior  []float64 // log prior of each offset cell, ox*oy
	// Weights of a placement by -margin..margin cells. A phone turned a little
	// about its mark carries the sensor along, the more the further it sits: the
	// weights across depend on how far up the sensor is, and the other way round.
	across [][]float64 // per column of offset cells (y): along x
	up     [][]float64 // per row (x): along y
}

// unknownReachSD is how many standard deviations to each side of the middle an unknown
// place is looked for. Phones that nobody measured are of many makes: one whose place
// is left out would fit best where it is not.
const unknownReachSD = 2.8

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

// placement is how likely a placement is off by -margin..margin cells, for a
// sensor that sits lever metres away at a right angle.
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

func (g *grid) size() int    { return g.nx * g.ny }
func (g *grid) offsets() int { return g.ox * g.oy }

// offset returns the sensor offset of place cell k, metres, phone frame.
func (g *grid) offset(k int) r2.Vec {
	return r2.Vec{X: g.x0 + float64(k/g.ny)*g.step, Y: g.y0 + float64(k%g.ny)*g.step}
}

// middle returns the place cell in the middle of an offset cell.
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

// phone is a source's offset grid and the part of it in play.
type phone struct {
	*grid
	view
}

// view is a set of offset cells with the place cells those can reach. What is
// worked out at places is kept in their order.
type view struct {
	cells  []int
	places []int
	slot   []int32 // per place cell: where it stands among the places, if it does
	key    key     // of the cells
}

// viewOf lists the places that a set of offset cells can reach.
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

// everyFew lists places about so many metres apart each way, the last ones too.
func (g *grid) everyFew(apart float64) (out []int) {
	few := max(1, int(math.Round(apart/g.step)))
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

func (g *grid) allCells() []int {
	all := make([]int, g.offsets())
	for i := range all {
		all[i] = i
	}
	return all
}

// blur sums place scores (plain, relative to ref) to log likelihoods of offset
// cells: the mark was placed within a few cells of where it should be. A share
// of outliers is added to every cell.
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

// nine is a field and its slopes at one place: B, dB/dx, dB/dz. In free space
// the field has neither divergence nor curl, so the slope along y follows.
type nine [9]float64

func (n *nine) slopeY() (x, y, z float64) {
	return n[4], -(n[3] + n[8]), n[7]
}

// slim is a nine in single precision: a part in ten million of the field, far
// below what any reading tells, at half the memory.
type slim [9]float32

func (n nine) slim() (s slim) {
	for q, x := range n {
		s[q] = float32(x)
	}
	return s
}

// columns are the fields of the coils near a hold, uT per ampere-turn (and per
// metre for the slopes), worked out for a place when it is first asked for.
type columns struct {
	near    []int32   // coil indices
	peak    []float64 // per near coil: the largest |B| over the places
	pad     *field.Pad
	places  []r3.Vec
	strings [][]int32 // per string with several of the coils near: where those stand in near
	rows    [][]slim  // per place, in the order of near, then the planned pad's and those strings'; nil: not worked out
	planned []float64 // ampere-turns
	turned  map[int]bool
}

// peakStep is the way between the places looked at for the largest field, metres.
const peakStep = 0.012

// columnsAt finds the coils near a list of places.
func columnsAt(plan *layout.Plan, pad *field.Pad, planned []float64, places []r3.Vec) *columns {
	c := &columns{pad: pad, planned: planned, places: places, rows: make([][]slim, len(places))}
	if len(places) == 0 {
		return c
	}
	var centre r3.Vec
	for _, p := range places {
		centre = r3.Add(centre, r3.Scale(1/float64(len(places)), p))
	}
	var radius float64
	for _, p := range places {
		radius = math.Max(radius, r3.Norm(r3.Sub(p, centre)))
	}
	of := make([][]int32, len(plan.Strings))
	for j := range plan.Coils {
		if reaches(plan, j, planned[j], centre, radius) {
			s := plan.StringOf(j)
			of[s] = append(of[s], int32(len(c.near)))
			c.near = append(c.near, int32(j))
		}
	}
	for _, list := range of {
		if len(list) > 2 {
			c.strings = append(c.strings, list)
		}
	}
	return c
}

// lifted are the columns at places so many metres above these, a few millimetres: which
// coils are near and what they make at most, about, stays the same.
func (c *columns) lifted(by float64) *columns {
	o := *c
	o.rows, o.places = make([][]slim, len(c.places)), slices.Clone(c.places)
	for k := range o.places {
		o.places[k].Z += by
	}
	return &o
}

// findPeaks looks at the places of these indices for the largest fields. Where that
// is all of them, what is seen is kept.
func (c *columns) findPeaks(at []int) {
	c.peak = make([]float64, len(c.near))
	for _, k := range at {
		if len(at) == len(c.places) {
			for i, b := range c.row(k)[:len(c.near)] {
				x, y, z := float64(b[0]), float64(b[1]), float64(b[2])
				c.peak[i] = math.Max(c.peak[i], math.Sqrt(x*x+y*y+z*z))
			}
			continue
		}
		for i, j := range c.near {
			c.peak[i] = math.Max(c.peak[i], r3.Norm(c.pad.Column(int(j), c.places[k]))*1e6)
		}
	}
}

// row is what the near coils make at place k, and what they make as planned.
func (c *columns) row(k int) []slim {
	if c.rows[k] == nil {
		row := c.makeRow(c.places[k])
		row = append(row, c.sum(row, c.planned).slim())
		for _, list := range c.strings {
			var b nine
			for _, i := range list {
				b.add(&row[i], c.planned[c.near[i]])
			}
			row = append(row, b.slim())
		}
		c.rows[k] = row
	}
	return c.rows[k]
}

func (c *columns) makeRow(p r3.Vec) []slim {
	row := make([]slim, len(c.near), len(c.near)+1+len(c.strings))
	for i, j := range c.near {
		u := 1e6
		if c.turned[int(j)] {
			u = -u
		}
		b, x, z := c.pad.Slopes(int(j), p)
		row[i] = slim{
			float32(b.X * u), float32(b.Y * u), float32(b.Z * u),
			float32(x.X * u), float32(x.Y * u), float32(x.Z * u),
			float32(z.X * u), float32(z.Y * u), float32(z.Z * u),
		}
	}
	return row
}

// reaches tells whether coil j, seen as a dipole, can make reachUT anywhere
// within radius of a place at the planned ampere-turns.
func reaches(plan *layout.Plan, j int, ampereTurns float64, centre r3.Vec, radius float64) bool {
	w := plan.WindingOf(j)
	e := w.HalfExtent()
	at := plan.Coils[j].At
	d := math.Hypot(centre.X-at.X, centre.Y-at.Y) - radius - math.Max(e.X, e.Y)
	if d < 0.02 {
		return true
	}
	moment := math.Abs(ampereTurns) * 4 * e.X * e.Y
	return field.Mu0/(4*math.Pi)*moment/(d*d*d)*1e6 > reachUT
}

// add adds so many ampere-turns of a column.
func (n *nine) add(column *slim, ampereTurns float64) {
	for q, x := range column {
		n[q] += ampereTurns * float64(x)
	}
}

// sum adds up the near coils' fields for given ampere-turns.
func (c *columns) sum(row []slim, at []float64) (b nine) {
	for i, j := range c.near {
		if a := at[j]; a != 0 {
			b.add(&row[i], a)
		}
	}
	return b
}

// plannedAt is the planned pad's field at place k: what every other is worked out
// from.
func (c *columns) plannedAt(k int) (b nine) {
	row := c.row(k)
	for q, x := range row[len(c.near)] {
		b[q] = float64(x)
	}
	return b
}
