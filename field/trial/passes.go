package trial

import (
	"fmt"
	"math"
	"strings"
)

// pass draws the phone once along a row of coils, from up to half a coil before
// the first to up to half a coil after the last, at 5 to 20 cm/s unevenly,
// wandering sideways by 6 mm.
func (s *session) pass(along []int) {
	r := s.r
	var ids []string
	var way []vec // of the mark; z is the sensor's height
	for _, j := range along {
		c := &s.p.coils[j]
		ids = append(ids, fmt.Sprintf("%q", c.id))
		way = append(way, vec{c.x, c.y, s.p.sensorHeight(j)})
	}
	beyond := func(end, before vec, coil int) vec {
		d := end.minus(before)
		d[2] = 0
		hx, hy := s.p.coils[coil].kind.half()
		return end.plus(d.times(r.between(0, 1) * math.Min(hx, hy) / d.length()))
	}
	n := len(way)
	way = append([]vec{beyond(way[0], way[1], along[0])}, way...)
	way = append(way, beyond(way[n], way[n-1], along[n-1]))

	total := 0.0
	for i := 1; i < len(way); i++ {
		total += way[i].minus(way[i-1]).length()
	}
	// Where the mark is along the way, every hundredth of a second.
	const tick = 0.01
	speed := r.logBetween(0.055, 0.18)
	uneven := [3]float64{r.between(0.5, 1.2), r.between(1.2, 3), r.between(3, 8)} // seconds
	phase := [3]float64{r.between(0, 7), r.between(0, 7), r.between(0, 7)}
	strength := r.between(0.05, 0.25)
	var gone []float64
	for d, t := 0.0, 0.0; d < total; t += tick {
		gone = append(gone, d)
		v := 0.0
		for i := range uneven {
			v += strength * math.Sin(2*math.Pi*t/uneven[i]+phase[i])
		}
		d += tick * math.Min(math.Max(speed*math.Exp(v), 0.05), 0.20)
	}
	seconds := tick * float64(len(gone))

	s.yaw = s.phone.topDeg*math.Pi/180 + r.normal(0.105)
	yaw0, pitch, roll := s.yaw, s.phone.pitch+r.normal(0.015), s.phone.roll+r.normal(0.015)
	side := r.normal(0.0035)
	waves := [2]float64{r.between(0.08, 0.2), r.between(0.2, 0.6)} // metres
	sidePhase := [2]float64{r.between(0, 7), r.between(0, 7)}
	high := r.normal(0.002)
	place := func(t, t0 float64) (at vec, lies pose) {
		k := min(max(int((t-t0)/tick), 0), len(gone)-1)
		d := gone[k]
		left := d
		i := 1
		for i < len(way)-1 && left > way[i].minus(way[i-1]).length() {
			left -= way[i].minus(way[i-1]).length()
			i++
		}
		leg := way[i].minus(way[i-1])
		at = way[i-1].plus(leg.times(left / leg.length()))
		level := math.Hypot(leg[0], leg[1])
		off := side
		for i := range waves {
			off += 0.0048 * math.Sin(2*math.Pi*d/waves[i]+sidePhase[i])
		}
		yaw := yaw0 + 0.04*math.Sin(2*math.Pi*d/waves[1]+sidePhase[0]+1)
		at = at.plus(vec{-leg[1] / level * off, leg[0] / level * off, 0})
		at = at.plus(vec{s.phone.offset[0], s.phone.offset[1], 0}.turned(yaw))
		at[2] = math.Max(at[2]+high, at[2]-s.p.above+0.001)
		return at, lying(yaw, pitch, roll)
	}
	if r.chance(s.jump) {
		s.rezero()
	}
	s.write(s.now, false, `{"type":"pass","t":%s,"along":[%s]}`, number(s.now, 3), strings.Join(ids, ","))
	s.stops = append(s.stops, stop{along: along, t0: s.now, t1: s.now + seconds})
	s.at = len(s.stops) - 1
	t0 := s.now
	_, first := place(t0, t0)
	s.writeGravity(first)
	if r.chance(s.jumpIn) {
		s.jumpAt = s.now + r.between(0, seconds)
	}
	s.sampleFor(seconds, func(t float64) vec {
		at, lies := place(t, t0)
		return lies.sees(s.bench.at(at)).plus(s.coilsAt(lies, at).times(s.current(t)))
	})
	s.jumpAt = math.Inf(1)
	s.write(s.now, false, `{"type":"pass-end","t":%s}`, number(s.now, 3))
	s.at = -1
	last, _ := place(s.now, t0)
	s.move(last)
}

// passRows draws the phone along every row once.
func (s *session) passRows() {
	for _, row := range s.p.rows {
		along := append([]int(nil), row...)
		if len(along) == 1 {
			along = []int{s.p.nearest(along[0]), along[0]}
		}
		if s.r.chance(0.4) {
			for i, j := 0, len(along)-1; i < j; i, j = i+1, j-1 {
				along[i], along[j] = along[j], along[i]
			}
		}
		s.pass(along)
	}
}

func (p *pad) nearest(j int) int {
	best, found := math.Inf(1), -1
	for k := range p.coils {
		if d := math.Hypot(p.coils[k].x-p.coils[j].x, p.coils[k].y-p.coils[j].y); k != j && d < best {
			best, found = d, k
		}
	}
	return found
}
