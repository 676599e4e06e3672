package readings

import (
	"cmp"
	"math"
	"slices"

	"polewise/field/capture"
)

// Who lays a phone down with one hand and switches the supply with the other may tap a second and
// more before or after the switching. Over a strong coil the readings show plainly when it was:
// they lie at two levels, and go from one to the other.

const (
	leastPlain  = 30.0 // uT between two levels, or it is not looked at
	surelyPlain = 60.0 // uT between them from which it was surely no phone that re-zeroed itself; if less,
	groundNear  = 15.0 // the level with the supply off must be so near, in uT, to one known
	firmWithin  = 0.06 // share of the way between them: a sample so near a level along it lies at that level,
	firmUT      = 3.0  // if it lies so near beside it too, but for so many uT more
	fewestPlain = 6    // samples of a hold
	plainShare  = 0.6  // of these that must lie at a level
	fewestRun   = 3    // that must follow each other there, but for the first level and the last
	overshoot   = 0.25 // of those at a level that may lie beyond it

	leastLeft = 8.0 // uT beyond the noise by which a level is left in the end

	mostRetold  = 1.6  // s from the moment told
	exactSD     = 0.15 // s, of those who tap as they switch
	looseShare  = 0.15 // of switchings that were told at some other moment (like those around it an estimate, no source)
	asTold      = 0.12 // s from the moment told within which it is left as it is
	polesApart  = 4.0  // log units by which one level must be likelier on than the other
	groundSD    = 40.0 // uT by which the level with the supply off differs from the one before, one sd
	groundWorth = 15.0 // log units that this may tell, at most
)

// retell moves the moments at which the supply was told to be switched to where holds show that
// it was, and reports by how many seconds at most.
func retell(cut *capture.Stretches) (most float64) {
	grounds := map[float64][3]float64{} // by how the phone lay, the last level with the supply off
	for i := range cut.Rests {
		if xs := allOf(&cut.Rests[i]); len(xs) > 0 {
			grounds[cut.Rests[i].TopDeg] = medianOf(xs)
		}
	}
	for i := range cut.Holds {
		h := &cut.Holds[i]
		p, ok := plainly(h)
		if !ok || p.ends < fewestRun {
			if l, left := leaving(h); left {
				if m := l.match(cut, h, grounds); m != nil && m.furthest(cut) >= worthTelling {
					// It may have been switched or taken away: nothing after it counts, and nobody
					// is told when.
					h.B = slices.DeleteFunc(h.B, func(b capture.B) bool { return b.T > l.went[0].middle() })
					m.apply(cut)
				}
				continue
			}
		}
		if !ok {
			continue
		}
		m := p.match(cut, h, grounds)
		if m == nil {
			continue
		}
		off := p.level[1-m.on]
		if ground, known := grounds[h.TopDeg]; p.gap() < surelyPlain && !(known && Gap(off, ground) < groundNear) {
			continue
		}
		grounds[h.TopDeg] = off
		most = max(most, m.apply(cut))
	}
	return most
}

// worthTelling is how many seconds early or late a switching must have been told for that to be
// said, and for switchings that do not show to be thought as far off: who told some of them late
// did so with others.
const worthTelling = 0.35

// allOf are a stretch's samples, whatever the supply did.
func allOf(s *capture.Stretch) []sample {
	xs := make([]sample, len(s.B))
	for k, b := range s.B {
		xs[k] = sample{t: b.T, u: b.UT}
	}
	return xs
}

// plainHold is a hold whose samples lie at two levels.
type plainHold struct {
	level       [2][3]float64
	at          []int      // levels, one after the other
	went        []interval // when it went from each to the next
	ends        int        // samples at the last of them
	first, last float64    // s, of the samples
}

// interval is the time between two samples in which something happened, seconds. What a sensor
// repeats bit for bit is left out, so it may be long.
type interval struct{ from, to float64 }

// middle is the moment half way through it.
func (b interval) middle() float64 { return (b.from + b.to) / 2 }

// nearest is the moment within it that is nearest to t, if t is not in it a little inward of its
// ends.
func (b interval) nearest(t float64) float64 {
	const inward = 0.05 // half the time between two samples of most phones
	if in := min(inward, (b.to-b.from)/2); t < b.from {
		return b.from + in
	} else if t > b.to {
		return b.to - in
	}
	return t
}

// gap is how far its levels lie apart.
func (p *plainHold) gap() float64 { return Gap(p.level[0], p.level[1]) }

// plainly reads a hold that shows nothing but two levels, in turns; not ok where it does not.
func plainly(h *capture.Stretch) (p plainHold, ok bool) {
	xs := allOf(h)
	if len(xs) < fewestPlain {
		return p, false
	}
	label, gap := split(xs)
	if gap < leastPlain {
		return p, false
	}
	for i := range xs {
		xs[i].s = float64(label[i])
	}
	of := byState(xs)
	p.level = [2][3]float64{medianOf(of[0]), medianOf(of[1])}
	p.first, p.last = xs[0].t, xs[len(xs)-1].t
	f := firmBetween(p.level)
	var run, left int // samples since it came to a level, and the last of these
	for i := range xs {
		l, ok := f.at(&xs[i])
		switch {
		case !ok:
			continue
		case len(p.at) == 0:
			p.at = append(p.at, l)
		case l != p.at[len(p.at)-1]:
			if run < fewestRun && len(p.at) > 1 {
				return p, false
			}
			p.at, p.went = append(p.at, l), append(p.went, interval{xs[left].t, xs[left+1].t})
			run = 0
		}
		run, left = run+1, i
	}
	p.ends = run
	if last := xs[left+1:]; len(last) >= fewestRun && agree(last[len(last)-fewestRun:]) {
		return p, false // it ends at a third level: the phone re-zeroed itself, or was moved
	}
	for k := range f.count {
		if float64(f.beyond[k]) > overshoot*float64(f.count[k]) {
			return p, false // it goes past what looks like a level
		}
	}
	return p, len(p.went) > 0 && float64(f.count[0]+f.count[1]) >= plainShare*float64(len(xs))
}

// firm tells at which of two levels samples lie, and counts them.
type firm struct {
	from, way     [3]float64 // the first level, and the way to the second
	square        float64    // of the way's length
	count, beyond [2]int     // samples at each level, and beyond it
}

// firmBetween is a firm for two levels.
func firmBetween(level [2][3]float64) (f firm) {
	f.from = level[0]
	for a := range f.way {
		f.way[a] = level[1][a] - level[0][a]
	}
	f.square = Dot(&f.way, &f.way)
	return f
}

// at is the level at which a sample lies, if it lies at one, and counts it there.
func (f *firm) at(x *sample) (level int, ok bool) {
	var from [3]float64
	for a := range from {
		from[a] = x.u[a] - f.from[a]
	}
	along := Dot(&from, &f.way) / f.square
	beside := math.Sqrt(max(0, Dot(&from, &from)-along*along*f.square))
	if beside > firmWithin*math.Sqrt(f.square)+firmUT {
		return 0, false
	}
	if along > 0.5 {
		level = 1
	}
	past := float64(2*level-1) * (along - float64(level)) // from the other level
	switch {
	case math.Abs(past) < firmWithin:
		f.count[level]++
		return level, true
	case past > 0:
		f.beyond[level]++
	}
	return 0, false
}

// leaving reads a hold that lies at one level and leaves it in the end: the supply was switched
// so late that the sensor never came to the other level, or the phone was taken away. Not ok
// where it does not.
func leaving(h *capture.Stretch) (p plainHold, ok bool) {
	xs := arrived(allOf(h))
	n := len(xs)
	if n < fewestPlain {
		return p, false
	}
	first := xs[:max(fewestPlain, int(plainShare*float64(n)))]
	level, scatter := medianOf(first), spreadOf(first)
	near := about(firmUT, scatter, 0)
	away := func(x *sample) float64 { return Gap(x.u, level) }
	k := slices.IndexFunc(xs, func(x sample) bool { return away(&x) > near })
	if k < len(first) || k == n-1 || away(&xs[k+1]) <= near {
		return p, false
	}
	furthest := slices.MaxFunc(xs[k:], func(x, y sample) int { return cmp.Compare(away(&x), away(&y)) })
	if away(&furthest) < leastLeft+near {
		return p, false
	}
	return plainHold{level: [2][3]float64{level, furthest.u}, at: []int{0, 1}, went: []interval{{xs[k-1].t, xs[k].t}}, first: xs[0].t, last: xs[n-1].t}, true
}

// matched says which of the switchings told are those that a hold shows.
type matched struct {
	on    int             // the level with the supply on
	log   float64         // how likely that is
	moved map[int]float64 // when each was, by the number of its drive line
}

// match finds the switchings told that those of a hold go with, given what the level with the
// supply off was last, by how the phone lay; nil where none was told near, or nothing tells which
// level is on.
func (p *plainHold) match(cut *capture.Stretches, h *capture.Stretch, grounds map[float64][3]float64) *matched {
	var told []int
	for k := 1; k < len(cut.Drives); k++ {
		d, before := &cut.Drives[k], &cut.Drives[k-1]
		if d.State == before.State || d.T < h.From-mostRetold || d.T > h.To+mostRetold {
			continue
		}
		if d.State == capture.Pulse || before.State == capture.Pulse {
			return nil
		}
		told = append(told, k)
	}
	var best [2]*matched
	for on := range best {
		base := 0.0
		if ground, known := grounds[h.TopDeg]; known {
			d := Gap(p.level[1-on], ground) / groundSD
			base = -min(d*d/2, groundWorth)
		}
		for from := 0; from+len(p.went) <= len(told); from++ {
			m := p.as(cut, told, from, on)
			// Told far off, and the other way round than a rest has it: something else is shown.
			if m != nil && (base > -groundWorth || m.furthest(cut) < worthTelling) {
				if m.log += base; best[on] == nil || m.log > best[on].log {
					best[on] = m
				}
			}
		}
	}
	switch {
	case best[0] == nil:
		return best[1]
	case best[1] == nil || best[0].log > best[1].log+polesApart:
		return best[0]
	case best[1].log > best[0].log+polesApart:
		return best[1]
	}
	return nil
}

// as takes the switchings that a hold shows for those told, from one of these on, with one of the
// hold's levels on; nil where that cannot be. What was told and does not show was before the
// first sample or after the last.
func (p *plainHold) as(cut *capture.Stretches, told []int, from, on int) *matched {
	m := &matched{on: on, moved: map[int]float64{}}
	for q, k := range told {
		d := &cut.Drives[k]
		t := d.T
		switch seen := q - from; {
		case seen < 0:
			t = min(t, p.first-1e-3*float64(-seen))
		case seen >= len(p.went):
			t = max(t, p.last+1e-3*float64(seen))
		case (d.State == capture.On) != (p.at[seen+1] == on):
			return nil
		default:
			t = p.went[seen].nearest(t)
		}
		if math.Abs(t-d.T) > mostRetold {
			return nil
		}
		m.log += toldLog(t - d.T)
		m.moved[k] = t
	}
	return m
}

// toldLog is the log of how likely a switching was so many seconds after it was told, against one
// that was just then.
func toldLog(after float64) float64 {
	x := after / exactSD
	const wide = exactSD * math.SqrtPi * math.Sqrt2 / (2 * mostRetold) // density of the loose, against the peak of the exact
	return math.Log((1-looseShare)*math.Exp(-x*x/2) + looseShare*wide)
}

// furthest is how many seconds early or late the switchings were told at most.
func (m *matched) furthest(cut *capture.Stretches) (most float64) {
	for k, t := range m.moved {
		most = max(most, math.Abs(t-cut.Drives[k].T))
	}
	return most
}

// apply moves the switchings that were told too early or late, and returns by how many seconds at
// most.
func (m *matched) apply(cut *capture.Stretches) (most float64) {
	if most = m.furthest(cut); most <= asTold {
		return 0
	}
	was := slices.Clone(cut.Drives)
	for k, t := range m.moved {
		if math.Abs(t-was[k].T) > asTold {
			cut.Drives[k].T = t
		}
	}
	if !slices.IsSortedFunc(cut.Drives, func(a, b capture.Drive) int { return cmp.Compare(a.T, b.T) }) { // it cannot have been so
		copy(cut.Drives, was)
		return 0
	}
	return most
}
