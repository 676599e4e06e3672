package verdict

import (
	"math"

	"gonum.org/v1/gonum/floats"

	"polewise/field/readings"
)

// Where along a lane the phone was: all walks forward along it are summed, as a hidden Markov
// model is, forward for how likely the pass is, and backward for where each sample was taken.

const (
	// yieldSD is the share by which a coil's field may be off anywhere on the way: twice as much
	// as in a hold, which is placeless (an estimate, no source).
	yieldSD = 0.04
	// strayLog is the log density of a sample that fits nothing: it spreads by 1000 uT, whose log
	// is 6.9, in each of three axes, twice as far as an outlier among holds, outlierSD (an
	// estimate, no source).
	strayLog = -3*6.9 - 1.5*log2pi

	wanderSD   = 0.004 // sideways drift within a coil's width, and from coil to coil, metres
	strayShare = 0.001 // of samples that fit nothing
	maxStride  = 32    // points of the way from tick to tick, at most
	// A place is given up that is so many log units less likely than the likeliest: what a sample
	// that fits badly there may cost, farBehind times its weight, and no less than leastFar.
	farBehind, leastFar = 23, 14
	// leftBehind is the share of all walks that stays at the end of the way when all have run
	// past it.
	leftBehind = 1e-100
	// faintWeight is the share of a tick below which places at either end do not count in the end.
	faintWeight = 1e-6
	// leastChange is the field, microtesla, that a coil must make more or less than
	// planned to be followed.
	leastChange = 0.02
)

// leastLog is the least log density of a sample: one that fits worse is a stray.
var leastLog = strayLog + math.Log(strayShare)

// seen is what a walk comes to: where along the way the phone may have been at each tick, and what
// there is to see in the lane. It stands until the next walk.
type seen struct {
	b       [3]float64  // background
	rows    []nine      // field at each point under the guess, without background
	spreads []sym3      // of a sample there
	dets    []float64   // log determinants of their factors
	from    []int       // per tick: first point
	weight  [][]float64 // per tick, at that point and those after it: how likely the phone was there
	stray   [][]bool    // likewise: the sample fits nothing there
	log     float64     // log likelihood of the pass
	fits    float64     // log likelihood of the samples alone, each where it was taken
}

// walk sums all walks in a lane and tells where each sample was taken.
func (a *aligner) walk(l int, g guess, eitherWay bool) *seen {
	w := a.walker
	w.begin(a, l, g, eitherWay)
	w.forward(true, math.Inf(-1))
	w.back()
	return &w.seen
}

// sum is the log likelihood of the pass in a lane under a guess. With eitherWay each sample may
// have been read over coils that face either way, or are dead.
func (a *aligner) sum(l int, g guess, eitherWay bool) float64 {
	w := a.walker
	w.begin(a, l, g, eitherWay)
	w.forward(false, math.Inf(-1))
	return w.log
}

// sumAbove is sum for a guess that is of no use unless that is more than least: not ok, and given
// up, as soon as it is known to be less.
func (a *aligner) sumAbove(l int, g guess, least float64) (log float64, ok bool) {
	w := a.walker
	w.begin(a, l, g, false)
	ok = w.forward(false, least)
	return w.log, ok
}

// walker is a walk being summed. One serves for all, so that its lists are made once.
type walker struct {
	*aligner
	seen
	g         guess
	lane      int
	looked    int // points of it for which rows, spreads and so on are worked out
	eitherWay bool
	off       chol3 // spread of a sample with the supply off
	offDet    float64
	chols     []chol3            // of spreads
	lo, hi    []int              // per tick: first and last point that somebody may have got to
	likes     [][]float64        // per tick, at each of those
	ahead     [][paces][]float64 // likewise for each pace: of all that came before
	room      []float64          // that these are cut from
	nowhere   float64            // the share of the likeliest place below which one is left
	best      float64            // no sample is likelier than this
	strayed   float64            // how likely one is that fits nothing, relative to that
	now, next [paces][]float64   // at each point of the way
	index     []int              // of the coils whose ampere-turns are not as planned
	delta     []float64          // and by how much
	rest, was [paces][]float64   // the weight of what comes later, from each place
	lit       []tells            // room for normal equations, and what goes into them
	hh, hv    []float64
	columns   [][3]float64
}

// begin makes a walker ready for a lane.
func (w *walker) begin(a *aligner, l int, g guess, eitherWay bool) {
	w.aligner, w.g, w.eitherWay = a, g, eitherWay
	w.off = a.noise.chol()
	w.offDet = w.off.logDet()
	w.b, w.log = g.b, 0
	ticks := len(w.ticks)
	w.lo, w.hi, w.from = sized(w.lo, ticks), sized(w.hi, ticks), sized(w.from, ticks)
	w.likes, w.stray, w.weight, w.ahead = sized(w.likes, ticks), sized(w.stray, ticks), sized(w.weight, ticks), sized(w.ahead, ticks)
	w.nowhere = math.Exp(-max(leastFar, farBehind*w.eachCounts))
	w.best = -w.offDet - 1.5*log2pi
	if eitherWay {
		w.best += math.Log(2 + math.Exp(-2))
	}
	w.strayed = math.Exp(w.eachCounts * (leastLog - w.best))
	for v := range paces {
		w.now[v], w.next[v] = sized(w.now[v], w.n), sized(w.next[v], w.n)
	}
	w.index, w.delta = w.index[:0], w.delta[:0]
	for i, share := range g.share {
		if d := (share - 1) * w.planned[i]; math.Abs(d)*w.peak[i] > leastChange {
			w.index, w.delta = append(w.index, i), append(w.delta, d)
		}
	}
	w.rows, w.spreads, w.chols, w.dets = sized(w.rows, w.n), sized(w.spreads, w.n), sized(w.chols, w.n), sized(w.dets, w.n)
	w.lane, w.looked = l, 0
}

// sized is a list of so many, the old one if it has room; it is not emptied.
func sized[T any](list []T, n int) []T {
	if n > cap(list) {
		return append(list[:cap(list)], make([]T, n-cap(list))...)
	}
	return list[:n]
}

// look works out what there is to see at the points of the lane up to before one, as far as that is
// not done yet: many walks are given up before they come to the end.
func (w *walker) look(before int) {
	if w.looked >= before {
		return
	}
	near, whole := len(w.near), w.laneWhole(w.lane)
	var g []slim
	if len(w.index) > 0 {
		g, _ = w.laneCoils(w.lane)
	}
	for ; w.looked < before; w.looked++ {
		k := w.looked
		f := whole[k]
		for q, i := range w.index {
			t, r := w.delta[q], &g[k*near+i]
			for x := range f {
				f[x] += t * float64(r[x])
			}
		}
		w.rows[k] = f
		c := w.noise
		lane := w.wander[k]
		const high = heightSD * heightSD
		yx, yy, yz := f.slopeY()
		c.add(f[3], f[4], f[5], lane)
		c.add(yx, yy, yz, lane)
		c.add(f[6], f[7], f[8], high)
		c.add(-f[1], f[0], 0, yawSD*yawSD)
		c.add(0, -f[2], f[1], w.tilt*w.tilt)
		c.add(f[2], 0, -f[0], w.tilt*w.tilt)
		c.add(f[0], f[1], f[2], yieldSD*yieldSD)
		w.spreads[k], w.chols[k] = c, c.chol()
		w.dets[k] = w.chols[k].logDet()
	}
}

// gauss is the log density of a normal distribution at x, y, z from its mean, given the factor of
// its covariance and the factor's log determinant.
func gauss(c *chol3, det, x, y, z float64) float64 {
	x, y, z = c.solve(x, y, z)
	return -0.5*(x*x+y*y+z*z) - det - 1.5*log2pi
}

// see weighs the walks that came to a tick, at points from lo to hi, by how likely its sample is
// there, relative to the likeliest that one can be. It returns the sum of what is left, and
// keeps, if asked to, the likelihood at each point and where the sample is a stray.
func (w *walker) see(i, lo, hi int, keep bool) (sum float64) {
	x := &w.ticks[i]
	a, b, c := w.now[0][lo:hi+1], w.now[1][lo:hi+1], w.now[2][lo:hi+1]
	b, c = b[:len(a)], c[:len(a)]
	var like []float64
	var stray []bool
	if keep {
		w.stray[i] = sized(w.stray[i], len(a))
		like, stray = w.piece(len(a)), w.stray[i]
		w.likes[i] = like
	}
	u := x.pull
	for r := range u {
		u[r] -= w.g.b[r]
	}
	var dark float64
	if x.s < 1 || w.eitherWay {
		dark = gauss(&w.off, w.offDet, u[0], u[1], u[2])
	}
	if x.blank || x.s == 0 { // it is as likely anywhere
		all := 1.0
		if !x.blank {
			all = expDown(w.eachCounts * (max(dark, leastLog) - w.best))
		}
		for k := range a {
			if keep {
				like[k], stray[k] = all, !x.blank && dark < leastLog
			}
			a[k] *= all
			b[k] *= all
			c[k] *= all
			sum += a[k] + b[k] + c[k]
		}
		return sum
	}
	w.look(hi + 1)
	rows, chols, dets := w.rows[lo : hi+1][:len(a)], w.chols[lo : hi+1][:len(a)], w.dets[lo : hi+1][:len(a)]
	lit := x.s == 1 && !w.eitherWay
	for k := range a {
		var l float64
		if lit {
			f := &rows[k]
			l = gauss(&chols[k], dets[k], u[0]-f[0], u[1]-f[1], u[2]-f[2])
		} else {
			l = w.litLike(x, &u, lo+k, dark)
		}
		m := w.strayed
		if l >= leastLog {
			m = expDown(w.eachCounts * (l - w.best))
		}
		if keep {
			like[k], stray[k] = m, l < leastLog
		}
		a[k] *= m
		b[k] *= m
		c[k] *= m
		sum += a[k] + b[k] + c[k]
	}
	return sum
}

// piece is a list of so many cut from the walk's room; it is not emptied.
func (w *walker) piece(n int) []float64 {
	at := len(w.room)
	if at+n > cap(w.room) {
		at, w.room = 0, make([]float64, 0, max(2*cap(w.room), 1<<14))
	}
	w.room = w.room[:at+n]
	return w.room[at : at+n : at+n]
}

// litLike is the log density at point k of a sample that may have seen the supply on, given that
// of it with the supply off.
func (w *walker) litLike(x *tick, u *[3]float64, k int, dark float64) float64 {
	f, c, det := &w.rows[k], &w.chols[k], w.dets[k]
	l := gauss(c, det, u[0]-f[0], u[1]-f[1], u[2]-f[2])
	if w.eitherWay {
		l = readings.LogAdd(l, gauss(c, det, u[0]+f[0], u[1]+f[1], u[2]+f[2]))
		l = readings.LogAdd(l, dark-2)
	}
	if x.s < 1 {
		l = readings.LogAdd(l+math.Log(x.s), dark+math.Log(1-x.s))
	}
	return l
}

// at is the weight of all walks that came to a point.
func (w *walker) at(k int) float64 { return w.now[0][k] + w.now[1][k] + w.now[2][k] }

// forward sums the walks from tick to tick, at each of several paces, and sets log. It reports
// false, and does not go to the end, where the pass cannot be likelier than least any more. If
// asked to, it keeps what back needs.
func (w *walker) forward(keep bool, least float64) bool {
	hope := 0.0 // what samples not looked at yet add at most, each where it fits fully
	fits := w.eachCounts * (-w.offDet - 1.5*log2pi)
	for i := range w.ticks {
		if !w.ticks[i].blank {
			hope += fits
		}
	}
	w.room = w.room[:0]
	for v := range paces {
		copy(w.now[v], w.start)
	}
	sum := paces * floats.Sum(w.start)
	lo, hi := 0, w.n-1
	mixed := 1 / sum
	for i := range w.ticks {
		if i > 0 {
			mixPaces(&w.now, lo, hi, 1/sum)
			hi = w.goOn(i, lo, hi)
			mixed = 1
		}
		sum = w.see(i, lo, hi, keep)
		if sum < leftBehind { // all have run past the end of the way: a few stay there
			for v := range paces {
				w.now[v][hi] = leftBehind
			}
			sum = w.see(i, lo, hi, keep)
		}
		w.log += math.Log(sum * mixed)
		if !w.ticks[i].blank {
			w.log += w.eachCounts * w.best
			hope -= fits
		}
		if w.log+hope < least {
			return false
		}
		from := lo
		for lo < hi && w.at(lo) < w.nowhere*sum {
			lo++
		}
		for hi > lo && w.at(hi) < w.nowhere*sum {
			hi--
		}
		if keep {
			for v := range paces {
				w.ahead[i][v] = w.piece(hi - lo + 1)
				copy(w.ahead[i][v], w.now[v][lo:hi+1])
			}
			w.likes[i] = w.likes[i][lo-from : hi+1-from]
			w.stray[i] = cut(w.stray[i], lo-from, hi-lo+1)
		}
		w.lo[i], w.hi[i] = lo, hi
	}
	var end float64
	for v := range paces {
		end += floats.Dot(w.now[v][lo:hi+1], w.finish[lo:hi+1])
	}
	w.log += math.Log(end/sum + 1e-12)
	return true
}

// cut is count of a list from one on, moved to its front, so that the list keeps its room.
func cut[T any](list []T, from, count int) []T {
	copy(list, list[from:from+count])
	return list[:count]
}

// goOn takes all walks that stand from lo to hi to where they may be at a tick, and returns the
// last of these points. It goes stride by stride, so that the lists added are long.
func (w *walker) goOn(tick, lo, hi int) (to int) {
	to = hi
	for v := range paces {
		to = max(to, min(w.n-1, hi+w.strides[tick][v].most))
	}
	for v := range paces {
		s := &w.strides[tick][v]
		src, dst := w.now[v], w.next[v]
		clear(dst[lo : to+1])
		for far, share := range s.w[:s.most+1] {
			if last := min(hi, to-far); last >= lo {
				floats.AddScaled(dst[lo+far:last+far+1], share, src[lo:last+1])
			}
		}
	}
	w.now, w.next = w.next, w.now
	return to
}

// back goes over the ticks from the last to the first, and with what comes later
// weighs where each was.
func (w *walker) back() {
	w.fits = 0
	last := len(w.ticks) - 1
	for v := range paces {
		w.rest[v] = append(w.rest[v][:0], w.finish[w.lo[last]:w.hi[last]+1]...)
	}
	for i := last; i >= 0; i-- {
		weight := sized(w.weight[i], w.hi[i]-w.lo[i]+1)
		clear(weight)
		for v, rest := range w.rest {
			ahead := w.ahead[i][v][:len(rest)]
			for k, x := range rest {
				weight[k] += ahead[k] * x
			}
		}
		floats.Scale(1/(floats.Sum(weight)+1e-300), weight)
		first, count := counting(weight)
		w.from[i] = w.lo[i] + first
		if !w.ticks[i].blank {
			w.fits += w.eachCounts*w.best + meanLog(w.likes[i], weight, math.Log(w.strayed))
		}
		w.weight[i], w.stray[i] = cut(weight, first, count), cut(w.stray[i], first, count)
		if i > 0 {
			w.earlier(i)
		}
	}
}

// meanLog is the weighted mean of the logs of numbers, of those whose weight counts; none where no
// weight does, which happens to a walk that got lost.
func meanLog(of, weight []float64, none float64) float64 {
	var sum, all float64
	for k, w := range weight {
		if w >= leastWeight {
			sum += w * math.Log(of[k])
			all += w
		}
	}
	if all == 0 {
		return none
	}
	return sum / all
}

// counting finds the part of a list of weights that counts: without faint ones at either end.
func counting(weight []float64) (first, count int) {
	last := len(weight) - 1
	for first < last && weight[first] < faintWeight {
		first++
	}
	for last > first && weight[last] < faintWeight {
		last--
	}
	return first, last + 1 - first
}

// earlier takes the weight of what comes later, from a tick to the one before.
func (w *walker) earlier(i int) {
	count := w.hi[i-1] - w.lo[i-1] + 1
	shift := w.lo[i] - w.lo[i-1]
	w.rest, w.was = w.was, w.rest
	for v := range paces {
		w.rest[v] = sized(w.rest[v], count)
		clear(w.rest[v])
		later := w.was[v]
		floats.Mul(later, w.likes[i])
		s := &w.strides[i][v]
		for far, share := range s.w[:s.most+1] {
			// From place k it comes to k+far-shift.
			from, to := max(0, shift-far), min(count, len(later)+shift-far)
			if from < to {
				floats.AddScaled(w.rest[v][from:to], share, later[from+far-shift:to+far-shift])
			}
		}
	}
	sum := 1e-300
	for v := range paces {
		sum += floats.Sum(w.rest[v])
	}
	mixPaces(&w.rest, 0, count-1, 1/sum)
}

// Paces: a phone drawn along keeps its speed for a while.
const (
	paces      = 3
	paceChange = 0.15 // chance to change it from one sample to the next
	paceSD     = 0.4  // within a pace, relative
)

var paceOf = [paces]float64{0.62, 1, 1.6}

// mixPaces lets the phone change its pace, and multiplies all weights.
func mixPaces(a *[paces][]float64, lo, hi int, times float64) {
	x, y, z := a[0][lo:hi+1], a[1][lo:hi+1], a[2][lo:hi+1]
	y, z = y[:len(x)], z[:len(x)]
	same, other := times*(1-paceChange), times*paceChange/paces
	for k := range x {
		changed := other * (x[k] + y[k] + z[k])
		x[k] = same*x[k] + changed
		y[k] = same*y[k] + changed
		z[k] = same*z[k] + changed
	}
}

// stride is how likely the phone goes on by 0, 1, ... most points from one tick to the next.
type stride struct {
	w    [maxStride + 1]float64
	most int
}

// strideOf is the stride with a mean of so many points, at a speed that scatters by paceSD. Each
// speed is parted between the two whole numbers of points beside it, which keeps the mean however
// short a tick is.
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

// lacks is how many log units the samples of a walk, each where it was taken, fall short of what
// samples that fit come to.
func (a *aligner) lacks(s *seen) float64 { return a.usual(s) - s.fits }

// usual is the log likelihood of samples that all fit as well as usual.
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
				det += w * s.dets[s.from[i]+k]
			}
		}
		const misfit = 1.5 // half a squared deviation in each of three axes
		sum -= a.eachCounts * (det + 1.5*log2pi + misfit)
	}
	return sum
}
