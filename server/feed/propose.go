package feed

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"
)

// Proposal is which numbers are likely the field. It is shown, and taken only
// when the person says so.
type Proposal struct {
	Field    [3]string  `json:"field"`
	Unit     string     `json:"unit"`
	Why      string     `json:"why"`
	Gravity  *[3]string `json:"gravity,omitempty"`
	Time     string     `json:"time,omitempty"`
	TimeUnit string     `json:"time_unit,omitempty"`
}

const (
	leastSeries = 12
	movedShare  = 0.3  // of the strength, by which two of three must have moved
	spreadShare = 0.25 // of the strength, by which the strength itself may have
	earthLowUT  = 20.0
	earthHighUT = 70.0
)

// triple is three numbers that may be a vector.
type triple struct {
	paths    [3]string
	strength float64 // mean
	spread   float64 // sd of the strength, as a share of it
	moved    bool
	all      bool // all three of them moved
	named    bool // x, y, z
	field    bool // its name says so
	other    bool // its name says something else
}

// propose looks for three numbers that move together while their strength stays
// that of the earth's field in some unit; failing that, for names that say so.
func (w *watch) propose() *Proposal {
	history := w.history()
	triples := triplesOf(history)
	var p *Proposal
	best := math.Inf(1)
	for _, t := range triples {
		unit := earthUnit(t.strength)
		if !t.moved || t.spread > spreadShare || unit == "" || t.other {
			continue
		}
		score := t.spread
		if t.named {
			score -= 0.1
		}
		if t.field {
			score -= 0.3
		}
		if score < best {
			best = score
			p = &Proposal{Field: t.paths, Unit: unit, Why: fmt.Sprintf("%s move together and keep a strength of about %.0f uT, as the earth's field does while a sensor is turned.", together(t.paths), t.strength*unitsUT[unit])}
		}
	}
	if p == nil {
		for _, t := range triples {
			if t.field && t.named {
				unit := earthUnit(t.strength)
				if unit == "" {
					unit = "counts"
				}
				p = &Proposal{Field: t.paths, Unit: unit, Why: fmt.Sprintf("%s are named like a field. Turn the device about to see whether they move together.", together(t.paths))}
				break
			}
		}
	}
	if p == nil { // raw counts, perhaps with a zero far off
		best = 0.6
		for _, t := range triples {
			if t.all && !t.other && !gravityLike(t.strength) && t.spread < best {
				best = t.spread
				p = &Proposal{Field: t.paths, Unit: "counts", Why: fmt.Sprintf("%s move together, but not as strongly as the earth's field in any unit: raw counts, perhaps.", together(t.paths))}
			}
		}
	}
	if p == nil {
		return nil
	}
	for _, t := range triples {
		if gravityLike(t.strength) && t.moved && t.spread < 0.15 && !t.field && !overlap(t.paths, p.Field) {
			g := t.paths
			p.Gravity = &g
			break
		}
	}
	p.Time, p.TimeUnit = timeLike(history, p.Field[0])
	return p
}

func overlap(a, b [3]string) bool {
	return slices.ContainsFunc(a[:], func(s string) bool { return slices.Contains(b[:], s) })
}

// earthUnit is the unit in which a strength is that of the earth's field; the
// ranges do not touch, so that there is one at most.
func earthUnit(strength float64) string {
	for _, u := range []string{"uT", "mT", "G", "mG", "nT"} {
		if s := strength * unitsUT[u]; s >= earthLowUT && s <= earthHighUT {
			return u
		}
	}
	return ""
}

func gravityLike(strength float64) bool {
	for _, g := range [...]float64{9.80665, 1, 1000} {
		if math.Abs(strength/g-1) < 0.1 {
			return true
		}
	}
	return false
}

// triplesOf lists neighbours of a message, and numbers named x, y and z alike.
func triplesOf(history []keptMessage) []triple {
	latest := map[string][]Number{}
	var kinds []string
	for _, k := range history {
		first := k.numbers[0].Path
		if _, ok := latest[first]; !ok {
			kinds = append(kinds, first)
		}
		latest[first] = k.numbers
	}
	var out []triple
	seen := map[[3]string]bool{}
	add := func(paths [3]string) {
		if seen[paths] || len(seen) > 2*maxTracks {
			return
		}
		seen[paths] = true
		if t, ok := measure(history, paths); ok {
			out = append(out, t)
		}
	}
	for _, kind := range kinds {
		n := latest[kind]
		for i := range n {
			if axisOf(n[i].Path) == 'x' {
				y, z := sibling(n[i].Path, 'y'), sibling(n[i].Path, 'z')
				m := Message{Numbers: n}
				_, okY := m.Get(y)
				_, okZ := m.Get(z)
				if okY && okZ {
					add([3]string{n[i].Path, y, z})
				}
			}
		}
		for i := 0; i+2 < len(n); i++ {
			add([3]string{n[i].Path, n[i+1].Path, n[i+2].Path})
		}
	}
	return out
}

func measure(history []keptMessage, paths [3]string) (t triple, ok bool) {
	_, values := series(history, paths[:]...)
	t = triple{paths: paths, named: axesNamed(paths)}
	name := strings.ToLower(strings.Join(paths[:], " "))
	for _, w := range []string{"mag", "field", "compass", "tesla", "gauss"} {
		t.field = t.field || strings.Contains(name, w)
	}
	for _, w := range []string{"acc", "gyr", "grav", "rot", "orient", "time"} {
		t.other = t.other || !t.field && strings.Contains(name, w)
	}
	if len(values) < leastSeries {
		if len(values) == 0 {
			return t, false
		}
		t.strength = norm([3]float64(values[len(values)-1]))
		return t, true
	}
	low, high := [3]float64(values[0]), [3]float64(values[0])
	sum, sumSq := 0.0, 0.0
	for _, v := range values {
		s := norm([3]float64(v))
		sum += s
		sumSq += s * s
		for a := range 3 {
			low[a], high[a] = min(low[a], v[a]), max(high[a], v[a])
		}
	}
	n := float64(len(values))
	t.strength = sum / n
	if !(t.strength > 0) || !finite(sumSq) {
		return t, false
	}
	t.spread = math.Sqrt(math.Max(0, sumSq/n-t.strength*t.strength)) / t.strength
	count := 0
	for a := range 3 {
		if high[a]-low[a] > movedShare*t.strength {
			count++
		}
	}
	t.moved, t.all = count >= 2, count == 3
	return t, true
}

// axisOf is the axis that a name ends in, 0 where it ends in none: "mag.x",
// "mX", "Mag Z (uT)".
func axisOf(path string) rune {
	i := axisAt(path)
	if i < 0 {
		return 0
	}
	return unicode.ToLower(rune(path[i]))
}

// axisAt is where the letter of the axis stands: the last letter before any
// bracket, and not in the middle of a word.
func axisAt(path string) int {
	end := len(path)
	if i := strings.IndexAny(path, "(["); i > 0 {
		end = i
	}
	i := len(strings.TrimRight(path[:end], " _.-/'\"")) - 1
	if i < 0 || !strings.ContainsRune("xyzXYZ", rune(path[i])) {
		return -1
	}
	return i
}

func sibling(path string, axis byte) string {
	i := axisAt(path)
	if path[i] < 'a' {
		axis -= 'a' - 'A'
	}
	return path[:i] + string(rune(axis)) + path[i+1:]
}

// axesNamed tells whether three names end in x, y and z, in that order.
func axesNamed(paths [3]string) bool {
	return axisOf(paths[0]) == 'x' && axisOf(paths[1]) == 'y' && axisOf(paths[2]) == 'z'
}

// timeLike finds a number that only grows, in a unit that keeps pace with the
// clock here.
func timeLike(history []keptMessage, beside string) (path, unit string) {
	var last []Number
	for _, k := range history {
		m := Message{Numbers: k.numbers}
		if _, ok := m.Get(beside); ok {
			last = k.numbers
		}
	}
	for _, n := range last {
		at, v := series(history, n.Path, beside)
		if len(v) < leastSeries {
			continue
		}
		grows := true
		for i := 1; i < len(v); i++ {
			grows = grows && v[i][0] > v[i-1][0]
		}
		took := at[len(at)-1].Sub(at[0]).Seconds()
		if !grows || took < 1.5 {
			continue
		}
		pace := (v[len(v)-1][0] - v[0][0]) / took
		for _, u := range []string{"s", "ms", "us", "ns"} {
			if r := pace * timeUnits[u]; r > 0.7 && r < 1.4 {
				return n.Path, u
			}
		}
	}
	return "", ""
}
