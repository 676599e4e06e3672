package verdict

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

const (
	wanderSD   = 0.004 // sideways drift within a coil's width, and from coil to coil
	yieldSD    = 0.04
	strayShare = 0.001 // samples that fit nothing
	strayLog   = -3*6.9 - 1.5*log2pi
	maxStride  = 32 // points of the way from tick to tick, at most
	// nowhere is the share of the likeliest place below which a place is left.
	nowhere = 1e-9
)

// leastLog is how unlikely a sample may be: one that fits nothing is a stray.
var leastLog = strayLog + math.Log(strayShare)

// seen is where along the way the phone may have been at each tick, and what
// there is to see in the lane.
type seen struct {
	b      [3]float64 // background
	rows   []nine     // field at each point under the guess, without background
	chols  []chol3
	lo     []int       // per tick: first point
	weight [][]float64 // per tick, from there
	stray  [][]bool    // the sample fits nothing there
	log    float64
}

// walk sums all walks in a lane. With eitherWay every sample may have been read
// over coils that face either way.
func (a *aligner) walk(l int, g guess, eitherWay bool) seen {
	w := walker{aligner: a, seen: seen{b: g.b}, g: g, eitherWay: eitherWay, off: a.noise.chol()}
	w.look(l)
	w.forward()
	w.back()
	return w.seen
}

// walker is a walk being summed.
type walker struct {
	*aligner
	seen
	g         guess
	eitherWay bool
	off       chol3     // spread of a sample with the supply off
	dets      []float64 // log determinants of chols
	hi        []int     // per tick: last point
	likes     [][]float64
	ahead     [][paces][]float64 // per tick and pace, of all that came before
}

// look works out what there is to see at every point of a lane.
func (w *walker) look(l int) {
	n, near := w.n, len(w.near)
	w.rows, w.chols, w.dets = make([]nine, n), make([]chol3, n), make([]float64, n)
	for k := range n {
		f := w.others[l*n+k]
		row := w.aligner.g[(l*n+k)*near : (l*n+k+1)*near]
		for i := range row {
			t := w.g.share[i] * w.planned[i]
			for x := range f {
				f[x] += t * float64(row[i][x])
			}
		}
		w.rows[k] = f
		c := w.noise
		const lane = wanderSD*wanderSD + laneStep*laneStep/12
		const high = heightSD * heightSD
		yx, yy, yz := f.slopeY()
		c.add(f[3], f[4], f[5], lane)
		c.add(yx, yy, yz, lane)
		c.add(f[6], f[7], f[8], high)
		c.add(-f[1], f[0], 0, yawSD*yawSD)
		c.add(0, -f[2], f[1], w.tilt*w.tilt)
		c.add(f[2], 0, -f[0], w.tilt*w.tilt)
		c.add(f[0], f[1], f[2], yieldSD*yieldSD)
		w.chols[k] = c.chol()
		w.dets[k] = w.chols[k].logDet()
	}
}

// logLike is how likely a tick's sample is at a point.
func (w *walker) logLike(x *tick, k int) float64 {
	u := x.pull
	for r := range u {
		u[r] -= w.g.b[r]
	}
	gauss := func(c *chol3, det, x, y, z float64) float64 {
		x, y, z = c.solve(x, y, z)
		return -0.5*(x*x+y*y+z*z) - det - 1.5*log2pi
	}
	var dark float64
	if x.s < 1 || w.eitherWay {
		dark = gauss(&w.off, w.off.logDet(), u[0], u[1], u[2])
	}
	if x.s == 0 {
		return dark
	}
	f, c, det := &w.rows[k], &w.chols[k], w.dets[k]
	l := gauss(c, det, u[0]-f[0], u[1]-f[1], u[2]-f[2])
	if w.eitherWay {
		l = logAdd(l, gauss(c, det, u[0]+f[0], u[1]+f[1], u[2]+f[2]))
		l = logAdd(l, dark-2)
	}
	if x.s < 1 {
		l = logAdd(l+math.Log(x.s), dark+math.Log(1-x.s))
	}
	return l
}

// forward sums what came before each tick, with weights relative to the likeliest
// place of its sample. At each place the phone may go at one of several paces.
func (w *walker) forward() {
	n, ticks := w.n, len(w.ticks)
	w.lo, w.hi = make([]int, ticks), make([]int, ticks)
	w.likes, w.stray, w.weight = make([][]float64, ticks), make([][]bool, ticks), make([][]float64, ticks)
	w.ahead = make([][paces][]float64, ticks)
	now, next := make([]float64, paces*n), make([]float64, paces*n)
	norm := paces * floats.Sum(w.start)
	for v := range paces {
		floats.AddScaled(now[v*n:v*n+n], 1/norm, w.start)
	}
	lo, hi := 0, n-1
	at := func(k int) float64 { return now[k] + now[n+k] + now[2*n+k] }
	for i := range w.ticks {
		if i > 0 {
			mixPaces(now, n, lo, hi)
			to := hi
			for v := range paces {
				s := &w.strides[i][v]
				to = max(to, min(n-1, hi+s.most))
				src, dst := now[v*n:v*n+n], next[v*n:v*n+n]
				clear(dst[lo:min(n, hi+maxStride+1)])
				for k := lo; k <= hi; k++ {
					last := min(n-1, k+s.most)
					floats.AddScaled(dst[k:last+1], src[k], s.w[:last+1-k])
				}
			}
			now, next = next, now
			hi = to
		}
		like, stray := make([]float64, hi-lo+1), make([]bool, hi-lo+1)
		top := math.Inf(-1)
		for k := lo; k <= hi; k++ {
			l := math.Inf(-1)
			switch {
			case at(k) == 0: // nobody gets there
			case w.ticks[i].blank:
				l = 0
			default:
				l = w.logLike(&w.ticks[i], k)
				stray[k-lo] = l < leastLog
				l = w.share * max(l, leastLog)
			}
			like[k-lo] = l
			top = max(top, l)
		}
		var sum float64
		for k := lo; k <= hi; k++ {
			like[k-lo] = math.Exp(like[k-lo] - top)
			for v := range paces {
				now[v*n+k] *= like[k-lo]
				sum += now[v*n+k]
			}
		}
		w.log += top + math.Log(sum)
		from := lo
		for lo < hi && at(lo) < nowhere*sum {
			lo++
		}
		for hi > lo && at(hi) < nowhere*sum {
			hi--
		}
		for v := range paces {
			floats.Scale(1/sum, now[v*n+lo:v*n+hi+1])
			w.ahead[i][v] = slices.Clone(now[v*n+lo : v*n+hi+1])
		}
		w.likes[i], w.stray[i] = like[lo-from:hi-from+1], stray[lo-from:hi-from+1]
		w.lo[i], w.hi[i] = lo, hi
	}
}

// back goes over the ticks from the last to the first, and with what comes later
// weighs where each was.
func (w *walker) back() {
	last := len(w.ticks) - 1
	var end float64
	var rest [paces][]float64 // the weight of what comes later, from each place
	for v := range paces {
		rest[v] = slices.Clone(w.finish[w.lo[last] : w.hi[last]+1])
		end += floats.Dot(w.ahead[last][v], rest[v])
	}
	w.log += math.Log(end + 1e-12)
	for i := last; i >= 0; i-- {
		weight := make([]float64, w.hi[i]-w.lo[i]+1)
		for v := range paces {
			for k, x := range rest[v] {
				weight[k] += w.ahead[i][v][k] * x
			}
		}
		floats.Scale(1/(floats.Sum(weight)+1e-300), weight)
		w.weight[i] = weight
		if i > 0 {
			rest = w.earlier(i, rest)
		}
	}
}

// earlier takes the weight of what comes later than a tick to the tick before.
func (w *walker) earlier(i int, rest [paces][]float64) (out [paces][]float64) {
	count := w.hi[i-1] - w.lo[i-1] + 1
	shift := w.lo[i] - w.lo[i-1]
	for v := range paces {
		out[v] = make([]float64, count)
		s := &w.strides[i][v]
		floats.Mul(rest[v], w.likes[i])
		for k := range count {
			from, to := max(0, shift-k), min(s.most, shift-k+len(rest[v])-1)
			if from <= to {
				out[v][k] = floats.Dot(s.w[from:to+1], rest[v][k+from-shift:k+to-shift+1])
			}
		}
	}
	top := 0.0
	for k := range count {
		mean := (out[0][k] + out[1][k] + out[2][k]) / paces
		for v := range paces {
			out[v][k] = (1-paceChange)*out[v][k] + paceChange*mean
			top = max(top, out[v][k])
		}
	}
	for v := range paces {
		floats.Scale(1/(top+1e-300), out[v])
	}
	return out
}

// Paces: a phone drawn along keeps its speed for a while.
const (
	paces      = 3
	paceChange = 0.15 // chance to change it from one sample to the next
	paceSD     = 0.4  // within a pace, relative
)

var paceOf = [paces]float64{0.62, 1, 1.6}

// mixPaces lets the phone change its pace.
func mixPaces(a []float64, n, lo, hi int) {
	for k := lo; k <= hi; k++ {
		mean := (a[k] + a[n+k] + a[2*n+k]) / paces
		for v := range paces {
			a[v*n+k] = (1-paceChange)*a[v*n+k] + paceChange*mean
		}
	}
}

// stride is how likely the phone went on by 0, 1, ... most points in a sample.
type stride struct {
	w    [maxStride + 1]float64
	most int
}

// strideOf makes strides of a mean of so many points: a speed that scatters by
// paceSD, each parted between the two whole numbers beside it, so that the mean
// stands however short a tick is.
func strideOf(mean float64) (out stride) {
	mean = min(max(mean, 0.02), 0.8*maxStride)
	const step = 0.1
	var sum float64
	for z := -3.0; z < 3+step/2; z += step {
		x := min(mean*math.Exp(paceSD*z-paceSD*paceSD/2), maxStride)
		weight := math.Exp(-z * z / 2)
		s := min(int(x), maxStride-1)
		out.w[s] += weight * (1 - (x - float64(s)))
		out.w[s+1] += weight * (x - float64(s))
		sum += weight
	}
	for s := range out.w {
		out.w[s] /= sum
		if out.w[s] > 1e-9 {
			out.most = s
		}
	}
	return out
}

// usual is the log likelihood of a walk whose samples all fit.
func (a *aligner) usual(s *seen) float64 {
	c := a.noise.chol()
	dark := c.logDet()
	var sum float64
	for i, x := range a.ticks {
		if x.blank {
			continue
		}
		det := dark
		if x.s > 0 {
			det = 0
			for k, w := range s.weight[i] {
				det += w * s.chols[s.lo[i]+k].logDet()
			}
		}
		const misfit = 1.5 // half a squared deviation in each of three axes
		sum -= a.share * (det + 1.5*log2pi + misfit)
	}
	return sum
}
