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

	var open, rest *Stretch
	shut := func(t float64) {
		if open == nil {
			return
		}
		open.To = t
		if open.Hold != nil {
			s.Holds = append(s.Holds, *open)
		} else {
			s.Passes = append(s.Passes, *open)
		}
		open = nil
	}
	endRest := func() {
		if rest != nil && len(rest.B)+len(rest.Bearings) > 0 {
			s.Rests = append(s.Rests, *rest)
		}
		rest = nil
	}
	top := func(own *float64) float64 {
		if own != nil {
			return *own
		}
		return c.Start.TopDeg
	}
	off := false
	var last *B
	for _, l := range lines {
		where := open
		if where == nil && off {
			if rest == nil {
				rest = &Stretch{From: l.At(), TopDeg: c.Start.TopDeg}
			}
			where = rest
			where.To = l.At()
		}
		switch l := l.(type) {
		case Drive:
			s.Drives = append(s.Drives, l)
			off = l.State == Off
			if !off {
				endRest()
			}
		case Hold:
			shut(l.T)
			endRest()
			open = &Stretch{Hold: &l, From: l.T, TopDeg: top(l.TopDeg)}
		case Pass:
			shut(l.T)
			endRest()
			open = &Stretch{Pass: &l, From: l.T, TopDeg: top(l.TopDeg)}
		case Lift, PassEnd:
			shut(l.At())
		case B:
			if last != nil && last.UT == l.UT {
				if where != nil {
					where.Repeated++
					if n := len(where.B); n > 0 {
						where.B[n-1].Until = l.T
					}
				}
				continue
			}
			last = &l
			if where != nil {
				where.B = append(where.B, l)
			}
		case Gravity:
			if where != nil {
				where.Gravity = append(where.Gravity, l)
			}
		case Bearing:
			if where != nil && (l.AccuracyDeg == nil || *l.AccuracyDeg >= 0) { // below zero it is none
				where.Bearings = append(where.Bearings, l)
			}
		case Reading:
			s.Readings = append(s.Readings, l)
		case Ohms:
			s.Ohms = append(s.Ohms, l)
		}
	}
	endRest()
	if open != nil {
		open.Open = true
		shut(latest)
	}
	return s
}

// DriveAt returns what the supply did at time t, by the last drive line at or
// before t, and when it was last switched. known is false before the first
// drive line.
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
