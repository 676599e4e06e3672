package readings

import (
	"math"
	"math/cmplx"

	"polewise/field/capture"
)

// Compass headings. The earth's horizontal field shows where magnetic north lies, the pad
// pulls the needle away from it; only the angle is reported, and the phone's filter follows
// with a lag of about a second.
const (
	headingSD   = 0.025 // radians, one settled heading at best
	restTurnSD  = 0.14  // radians, off read in a rest, and no gyroscope to tell how the phone was turned since
	shortestLag = 0.3   // seconds from a switching to the last heading, at least, for it to say anything
	wobble      = 3.0   // neighbouring headings err alike: so many count as one
)

// What headings are known by (estimates, no source): angles in radians, times in seconds.
const (
	usualLag, lagSpread = 1.0, 0.8  // how slowly a compass follows, and by how much that differs, as a logarithm
	stillVar            = 1e-5      // variance that a sample has at least: 0.2 degrees
	restKnown           = 4.0       // what is still to go is known to this part of it
	leftVar, leftLag    = 0.25, 0.9 // of what is left of the way where nothing tells: variance at first, and by when it is gone
	offCircle           = 0.1       // variance by the square of how far the fit of a direction lies off the unit circle, where all of them lie
)

// Turn is what the headings of one hold say: where the compass settled with the supply off and
// on. Angles are radians, clockwise from north, with turns by hand taken out.
type Turn struct {
	Off, On     float64
	SDOff, SDOn float64
	Hand        float64 // that the phone had been turned by hand since the start as it was laid down
	Duty        float64 // share of the time the pull acts: 1 unless pulsed
}

// Lack is why headings tell nothing.
type Lack int

// What may be missing.
const (
	LacksNothing Lack = iota
	LacksAll          // none was read in a known state of the supply
	LacksOn           // none was read with the supply on
	LacksTime         // the compass had no time to settle with it on
	LacksOff          // it settled neither with it off nor in a rest
)

// Turn reads the headings of the i-th of the holds that the capture is left with.
func (s *Source) Turn(i int) (t Turn, lack Lack) {
	h := &s.cut.Holds[i]
	offs, ons := s.runsOf(h)
	t.Duty = 1
	for _, b := range h.Bearings {
		if drive, ok := DriveAt(s.cut, s.plan, b.T); ok && drive.State == capture.Pulse {
			t.Duty = drive.Duty
		}
	}
	var byGyro bool
	t.Hand, byGyro = s.byHand(h, len(offs) == 0)
	switch {
	case len(ons) > 0:
	case len(offs) > 0:
		return t, LacksOn
	default:
		return t, LacksAll
	}
	var ok bool
	if t.On, t.SDOn, ok = settle(ons, s.lag); !ok {
		return t, LacksTime
	}
	if t.Off, t.SDOff, ok = settle(offs, s.lag); ok {
		return t, LacksNothing
	}
	// From the rest, turned by what the phone was said to be turned.
	rest, top, found := s.restHeading()
	if !found {
		return t, LacksOff
	}
	// It lay elsewhere in the rest: steel near the bench bends the earth's field by as much as
	// a hand is off in laying the phone.
	t.Off, t.SDOff = rest, restTurnSD
	if !byGyro {
		t.Off -= (h.TopDeg - top) * math.Pi / 180
		t.SDOff = math.Sqrt2 * restTurnSD
	}
	return t, LacksNothing
}

// byHand is how many radians the phone had been turned by hand as it was laid down, if its
// gyroscope tells: by its headings with the supply off, or by all.
func (s *Source) byHand(h *capture.Stretch, all bool) (rad float64, ok bool) {
	n := 0.0
	for _, b := range h.Bearings {
		if b.TurnedDeg == nil {
			continue
		}
		ok = true
		// What it was turned by later is taken out of the headings; it must not turn the
		// pad too.
		if drive, known := DriveAt(s.cut, s.plan, b.T); all || known && drive.State == capture.Off {
			rad += *b.TurnedDeg * math.Pi / 180
			n++
		}
	}
	if n > 0 {
		rad /= n
	}
	return rad, ok
}

// straight is a heading with the phone's own rotation by hand taken out,
// degrees.
func straight(b capture.Bearing) float64 {
	if b.TurnedDeg != nil {
		return b.Deg - *b.TurnedDeg
	}
	return b.Deg
}

// headingRun is the headings since one switching of the supply, or since the
// phone was laid down.
type headingRun struct {
	began  float64
	t, deg []float64
}

// runsOf parts the headings of a hold at the supply's switchings.
func (s *Source) runsOf(h *capture.Stretch) (offs, ons []headingRun) {
	for _, b := range h.Bearings {
		drive, ok := DriveAt(s.cut, s.plan, b.T)
		if !ok {
			continue
		}
		runs := &ons
		if drive.State == capture.Off {
			runs = &offs
		}
		began := math.Max(drive.T, h.From)
		if n := len(*runs); n == 0 || (*runs)[n-1].began != began {
			*runs = append(*runs, headingRun{began: began})
		}
		r := &(*runs)[len(*runs)-1]
		r.t = append(r.t, b.T)
		r.deg = append(r.deg, straight(b))
	}
	return offs, ons
}

// allRuns are the runs of all holds.
func (s *Source) allRuns() (runs []headingRun) {
	for i := range s.cut.Holds {
		offs, ons := s.runsOf(&s.cut.Holds[i])
		runs = append(append(runs, offs...), ons...)
	}
	return runs
}

// tend fits a run as a unit vector that tends to a direction, the rest of the way shrinking by e
// every lag: z = a + b exp(-t/lag). It returns a, a's variance for a unit variance of the
// headings, what is left of the way at the end, and the sum of squared errors.
func (r *headingRun) tend(lag float64) (a complex128, variance, rest, sse float64) {
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
func lagOf(runs []headingRun) float64 {
	best, lag := math.Inf(1), usualLag
	for tau := 0.15; tau < 3; tau *= 1.2 {
		usual := math.Log(tau/usualLag) / lagSpread
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
func settle(runs []headingRun, lag float64) (rad, sd float64, ok bool) {
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
		// What the samples scatter by counts wobble times.
		v := variance*wobble*(sse/math.Max(1, 2*n-4)+stillVar) + headingSD*headingSD + rest*rest/(restKnown*restKnown)
		if len(r.t) < 5 { // too few to fit: the last, and what may be left of the way to there
			v += leftVar * math.Exp(-2*lead/leftLag)
			a = cmplx.Rect(1, r.deg[len(r.deg)-1]*math.Pi/180)
		}
		if l := cmplx.Abs(a); l > 0 {
			v += offCircle * (l - 1) * (l - 1)
			sum += a / complex(l*v, 0)
			weight += 1 / v
		}
	}
	if weight == 0 {
		return 0, 0, false
	}
	return cmplx.Phase(sum), math.Sqrt(1 / weight), true
}

// restHeading is where the compass settled in rests, and which way the phone was told to lie
// in the last of them.
func (s *Source) restHeading() (rad, topDeg float64, ok bool) {
	var runs []headingRun
	for i := range s.cut.Rests {
		r := &s.cut.Rests[i]
		if len(r.Bearings) == 0 {
			continue
		}
		run := headingRun{began: math.Inf(-1)}
		for _, b := range r.Bearings {
			run.t = append(run.t, b.T)
			run.deg = append(run.deg, straight(b))
		}
		runs = append(runs, run)
		topDeg = r.TopDeg
	}
	rad, _, ok = settle(runs, s.lag)
	return rad, topDeg, ok
}
