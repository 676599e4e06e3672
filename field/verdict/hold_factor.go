package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"polewise/field/readings"
)

// How well the field at the places where the sensor may have been fits a hold.

// holdFactor is a hold as a factor.
type holdFactor struct {
	fr frame
	*digest
	ph      *phone
	rot     [3][3]float64 // phone axes to pad axes
	tilt    float64       // sd of the tilt left after gravity, radians
	made    []pull        // see pulls; nil: none yet
	madeFor background    // that these were made for
	buf     []float64     // likelihoods at places, reused
	weighed []weighed     // reused
}

func (h *holdFactor) frame() *frame { return &h.fr }

func (h *holdFactor) time() float64 { return h.from }

func (h *holdFactor) name() string {
	return fmt.Sprintf("hold on %s at %.0f s", h.label, h.from)
}

// pull is one way to understand a hold under a background: what the pad adds to it there.
type pull struct {
	logW    float64
	peak    float64    // log likelihood where it fits best, up to a constant
	free    float64    // logW without what the background says of it
	height  float64    // exp(logW), relative to a reference: see reference
	share   float64    // of the last setting of the supply, that it was read at
	d       [3]float64 // the pull as it would be at the last setting, pad axes,
	c       sym3       // and its covariance
	clip    [3]clip    // unused entries have no direction
	clipped bool
	// Where the hold itself shows the background (pulses): that and its variance, phone axes.
	seesB bool
	b, vb [3]float64
}

// clip says that a reading stopped at a level along a direction in pad axes.
type clip struct {
	dir   [3]float64
	level float64 // pull along dir at which the sensor stopped; the true one is beyond
}

// pulls are the hold's readings as pulls under a background, without those that are hopeless beside
// the likeliest.
func (h *holdFactor) pulls(bg *background) []pull {
	if h.made != nil && h.madeFor == *bg {
		return h.made
	}
	h.madeFor = *bg
	h.made = h.made[:0]
	for i := range h.readings {
		r := &h.readings[i]
		if h.toggled {
			h.made = append(h.made, h.pullOf(r, bg, 0, 0))
			continue
		}
		h.made = append(h.made,
			h.pullOf(r, bg, driftSD*driftSD, math.Log(1-jumpedShare)),
			h.pullOf(r, bg, jumpedSD*jumpedSD, math.Log(jumpedShare)))
	}
	h.made = notHopeless(h.made)
	return h.made
}

// notHopeless leaves out pulls far less likely than the likeliest. More than two it sorts, the
// likeliest first.
func notHopeless(comps []pull) []pull {
	if len(comps) <= 2 {
		return comps
	}
	slices.SortFunc(comps, func(a, b pull) int { return cmp.Compare(b.peak, a.peak) })
	keep := len(comps)
	for keep > 1 && comps[keep-1].peak < comps[0].peak-faintPull {
		keep--
	}
	return comps[:keep]
}

// pullOf is a reading of the hold as a pull under a background. The hold's own may have moved from
// that: moved is the variance, logMoved the log chance of such a move. Neither matters where the
// hold shows its background itself.
func (h *holdFactor) pullOf(r *reading, bg *background, moved, logMoved float64) pull {
	// A density by the microtesla read, and not by those that it would be at the last setting.
	read := r.LogW - 3*math.Log(r.share)
	p := pull{logW: read, free: read, share: r.share}
	var d, v, b [3]float64
	for a := range d {
		ax := r.Ax[a]
		prior := moved + bg.variance[a]
		switch {
		case h.toggled:
			d[a], v[a], b[a] = ax.D, ax.VD, ax.B
		case ax.VD >= readings.Vague/2: // only background and pull together are known
			d[a], v[a], b[a] = ax.B-bg.b[a], ax.VB+prior, bg.b[a]
		default:
			s := ax.VB + prior
			in := bg.b[a] - ax.B
			p.free -= 0.5 * math.Log(s)
			p.logW += -in*in/(2*s) - 0.5*math.Log(s)
			d[a] = ax.D + ax.CV/s*in
			v[a] = ax.VD - ax.CV*ax.CV/s
			b[a] = ax.B + ax.VB/s*in
			p.seesB, p.b[a], p.vb[a] = true, ax.B, ax.VB
		}
	}
	p.logW += logMoved
	p.free += logMoved
	for a := range d {
		d[a] /= r.share
		v[a] /= r.share * r.share
	}
	for row := 0; row < 3; row++ {
		for a := 0; a < 3; a++ {
			p.d[row] += h.rot[row][a] * d[a]
		}
	}
	for a := 0; a < 3; a++ {
		p.c.add(h.rot[0][a], h.rot[1][a], h.rot[2][a], v[a]+readings.FloorUT*readings.FloorUT)
	}
	ch := p.c.chol()
	p.peak = p.logW - ch.logDet()
	for a := range h.clipped {
		if level := h.clipped[a]; level != 0 {
			sign := math.Copysign(1, level-b[a])
			p.clip[a] = clip{
				dir:   [3]float64{sign * h.rot[0][a], sign * h.rot[1][a], sign * h.rot[2][a]},
				level: sign * (level - b[a]) / r.share,
			}
			p.clipped = true
		}
	}
	return p
}

// spread is the covariance of the pull at a place with field f, for want of the exact height, turn,
// tilt, scale and, within placeSD, place.
func (h *holdFactor) spread(f *nine, scaleSD, placeSD float64) (c sym3) {
	const (
		high = heightSD * heightSD
		yaw  = yawSD * yawSD
	)
	x, y, z := f[0], f[1], f[2]
	tilt, scale := h.tilt*h.tilt, scaleSD*scaleSD+placeless*placeless
	// The sum of w u u^T for the turns' u = (-y, x, 0), (0, -z, y) and (z, 0, -x)
	// and the scale's u = (x, y, z), written out.
	c = sym3{
		xx: scale*x*x + yaw*y*y + tilt*z*z,
		yy: yaw*x*x + scale*y*y + tilt*z*z,
		zz: tilt*(x*x+y*y) + scale*z*z,
		xy: (scale - yaw) * x * y,
		xz: (scale - tilt) * x * z,
		yz: (scale - tilt) * y * z,
	}
	cell := placeSD * placeSD
	yx, yy, yz := f.slopeY()
	c.add(f[3], f[4], f[5], cell)
	c.add(yx, yy, yz, cell)
	c.add(f[6], f[7], f[8], high)
	return c
}

// like implements factor.
func (h *holdFactor) like(out, _ []float64, field []nine, in *view, bg *background, sc *scales) {
	comps := h.pulls(bg)
	nodes := len(sc.s)
	if need := len(field) * nodes; cap(h.buf) < need {
		h.buf = make([]float64, need)
	}
	score := h.buf[:len(field)*nodes]
	stray := outlierLog(comps)
	ref := reference(comps, stray-farBelow)
	for k := range field {
		row := score[k*nodes : k*nodes+nodes]
		clear(row)
		h.placeScores(row, comps, &field[k], sc, h.ph.sd)
	}
	h.ph.blur(out, score, in, nodes, ref, stray)
}

// farBelow is how many log units below its outlier level a hold may fit at best before its plain
// likelihoods come out as nothing.
const farBelow = 600

// reference is a log likelihood that no place can exceed, and no less than a given one. Likelihoods
// are kept as plain numbers relative to it; it sets the pulls' height.
func reference(comps []pull, ref float64) float64 {
	for i := range comps {
		ref = math.Max(ref, comps[i].peak-1.5*log2pi)
	}
	for i := range comps {
		comps[i].height = math.Exp(comps[i].logW - 1.5*log2pi - ref)
	}
	return ref
}

// negligible is the squared distance, in standard deviations, from which a likelihood is not worth
// an exponential: that of an outlier is far greater.
const negligible = 80

// placeScores adds the pulls' likelihoods at a place with field f to a row with one number for each
// scale, relative to the reference.
func (h *holdFactor) placeScores(row []float64, comps []pull, f *nine, sc *scales, placeSD float64) {
	open := h.spread(f, sc.sd, placeSD)
	for i := range comps {
		comps[i].scores(row, &open, f, sc)
	}
}

// scores adds a pull's likelihood at a place with field f, where so much is left open.
func (p *pull) scores(row []float64, open *sym3, f *nine, sc *scales) {
	c := p.c
	c.addSym(open, 1)
	inv, det := c.adjugate()
	per := 1 / det
	// What a perfect fit would score here: the density's height.
	height := math.Sqrt(per) * p.height
	if !p.clipped {
		b := (*[3]float64)(f[:3])
		to := inv.times(b)
		dd, db, bb := per*inv.between(&p.d, &p.d), per*readings.Dot(&to, &p.d), per*readings.Dot(&to, b)
		if bb > 0 && dd-db*db/bb > negligible {
			return // at any scale
		}
		for m, s := range sc.s {
			if q := dd - 2*s*db + s*s*bb; q < negligible {
				row[m] += height * expDown(-0.5*q)
			}
		}
		return
	}
	for m, s := range sc.s {
		d := p.d
		for a := range p.clip {
			q := &p.clip[a]
			if q.dir == [3]float64{} {
				continue
			}
			along := s * (q.dir[0]*f[0] + q.dir[1]*f[1] + q.dir[2]*f[2])
			// Beyond the level every pull reads the same.
			to := math.Max(along, q.level)
			is := q.dir[0]*d[0] + q.dir[1]*d[1] + q.dir[2]*d[2]
			for r := range d {
				d[r] += q.dir[r] * (to - is)
			}
		}
		for r := range d {
			d[r] -= s * f[r]
		}
		if q := per * inv.between(&d, &d); q < negligible {
			row[m] += height * expDown(-0.5*q)
		}
	}
}

// roughly implements roughFactor: it takes the placement of the mark for one Gaussian about the
// middle of each cell.
func (h *holdFactor) roughly(out []float64, field []nine, bg *background, sc *scales) {
	comps := h.pulls(bg)
	nodes := len(sc.s)
	stray := outlierLog(comps)
	ref := reference(comps, stray-farBelow)
	low := math.Exp(math.Max(stray-ref, -700))
	clear(out)
	for q := range field {
		row := out[q*nodes : q*nodes+nodes]
		h.placeScores(row, comps, &field[q], sc, placeSD)
		for m, s := range row {
			row[m] = math.Log(s+low) + ref
		}
	}
}

// Estimates, no source; log units.
const (
	faintPull = 18.0 // below the likeliest pull of its hold, from which one is not looked at
	offPlace  = 2.0  // off the ceiling: the sensor is in no single place, and seldom where the spread is narrowest
)

// ceiling implements factor: it is that of the first pull where it fits exactly, at the place of
// narrowest spread.
func (h *holdFactor) ceiling(field []nine, bg *background, sc *scales) float64 {
	least := math.Inf(1)
	p := &h.pulls(bg)[0]
	for k := range field {
		c := p.c
		open := h.spread(&field[k], sc.sd, h.ph.sd)
		c.addSym(&open, 1)
		_, det := c.adjugate()
		least = math.Min(least, det)
	}
	return -0.5*math.Log(least) - 1.5*log2pi + p.logW - offPlace
}

// firmness is the most standard deviations of the hold's own that a microtesla may come to,
// whichever way it points.
func (h *holdFactor) firmness(bg *background) float64 {
	comps := h.pulls(bg)
	most := 0.0
	for i := range comps {
		adj, det := comps[i].c.adjugate()
		most = math.Max(most, (adj.xx+adj.yy+adj.zz)/det)
	}
	return math.Sqrt(most)
}

// outlierLog is the log likelihood of a hold that is not what it says it is.
func outlierLog(comps []pull) float64 {
	sum := math.Inf(-1)
	for i := range comps {
		// It tells nothing of the background either (free), so that it does not bend that.
		d := comps[i].d
		sum = readings.LogAdd(sum, comps[i].free-(d[0]*d[0]+d[1]*d[1]+d[2]*d[2])/(2*outlierSD*outlierSD))
	}
	return sum - 3*math.Log(outlierSD) - 1.5*math.Log(2*math.Pi) + math.Log(outlierShare)
}

// weighed is what a hold leaves as background at one place under one pull: a weight, the distance
// from the background so far, and its variance.
type weighed struct {
	w    float64
	d, v [3]float64
}

// residual implements needsBackground. It is the mean over the places around the offset cell and
// over the pulls, by how well each fits there.
func (h *holdFactor) residual(field []nine, cell int, scale float64, bg *background, sc *scales) (b, variance [3]float64, ok bool) {
	if h.toggled || h.clipped != [3]float64{} {
		return b, variance, false
	}
	comps := h.pulls(bg)
	one := scales{s: []float64{scale}, sd: sc.sd}
	c := h.ph.cells[cell]
	i0, j0 := c/h.ph.oy, c%h.ph.oy
	reference(comps, math.Inf(-1))
	list := h.weighed[:0]
	for di, ki := range h.ph.across[j0] {
		for dj, kj := range h.ph.up[i0] {
			k := h.ph.slot[(i0+di)*h.ph.ny+j0+dj]
			open := h.spread(&field[k], sc.sd, h.ph.sd)
			for i := range comps {
				var row [1]float64
				comps[i].scores(row[:], &open, &field[k], &one)
				w := row[0] * ki * kj
				if w == 0 {
					continue
				}
				s := weighed{w: w}
				// Back to phone axes: the transpose of the rotation.
				for a := range s.d {
					for r := 0; r < 3; r++ {
						s.d[a] += h.rot[r][a] * comps[i].share * (comps[i].d[r] - scale*field[k][r])
					}
				}
				size := comps[i].share * comps[i].share
				s.v = [3]float64{size * open.xx, size * open.yy, size * open.zz}
				if p := &comps[i]; p.seesB {
					s.v = p.vb
					for a := range s.d {
						s.d[a] = p.b[a] - bg.b[a]
					}
				}
				list = append(list, s)
			}
		}
	}
	h.weighed = list
	if b, variance, ok = meanOf(list); ok {
		for a := range b {
			b[a] += bg.b[a]
		}
	}
	return b, variance, ok
}

// meanOf is the weighted mean of what a hold leaves, and its variance, 1 uT squared at least; not
// ok where no weight counts.
func meanOf(list []weighed) (mean, variance [3]float64, ok bool) {
	var sum float64
	for i := range list {
		w := list[i].w
		sum += w
		for a := range mean {
			mean[a] += w * list[i].d[a]
			variance[a] += w * (list[i].v[a] + list[i].d[a]*list[i].d[a])
		}
	}
	if sum == 0 || math.IsNaN(sum) {
		return mean, variance, false
	}
	for a := range mean {
		mean[a] /= sum
		variance[a] = math.Max(variance[a]/sum-mean[a]*mean[a], 1)
	}
	return mean, variance, true
}
