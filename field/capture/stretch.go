package capture

import (
	"cmp"
	"math"
	"slices"
)

// Stretch is a piece of a capture that belongs together: a hold, a pass, or a
// rest (supply off, outside any hold or pass).
type Stretch struct {
	Hold     *Hold // one of Hold and Pass, or neither for a rest
	Pass     *Pass
	From, To float64 // seconds
	TopDeg   float64 // direction of the phone's top edge
	Open     bool    // the capture ends before the lift: the person may still be at it
	B        []B
	Repeated int // samples left out, since they were the one before bit for bit
	Gravity  []Gravity
	Bearings []Bearing
}

// Ends are the least and the greatest that an axis read, in uT; +Inf and -Inf where it
// read nothing.
func (s *Stretch) Ends(axis int) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, b := range s.B {
		lo, hi = min(lo, b.UT[axis]), max(hi, b.UT[axis])
	}
	return lo, hi
}

// Stretches is a capture put in order of time and cut into its parts. Slices
// are in order of time.
type Stretches struct {
	Drives   []Drive
	Holds    []Stretch
	Passes   []Stretch
	Rests    []Stretch
	Readings []Reading
	Ohms     []Ohms
	// Backward is the number of the first line whose time is earlier than one's before
	// it by more than lines of one message get mixed up; 0 if there is none.
	Backward int
}

// mixedUp is by how many seconds lines may come out of order, as those of several sensors
// do that are told in turns.
const mixedUp = 5.0

// Cut sorts the lines by time, drops frozen samples and cuts the capture into
// stretches. Samples outside any hold or pass with the supply on belong to no
// stretch.
func (c *Capture) Cut() *Stretches {
	s := &Stretches{}
	lines := slices.Clone(c.Lines)
	latest := 0.0
	for i, l := range lines {
		if s.Backward == 0 && l.At() < latest-mixedUp && i < len(c.Numbers) {
			s.Backward = c.Numbers[i]
		}
		latest = max(latest, l.At())
	}
	slices.SortStableFunc(lines, func(a, b Line) int { return cmp.Compare(a.At(), b.At()) })
	k := cutter{Stretches: s, topDeg: c.Start.TopDeg}
	for _, l := range lines {
		k.take(l)
	}
	k.endRest()
	if k.open != nil {
		k.open.Open = true
		k.shut(latest)
	}
	return s
}

// cutter goes through lines in order of time.
type cutter struct {
	*Stretches
	topDeg     float64  // of the phone where a line does not say
	open, rest *Stretch // a hold or pass begun, and a rest; nil: none
	off        bool     // the supply
	last       *B
}

// here is the stretch that a line belongs to, nil where it is none.
func (k *cutter) here(t float64) *Stretch {
	if k.open != nil || !k.off {
		return k.open
	}
	if k.rest == nil {
		k.rest = &Stretch{From: t, TopDeg: k.topDeg}
	}
	k.rest.To = t
	return k.rest
}

// take goes over the next line.
func (k *cutter) take(l Line) {
	here := k.here(l.At())
	switch l := l.(type) {
	case Drive:
		k.Drives = append(k.Drives, l)
		if k.off = l.State == Off; !k.off {
			k.endRest()
		}
	case Hold:
		k.begin(&Stretch{Hold: &l, From: l.T}, l.TopDeg)
	case Pass:
		k.begin(&Stretch{Pass: &l, From: l.T}, l.TopDeg)
	case Lift, PassEnd:
		k.shut(l.At())
	case B:
		frozen := k.last != nil && k.last.UT == l.UT
		if !frozen {
			k.last = &l
		}
		if here != nil {
			here.sample(l, frozen)
		}
	case Gravity:
		if here != nil {
			here.Gravity = append(here.Gravity, l)
		}
	case Bearing:
		if here != nil && (l.AccuracyDeg == nil || *l.AccuracyDeg >= 0) { // below zero it is none
			here.Bearings = append(here.Bearings, l)
		}
	case Reading:
		k.Readings = append(k.Readings, l)
	case Ohms:
		k.Ohms = append(k.Ohms, l)
	}
}

// begin opens a hold or pass, which ends whatever was before.
func (k *cutter) begin(s *Stretch, topDeg *float64) {
	k.shut(s.From)
	k.endRest()
	s.TopDeg = k.topDeg
	if topDeg != nil {
		s.TopDeg = *topDeg
	}
	k.open = s
}

// shut ends the hold or pass that is open.
func (k *cutter) shut(t float64) {
	if k.open == nil {
		return
	}
	k.open.To = t
	if k.open.Hold != nil {
		k.Holds = append(k.Holds, *k.open)
	} else {
		k.Passes = append(k.Passes, *k.open)
	}
	k.open = nil
}

// endRest ends the rest that is going on, and keeps it if anything was read.
func (k *cutter) endRest() {
	if k.rest != nil && len(k.rest.B)+len(k.rest.Bearings) > 0 {
		k.Rests = append(k.Rests, *k.rest)
	}
	k.rest = nil
}

// sample adds a sample, or counts one that repeats the one before bit for bit.
func (s *Stretch) sample(b B, frozen bool) {
	if !frozen {
		s.B = append(s.B, b)
		return
	}
	s.Repeated++
	if n := len(s.B); n > 0 {
		s.B[n-1].Until = b.T
	}
}

// DriveAt is the last drive line at or before time t: what the supply did then.
// known is false before the first.
func (s *Stretches) DriveAt(t float64) (d Drive, known bool) {
	i, _ := slices.BinarySearchFunc(s.Drives, t, func(d Drive, t float64) int {
		if d.T <= t {
			return -1
		}
		return 1
	})
	if i == 0 {
		return Drive{}, false
	}
	return s.Drives[i-1], true
}
