package verdict

import (
	"fmt"
	"math"
	"math/cmplx"

	"polewise/field/capture"
	"polewise/layout"
)

// Compass headings. The earth's horizontal field shows where magnetic north
// lies, the pad pulls the needle away from it; only the angle is reported, and
// the phone's filter follows with a lag of about a second.
const (
	headingSD      = 0.025 // radians, one settled heading at best
	restTurnSD     = 0.14  // radians more where off was not read in the same hold
	headingOutlier = 0.03  // the phone's filter rejects a strong field now and then
	shortestLag    = 0.3   // seconds after a switching from which a heading says anything
	wobble         = 3.0   // neighbouring headings err alike: so many count as one
)

// earths are the horizontal fields a compass may feel: 10 to 42 uT is the
// earth's (World Magnetic Model 2025 over the surface), evenly spread on a log
// scale; more than that is a phone that never took its own magnetism out.
var earths = [...]struct{ uT, p float64 }{
	{11.3, 0.94 / 6}, {14.3, 0.94 / 6}, {18.2, 0.94 / 6},
	{23.1, 0.94 / 6}, {29.4, 0.94 / 6}, {37.3, 0.94 / 6},
	{65, 0.02}, {140, 0.02}, {320, 0.02},
}

// earthSpreadSD is by how much, relatively, the earth's field differs from the
// common one from hold to hold: steel, and the width of a node.
const earthSpreadSD = 0.15

// onlyBearings tells whether headings are all that was read by phone. Current
// and earth's field then come in by their ratio only, and the nodes of the scale
// stand for the earth's field.
func (ev *evidence) onlyBearings() bool {
	return len(ev.bearings) > 0 && len(ev.holds) == 0 && len(ev.passes) == 0
}

// ratios are the scales of evidence by headings alone: the current's share of
// the plan is taken as one unless the supply shows another, and summed out against what the display said.
func (e *engine) ratios(h *hypothesis) scales {
	sc := scales{s: make([]float64, len(earths)), lp: make([]float64, len(earths)), sd: math.Hypot(earthSpreadSD, scaleSD)}
	display, share := 0.0, 1.0
	if r, ok := e.setOtherwise(h); ok {
		share = r
	}
	for _, a := range e.ev.amps {
		if h.cur.PadAmps <= 0 { // nothing flows, whatever is set
			display += logNormal(a.amps, 0, 0.02*a.amps+0.01)
			continue
		}
		display += scalePrior(a.amps/h.cur.PadAmps) - math.Log(h.cur.PadAmps)
	}
	for i, n := range earths {
		sc.s[i] = share / n.uT
		sc.lp[i] = math.Log(n.p) + display
	}
	return sc
}

// bearingDigest is a hold by the heading route: where the compass settled with
// the supply off and on.
type bearingDigest struct {
	coil, source int
	label        string
	from         float64
	shift        [2]float64
	topDeg       float64
	off, on      float64 // radians, clockwise from north, with turns by hand taken out
	sdOff, sdOn  float64
	samples      int
	hand         float64 // radians the phone had been turned by hand since the start as it was laid down
	duty         float64 // share of the time the pull acts: 1 unless pulsed
}

func (ev *evidence) addBearing(plan *layout.Plan, cut *capture.Stretches, h *capture.Stretch, src int, lag float64) {
	d := bearingDigest{coil: plan.CoilIndex(h.Hold.Coil), source: src, label: h.Hold.Coil, from: h.From, topDeg: h.TopDeg, samples: len(h.Bearings), duty: 1}
	if h.Hold.ShiftMM != nil {
		d.shift = [2]float64{h.Hold.ShiftMM[0] * 1e-3, h.Hold.ShiftMM[1] * 1e-3}
	}
	offs, ons := runsOf(plan, cut, h)
	byGyro := false
	laid := 0.0 // headings before anything was switched on, or else all
	for _, b := range h.Bearings {
		if drive, ok := driveAt(cut, plan, b.T); ok && drive.State == capture.Pulse {
			d.duty = drive.Duty
		}
		if b.TurnedDeg != nil {
			byGyro = true
			if drive, ok := driveAt(cut, plan, b.T); len(offs) == 0 || ok && drive.State == capture.Off {
				// What it was turned by later is taken out of the headings; it
				// must not turn the pad too.
				d.hand += *b.TurnedDeg * math.Pi / 180
				laid++
			}
		}
	}
	if laid > 0 {
		d.hand /= laid
	}
	if len(ons) == 0 {
		if len(offs) > 0 {
			ev.note("The hold beside %s has no headings with the supply on; it tells nothing.", d.label)
		}
		return
	}
	var ok bool
	if d.on, d.sdOn, ok = settle(ons, lag); !ok {
		ev.note("The compass had no time to settle beside %s. Keep the phone there for three seconds.", d.label)
		return
	}
	if d.off, d.sdOff, ok = settle(offs, lag); !ok {
		// From the rest, turned by what the phone was said to be turned.
		rest, top, found := restHeading(cut, lag)
		if !found {
			ev.note("No heading was read with the supply off. Switch it off for three seconds beside %s and on again.", d.label)
			return
		}
		d.off, d.sdOff = rest, headingSD
		if !byGyro {
			d.off -= (d.topDeg - top) * math.Pi / 180
			d.sdOff = restTurnSD
		}
	}
	ev.bearings = append(ev.bearings, d)
}

// straight is a heading with the phone's own rotation by hand taken out,
// degrees.
func straight(b capture.Bearing) float64 {
	if b.TurnedDeg != nil {
		return b.Deg - *b.TurnedDeg
	}
	return b.Deg
}

// bearingRun is the headings since one switching of the supply, or since the
// phone was laid down.
type bearingRun struct {
	began  float64
	t, deg []float64
}

// runsOf parts the headings of a hold at the supply's switchings.
func runsOf(plan *layout.Plan, cut *capture.Stretches, h *capture.Stretch) (offs, ons []bearingRun) {
	for _, b := range h.Bearings {
		drive, ok := driveAt(cut, plan, b.T)
		if !ok {
			continue
		}
		runs := &ons
		if drive.State == capture.Off {
			runs = &offs
		}
		began := math.Max(drive.T, h.From)
		if n := len(*runs); n == 0 || (*runs)[n-1].began != began {
			*runs = append(*runs, bearingRun{began: began})
		}
		r := &(*runs)[len(*runs)-1]
		r.t = append(r.t, b.T)
		r.deg = append(r.deg, straight(b))
	}
	return offs, ons
}

// tend fits a run as a unit vector that tends to a direction, the rest of the
// way shrinking by e every lag: z = a + b exp(-t/lag). It returns a, how sure
// its direction is, what is left of the way at the end, and the squared error.
func (r *bearingRun) tend(lag float64) (a complex128, variance, rest, sse float64) {
	var n, se, see float64
	var sz, sez complex128
	for i, t := range r.t {
		e := math.Exp(-math.Max(0, t-r.began) / lag)
		z := cmplx.Rect(1, r.deg[i]*math.Pi/180)
		n, se, see = n+1, se+e, see+e*e
		sz, sez = sz+z, sez+complex(e, 0)*z
	}
	// A weak prior on the way still to go keeps short runs from running wild.
	const faint = 0.02
	see += faint
	det := n*see - se*se
	a = (complex(see, 0)*sz - complex(se, 0)*sez) / complex(det, 0)
	b := (complex(n, 0)*sez - complex(se, 0)*sz) / complex(det, 0)
	for i, t := range r.t {
		e := math.Exp(-math.Max(0, t-r.began) / lag)
		d := cmplx.Rect(1, r.deg[i]*math.Pi/180) - a - complex(e, 0)*b
		sse += real(d)*real(d) + imag(d)*imag(d)
	}
	last := math.Exp(-math.Max(0, r.t[len(r.t)-1]-r.began) / lag)
	return a, see / det, cmplx.Abs(b) * last, sse
}

// lagOf finds the lag that fits all runs of a phone best, seconds; about one is
// usual.
func lagOf(runs []bearingRun) float64 {
	best, lag := math.Inf(1), 1.0
	for tau := 0.15; tau < 3; tau *= 1.2 {
		usual := math.Log(tau) / 0.8
		cost := usual * usual
		for i := range runs {
			if r := &runs[i]; len(r.t) >= 5 {
				_, _, _, sse := r.tend(tau)
				cost += float64(len(r.t)) / wobble * math.Log(sse/float64(len(r.t))+headingSD*headingSD)
			}
		}
		if cost < best {
			best, lag = cost, tau
		}
	}
	return lag
}

// settle finds where the headings of a state of the supply tend to.
func settle(runs []bearingRun, lag float64) (rad, sd float64, ok bool) {
	var sum complex128
	var weight float64
	for i := range runs {
		r := &runs[i]
		lead := r.t[len(r.t)-1] - r.began
		if math.IsInf(r.began, -1) {
			lead = r.t[len(r.t)-1] - r.t[0] + 1
		}
		if lead < shortestLag {
			continue
		}
		n := float64(len(r.t))
		a, variance, rest, sse := r.tend(lag)
		// What the samples scatter by counts wobble times, what is still to go
		// is known by a quarter.
		v := variance*wobble*(sse/math.Max(1, 2*n-4)+1e-5) + headingSD*headingSD + rest*rest/16
		if len(r.t) < 5 {
			v += 0.25 * math.Exp(-2*lead/0.9)
			a = cmplx.Rect(1, r.deg[len(r.deg)-1]*math.Pi/180)
		}
		if l := cmplx.Abs(a); l > 0 {
			v += 0.1 * (l - 1) * (l - 1)
			sum += a / complex(l*v, 0)
			weight += 1 / v
		}
	}
	if weight == 0 {
		return 0, 0, false
	}
	return cmplx.Phase(sum), math.Sqrt(1 / weight), true
}

func restHeading(cut *capture.Stretches, lag float64) (rad, topDeg float64, ok bool) {
	var runs []bearingRun
	for i := range cut.Rests {
		r := &cut.Rests[i]
		if len(r.Bearings) == 0 {
			continue
		}
		run := bearingRun{began: math.Inf(-1)}
		for _, b := range r.Bearings {
			run.t = append(run.t, b.T)
			run.deg = append(run.deg, straight(b))
		}
		runs = append(runs, run)
		topDeg = r.TopDeg
	}
	rad, _, ok = settle(runs, lag)
	return rad, topDeg, ok
}

// bearingFactor scores a heading hold.
type bearingFactor struct {
	frame_ frame
	*bearingDigest
	ph  *phone
	buf []float64
	sin float64
	cos float64
	// ratio: the scales stand for the earth's field.
	ratio bool
}

func (b *bearingFactor) frame() *frame { return &b.frame_ }

func (b *bearingFactor) time() float64 { return b.bearingDigest.from }

func (b *bearingFactor) name() string {
	return fmt.Sprintf("compass beside %s at %.0f s", b.label, b.bearingDigest.from)
}

func (e *engine) addBearingFactor(d *bearingDigest) {
	ph := e.phones[d.source]
	f := &bearingFactor{bearingDigest: d, ph: ph, ratio: e.ratio}
	f.sin, f.cos = math.Sincos(d.topDeg * math.Pi / 180)
	f.frame_ = frame{src: d.source, coil: d.coil, cols: e.m.columnsFor(ph.grid, d.coil, d.shift, d.topDeg, e.ev.sources[d.source].mended), group: e.groupFor(d.source, d.topDeg), id: e.m.fresh()}
	e.factors = append(e.factors, f)
}

func (b *bearingFactor) like(out, _ []float64, field []nine, in *view, _ *background, sc *scales) {
	nodes := len(sc.s)
	need := len(field) * nodes
	if cap(b.buf) < need {
		b.buf = make([]float64, need)
	}
	score := b.buf[:need]
	turnedSin, turnedCos := math.Sincos(b.on - b.off)
	base := b.sdOff*b.sdOff + b.sdOn*b.sdOn + 0.0015
	// The earth's horizontal field in phone axes points where the heading says:
	// a phone whose top edge points east (90 degrees) has it along -x.
	ex, ey := -math.Sin(b.off+b.hand), math.Cos(b.off+b.hand)
	// density of the turn where the pad pulls by so much along the earth's field
	// and across it, and the earth by h. Where the field turns counter-clockwise in
	// the phone's axes, north lies further left and the heading grows. A von Mises
	// density needs no angles.
	density := func(along, across, h, open float64) float64 {
		t := h + along
		r2 := t*t + across*across
		precision := (r2 + 9) / (base*(r2+9) + open)
		away := 1 - (turnedCos*t+turnedSin*across)/math.Sqrt(r2+1e-9)
		if away*precision > faint {
			return 0
		}
		return expDown(math.Min(0, -away*precision)) * math.Sqrt(precision/(2*math.Pi))
	}
	for k := range field {
		f := &field[k]
		yx, yy, _ := f.slopeY()
		// Pad axes to phone axes: back by the direction of the top edge.
		px, py := b.duty*(b.cos*f[0]+b.sin*f[1]), b.duty*(-b.sin*f[0]+b.cos*f[1])
		along, across := ex*px+ey*py, ex*py-ey*px
		// How far the pull may be off for want of the exact place and current.
		open := b.ph.sd*b.ph.sd*(f[3]*f[3]+f[4]*f[4]+yx*yx+yy*yy)/2 + sc.sd*sc.sd*(px*px+py*py)
		row := score[k*nodes : k*nodes+nodes]
		if b.ratio {
			for m, n := range earths {
				row[m] = density(along, across, n.uT, open+4)
			}
			continue
		}
		for m, s := range sc.s {
			row[m] = 0
			for _, n := range earths {
				row[m] += n.p * density(s*along, s*across, n.uT, s*s*open+4)
			}
		}
	}
	b.ph.blur(out, score, in, nodes, 0, math.Log(headingOutlier/(2*math.Pi)))
}

// ceiling implements factor.
func (b *bearingFactor) ceiling([]nine, *background, *scales) float64 {
	return -0.5 * math.Log(2*math.Pi*(b.sdOff*b.sdOff+b.sdOn*b.sdOn+0.01))
}
