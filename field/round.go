package field

import (
	"math"
	"sync"
	"sync/atomic"
)

// roundTable is the field of a round winding outside its copper as polynomials
// on a mesh of cells in (u, |z|), u the distance outward from the inner radius.
// A cell is made the first time it is asked for. Cells grow with their distance
// from the copper, which is what the field's smoothness grows with: level k
// holds the points whose gap g, the larger of the two coordinates' gaps, lies
// between firstGap 2^k and twice that, in cells of at most a quarter of it.
// What is stored is Bz and B_rho/(rho z), which both are even in rho and z and
// analytic on the axis and in the mid-plane. Error below 5e-7 of |B|.
type roundTable struct {
	inner, build, width float64
	nearest             float64 // gap from which there are cells
	levels              [roundLevels]atomic.Pointer[roundLevel]
}

const (
	firstGap    = nearGap // 1 mm off an edge of the copper is at least 0.707 mm off one of its faces
	roundLevels = 12      // to 2.8 m; beyond, few loops are enough
	cellsPerGap = 4
	roundNodes  = 7 // Chebyshev nodes along each side of a cell
)

// roundLevel is one level's mesh: on the inner side, over the copper and outside
// it, each cut evenly.
type roundLevel struct {
	in, over, out int // cells along u
	side, top     int // cells along z beside the copper's half width and over it
	step          float64
	perStep       float64
	perOver       float64
	perSide       float64
	row           int
	cells         []atomic.Pointer[roundCell]
}

// roundCell is a pair of polynomials in x and y, -1 to 1 over the cell.
type roundCell struct {
	u, z       float64 // centre
	perU, perZ float64 // 1 over the half sides
	c          [roundNodes][2 * roundNodes]float64
}

// mostCells bounds one level's mesh. A winding so large that its nearest levels
// would have more is summed there.
const mostCells = 1 << 17

func newRoundTable(inner, build, width float64) *roundTable {
	t := &roundTable{inner: inner, build: build, width: width, nearest: firstGap}
	for 8*build*width > mostCells*t.nearest*t.nearest {
		t.nearest *= 2
	}
	return t
}

// at returns B_rho/rho and Bz per ampere-turn at distance rho >= 0 from the axis.
func (t *roundTable) at(rho, z float64) (bRhoPerRho, bZ float64) {
	c, x, y := t.find(rho, z)
	if c == nil {
		return t.direct(rho, z)
	}
	for k := roundNodes - 1; k >= 0; k-- {
		p := &c.c[k]
		bRhoPerRho = bRhoPerRho*y + (p[0] + x*(p[1]+x*(p[2]+x*(p[3]+x*(p[4]+x*(p[5]+x*p[6]))))))
		bZ = bZ*y + (p[7] + x*(p[8]+x*(p[9]+x*(p[10]+x*(p[11]+x*(p[12]+x*p[13]))))))
	}
	return bRhoPerRho * z, bZ
}

// slopes returns B_rho/rho and Bz per ampere-turn and the slopes of B_rho/rho along rho and
// z; ok is false where there are no cells.
func (t *roundTable) slopes(rho, z float64) (bRhoPerRho, bZ, alongRho, alongZ float64, ok bool) {
	c, x, y := t.find(rho, z)
	if c == nil {
		return 0, 0, 0, 0, false
	}
	var a, aX, aY float64 // B_rho/(rho z), and its slopes in the cell's x and y
	for k := roundNodes - 1; k >= 0; k-- {
		p := &c.c[k]
		aY = aY*y + a
		a = a*y + (p[0] + x*(p[1]+x*(p[2]+x*(p[3]+x*(p[4]+x*(p[5]+x*p[6]))))))
		aX = aX*y + (p[1] + x*(2*p[2]+x*(3*p[3]+x*(4*p[4]+x*(5*p[5]+x*6*p[6])))))
		bZ = bZ*y + (p[7] + x*(p[8]+x*(p[9]+x*(p[10]+x*(p[11]+x*(p[12]+x*p[13]))))))
	}
	return a * z, bZ, aX * c.perU * z, a + math.Abs(z)*aY*c.perZ, true
}

// find returns the cell a point is in and where in it, -1 to 1; nil where there is none.
func (t *roundTable) find(rho, z float64) (c *roundCell, x, y float64) {
	u, h := rho-t.inner, math.Abs(z)
	// Columns of cells count from the inner radius inward and from the outer one
	// outward; rows from the mid-plane up to the face, and from the face up.
	over, top := u-t.build, h-t.width/2
	g := top
	if over > g {
		g = over
	}
	if -u > g {
		g = -u
	}
	if !(g >= t.nearest && g < firstGap*(1<<roundLevels)) {
		return nil, 0, 0
	}
	k := int(math.Float64bits(g*(1/firstGap))>>52) - 1023 // floor of the binary logarithm
	if uint(k) >= roundLevels {
		return nil, 0, 0
	}
	l := t.levels[k].Load()
	if l == nil {
		l = t.level(k)
	}
	var i, j int
	switch {
	case u < 0:
		i = max(l.in-1-int(-u*l.perStep), 0)
	case over <= 0:
		i = l.in + min(int(u*l.perOver), l.over-1)
	default:
		i = l.in + l.over + min(int(over*l.perStep), l.out-1)
	}
	if top < 0 {
		j = min(int(h*l.perSide), l.side-1)
	} else {
		j = l.side + min(int(top*l.perStep), l.top-1)
	}
	place := &l.cells[j*l.row+i]
	if c = place.Load(); c == nil {
		c = t.cell(l, i, j)
		place.Store(c)
	}
	return c, (u - c.u) * c.perU, (h - c.z) * c.perZ
}

// direct sums over the section: in and next to the copper, and far away.
func (t *roundTable) direct(rho, z float64) (bRhoPerRho, bZ float64) {
	r, v := RoundWinding(t.inner, t.build, t.width, rho, z)
	if rho == 0 {
		return 0, v
	}
	return r / rho, v
}

// level makes the empty mesh of a level.
func (t *roundTable) level(k int) *roundLevel {
	gap := math.Ldexp(firstGap, k)
	step := gap / cellsPerGap
	l := &roundLevel{
		in:   int(math.Ceil(min(t.inner, 2*gap) / step)),
		over: max(1, int(math.Ceil(t.build/step))),
		out:  2 * cellsPerGap,
		side: max(1, int(math.Ceil(t.width/2/step))),
		top:  2 * cellsPerGap,
		step: step, perStep: 1 / step,
	}
	l.perOver, l.perSide = float64(l.over)/t.build, float64(l.side)/(t.width/2)
	l.row = l.in + l.over + l.out
	l.cells = make([]atomic.Pointer[roundCell], l.row*(l.side+l.top))
	if t.levels[k].CompareAndSwap(nil, l) {
		return l
	}
	return t.levels[k].Load()
}

// cell computes cell i along u and j along z. Two who ask at once both compute
// it, to the same values.
func (t *roundTable) cell(l *roundLevel, i, j int) *roundCell {
	c := &roundCell{perU: 2 / l.step, perZ: 2 / l.step}
	switch {
	case i < l.in:
		c.u = -(float64(l.in-1-i) + 0.5) * l.step
	case i < l.in+l.over:
		c.u, c.perU = (float64(i-l.in)+0.5)/l.perOver, 2*l.perOver
	default:
		c.u = t.build + (float64(i-l.in-l.over)+0.5)*l.step
	}
	if j < l.side {
		c.z, c.perZ = (float64(j)+0.5)/l.perSide, 2*l.perSide
	} else {
		c.z = t.width/2 + (float64(j-l.side)+0.5)*l.step
	}
	var values [roundNodes][2 * roundNodes]float64 // row: node along z; column: node along u, both quantities
	for k := range roundNodes {
		z := c.z + chebyshevNode(k)/c.perZ
		for m := range roundNodes {
			// The innermost cells may reach over the axis.
			rho := math.Max(math.Abs(t.inner+c.u+chebyshevNode(m)/c.perU), 1e-9)
			r, v := RoundWinding(t.inner, t.build, t.width, rho, z)
			values[k][m], values[k][roundNodes+m] = r/(rho*z), v
		}
	}
	fit := fitThrough()
	for k := range roundNodes {
		for a := range roundNodes {
			for m := range roundNodes {
				w := fit[a][m]
				for b := range roundNodes {
					c.c[b][a] += fit[b][k] * w * values[k][m]
					c.c[b][roundNodes+a] += fit[b][k] * w * values[k][roundNodes+m]
				}
			}
		}
	}
	return c
}

// chebyshevNode is the i-th of a cell's nodes, 1 to -1.
func chebyshevNode(i int) float64 { return math.Cos(math.Pi * (float64(i) + 0.5) / roundNodes) }

// fitThrough is the matrix from values at the Chebyshev nodes to the
// coefficients of the powers of x.
var fitThrough = sync.OnceValue(func() *[roundNodes][roundNodes]float64 {
	// T_0 = 1, T_1 = x, T_k+1 = 2x T_k - T_k-1; coefficient k is the mean of
	// value times T_k over the nodes, twice that for k > 0.
	var powers [roundNodes][roundNodes]float64
	powers[0][0], powers[1][1] = 1, 1
	for k := 2; k < roundNodes; k++ {
		for a := range roundNodes {
			powers[k][a] = -powers[k-2][a]
			if a > 0 {
				powers[k][a] += 2 * powers[k-1][a-1]
			}
		}
	}
	fit := new([roundNodes][roundNodes]float64)
	for m := range roundNodes {
		for k := range roundNodes {
			w := math.Cos(float64(k)*math.Pi*(float64(m)+0.5)/roundNodes) / roundNodes
			if k > 0 {
				w *= 2
			}
			for a := range roundNodes {
				fit[a][m] += w * powers[k][a]
			}
		}
	}
	return fit
})
