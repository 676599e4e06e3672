package verdict

import "math"

// change is how the field over a reading follows from another field as the coils' ampere-turns
// change. A fault mostly changes few coils by themselves: where the pad's current is set, all
// other strings change alike, and the coils of a string carry one current. So the whole field is
// scaled by a share, and only what some strings or coils change by besides is added.
type change struct {
	share float64
	// Of close coils, and of strings of several: columns of a place's row, with the ampere-turns
	// (of a string, the share of the planned ones) that each adds.
	index []int
	delta []float64
	rest  []float64 // per near coil, ampere-turns: what neither the share nor its string's says
	// Of distant coils: the same in a tile's row, and what that comes to in each tile.
	farIndex []int
	farDelta []float64
	tiles    []nine
	known    []bool // which of tiles are worked out
}

// commonShare is the factor by which most coils' ampere-turns change, if most change alike; else
// some factor, which change.set finds to be of no use.
func commonShare(from, to []float64) float64 {
	most := majority{of: 1}
	for j := range from {
		if from[j] != 0 {
			most.count(to[j] / from[j])
		}
	}
	return most.of
}

// majority is the number that most of those counted come to, if most come to one (the vote of
// Boyer and Moore: each that differs takes a vote away).
type majority struct {
	of    float64
	votes int
}

// count takes another number.
func (m *majority) count(x float64) {
	switch {
	case m.same(x):
		m.votes++
	case m.votes == 0:
		m.of, m.votes = x, 1
	default:
		m.votes--
	}
}

// same tells whether a number is that of the majority.
func (m *majority) same(x float64) bool { return math.Abs(x-m.of) < 1e-9 }

// set takes the change over a reading's places, given the share common to most coils. That is used
// only if it leaves fewer coils to be changed by themselves. Coils whose part comes to less than
// a field of least, microtesla, are left out.
func (c *change) set(cols *columns, from, to []float64, common, least float64) {
	tells := func(i int, d float64) bool { return math.Abs(d)*cols.peak[i] > least }
	c.share = 1
	if common != 1 {
		alike := 0
		for i, j := range cols.near {
			if tells(i, to[j]-from[j]) {
				alike++
			}
			if tells(i, to[j]-common*from[j]) {
				alike--
			}
		}
		if alike > 0 {
			c.share = common
		}
	}
	c.index, c.delta, c.rest = c.index[:0], c.delta[:0], c.rest[:0]
	for _, j := range cols.near {
		c.rest = append(c.rest, to[j]-c.share*from[j])
	}
	for g, list := range cols.strings {
		if share, coils := c.alike(cols, list, tells); coils > 1 {
			c.index, c.delta = append(c.index, cols.close+1+g), append(c.delta, share)
			for _, i := range list {
				c.rest[i] -= share * cols.planned[cols.near[i]]
			}
		}
	}
	c.farIndex, c.farDelta = c.farIndex[:0], c.farDelta[:0]
	for i, d := range c.rest {
		switch {
		case !tells(i, d):
		case i < cols.close:
			c.index, c.delta = append(c.index, i), append(c.delta, d)
		default:
			c.farIndex, c.farDelta = append(c.farIndex, i-cols.close), append(c.farDelta, d)
		}
	}
	c.tiles, c.known = sized(c.tiles, len(cols.tiles.mid)), sized(c.known, len(cols.tiles.mid))
	clear(c.known)
}

// alike is the share of the planned ampere-turns that most coils of a string change by, and how
// many of those matter.
func (c *change) alike(cols *columns, list []int32, tells func(i int, d float64) bool) (share float64, coils int) {
	of := func(i int32) float64 { return c.rest[i] / cols.planned[cols.near[i]] }
	var most majority
	for _, i := range list {
		most.count(of(i))
	}
	if most.of == 0 || math.IsInf(most.of, 0) || math.IsNaN(most.of) {
		return 0, 0
	}
	for _, i := range list {
		if most.same(of(i)) && tells(int(i), c.rest[i]) {
			coils++
		}
	}
	return most.of, coils
}

// at is the changed field at place k of the columns, where it was b before.
func (c *change) at(b nine, cols *columns, k int) nine {
	if c.share != 1 {
		for a := range b {
			b[a] *= c.share
		}
	}
	if len(c.delta) > 0 {
		row := cols.row(k)
		for i, d := range c.delta {
			b.add(&row[c.index[i]], d)
		}
	}
	if len(c.farDelta) > 0 {
		row, x, y := cols.tile(k)
		t := cols.tiles.of[k]
		if !c.known[t] {
			c.known[t], c.tiles[t] = true, nine{}
			for i, d := range c.farDelta {
				c.tiles[t].add(&row[c.farIndex[i]], d)
			}
		}
		b.aside(&c.tiles[t], x, y)
	}
	return b
}
