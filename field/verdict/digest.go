package verdict

import (
	"cmp"
	"math"
	"slices"

	"polewise/field/capture"
)

// axis is what one hold says of one axis of the phone: the background b, the
// pad's pull d (reading with the drive at its peak, minus b), and how their
// errors go together. Microtesla.
type axis struct {
	b, d       float64
	vb, vd, cv float64 // variances of b and d, and their covariance
}

// reading is one way to understand the samples of a hold, of weight exp(logW).
// A hold that jumped, or whose pulses could be counted either way, has several.
type reading struct {
	logW  float64
	ax    [3]axis
	share float64 // of the current that all is told for; set when the hold is kept
}

// digest is a hold boiled down.
type digest struct {
	coil     int
	source   int // which capture it came from
	from, to float64
	shift    [2]float64 // metres, pad frame
	topDeg   float64
	up       [3]float64 // gravity's direction in the phone frame, unit; zero when unknown
	readings []reading
	toggled  bool // on and off were both seen, so the background drops out
	samples  int
	repeated int        // readings left out, since they were the one before bit for bit
	clipped  [3]float64 // per axis: 0, or the level (with its sign) at which the drive-on samples lie flat
	jumped   bool
	moved    bool // the readings would not stand still
	open     bool
	label    string // what to call it in messages
}

// vague is the variance of something not measured, in uT².
const vague = 1e8

const (
	jumpPrior   = 0.03   // chance that a phone re-zeroes within one hold
	jumpSD      = 18.0   // uT, per axis
	pullSD      = 1000.0 // the same of what the pad does, before anything was read,
	anyGroundSD = 500.0  // and of the background
)

// sample is a magnetometer sample with what the supply did.
type sample struct {
	t float64
	u [3]float64
	s float64 // 0 off, 1 on
	// Taken so soon after the supply was told to be switched, within the hold, that it
	// may not have been yet; and so soon before that, that it may have been.
	early, soon bool
}

// restless is how far, per axis, samples under an unchanged drive wander, beside their
// noise. They are cut in two where two levels fit them best, as of a phone that re-zeroed
// itself or had not settled yet, and the longer part is looked at: a phone that was moved
// as it was read has no level at all. Zero where they stand still.
func restless(xs []sample, sigma [3]float64) (wander [3]float64) {
	const (
		fewest  = 6
		atLeast = 6.0 // of their noise
		share   = 0.1 // of the difference between off and on
	)
	of := byState(xs)
	least := max(atLeast*math.Sqrt(dot(&sigma, &sigma)), smallJump)
	if len(of[0]) > 0 && len(of[1]) > 0 {
		off, on := medianOf(of[0]), medianOf(of[1])
		for a := range off {
			on[a] -= off[a]
		}
		least = max(least, share*math.Sqrt(dot(&on, &on)))
	}
	for _, list := range of {
		if len(list) < fewest {
			continue
		}
		at, best := 0, math.Inf(1)
		var up [3][]moments
		for a := range up {
			up[a] = runningMoments(list, a)
		}
		for k := range list {
			var sum float64
			for a := range up {
				all, after := &up[a][0], &up[a][k]
				before := all.less(after)
				sum += before.squares() + after.squares()
			}
			if sum < best {
				at, best = k, sum
			}
		}
		longer := list[at:]
		if 2*at > len(list) {
			longer = list[:at]
		}
		if by := spreadOf(longer); dot(&by, &by) > least*least {
			for a := range wander {
				wander[a] = math.Max(wander[a], by[a])
			}
		}
	}
	return wander
}

// spreadOf is how far samples lie from their median, each axis, as a standard deviation
// by which half of them lie within 0.67.
func spreadOf(xs []sample) (sd [3]float64) {
	middle := medianOf(xs)
	away := make([]float64, len(xs))
	for a := range sd {
		for i, x := range xs {
			away[i] = math.Abs(x.u[a] - middle[a])
		}
		sd[a] = 1.48 * median(away)
	}
	return sd
}

// restlessSD is by how many times what readings wander by they may be off: a phone that
// was drawn away is off by all the way.
const restlessSD = 3.0

// widen has a hold tell that much less where its readings wandered.
func (d *digest) widen(wander [3]float64) {
	if wander == [3]float64{} {
		return
	}
	d.moved = true
	for i := range d.readings {
		for a, w := range wander {
			ax := &d.readings[i].ax[a]
			ax.vb += restlessSD * restlessSD * w * w
			ax.vd += restlessSD * restlessSD * w * w
		}
	}
}

// digestSteady fits background and pull to samples under a drive that is off
// or on. Every place where the phone may have re-zeroed itself is tried, and every
// moment at which the supply may really have been switched, within so many seconds.
func digestSteady(xs []sample, sigma [3]float64, off float64) (readings []reading, toggled, jumped bool) {
	seen := perState(xs)
	if seen[1] == 0 {
		return nil, false, false
	}
	toggled = seen[0] > 0
	fits := jumps(xs, sigma, toggled)
	still := fits[0] // the best that needs no jump
	add := func(f reading) {
		if f.logW > still.logW {
			still = f
		}
		fits = append(fits, f)
	}
	for _, o := range append(toldOff(xs, off), allToldOff(xs, sigma)...) {
		add(o.fit(sigma))
	}
	if toggled {
		best := slices.MaxFunc(fits, func(a, b reading) int { return cmp.Compare(a.logW, b.logW) })
		for _, f := range neverSwitched(xs, sigma) {
			if best.noPull() { // what little there is of a pull may as well be a filter's tail
				f.logW = math.Max(f.logW, best.logW+math.Log(toldOffChance))
			}
			if f.logW > still.logW-worthDoubt {
				toggled = false
				add(f)
			}
		}
	}
	slices.SortFunc(fits, func(a, b reading) int { return cmp.Compare(b.logW, a.logW) })
	best := fits[0].logW
	jumped = still.logW < best-6 && slices.ContainsFunc(fits, func(f reading) bool {
		return f.logW > best-1 && matters(&still.ax, &f.ax, toggled)
	})
	return merged(fits), toggled, jumped
}

// jumps fits a hold's samples without a jump, which comes first, and with one before
// each of them.
func jumps(xs []sample, sigma [3]float64, toggled bool) []reading {
	n := len(xs)
	var up [3][]moments
	for a := range up {
		up[a] = runningMoments(xs, a)
	}
	fit := func(k int) (ax [3]axis, log float64) {
		for a := range ax {
			after := &up[a][n] // nothing
			if k > 0 {
				after = &up[a][k]
			}
			x, l := up[a][0].fit(after, sigma[a], toggled)
			ax[a] = x
			log += l
		}
		return ax, log
	}
	ax, log := fit(0)
	out := []reading{{logW: math.Log((1-jumpPrior)*(1-toldOffChance)) + log, ax: ax}}
	if n < 4 {
		return out
	}
	prior := math.Log(jumpPrior / float64(n-1))
	for k := 1; k < n; k++ {
		ax, log := fit(k)
		if toggled {
			out = append(out, reading{logW: prior + log, ax: ax})
			continue
		}
		// Without a toggle a jump leaves two levels, and either may be the one
		// that goes with the background elsewhere.
		first, second := reading{logW: prior + log - math.Ln2}, reading{logW: prior + log - math.Ln2}
		for a := range sigma {
			before := up[a][0].less(&up[a][k])
			first.ax[a], second.ax[a] = before.level(sigma[a]), up[a][k].level(sigma[a])
		}
		out = append(out, first, second)
	}
	return out
}

// merged are the likeliest of some fits, sorted by how likely they are, those that say
// the same taken together and all to a weight of 1.
func merged(fits []reading) (out []reading) {
	const most, least = 6, -16
	best := fits[0].logW
	var total float64
	for _, f := range fits {
		total += math.Exp(f.logW - best)
	}
	for _, f := range fits {
		f.logW -= best + math.Log(total)
		if f.logW < least {
			break
		}
		at := slices.IndexFunc(out, func(r reading) bool { return closeReadings(&r, &f.ax) })
		switch {
		case at >= 0:
			out[at].logW = logAdd(out[at].logW, f.logW)
		case len(out) < most:
			out = append(out, f)
		}
	}
	return out
}

// Noise that wanders, the tail of a filter and a nudge of the hand look like small
// jumps. What one changes up to here is not worth a word: no more than placing the phone
// leaves open.
const (
	smallJump      = 4.0 // uT
	smallJumpShare = 0.05
)

// matters tells whether a jump makes a difference to what a hold says.
func matters(still, jumped *[3]axis, toggled bool) bool {
	var level, pull, size float64
	for a := range still {
		level += math.Pow(jumped[a].b-still[a].b, 2)
		if toggled {
			pull += math.Pow(jumped[a].d-still[a].d, 2)
			size += still[a].d * still[a].d
		}
	}
	return math.Sqrt(math.Max(level, pull)) > math.Max(smallJump, smallJumpShare*math.Sqrt(size))
}

// noPull tells whether off and on read alike, but for what is not worth a word.
func (r *reading) noPull() bool {
	d := [3]float64{r.ax[0].d, r.ax[1].d, r.ax[2].d}
	return math.Sqrt(dot(&d, &d)) < smallJump
}

// closeReadings tells whether two fits say the same of the pull.
func closeReadings(r *reading, ax *[3]axis) bool {
	for a := 0; a < 3; a++ {
		x, y := r.ax[a], ax[a]
		if x.vd >= vague/2 { // only the sum is known
			if math.Abs(x.b-y.b) > 1.5 {
				return false
			}
			continue
		}
		if math.Abs(x.d-y.d) > 1.5 || y.vd > 4*x.vd+1 {
			return false
		}
	}
	return true
}

// invert3 inverts a symmetric positive definite matrix and returns the
// logarithm of its determinant.
func invert3(m [3][3]float64) (inv [3][3]float64, logDet float64, ok bool) {
	// Scaled to a unit diagonal first: b and J differ by orders of magnitude.
	var s [3]float64
	for i := 0; i < 3; i++ {
		if m[i][i] <= 0 {
			return inv, 0, false
		}
		s[i] = 1 / math.Sqrt(m[i][i])
	}
	a, b, c := m[0][1]*s[0]*s[1], m[0][2]*s[0]*s[2], m[1][2]*s[1]*s[2]
	det := 1 + 2*a*b*c - a*a - b*b - c*c
	if det <= 1e-15 {
		return inv, 0, false
	}
	inv = [3][3]float64{
		{(1 - c*c) / det, (b*c - a) / det, (a*c - b) / det},
		{(b*c - a) / det, (1 - b*b) / det, (a*b - c) / det},
		{(a*c - b) / det, (a*b - c) / det, (1 - a*a) / det},
	}
	logDet = math.Log(det)
	for i := 0; i < 3; i++ {
		logDet -= 2 * math.Log(s[i])
		for j := 0; j < 3; j++ {
			inv[i][j] *= s[i] * s[j]
		}
	}
	return inv, logDet, true
}

func logAdd(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	if b < a-40 || math.IsInf(b, -1) {
		return a // the other is lost in rounding
	}
	return a + math.Log1p(math.Exp(b-a))
}

// noise estimates the standard deviation of one sample per axis from the
// differences of neighbours under an unchanged steady drive. Trimmed, so that
// a jump does not count; never below a tenth of a microtesla or what the
// quantisation alone makes.
func noise(stretches [][]sample) [3]float64 {
	var sigma [3]float64
	for a := 0; a < 3; a++ {
		var diffs []float64
		step := math.Inf(1)
		for _, xs := range stretches {
			for i := 1; i < len(xs); i++ {
				if xs[i].s != xs[i-1].s || xs[i].t-xs[i-1].t > 1 {
					continue
				}
				d := math.Abs(xs[i].u[a] - xs[i-1].u[a])
				diffs = append(diffs, d)
				if d > 1e-6 {
					step = math.Min(step, d)
				}
			}
		}
		if len(diffs) < 6 {
			sigma[a] = 0.9
			continue
		}
		slices.Sort(diffs)
		keep := diffs[:(len(diffs)*9+9)/10]
		var sum float64
		for _, d := range keep {
			sum += d * d
		}
		// The lowest nine tenths of |N(0,1)| have an rms of 0.789.
		s := math.Sqrt(sum/float64(len(keep))) / 0.789 / math.Sqrt2
		if step < 2 {
			s = math.Max(s, step/math.Sqrt(12))
		}
		sigma[a] = math.Min(math.Max(s, 0.1), 5)
	}
	return sigma
}

// meanUp averages gravity to a direction; zero when there is none.
func meanUp(gs []capture.Gravity) [3]float64 {
	var v [3]float64
	for _, g := range gs {
		for a := 0; a < 3; a++ {
			v[a] += g.MS2[a]
		}
	}
	n := math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2])
	if n < 1 {
		return [3]float64{}
	}
	for a := 0; a < 3; a++ {
		v[a] /= n
	}
	return v
}
