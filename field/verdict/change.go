package verdict

import "math"

// change is how the field over a reading follows the coils' ampere-turns: all of it
// changes by a share, and some coils' by so much besides. Where a pad's current is
// set, a fault in one string changes all the others alike, and seldom does a fault
// concern many coils otherwise: so few columns have to be added.
type change struct {
	share float64
	index []int     // among the coils near
	delta []float64 // ampere-turns
}

// commonShare is by what most coils' ampere-turns change, if most change alike.
func commonShare(from, to []float64) float64 {
	const alike = 1e-9
	share, votes := 1.0, 0
	for j := range from {
		if from[j] == 0 {
			continue
		}
		switch now := to[j] / from[j]; {
		case math.Abs(now-share) < alike:
			votes++
		case votes == 0:
			share, votes = now, 1
		default:
			votes--
		}
	}
	return share
}

// set takes the change over a reading's places. Coils whose part comes to less than
// a field of least, microtesla, are left out.
func (c *change) set(cols *columns, from, to []float64, common, least float64) {
	besides := func(share float64, take func(i int, d float64)) {
		for i, j := range cols.near {
			if d := to[j] - share*from[j]; math.Abs(d)*cols.peak[i] > least {
				take(i, d)
			}
		}
	}
	c.share = 1
	if common != 1 {
		alike := 0
		besides(1, func(int, float64) { alike++ })
		besides(common, func(int, float64) { alike-- })
		if alike > 0 {
			c.share = common
		}
	}
	c.index, c.delta = c.index[:0], c.delta[:0]
	besides(c.share, func(i int, d float64) { c.index, c.delta = append(c.index, i), append(c.delta, d) })
}

// at is the field at a place where it was b, whose columns are in row.
func (c *change) at(b nine, row []slim) nine {
	if c.share != 1 {
		for a := range b {
			b[a] *= c.share
		}
	}
	for i, d := range c.delta {
		g := &row[c.index[i]]
		for a := range b {
			b[a] += d * float64(g[a])
		}
	}
	return b
}
