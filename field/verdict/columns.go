package verdict

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field"
	"polewise/layout"
)

// What each coil makes at the places where a sensor may be is worked out once, per
// ampere-turn, so that the field of any hypothesis is a sum.

// nine is a field and its slopes at one place: B, dB/dx, dB/dz. In free space
// the field has neither divergence nor curl, so the slope along y follows.
type nine [9]float64

// slopeY is dB/dy.
func (n *nine) slopeY() (x, y, z float64) {
	return n[4], -(n[3] + n[8]), n[7]
}

// aside adds another field as it is x and y metres away from where it was worked out: by its
// slopes, which are taken to stay the same so near by.
func (n *nine) aside(o *nine, x, y float64) {
	yx, yy, yz := o.slopeY()
	n[0] += x*o[3] + y*yx
	n[1] += x*o[4] + y*yy
	n[2] += x*o[5] + y*yz
	for q := range n {
		n[q] += o[q]
	}
}

// add adds so many ampere-turns of a column.
func (n *nine) add(column *slim, ampereTurns float64) {
	for q, x := range column {
		n[q] += ampereTurns * float64(x)
	}
}

// slim is a nine in single precision: a part in ten million of the field, far
// below what any reading tells, at half the memory.
type slim [9]float32

// slim is the same in single precision.
func (n *nine) slim() (s slim) {
	for q, x := range n {
		s[q] = float32(x)
	}
	return s
}

// nine is the same in double precision.
func (s *slim) nine() (n nine) {
	for q, x := range s {
		n[q] = float64(x)
	}
	return n
}

// columns are what the coils near some places make there, uT per ampere-turn (and per metre for
// the slopes), worked out for a place when it is first asked for. A coil is close, worked out at
// every place; or distant, so far away that its slopes hardly change over a tile, and worked out
// once for each tile; or beyond, so far that it always counts as planned.
type columns struct {
	near    []int32   // coil indices: the close ones, then the distant
	close   int       // how many of near are close
	beyond  []int32   // where there are no tiles, those are left out altogether
	peak    []float64 // per near coil: the largest |B| over the places
	pad     *field.Pad
	place   func(k int) r3.Vec // k from 0 to before count
	count   int
	strings [][]int32 // per string with several of the close coils: where those stand in near
	rows    [][]slim  // per place: see row; nil: not worked out
	tiles   tiles
	planned []float64    // ampere-turns of each coil
	turned  map[int]bool // coils that ran the other way when this was read, before a mend
}

// tiles part the places of columns into squares.
type tiles struct {
	of   []int32  // per place
	mid  []r3.Vec // the middle of each
	rows [][]slim // per tile: each distant coil, then all distant ones and those beyond as planned; nil: not worked out
}

// What a coil has to make to be worked out for itself (estimates, no source).
const (
	tileSize = 0.024 // metres
	// tileErrorUT is by how much at most a coil's field may differ from what its slopes say in
	// a tile's corner, as planned, for it to be distant.
	tileErrorUT = 0.15
	// reachUT is the least field of a coil over a hold that is followed.
	reachUT = 0.4
	// peakStep is the way between the places looked at for the largest field, metres.
	peakStep = 0.012
)

// columnsAt finds the coils near so many places, and takes all of them for close.
func columnsAt(plan *layout.Plan, pad *field.Pad, planned []float64, count int, place func(k int) r3.Vec) *columns {
	c := &columns{pad: pad, planned: planned, count: count, place: place, rows: make([][]slim, count)}
	centre, radius := c.around()
	for j := range plan.Coils {
		if uT, _ := dipole(plan, j, planned[j], centre, radius); uT > reachUT {
			c.near = append(c.near, int32(j))
		}
	}
	c.close = len(c.near)
	return c
}

// around is the middle of the places, and how far they lie from it.
func (c *columns) around() (centre r3.Vec, radius float64) {
	for k := range c.count {
		centre = r3.Add(centre, r3.Scale(1/float64(c.count), c.place(k)))
	}
	for k := range c.count {
		radius = math.Max(radius, r3.Norm(r3.Sub(c.place(k), centre)))
	}
	return centre, radius
}

// dipole is the most that coil j, seen as a dipole, makes within radius of a place with so many
// ampere-turns, uT; and by how much its field differs, in a tile's corner, from what its slopes in
// the middle say. Both are infinite where the coil is too near for that.
func dipole(plan *layout.Plan, j int, ampereTurns float64, centre r3.Vec, radius float64) (uT, bend float64) {
	w := plan.WindingOf(j)
	e := w.HalfExtent()
	at := plan.Coils[j].At
	edge := math.Max(e.X, e.Y)
	d := math.Hypot(centre.X-at.X, centre.Y-at.Y) - radius
	if d-edge < 0.02 {
		return math.Inf(1), math.Inf(1)
	}
	moment := math.Abs(ampereTurns) * 4 * e.X * e.Y
	of := func(d float64) float64 { return field.Mu0 / (4 * math.Pi) * moment / (d * d * d) * 1e6 }
	if d < farExtents*edge {
		return of(d - edge), math.Inf(1)
	}
	corner := tileSize / math.Sqrt2
	return of(d - edge), 6 * of(d) * corner * corner / (d * d) // half the second derivative of 1/d^3
}

// farExtents is how many of its half extents a coil must be away to be taken for a dipole.
const farExtents = 2.5

// layTiles lays tiles over the places, which are all of one height, and tells distant coils from
// close ones. All that are not near stay as planned.
func (c *columns) layTiles(plan *layout.Plan) {
	if c.count == 0 {
		return
	}
	centre, radius := c.around()
	for j := range plan.Coils {
		if _, found := slices.BinarySearch(c.near, int32(j)); !found {
			c.beyond = append(c.beyond, int32(j))
		}
	}
	var near, distant []int32
	for _, j := range c.near {
		if _, bend := dipole(plan, int(j), c.planned[j], centre, radius); bend > tileErrorUT {
			near = append(near, j)
		} else {
			distant = append(distant, j)
		}
	}
	c.near, c.close = append(near, distant...), len(near)
	at := map[[2]int]int32{}
	c.tiles.of = make([]int32, c.count)
	for k := range c.count {
		p := c.place(k)
		i, j := math.Floor(p.X/tileSize), math.Floor(p.Y/tileSize)
		t, ok := at[[2]int{int(i), int(j)}]
		if !ok {
			t = int32(len(c.tiles.mid))
			at[[2]int{int(i), int(j)}] = t
			c.tiles.mid = append(c.tiles.mid, r3.Vec{X: (i + 0.5) * tileSize, Y: (j + 0.5) * tileSize, Z: p.Z})
		}
		c.tiles.of[k] = t
	}
	c.tiles.rows = make([][]slim, len(c.tiles.mid))
}

// joinStrings finds the strings that have several of the close coils.
func (c *columns) joinStrings(plan *layout.Plan) {
	of := make([][]int32, len(plan.Strings))
	for i, j := range c.near[:c.close] {
		s := plan.StringOf(int(j))
		of[s] = append(of[s], int32(i))
	}
	for _, list := range of {
		if len(list) > 2 {
			c.strings = append(c.strings, list)
		}
	}
}

// lifted are the columns at places a few millimetres above these: which coils are near, and about
// how much they make at most, stays the same.
func (c *columns) lifted(by float64) *columns {
	o := *c
	o.place = func(k int) r3.Vec {
		p := c.place(k)
		p.Z += by
		return p
	}
	o.rows = make([][]slim, len(c.rows))
	o.tiles.mid, o.tiles.rows = slices.Clone(c.tiles.mid), make([][]slim, len(c.tiles.rows))
	for t := range o.tiles.mid {
		o.tiles.mid[t].Z += by
	}
	return &o
}

// findPeaks looks at the places of these indices for the largest fields. Where that
// is all of them, what is seen is kept.
func (c *columns) findPeaks(at []int) {
	c.peak = make([]float64, len(c.near))
	for _, k := range at {
		if len(at) == c.count {
			for i, b := range c.row(k)[:c.close] {
				x, y, z := float64(b[0]), float64(b[1]), float64(b[2])
				c.peak[i] = math.Max(c.peak[i], math.Sqrt(x*x+y*y+z*z))
			}
			continue
		}
		c.peakAt(c.place(k), 0, c.close)
	}
	for _, p := range c.tiles.mid {
		c.peakAt(p, c.close, len(c.near))
	}
}

// peakAt looks at a place for the largest fields of the near coils from one to another.
func (c *columns) peakAt(p r3.Vec, from, to int) {
	for i := from; i < to; i++ {
		c.peak[i] = math.Max(c.peak[i], r3.Norm(c.pad.Column(int(c.near[i]), p))*1e6)
	}
}

// row is what there is at place k: each close coil, then the planned pad, then each of strings as
// planned. It is worked out when first asked for.
func (c *columns) row(k int) []slim {
	if c.rows[k] == nil {
		row := make([]slim, 0, c.close+1+len(c.strings))
		row, all := c.makeRow(row, c.place(k), c.near[:c.close])
		if len(c.tiles.of) > 0 {
			far, x, y := c.tile(k)
			planned := far[len(far)-1].nine()
			all.aside(&planned, x, y)
		}
		row = append(row, all.slim())
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

// dropRows lets go of what was worked out; what is asked for later is worked out again.
func (c *columns) dropRows() {
	clear(c.rows)
	clear(c.tiles.rows)
}

// tile is the row of place k's tile, and how far from the tile's middle the place lies, metres.
func (c *columns) tile(k int) (row []slim, x, y float64) {
	t := c.tiles.of[k]
	mid, p := c.tiles.mid[t], c.place(k)
	if c.tiles.rows[t] == nil {
		row, all := c.makeRow(make([]slim, 0, len(c.near)-c.close+1), mid, c.near[c.close:])
		for _, j := range c.beyond {
			b := c.of(j, mid)
			for q, x := range b {
				all[q] += c.planned[j] * x
			}
		}
		c.tiles.rows[t] = append(row, all.slim())
	}
	return c.tiles.rows[t], p.X - mid.X, p.Y - mid.Y
}

// makeRow appends what some coils make at a place, and adds up what that is as planned.
func (c *columns) makeRow(row []slim, p r3.Vec, coils []int32) (_ []slim, all nine) {
	for _, j := range coils {
		b := c.of(j, p)
		row = append(row, b.slim())
		all.add(&row[len(row)-1], c.planned[j])
	}
	return row, all
}

// of is what coil j makes at a place, uT per ampere-turn and per metre.
func (c *columns) of(j int32, p r3.Vec) nine {
	u := 1e6
	if c.turned[int(j)] {
		u = -u
	}
	b, x, z := c.pad.Slopes(int(j), p)
	return nine{b.X * u, b.Y * u, b.Z * u, x.X * u, x.Y * u, x.Z * u, z.X * u, z.Y * u, z.Z * u}
}

// plannedAt is the planned pad's field at place k, from which every other is worked out.
func (c *columns) plannedAt(k int) nine { return c.row(k)[c.close].nine() }
