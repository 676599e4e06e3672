package fieldmap

// point is a place on the grid, in steps from its first point.
type point struct{ x, y float64 }

// line is where a quantity has one value: a run of points, closed when the first
// comes again at the end.
type line []point

// mesh is a grid of values with a level on it. A crossing lies on an edge of the grid: the
// one to the right of a point has an even number, the one up from it an odd one.
type mesh struct {
	values []float64
	nx     int
	level  float64
	links  map[int][]int // crossings joined with a crossing across a cell
	order  []int         // crossings in the order they were found
}

func (m *mesh) at(i, j int) float64    { return m.values[j*m.nx+i] }
func (m *mesh) above(i, j int) bool    { return m.at(i, j) >= m.level }
func (m *mesh) edgeRight(i, j int) int { return 2 * (j*m.nx + i) }
func (m *mesh) edgeUp(i, j int) int    { return 2*(j*m.nx+i) + 1 }

// contours finds the lines on which values, one for each point of the grid, are
// level: marching squares, joined into runs as long as can be.
func contours(values []float64, nx, ny int, level float64) []line {
	m := &mesh{values: values, nx: nx, level: level, links: map[int][]int{}}
	for j := range ny - 1 {
		for i := range nx - 1 {
			m.cell(i, j)
		}
	}
	used := map[int]bool{}
	var out []line
	for _, ends := range [2]bool{true, false} { // open runs begin at an end
		for _, e := range m.order {
			if !used[e] && (!ends || len(m.links[e]) == 1) {
				out = append(out, m.walk(e, used))
			}
		}
	}
	return out
}

// cell joins the crossings on the sides of the cell up and right of a point.
func (m *mesh) cell(i, j int) {
	a, b, c, d := m.above(i, j), m.above(i+1, j), m.above(i+1, j+1), m.above(i, j+1)
	var crossed []int // going round it
	if a != b {
		crossed = append(crossed, m.edgeRight(i, j))
	}
	if b != c {
		crossed = append(crossed, m.edgeUp(i+1, j))
	}
	if c != d {
		crossed = append(crossed, m.edgeRight(i, j+1))
	}
	if d != a {
		crossed = append(crossed, m.edgeUp(i, j))
	}
	switch len(crossed) {
	case 2:
		m.join(crossed[0], crossed[1])
	case 4:
		middle := (m.at(i, j) + m.at(i+1, j) + m.at(i+1, j+1) + m.at(i, j+1)) / 4
		if (middle >= m.level) == a {
			m.join(crossed[0], crossed[1]) // round b
			m.join(crossed[2], crossed[3]) // round d
		} else {
			m.join(crossed[3], crossed[0]) // round a
			m.join(crossed[1], crossed[2]) // round c
		}
	}
}

func (m *mesh) join(a, b int) {
	for _, e := range [2]int{a, b} {
		if _, seen := m.links[e]; !seen {
			m.order = append(m.order, e)
		}
	}
	m.links[a], m.links[b] = append(m.links[a], b), append(m.links[b], a)
}

// place is where on its edge a crossing lies.
func (m *mesh) place(e int) point {
	i, j := (e/2)%m.nx, (e/2)/m.nx
	from := m.at(i, j)
	if e%2 == 0 {
		return point{float64(i) + (m.level-from)/(m.at(i+1, j)-from), float64(j)}
	}
	return point{float64(i), float64(j) + (m.level-from)/(m.at(i, j+1)-from)}
}

// walk follows a run from a crossing on.
func (m *mesh) walk(e int, used map[int]bool) line {
	run := line{m.place(e)}
	used[e] = true
	for first, last := e, -1; ; {
		next := -1
		for _, n := range m.links[e] {
			if !used[n] {
				next = n
			} else if n == first && n != last && len(run) > 2 {
				return append(run, run[0])
			}
		}
		if next < 0 {
			return run
		}
		last, e = e, next
		used[e] = true
		run = append(run, m.place(e))
	}
}
