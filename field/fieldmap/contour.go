package fieldmap

// point is a place on the grid, in steps from its first point.
type point struct{ x, y float64 }

// line is where a quantity has one value: a run of points, closed when the first
// comes again at the end.
type line []point

// contours finds the lines on which values, one for each point of the grid, are
// level: marching squares, joined into runs as long as can be.
func contours(values []float64, nx, ny int, level float64) []line {
	at := func(i, j int) float64 { return values[j*nx+i] }
	// A crossing lies on an edge of the grid: the one to the right of a point has
	// an even number, the one up from it an odd one.
	right := func(i, j int) int { return 2 * (j*nx + i) }
	up := func(i, j int) int { return 2*(j*nx+i) + 1 }
	links := map[int][]int{}
	var order []int
	join := func(a, b int) {
		for _, e := range [2]int{a, b} {
			if _, seen := links[e]; !seen {
				order = append(order, e)
			}
		}
		links[a], links[b] = append(links[a], b), append(links[b], a)
	}
	for j := range ny - 1 {
		for i := range nx - 1 {
			a, b, c, d := at(i, j), at(i+1, j), at(i+1, j+1), at(i, j+1)
			// The edges on which the cell is crossed, going round it.
			var crossed []int
			if (a >= level) != (b >= level) {
				crossed = append(crossed, right(i, j))
			}
			if (b >= level) != (c >= level) {
				crossed = append(crossed, up(i+1, j))
			}
			if (c >= level) != (d >= level) {
				crossed = append(crossed, right(i, j+1))
			}
			if (d >= level) != (a >= level) {
				crossed = append(crossed, up(i, j))
			}
			switch {
			case len(crossed) == 2:
				join(crossed[0], crossed[1])
			case len(crossed) == 4 && ((a+b+c+d)/4 >= level) == (a >= level):
				join(crossed[0], crossed[1]) // round b
				join(crossed[2], crossed[3]) // round d
			case len(crossed) == 4:
				join(crossed[3], crossed[0]) // round a
				join(crossed[1], crossed[2]) // round c
			}
		}
	}
	place := func(e int) point {
		i, j := (e/2)%nx, (e/2)/nx
		from, to := at(i, j), 0.0
		if e%2 == 0 {
			to = at(i+1, j)
			return point{float64(i) + (level-from)/(to-from), float64(j)}
		}
		to = at(i, j+1)
		return point{float64(i), float64(j) + (level-from)/(to-from)}
	}
	used := map[int]bool{}
	walk := func(e int) line {
		run := line{place(e)}
		used[e] = true
		for first, last := e, -1; ; {
			next := -1
			for _, n := range links[e] {
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
			run = append(run, place(e))
		}
	}
	var out []line
	for _, ends := range [2]bool{true, false} { // open runs begin at an end
		for _, e := range order {
			if !used[e] && (!ends || len(links[e]) == 1) {
				out = append(out, walk(e))
			}
		}
	}
	return out
}
