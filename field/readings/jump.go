package readings

import (
	"cmp"
	"math"
	"slices"
)

// Background and pull of a hold under a steady supply, with a jump where the phone may have
// re-zeroed itself in it.

const (
	jumpPrior   = 0.03   // chance that a phone re-zeroes within one hold
	jumpSD      = 18.0   // uT by which, one standard deviation of each axis; and
	pullSD      = 1000.0 // the same of the pull before anything was read,
	anyGroundSD = 500.0  // and of the background
)

// digestSteady fits background and pull to samples with the supply off or on. A jump at every
// place is tried, and the supply switched up to off seconds before or after it was told to be.
func digestSteady(xs []sample, sigma [3]float64, off float64) (readings []Reading, toggled, jumped bool) {
	seen := perState(xs)
	if seen[1] == 0 {
		return nil, false, false
	}
	toggled = seen[0] > 0
	fits := jumps(xs, sigma, toggled)
	still := fits[0] // the best that needs no jump
	add := func(f Reading) {
		if f.LogW > still.LogW {
			still = f
		}
		fits = append(fits, f)
	}
	for _, o := range append(toldOff(xs, off), allToldOff(xs, sigma)...) {
		add(o.fit(sigma))
	}
	if toggled {
		best := slices.MaxFunc(fits, func(a, b Reading) int { return cmp.Compare(a.LogW, b.LogW) })
		for _, f := range neverSwitched(xs, sigma) {
			if best.noPull() { // what little there is of a pull may as well be a filter's tail
				f.LogW = math.Max(f.LogW, best.LogW+math.Log(toldOffChance))
			}
			if f.LogW > still.LogW-worthDoubt {
				toggled = false
				add(f)
			}
		}
	}
	slices.SortFunc(fits, func(a, b Reading) int { return cmp.Compare(b.LogW, a.LogW) })
	best := fits[0].LogW
	jumped = still.LogW < best-6 && slices.ContainsFunc(fits, func(f Reading) bool {
		return f.LogW > best-1 && matters(&still.Ax, &f.Ax, toggled)
	})
	return merged(fits), toggled, jumped
}

// jumps fits a hold's samples without a jump, which comes first, and with one before each sample.
func jumps(xs []sample, sigma [3]float64, toggled bool) []Reading {
	n := len(xs)
	var up [3][]moments
	for a := range up {
		up[a] = runningMoments(xs, a)
	}
	fit := func(k int) (ax [3]Axis, log float64) {
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
	out := []Reading{{LogW: math.Log((1-jumpPrior)*(1-toldOffChance)) + log, Ax: ax}}
	if n < 4 {
		return out
	}
	prior := math.Log(jumpPrior / float64(n-1))
	for k := 1; k < n; k++ {
		ax, log := fit(k)
		if toggled {
			out = append(out, Reading{LogW: prior + log, Ax: ax})
			continue
		}
		// Without a toggle a jump leaves two levels, and either may be the one
		// that goes with the background elsewhere.
		first, second := Reading{LogW: prior + log - math.Ln2}, Reading{LogW: prior + log - math.Ln2}
		for a := range sigma {
			before := up[a][0].less(&up[a][k])
			first.Ax[a], second.Ax[a] = before.level(sigma[a]), up[a][k].level(sigma[a])
		}
		out = append(out, first, second)
	}
	return out
}

// merged are the likeliest of some fits, which are given best first. Those that say the same are
// taken together, the faintest are left out, and the weights come to 1 at most.
func merged(fits []Reading) (out []Reading) {
	const most, least = 6, -16
	best := fits[0].LogW
	var total float64
	for _, f := range fits {
		total += math.Exp(f.LogW - best)
	}
	for _, f := range fits {
		f.LogW -= best + math.Log(total)
		if f.LogW < least {
			break
		}
		at := slices.IndexFunc(out, func(r Reading) bool { return closeReadings(&r, &f.Ax) })
		switch {
		case at >= 0:
			out[at].LogW = LogAdd(out[at].LogW, f.LogW)
		case len(out) < most:
			out = append(out, f)
		}
	}
	return out
}

// What a jump may change and not be worth a word: no more than placing the phone leaves open.
// Noise that wanders, the tail of a filter and a nudge of the hand look like small jumps too.
const (
	smallJump      = 4.0  // uT,
	smallJumpShare = 0.05 // or this share of the pull
)

// matters tells whether a jump makes a difference to what a hold says.
func matters(still, jumped *[3]Axis, toggled bool) bool {
	var level, pull, size float64
	for a := range still {
		level += math.Pow(jumped[a].B-still[a].B, 2)
		if toggled {
			pull += math.Pow(jumped[a].D-still[a].D, 2)
			size += still[a].D * still[a].D
		}
	}
	return math.Sqrt(math.Max(level, pull)) > math.Max(smallJump, smallJumpShare*math.Sqrt(size))
}

// noPull tells whether off and on read alike, within smallJump.
func (r *Reading) noPull() bool {
	d := [3]float64{r.Ax[0].D, r.Ax[1].D, r.Ax[2].D}
	return sizeOf(d) < smallJump
}

// sameUT is by how much two fits may differ and say the same, uT, each axis: about what the
// verdict leaves open anyway (FloorUT).
const sameUT = 1.5

// closeReadings tells whether two fits say the same of the pull.
func closeReadings(r *Reading, ax *[3]Axis) bool {
	for a := 0; a < 3; a++ {
		x, y := r.Ax[a], ax[a]
		if x.VD >= Vague/2 { // only the sum is known
			if math.Abs(x.B-y.B) > sameUT {
				return false
			}
			continue
		}
		if math.Abs(x.D-y.D) > sameUT || y.VD > 4*x.VD+1 {
			return false
		}
	}
	return true
}
