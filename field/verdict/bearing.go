package verdict

import (
	"fmt"
	"math"

	"polewise/field/capture"
	"polewise/layout"
)

// Compass headings. The earth's horizontal field shows where magnetic north
// lies, the pad pulls the needle away from it; only the angle is reported, and
// the phone's filter follows with a lag of about a second.
const (
	earthLow, earthHigh = 10.0, 42.0 // uT, horizontal (World Magnetic Model 2025 over the surface)
	earthNodes          = 6          // strengths of it that are tried
	headingSD           = 0.07       // radians, one settled heading
	restTurnSD          = 0.14       // radians more where off was not read in the same hold
	headingOutlier      = 0.03       // the phone's filter rejects a strong field now and then
	shortestLag         = 0.3
)

// earthFields are the strengths tried, evenly spread on a log scale.
var earthFields = func() (h [earthNodes]float64) {
	for n := range h {
		h[n] = earthLow * math.Pow(earthHigh/earthLow, (float64(n)+0.5)/earthNodes)
	}
	return h
}()

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
	hand         float64 // radians the phone was turned by hand since the start
	duty         float64 // share of the time the pull acts: 1 unless pulsed
}

func (ev *evidence) addBearing(plan *layout.Plan, cut *capture.Stretches, h *capture.Stretch, src int) {
	d := bearingDigest{coil: plan.CoilIndex(h.Hold.Coil), source: src, label: h.Hold.Coil, from: h.From, topDeg: h.TopDeg, samples: len(h.Bearings), duty: 1}
	if h.Hold.ShiftMM != nil {
		d.shift = [2]float64{h.Hold.ShiftMM[0] * 1e-3, h.Hold.ShiftMM[1] * 1e-3}
	}
	var offs, ons []bearingRun
	byGyro := false
	for _, b := range h.Bearings {
		drive, ok := driveAt(cut, plan, b.T)
		if !ok {
			continue
		}
		if drive.State == capture.Pulse {
			d.duty = drive.Duty
		}
		runs := &ons
		if drive.State == capture.Off {
			runs = &offs
		}
		if n := len(*runs); n == 0 || (*runs)[n-1].began != drive.T {
			*runs = append(*runs, bearingRun{began: drive.T})
		}
		r := &(*runs)[len(*runs)-1]
		r.t = append(r.t, b.T)
		r.deg = append(r.deg, straight(b))
		if b.TurnedDeg != nil {
			byGyro = true
			d.hand += *b.TurnedDeg * math.Pi / 180 / float64(len(h.Bearings))
		}
	}
	if len(ons) == 0 {
		if len(offs) > 0 {
			ev.note("The hold beside %s has no headings with the supply on; it tells nothing.", d.label)
		}
		return
	}
	var ok bool
	if d.on, d.sdOn, ok = settle(ons); !ok {
		ev.note("The compass had no time to settle beside %s. Keep the phone there for three seconds.", d.label)
		return
	}
	if d.off, d.sdOff, ok = settle(offs); !ok {
		// From the rest, turned by what the phone was said to be turned.
		rest, top, found := restHeading(cut)
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

// bearingRun is the headings since one switching of the supply.
type bearingRun struct {
	began  float64
	t, deg []float64
}

// settle finds where the headings of a state of the supply tend to. The lag is
// not known: the last of each run counts most, and the less of a run there is,
// the wider the doubt.
func settle(runs []bearingRun) (rad, sd float64, ok bool) {
	var s, c, weight, lead float64
	for _, r := range runs {
		last := r.t[len(r.t)-1]
		for i, t := range r.t {
			w := math.Exp((t - last) / 0.5)
			a := r.deg[i] * math.Pi / 180
			s += w * math.Sin(a)
			c += w * math.Cos(a)
			weight += w
		}
		if !math.IsInf(r.began, -1) {
			lead = math.Max(lead, last-r.began)
		} else {
			lead = math.Max(lead, last-r.t[0]+1)
		}
	}
	if weight == 0 || lead < shortestLag {
		return 0, 0, false
	}
	return math.Atan2(s, c), headingSD + 0.5*math.Exp(-lead/0.9), true
}

func restHeading(cut *capture.Stretches) (rad, topDeg float64, ok bool) {
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
	rad, _, ok = settle(runs)
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
}

func (b *bearingFactor) frame() *frame { return &b.frame_ }

func (b *bearingFactor) time() float64 { return b.bearingDigest.from }

func (b *bearingFactor) name() string {
	return fmt.Sprintf("compass beside %s at %.0f s", b.label, b.bearingDigest.from)
}

func (e *engine) addBearingFactor(d *bearingDigest) {
	ph := e.phones[d.source]
	f := &bearingFactor{bearingDigest: d, ph: ph}
	f.sin, f.cos = math.Sincos(d.topDeg * math.Pi / 180)
	f.frame_ = frame{src: d.source, coil: d.coil, cols: e.m.columnsFor(ph.grid, d.coil, d.shift, d.topDeg), group: e.groupFor(d.source, d.topDeg), points: &ph.places}
	e.factors = append(e.factors, f)
}

func (b *bearingFactor) like(out []float64, field []nine, _ *background, sc *scales) {
	nodes := len(sc.s)
	need := len(field) * nodes
	if cap(b.buf) < need {
		b.buf = make([]float64, need)
	}
	score := b.buf[:need]
	turnedSin, turnedCos := math.Sincos(b.on - b.off)
	base := b.sdOff*b.sdOff + b.sdOn*b.sdOn
	// The earth's horizontal field in phone axes points where the heading says:
	// a phone whose top edge points east (90 degrees) has it along -x.
	ex, ey := -math.Sin(b.off+b.hand), math.Cos(b.off+b.hand)
	for _, k := range b.ph.places {
		f := &field[k]
		yx, yy, _ := f.slopeY()
		// Pad axes to phone axes: back by the direction of the top edge.
		px, py := b.cos*f[0]+b.sin*f[1], -b.sin*f[0]+b.cos*f[1]
		// How far the pull may be off for want of the exact place.
		slope := b.ph.sd * b.ph.sd * (f[3]*f[3] + f[4]*f[4] + yx*yx + yy*yy) / 2
		row := score[k*nodes : k*nodes+nodes]
		for m, s := range sc.s {
			var sum float64
			for _, h := range earthFields {
				dx, dy := s*b.duty*px, s*b.duty*py
				tx, ty := h*ex+dx, h*ey+dy
				r2 := tx*tx + ty*ty
				v := base + (s*s*slope+sc.sd*sc.sd*(dx*dx+dy*dy)+4)/(r2+9) + 0.003
				// Where the field turns counter-clockwise in the phone's axes,
				// north lies further left and the heading grows. A von Mises
				// density of the turn, which needs no angles.
				cos := (turnedCos*(ex*tx+ey*ty) + turnedSin*(ex*ty-ey*tx)) / math.Sqrt(r2+1e-9)
				sum += math.Exp((cos-1)/v) / math.Sqrt(2*math.Pi*v)
			}
			row[m] = sum / earthNodes
		}
	}
	b.ph.blur(out, score, nodes, 0, math.Log(headingOutlier/(2*math.Pi)))
}

// ceiling implements factor.
func (b *bearingFactor) ceiling([]nine, *background, *scales) float64 {
	return -0.5 * math.Log(2*math.Pi*(b.sdOff*b.sdOff+b.sdOn*b.sdOn+0.01))
}
