package verdict

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// PassAccount is one pass, told along the row in millimetres from the centre of
// its first coil: what was read of the pad's field across the pad (its pull,
// supply on less background), and what was expected. Microtesla.
type PassAccount struct {
	Capture int          `json:"capture"`
	T       float64      `json:"t"`
	Coils   []string     `json:"coils"`
	AtMM    []float64    `json:"at_mm"` // where each coil's centre lies
	Read    [][2]float64 `json:"read"`  // mm, uT; laid along the row as the best explanation fits best
	Best    [][2]float64 `json:"best"`  // mm, uT
	Rival   [][2]float64 `json:"rival,omitempty"`
	Times   float64      `json:"times,omitempty"`
	Stray   bool         `json:"stray"` // not even the best explains it
}

// A pass is drawn by laying its samples along the row once more, apart from the
// judging: the likeliest walk forward past the field expected.
const (
	traceSamples = 300   // that are laid; more are thinned
	traceEnd     = 0.015 // metres by which a hand misses either end, one sd
	traceShare   = 0.12  // of the field: what placement and height leave open
	traceFloor   = 5.0   // uT
	traceOdd     = 30.0  // the most one sample may cost
	traceRounds  = 2     // the background is fitted between them
)

var traceLanes = []float64{-0.012, -0.006, 0, 0.006, 0.012} // metres beside where the sensor is believed to go

// trace is the account of a pass, the i-th factor.
func (e *engine) trace(best, rival *node, i int, p *passFactor) PassAccount {
	out := PassAccount{Capture: p.source, T: p.from, Read: [][2]float64{}}
	length := 0.0
	for k, j := range p.coils {
		if k > 0 {
			length += r2.Norm(r2.Sub(p.path[k], p.path[k-1]))
		}
		out.Coils = append(out.Coils, e.m.plan.Coils[j].ID)
		out.AtMM = append(out.AtMM, round(length*1e3, 1))
	}
	walk := e.walk(best, i, p)
	out.Best = walk.curve()
	for k, at := range walk.at {
		out.Read = append(out.Read, [2]float64{round((float64(at)*pathStep-walk.slack)*1e3, 1), round(walk.read[k][2], 1)})
	}
	if rival != nil {
		out.Rival = e.walk(rival, i, p).curve()
		out.Times = times(e.logOf(best, i) - e.logOf(rival, i))
	}
	return out
}

// walked is a pass laid along its row.
type walked struct {
	slack  float64      // metres of the way before the first centre
	length float64      // metres from the first centre to the last
	field  [][3]float64 // expected at every step of the way, pad axes
	read   [][3]float64 // the samples' pull
	at     []int        // each sample's step
	cost   float64      // minus the log likelihood of the walk, up to a constant
}

// curve is the field expected across the pad, along the row.
func (w *walked) curve() [][2]float64 {
	out := make([][2]float64, len(w.field))
	for k := range w.field {
		out[k] = [2]float64{round((float64(k)*pathStep-w.slack)*1e3, 1), round(w.field[k][2], 1)}
	}
	return out
}

// walk lays a pass along the field that a node expects under the sensor.
func (e *engine) walk(n *node, i int, p *passFactor) *walked {
	cell, m := e.likeliest(n, p.source)
	offset := toPad(p.ph.offset(p.ph.middle(p.ph.cells[cell])), p.topDeg)
	rot := rotation(p.topDeg, p.up)
	xs := make([]sample, 0, traceSamples)
	step := 1 + len(p.samples)/traceSamples
	for k := 0; k < len(p.samples); k += step {
		if p.samples[k].s > 0 {
			xs = append(xs, p.samples[k])
		}
	}
	slack := 0.03 + p.overrun
	points := waypoints(p.path, slack, pathStep)
	var found *walked
	for _, side := range traceLanes {
		w := &walked{slack: slack, length: p.pathLength, field: e.along(n, p, points, offset, side, n.sc.s[m])}
		bg := n.bg[i].b
		for a := range bg {
			bg[a] /= p.ofCurrent[0]
		}
		for range traceRounds {
			w.lay(xs, rot, bg)
			for a, left := range w.leftOver(xs, rot) {
				bg[a] += left
			}
		}
		w.lay(xs, rot, bg)
		w.cost += side * side / (2 * handSD * handSD)
		if found == nil || w.cost < found.cost {
			found = w
		}
	}
	return found
}

// along is the field that a node expects at every step of the way, so many metres beside where
// the sensor is believed to go.
func (e *engine) along(n *node, p *passFactor, points []waypoint, offset r2.Vec, side, scale float64) [][3]float64 {
	out := make([][3]float64, len(points))
	for k, w := range points {
		at := r2.Add(r2.Add(w.at, offset), r2.Scale(side, r2.Vec{X: -w.dir.Y, Y: w.dir.X}))
		b := e.m.pad.At(n.ampTurns, r3.Vec{X: at.X, Y: at.Y, Z: p.heightAt(e.m.plan, w.at)})
		out[k] = [3]float64{scale * b.X * 1e6, scale * b.Y * 1e6, scale * b.Z * 1e6}
	}
	return out
}

// leftOver is what samples read beyond the field expected where they were laid, in the middle of
// all, in the phone's axes: it is background.
func (w *walked) leftOver(xs []sample, rot [3][3]float64) (out [3]float64) {
	if len(xs) == 0 {
		return out
	}
	for a := range out {
		left := make([]float64, len(xs))
		for k := range xs {
			for r := range 3 {
				left[k] += rot[r][a] * (w.read[k][r] - xs[k].s*w.field[w.at[k]][r])
			}
		}
		slices.Sort(left)
		out[a] = left[len(left)/2]
	}
	return out
}

// odd is what it costs to lay a sample at a step of the way.
func (w *walked) odd(x *sample, read *[3]float64, at int) float64 {
	f := &w.field[at]
	var q, strong float64
	for r := range 3 {
		d := read[r] - x.s*f[r]
		q += d * d
		strong += f[r] * f[r]
	}
	v := traceFloor*traceFloor + traceShare*traceShare*strong
	return math.Min(q/(2*v), traceOdd) + 1.5*math.Log(v)
}

// lay finds the likeliest walk: forward, at a speed that wavers about its mean.
func (w *walked) lay(xs []sample, rot [3][3]float64, bg [3]float64) {
	n := len(w.field)
	w.read, w.at, w.cost = make([][3]float64, len(xs)), make([]int, len(xs)), 0
	if len(xs) == 0 || n == 0 {
		return
	}
	for k, x := range xs {
		for r := range 3 {
			for a := range 3 {
				w.read[k][r] += rot[r][a] * (x.u[a] - bg[a])
			}
		}
	}
	steps := w.length / pathStep / math.Max(1, float64(len(xs)-1)) // of the way, per sample
	most := int(math.Ceil(4*steps)) + 3
	usual := 0.7*steps + 0.5
	cost, next := make([]float64, n), make([]float64, n)
	from := make([][]int32, len(xs))
	first, last := w.slack/pathStep, (w.slack+w.length)/pathStep
	end := traceEnd / pathStep
	for at := range cost {
		d := (float64(at) - first) / end
		cost[at] = d*d/2 + w.odd(&xs[0], &w.read[0], at)
	}
	for k := 1; k < len(xs); k++ {
		from[k] = make([]int32, n)
		for at := range next {
			least, way := math.Inf(1), 0
			for b := max(0, at-most); b <= at; b++ {
				d := (float64(at-b) - steps) / usual
				if c := cost[b] + d*d/2; c < least {
					least, way = c, b
				}
			}
			next[at], from[k][at] = least+w.odd(&xs[k], &w.read[k], at), int32(way)
		}
		cost, next = next, cost
	}
	best := 0
	for at := range cost {
		d := (float64(at) - last) / end
		if cost[at] += d * d / 2; cost[at] < cost[best] {
			best = at
		}
	}
	w.cost = cost[best]
	for k := len(xs) - 1; k >= 0; k-- {
		w.at[k] = best
		if k > 0 {
			best = int(from[k][best])
		}
	}
}
