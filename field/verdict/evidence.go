package verdict

import (
	"fmt"
	"math"
	"slices"

	"polewise/field/capture"
	"polewise/layout"
)

// evidence is all that was read, boiled down and sorted by kind.
type evidence struct {
	sources  []sourceInfo
	holds    []digest
	passes   []passDigest
	bearings []bearingDigest
	faces    []faceReading
	ohms     []ohmReading
	amps     []ampsReading
	rests    []restReading
	notes    []string
	mended   *afterMend // nil: no mend came before
	firstOld int        // sources from here on read before the mend
}

// sourceInfo is one phone: what it said of its sensor.
type sourceInfo struct {
	known        bool
	offset, sd   [2]float64 // metres, phone frame
	sigma        [3]float64 // noise of one sample, uT
	fullScale    float64
	unknownLines int
	mended       *afterMend // read before this mend; nil: since
}

// restReading is the background as a phone saw it with the supply off.
type restReading struct {
	source int
	b      [3]float64 // phone frame, uT
	topDeg float64
	t      float64
	n      int
}

type ampsReading struct{ amps float64 }

type faceReading struct {
	coil int
	face capture.Face
	ut   float64 // NaN when not given
	old  bool    // from before a mend
}

type ohmReading struct {
	kind    string
	index   int
	ohms    float64 // +Inf when open
	celsius float64 // NaN when not given
}

// gather boils captures down to evidence.
func gather(plan *layout.Plan, captures []*capture.Capture) (*evidence, error) {
	ev := &evidence{}
	for _, c := range captures {
		if err := c.Check(plan); err != nil {
			return nil, err
		}
		ev.add(plan, c)
	}
	return ev, nil
}

func (ev *evidence) note(format string, args ...any) {
	s := fmt.Sprintf(format, args...)
	for _, n := range ev.notes {
		if n == s {
			return
		}
	}
	ev.notes = append(ev.notes, s)
}

func (ev *evidence) add(plan *layout.Plan, c *capture.Capture) {
	src := len(ev.sources)
	info := sourceInfo{sd: [2]float64{offsetSDX, offsetSDY}, offset: [2]float64{offsetMeanX, offsetMeanY}, unknownLines: c.Unknown}
	if s := c.Start.Sensor; s != nil {
		info.fullScale = s.FullScaleUT
		if s.OffsetMM != nil {
			info.known = true
			for a := range info.offset {
				info.offset[a] = s.OffsetMM[a] * 1e-3
				info.sd[a] = capture.DefaultOffsetSDMM * 1e-3
				if s.OffsetSDMM != nil {
					info.sd[a] = s.OffsetSDMM[a] * 1e-3
				}
			}
		}
	}
	cut := c.Cut()
	for _, list := range [3][]capture.Stretch{cut.Holds, cut.Passes, cut.Rests} {
		for i := range list {
			list[i].B = unhurried(list[i].B)
		}
	}
	switch c.Unknown {
	case 0:
	case 1:
		ev.note("1 line of a kind this program does not know was left out.")
	default:
		ev.note("%d lines of a kind this program does not know were left out.", c.Unknown)
	}

	var forNoise [][]sample
	var held [][]sample
	settled := math.Max(guardAfter, settlesWithin(cut))
	for i := range cut.Holds {
		xs := steadySamples(cut, &cut.Holds[i], plan, settled)
		held = append(held, xs)
		if xs != nil {
			forNoise = append(forNoise, xs)
		}
	}
	for i := range cut.Rests {
		r := &cut.Rests[i]
		xs := make([]sample, len(r.B))
		for k, b := range r.B {
			xs[k] = sample{t: b.T, u: b.UT}
		}
		forNoise = append(forNoise, xs)
		if len(r.B) > 0 {
			ev.rests = append(ev.rests, restReading{source: src, b: medianOf(xs), topDeg: r.TopDeg, t: r.To, n: len(r.B)})
		}
	}
	info.sigma = noise(forNoise)
	for a := range info.sigma { // what one more hold does to it is not worth reading the others anew
		info.sigma[a] = snapped(info.sigma[a], 1.05)
	}
	ev.sources = append(ev.sources, info)

	seenAmps := map[float64]bool{}
	for _, d := range cut.Drives {
		if d.Amps != nil && d.State != capture.Off && !seenAmps[*d.Amps] {
			seenAmps[*d.Amps] = true
			ev.amps = append(ev.amps, ampsReading{*d.Amps})
		}
	}

	tops := flatTops(cut, info.fullScale)
	var runs []bearingRun
	for i := range cut.Holds {
		offs, ons := runsOf(plan, cut, &cut.Holds[i])
		runs = append(append(runs, offs...), ons...)
	}
	lag := lagOf(runs)
	smooth := smoothingOf(plan, cut, info.sigma)
	for i := range cut.Holds {
		h := &cut.Holds[i]
		if c.Start.Route == capture.Heading || len(h.Bearings) > 0 && len(h.B) == 0 {
			ev.addBearing(plan, cut, h, src, lag)
			continue
		}
		d := digest{
			coil: plan.CoilIndex(h.Hold.Coil), source: src, from: h.From, to: h.To,
			topDeg: h.TopDeg, up: meanUp(h.Gravity), samples: len(h.B), open: h.Open, label: h.Hold.Coil,
		}
		if h.Hold.ShiftMM != nil {
			d.shift = [2]float64{h.Hold.ShiftMM[0] * 1e-3, h.Hold.ShiftMM[1] * 1e-3}
		}
		d.clipped = clippedIn(h, tops)
		hz, duty, pulsed := pulseOf(cut, h, plan)
		if pulsed {
			xs := pulsedSamples(cut, h, plan)
			if smooth != nil {
				d.readings = digestRounded(xs, info.sigma, hz, duty, smooth)
			} else {
				d.readings = digestPulses(xs, info.sigma, hz, duty)
			}
			d.toggled = false
		} else {
			d.readings, d.toggled, d.jumped = digestSteady(held[i], info.sigma)
		}
		if d.jumped {
			ev.note("The readings over %s jumped while the phone lay still: a phone that re-zeroes itself. Read %s again to be sure.", d.label, d.label)
		}
		for a := range d.clipped {
			if d.clipped[a] != 0 {
				ev.note("Over %s the sensor reached the end of its range; only the direction of that reading counts. A lower current would tell more.", d.label)
				break
			}
		}
		if d.samples == 0 {
			continue
		}
		if len(d.readings) == 0 {
			ev.note("The hold on %s has no readings with the supply on; it tells nothing.", d.label)
			continue
		}
		ev.holds = append(ev.holds, d)
	}
	for i := range cut.Passes {
		ev.addPass(plan, cut, &cut.Passes[i], src, tops)
	}
	for _, r := range cut.Readings {
		f := faceReading{coil: plan.CoilIndex(r.Coil), face: r.Face, ut: math.NaN()}
		if r.UT != nil {
			f.ut = *r.UT
		}
		ev.faces = append(ev.faces, f)
	}
	for _, o := range cut.Ohms {
		kind, id := o.Target()
		r := ohmReading{kind: kind, ohms: math.Inf(1), celsius: math.NaN()}
		switch kind {
		case "coil":
			r.index = plan.CoilIndex(id)
		case "string":
			r.index = plan.StringIndex(id)
		case "group":
			r.index = plan.GroupIndex(id)
		}
		if o.Ohms != nil {
			r.ohms = *o.Ohms
		}
		if o.Celsius != nil {
			r.celsius = *o.Celsius
		}
		ev.ohms = append(ev.ohms, r)
	}
}

// unhurried leaves out readings that came in a heap after the page had stalled: they
// were taken before their time. The last of a heap is as good as any.
func unhurried(bs []capture.B) []capture.B {
	if len(bs) < 3 {
		return bs
	}
	steps := make([]float64, len(bs)-1)
	for i := range steps {
		steps[i] = bs[i+1].T - bs[i].T
	}
	least := heapShare * median(steps)
	out := make([]capture.B, 0, len(bs))
	for i, b := range bs {
		if i == len(steps) || steps[i] >= least {
			out = append(out, b)
		}
	}
	return out
}

// heapShare is the share of the usual time between readings under which the second
// came too soon after the first.
const heapShare = 0.3

// driveAt is the state of the supply at time t. Where the capture has no drive
// line at all the plan's supply stands for it; before the first one nothing is
// known.
func driveAt(cut *capture.Stretches, plan *layout.Plan, t float64) (capture.Drive, bool) {
	if len(cut.Drives) == 0 {
		if plan.Supply.Pulsed {
			return capture.Drive{State: capture.Pulse, Hz: plan.Supply.Hz, Duty: plan.Supply.Duty, T: math.Inf(-1)}, true
		}
		return capture.Drive{State: capture.On, T: math.Inf(-1)}, true
	}
	return cut.DriveAt(t)
}

// steadySamples returns a hold's samples with the drive off or on, away from
// the moments of switching until so long after them; nil where the drive was pulsed.
func steadySamples(cut *capture.Stretches, h *capture.Stretch, plan *layout.Plan, settled float64) []sample {
	take := func(before, after float64) (xs []sample, pulsed bool) {
		for _, b := range h.B {
			d, ok := driveAt(cut, plan, b.T)
			if !ok {
				continue
			}
			if d.State == capture.Pulse {
				return nil, true
			}
			if nearSwitch(cut, b.T, before, after) {
				continue
			}
			x := sample{t: b.T, u: b.UT}
			if d.State == capture.On {
				x.s = 1
			}
			xs = append(xs, x)
		}
		return xs, false
	}
	xs, pulsed := take(guardBefore, settled)
	if pulsed {
		return nil
	}
	if settled > guardAfter {
		more, _ := take(guardBefore, guardAfter)
		for state, n := range perState(more) {
			if left := perState(xs)[state]; left < 2 && left < n {
				xs = more
				break
			}
		}
	}
	if len(xs)*2 < len(h.B) && settled == guardAfter {
		if more, _ := take(0.02, 0.08); len(more) > len(xs) {
			xs = more
		}
	}
	return xs
}

// perState counts the samples with the supply off and on.
func perState(xs []sample) (n [2]int) {
	for _, x := range xs {
		n[int(x.s)]++
	}
	return n
}

// settlesWithin is how long after it was told to be switched the supply, and the sensor
// with it, take to come to where they stay: for most of the switchings seen in holds. A
// supply that is switched by hand follows late, some rise slowly, and so do sensors
// that smooth.
func settlesWithin(cut *capture.Stretches) float64 {
	var times []float64
	for i := range cut.Holds {
		h := &cut.Holds[i]
		for k := 1; k < len(cut.Drives); k++ {
			d := &cut.Drives[k]
			if d.T <= h.From || d.T >= h.To || d.State == cut.Drives[k-1].State || d.State == capture.Pulse || cut.Drives[k-1].State == capture.Pulse {
				continue
			}
			from, to := cut.Drives[k-1].T, h.To
			if k+1 < len(cut.Drives) {
				to = math.Min(to, cut.Drives[k+1].T)
			}
			if t, ok := settlingTime(h.B, from, d.T, to); ok {
				times = append(times, t)
			}
		}
	}
	if len(times) < 3 {
		return 0
	}
	slices.Sort(times)
	return times[len(times)*4/5]
}

// settlingTime is how long after a switching at a moment readings are on their way
// still, between the switchings before and after it.
func settlingTime(bs []capture.B, from, at, to float64) (t float64, ok bool) {
	const (
		least  = 20.0 // uT of change, or nothing is seen
		near   = 0.02 // of the change: as good as there
		unsure = 3.0  // uT
		rest   = 0.6  // of the time: by then it is taken to be there
	)
	var before, after []sample
	for _, b := range bs {
		switch {
		case b.T > from && b.T < at-guardBefore:
			before = append(before, sample{t: b.T, u: b.UT})
		case b.T > at+rest*(to-at) && b.T < to:
			after = append(after, sample{t: b.T, u: b.UT})
		}
	}
	if len(before) < 2 || len(after) < 2 {
		return 0, false
	}
	was, is := medianOf(before[max(0, len(before)-5):]), medianOf(after)
	var step [3]float64
	for a := range step {
		step[a] = is[a] - was[a]
	}
	size := math.Sqrt(dot(&step, &step))
	if size < least {
		return 0, false
	}
	for _, b := range bs {
		if b.T <= at || b.T > at+rest*(to-at) {
			continue
		}
		var away [3]float64
		for a := range away {
			away[a] = is[a] - b.UT[a]
		}
		if dot(&away, &step)/size > near*size+unsure {
			t = b.T - at
		}
	}
	return t, true
}

// nearSwitch tells whether the supply was switched within before seconds after
// t or after seconds before it.
func nearSwitch(cut *capture.Stretches, t, before, after float64) bool {
	for i, d := range cut.Drives {
		if i > 0 && cut.Drives[i-1].State == d.State {
			continue
		}
		if d.T <= t && t-d.T < after && i > 0 || d.T > t && d.T-t < before {
			return true
		}
	}
	return false
}

// pulseOf tells whether the supply was pulsed during a stretch, and how.
func pulseOf(cut *capture.Stretches, h *capture.Stretch, plan *layout.Plan) (hz, duty float64, pulsed bool) {
	for _, b := range h.B {
		if d, ok := driveAt(cut, plan, b.T); ok && d.State == capture.Pulse {
			return d.Hz, d.Duty, true
		}
	}
	return 0, 0, false
}

// pulsedSamples returns a stretch's samples taken under the pulse train.
func pulsedSamples(cut *capture.Stretches, h *capture.Stretch, plan *layout.Plan) []sample {
	var xs []sample
	for _, b := range h.B {
		if d, ok := driveAt(cut, plan, b.T); ok && d.State == capture.Pulse {
			xs = append(xs, sample{t: b.T, u: b.UT})
		}
	}
	return xs
}

func medianOf(xs []sample) (m [3]float64) {
	v := make([]float64, len(xs))
	for a := range m {
		for i := range xs {
			v[i] = xs[i].u[a]
		}
		m[a] = median(v)
	}
	return m
}

// name says what was measured.
func (o *ohmReading) name(plan *layout.Plan) string {
	switch o.kind {
	case "coil":
		return "ohms of coil " + plan.Coils[o.index].ID
	case "string":
		return "ohms of string " + plan.Strings[o.index].ID
	case "group":
		return "ohms of group " + plan.Groups[o.index].ID
	}
	return "ohms of the pad"
}
