package verdict

import "math"

// change is how the field over a reading follows the coils' ampere-turns: all of it
// changes by a share, and some coils' or strings' by so much besides. Where a pad's
// current is set, a fault in one string changes all the others alike; the coils of a
// string carry one current; and seldom does a fault concern many coils otherwise: so few
// columns have to be added.
type change struct {
	share float64
	index []int     // in a row of the columns
	delta []float64 // ampere-turns; of a string, as a share of the planned
	rest  []float64 // per coil near, ampere-turns: what is not said of all of its string
}

// commonShare is by what most coils' ampere-turns change, if most change alike.
func commonShare(from, to []float64) float64 {
	most := majority{of: 1}
	for j := range from {
		if from[j] != 0 {
			most.count(to[j] / from[j])
		}
	}
	return most.of
}

// majority is the number that most of those counted come to, if most come to one.
type majority struct {
	of    float64
	votes int
}

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

func (m *majority) same(x float64) bool { return math.Abs(x-m.of) < 1e-9 }

// set takes the change over a reading's places. Coils whose part comes to less than
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
			c.index, c.delta = append(c.index, len(cols.near)+1+g), append(c.delta, share)
			for _, i := range list {
				c.rest[i] -= share * cols.planned[cols.near[i]]
			}
		}
	}
	for i, d := range c.rest {
		if tells(i, d) {
			c.index, c.delta = append(c.index, i), append(c.delta, d)
		}
	}
}

// alike is by what share of the planned most coils of a string change, and how many of
// those matter.
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

// at is the field at a place where it was b, whose columns are in row.
func (c *change) at(b nine, row []slim) nine {
	if c.share != 1 {
		for a := range b {
			b[a] *= c.share
		}
	}
	for i, d := range c.delta {
		b.add(&row[c.index[i]], d)
	}
	return b
}
