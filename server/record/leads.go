package record

import (
	"fmt"
	"html"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/layout"
)

// Where the leads of a pad run in the drawing, as on the bench page: the lead where current
// enters a coil is marked +, and both ends of every string are named. Millimetres of the
// drawing, y down.

// end is an end of a string, led out of its coil to where its name has room.
type end struct {
	words    string
	from, to r2.Vec
}

// leads are the plus marks of all coils and the ends of all strings.
type leads struct {
	plus []r2.Vec
	ends []end
	size float64 // of what is drawn, 1 on a small pad
}

const (
	leadsStub = 19.0  // from a coil's copper to the name of a string's end
	leadsPad  = 400.0 // a pad larger than this has larger marks, or nobody could read them
	leadsRoom = 1.3   // a bore's radius must have so much of a mark's letter, or there are none
	leadsWays = 24    // directions tried for an end
)

// leadsOf finds the leads of a pad that is drawn in a box; none where its coils are too small
// for marks.
func leadsOf(p *layout.Plan, b box) *leads {
	const mm = 1e3
	l := &leads{size: math.Max(1, math.Max(b.w, b.h)/leadsPad)}
	for j := range p.Coils {
		if w := p.WindingOf(j); math.Min(w.InnerX, w.InnerY)*mm/2 < leadsRoom*endLetter*l.size {
			return nil
		}
	}
	place := func(j int) r2.Vec { return r2.Vec{X: p.Coils[j].At.X * mm, Y: -p.Coils[j].At.Y * mm} }
	at := func(j int, angle, more float64) r2.Vec {
		r := reachOf(p.WindingOf(j), angle+p.Coils[j].Turned)*mm + more
		return r2.Add(place(j), r2.Vec{X: r * math.Cos(angle), Y: r * math.Sin(angle)})
	}
	toward := func(i, j int) float64 {
		d := r2.Sub(place(j), place(i))
		return math.Atan2(d.Y, d.X)
	}
	free := func(j int, neighbour []int) (best float64) {
		most := math.Inf(-1)
		for k := range leadsWays {
			angle := float64(k) / leadsWays * 2 * math.Pi
			to := at(j, angle, leadsStub*l.size)
			room := 30.0 * l.size
			for i := range p.Coils {
				if i != j {
					half := p.WindingOf(i).HalfExtent()
					room = math.Min(room, r2.Norm(r2.Sub(place(i), to))-math.Max(half.X, half.Y)*mm)
				}
			}
			for _, e := range l.ends {
				room = math.Min(room, r2.Norm(r2.Sub(e.to, to))-14*l.size)
			}
			room = math.Min(room, slices.Min([]float64{to.X - b.x, to.Y - b.y, b.x + b.w - to.X, b.y + b.h - to.Y}))
			score := room
			for _, n := range neighbour { // away from it, if it can be
				score -= 9 * l.size * math.Cos(angle-toward(j, n))
			}
			if score > most {
				most, best = score, angle
			}
		}
		return best
	}
	for i := range p.Strings {
		row := p.Strings[i].Coils
		if len(row) == 0 {
			continue
		}
		lead := func(j int, sign string, neighbour []int) r2.Vec {
			angle := free(j, neighbour)
			e := end{words: short(7, p.Strings[i].ID) + " " + sign, from: at(j, angle, 0), to: at(j, angle, leadsStub*l.size)}
			l.ends = append(l.ends, e)
			return e.from
		}
		last := len(row) - 1
		l.plus = append(l.plus, lead(row[0], "+", row[min(1, last):][:min(1, last)]))
		for k := 1; k <= last; k++ {
			l.plus = append(l.plus, at(row[k], toward(row[k], row[k-1]), 0))
		}
		lead(row[last], "\u2212", row[max(0, last-1):last])
	}
	return l
}

// endLetter is how tall the name of an end is.
const endLetter = 10.0

// lines are what leads to the ends, drawn under the coils.
func (l *leads) lines() string {
	if l == nil {
		return ""
	}
	var s strings.Builder
	for _, e := range l.ends {
		fmt.Fprintf(&s, `<path class="string" d="M%.1f %.1fL%.1f %.1f"/>`, e.from.X, e.from.Y, e.to.X, e.to.Y)
	}
	return s.String()
}

// marks are the plus marks and the names of the ends, drawn over the coils.
func (l *leads) marks() string {
	if l == nil {
		return ""
	}
	var s strings.Builder
	for _, p := range l.plus {
		fmt.Fprintf(&s, `<g transform="translate(%.1f %.1f) scale(%.2f)"><circle class="mark" r="4.4"/><path class="mark" d="M-2.4 0h4.8M0-2.4v4.8"/></g>`, p.X, p.Y, l.size)
	}
	for _, e := range l.ends {
		half := 4 + emWide(e.words)*endLetter/2
		fmt.Fprintf(&s, `<g transform="translate(%.1f %.1f) scale(%.2f)"><rect class="mark" x="%.1f" y="-7" width="%.1f" height="14" rx="7"/><text class="words" text-anchor="middle" font-size="%.0f" y="3.6">%s</text></g>`, e.to.X, e.to.Y, l.size, -half, 2*half, endLetter, html.EscapeString(e.words))
	}
	return s.String()
}

// with is the box that holds the names of the ends too.
func (l *leads) with(b box) box {
	if l == nil {
		return b
	}
	x0, y0, x1, y1 := b.x, b.y, b.x+b.w, b.y+b.h
	for _, e := range l.ends {
		half := (4 + emWide(e.words)*endLetter/2) * l.size
		x0, x1 = math.Min(x0, e.to.X-half), math.Max(x1, e.to.X+half)
		y0, y1 = math.Min(y0, e.to.Y-8*l.size), math.Max(y1, e.to.Y+8*l.size)
	}
	return box{x0, y0, x1 - x0, y1 - y0}
}

// reachOf is the half size of a winding's copper along a direction in its own axes, metres.
func reachOf(w *layout.Winding, angle float64) float64 {
	hx, hy := w.InnerX/2+w.Build, w.InnerY/2+w.Build
	c, s := math.Abs(math.Cos(angle)), math.Abs(math.Sin(angle))
	along := func(half, share float64) float64 {
		if share < 1e-9 {
			return math.Inf(1)
		}
		return half / share
	}
	if w.Shape == layout.Rectangle {
		return math.Min(along(hx, c), along(hy, s))
	}
	// Two half circles and what is between; of a round one nothing is.
	r := math.Min(hx, hy)
	half := math.Max(hx, hy) - r
	if hx < hy {
		c, s = s, c
	}
	if straight := along(r, s); straight*c <= half {
		return straight
	}
	return half*c + math.Sqrt(math.Max(0, r*r-half*half*s*s))
}
