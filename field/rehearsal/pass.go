package rehearsal

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/field/capture"
)

// rows sorts the coils into rows along x, the farthest from the person first:
// coils belong to one row when their centres are less than half a coil apart in
// y from the row's first.
func (s *script) rows() [][]int {
	order := make([]int, len(s.plan.Coils))
	for j := range order {
		order[j] = j
	}
	coils := s.plan.Coils
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(coils[b].At.Y, coils[a].At.Y) })
	var rows [][]int
	for _, j := range order {
		if n := len(rows); n > 0 {
			first := rows[n-1][0]
			if coils[first].At.Y-coils[j].At.Y < s.plan.WindingOf(first).HalfExtent().Y/2 {
				rows[n-1] = append(rows[n-1], j)
				continue
			}
		}
		rows = append(rows, []int{j})
	}
	for _, row := range rows {
		slices.SortStableFunc(row, func(a, b int) int { return cmp.Compare(coils[a].At.X, coils[b].At.X) })
	}
	return rows
}

// passes draws the phone along every row; a coil alone in its row gets a hold, and
// so does one about the same centre as another, to which no way leads from there.
func (s *script) passes() {
	for _, row := range s.rows() {
		way := slices.CompactFunc(slices.Clone(row), func(a, b int) bool { return s.plan.Coils[a].At == s.plan.Coils[b].At })
		for _, j := range row {
			if len(way) == 1 || !slices.Contains(way, j) {
				s.holdOn(j)
			}
		}
		if len(way) > 1 {
			s.move()
			s.pass(way)
		}
	}
}

// pass draws the phone along a row at an uneven speed, wandering sideways, from
// up to half a coil before the first to up to half a coil after the last.
func (s *script) pass(row []int) {
	var ids []string
	var way []r2.Vec
	for _, j := range row {
		ids = append(ids, s.plan.Coils[j].ID)
		way = append(way, s.plan.Coils[j].At)
	}
	beyond := func(a, b r2.Vec, j int) r2.Vec {
		half := s.plan.WindingOf(j).HalfExtent()
		return r2.Add(a, r2.Scale(s.hand.Float64()*math.Min(half.X, half.Y), r2.Unit(r2.Sub(a, b))))
	}
	n := len(way)
	way[0], way[n-1] = beyond(way[0], way[1], row[0]), beyond(way[n-1], way[n-2], row[n-1])
	length := 0.0
	for i := range n - 1 {
		length += r2.Norm(r2.Sub(way[i+1], way[i]))
	}

	speed := 0.05 + 0.1*s.hand.Float64() // metres a second
	type wave struct{ size, turns, phase float64 }
	waves := func(size float64) (out [2]wave) {
		for i := range out {
			out[i] = wave{size * s.hand.NormFloat64(), 0.5 + 2*s.hand.Float64(), 2 * math.Pi * s.hand.Float64()}
		}
		return out
	}
	at := func(w [2]wave, share float64) float64 {
		return w[0].size*math.Sin(2*math.Pi*w[0].turns*share+w[0].phase) + w[1].size*math.Sin(2*math.Pi*w[1].turns*share+w[1].phase)
	}
	hurry, wander, rise := waves(0.25), waves(s.o.PlacementMM*millimetre), waves(s.o.HeightMM*millimetre/2)
	lift := s.o.HeightMM * millimetre * s.hand.NormFloat64()
	top := s.o.TopDeg + s.o.YawDeg*s.hand.NormFloat64()
	turn := waves(s.o.YawDeg / 4)
	pitch, roll := s.o.TiltDeg*s.hand.NormFloat64(), s.o.TiltDeg*s.hand.NormFloat64()

	s.add(capture.Pass{T: tick(s.t), Along: ids})
	before := s.t
	for k, gone := 0, 0.0; gone <= length; k++ {
		share := gone / length
		x, y, side := along(way, gone)
		w := at(wander, share)
		p := lie(top+at(turn, share), pitch, roll)
		x, y = x+w*side.X, y+w*side.Y
		s.read(laid{p, s.sensorOver(p, x, y, lift+at(rise, share))}, k)
		gone += (s.t - before) * speed * math.Max(0.2, 1+at(hurry, share))
		before = s.t
	}
	s.add(capture.PassEnd{T: tick(s.t)})
}

// along is the place on a way at a length, and the direction to its left.
func along(way []r2.Vec, length float64) (x, y float64, left r2.Vec) {
	for i := 0; ; i++ {
		leg := r2.Sub(way[i+1], way[i])
		n := r2.Norm(leg)
		u := r2.Scale(1/n, leg)
		if length <= n || i == len(way)-2 {
			p := r2.Add(way[i], r2.Scale(length, u))
			return p.X, p.Y, r2.Vec{X: -u.Y, Y: u.X}
		}
		length -= n
	}
}
