// Package layout describes a pad as it was planned: its coils, how they are
// wound, joined and driven. It reads the plan file, computes resistances from
// wire and turns, and solves the network of strings for the current in every
// coil, for the plan and for any fault.
//
// # Frame and signs
//
// The pad frame has x to the right, y away from the person and z up from the
// bench; the origin is the pad's lower left corner and the mid-plane of every
// coil is z = 0. A coil planned north up is driven counter-clockwise seen from
// above, so that Bz > 0 in its bore. All quantities are SI: metre, ohm, volt,
// ampere. The plan file's own length unit is left behind when it is read.
package layout

import (
	"math"
	"slices"
	"strings"
	"unicode"

	"gonum.org/v1/gonum/spatial/r2"
)

// Plan is a pad as it should be. Slices refer to each other by index; ids are
// unique over coils, strings and groups together.
type Plan struct {
	Name     string
	Unit     LengthUnit // what lengths were written in, for showing them again
	Outline  r2.Vec     // size of the pad in metres; zero when the plan gives none
	Supply   Supply
	Above    float64 // height of the sensor over a coil's top face, metres
	Windings []Winding
	Coils    []Coil
	Strings  []String
	Groups   []Group // empty: all strings are in parallel
}

// LengthUnit is the unit of every length in a plan file.
type LengthUnit string

// The units a plan may be written in.
const (
	Millimetre LengthUnit = "mm"
	Centimetre LengthUnit = "cm"
	Inch       LengthUnit = "in"
)

// Metres is the length of one unit in metres.
func (u LengthUnit) Metres() float64 {
	switch u {
	case Centimetre:
		return 1e-2
	case Inch:
		return 0.0254
	default:
		return 1e-3
	}
}

// Supply is what drives the pad during the check. Exactly one of Volts and
// Amps is non-zero. Pulsed values are those at the peak of the pulse.
type Supply struct {
	Volts      float64
	Amps       float64
	SourceOhms float64
	LimitAmps  float64 // 0: no limit
	Pulsed     bool
	Hz         float64 // pulsed only
	Duty       float64 // pulsed only, 0 < Duty < 1
}

// OnShare is the share of the time for which the supply drives the pad.
func (s *Supply) OnShare() float64 {
	if s.Pulsed {
		return s.Duty
	}
	return 1
}

// Shape is the outline of a winding's inner path.
type Shape string

// The shapes a winding may have. An oblong's ends are half circles.
const (
	Round     Shape = "round"
	Oblong    Shape = "oblong"
	Rectangle Shape = "rectangle"
)

// Winding is a kind of coil. A turn that lies at distance u outside the inner
// path is the parallel curve at u, so corners grow rounder outward.
type Winding struct {
	ID        string
	Shape     Shape
	InnerX    float64 // inner size along x before turning, metres (diameter when round)
	InnerY    float64 // the same along y; equals InnerX when round
	Corner    float64 // rectangle only: radius of the inner corners, metres
	Turns     int
	Build     float64 // radial thickness, metres
	Width     float64 // axial height, metres
	Wire      float64 // bare copper diameter, metres
	AWG       float64 // gauge the wire was given in, NaN when given by diameter
	GivenOhms float64 // measured at 20 C; 0 when the plan leaves it to be computed
}

// Face says which pole of a coil looks up.
type Face int8

// North up is the planned face of most coils.
const (
	Up   Face = 1
	Down Face = -1
)

// String is the face in the plan's words.
func (f Face) String() string {
	if f == Down {
		return "down"
	}
	return "up"
}

// Sense is the winding direction from the start lead to the finish lead, seen
// from above. It decides which lead is marked plus, and nothing else.
type Sense string

// Winding directions; SenseUnknown when the plan does not say.
const (
	SenseUnknown     Sense = ""
	CounterClockwise Sense = "ccw"
	Clockwise        Sense = "cw"
)

// Coil is one coil in its place.
type Coil struct {
	ID      string
	Winding int // index into Plan.Windings
	At      r2.Vec
	Turned  float64 // radians, counter-clockwise
	North   Face
	Sense   Sense
}

// String is a row of coils in series, from the plus end to the minus end.
type String struct {
	ID       string
	Coils    []int // indices into Plan.Coils
	LeadOhms float64
}

// Join is how the members of a group are connected.
type Join string

// How a group joins its members.
const (
	Parallel Join = "parallel"
	Series   Join = "series"
)

// Group joins strings or other groups.
type Group struct {
	ID   string
	Join Join
	Of   []string // ids of strings or groups
}

// Title is the name on one line, without what a terminal would obey or a picture
// cannot show.
func (p *Plan) Title() string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r >= '\ufffd' && r <= '\uffff' {
			return ' '
		}
		return r
	}, p.Name)
}

// WindingOf returns the winding of coil j.
func (p *Plan) WindingOf(j int) *Winding { return &p.Windings[p.Coils[j].Winding] }

// SensorHeight is the planned height of the sensor over the mid-plane when the
// phone lies on coil j, in metres.
func (p *Plan) SensorHeight(j int) float64 { return p.WindingOf(j).Width/2 + p.Above }

// CoilIndex returns the index of the coil with that id, or -1.
func (p *Plan) CoilIndex(id string) int {
	for j := range p.Coils {
		if p.Coils[j].ID == id {
			return j
		}
	}
	return -1
}

// StringIndex returns the index of the string with that id, or -1.
func (p *Plan) StringIndex(id string) int {
	for i := range p.Strings {
		if p.Strings[i].ID == id {
			return i
		}
	}
	return -1
}

// GroupIndex returns the index of the group with that id, or -1.
func (p *Plan) GroupIndex(id string) int {
	for i := range p.Groups {
		if p.Groups[i].ID == id {
			return i
		}
	}
	return -1
}

// StringOf returns the index of the string that coil j is planned in.
func (p *Plan) StringOf(j int) int {
	for i := range p.Strings {
		if slices.Contains(p.Strings[i].Coils, j) {
			return i
		}
	}
	return -1
}

// StringIDs lists the strings by their ids.
func (p *Plan) StringIDs() []string {
	ids := make([]string, len(p.Strings))
	for i := range ids {
		ids[i] = p.Strings[i].ID
	}
	return ids
}

// Copper returns the corners of the box around all copper, pad frame, metres: turned
// outlines with round corners. Without coils lo is +Inf and hi -Inf.
func (p *Plan) Copper() (lo, hi r2.Vec) {
	lo, hi = r2.Vec{X: math.Inf(1), Y: math.Inf(1)}, r2.Vec{X: math.Inf(-1), Y: math.Inf(-1)}
	for j := range p.Coils {
		c, w := &p.Coils[j], p.WindingOf(j)
		// The box of what lies between the corners' centres, and the rounding around it.
		half, r := w.HalfStraight(), w.CornerRadius()+w.Build
		sin, cos := math.Sincos(c.Turned)
		x := math.Abs(cos)*half.X + math.Abs(sin)*half.Y + r
		y := math.Abs(sin)*half.X + math.Abs(cos)*half.Y + r
		lo.X, hi.X = math.Min(lo.X, c.At.X-x), math.Max(hi.X, c.At.X+x)
		lo.Y, hi.Y = math.Min(lo.Y, c.At.Y-y), math.Max(hi.Y, c.At.Y+y)
	}
	return lo, hi
}

// Beside returns where a phone is laid beside coil j to have its compass turned: over the
// winding's inner edge on either side of its own x and y axis, from the coil's centre in
// metres, pad frame.
func (p *Plan) Beside(j int) [4]r2.Vec {
	sin, cos := math.Sincos(p.Coils[j].Turned)
	x, y := p.WindingOf(j).InnerX/2, p.WindingOf(j).InnerY/2
	return [4]r2.Vec{{X: cos * x, Y: sin * x}, {X: -cos * x, Y: -sin * x}, {X: -sin * y, Y: cos * y}, {X: sin * y, Y: -cos * y}}
}

// HalfExtent is half the outer size of a winding along x and y before turning,
// in metres.
func (w *Winding) HalfExtent() r2.Vec {
	return r2.Vec{X: w.InnerX/2 + w.Build, Y: w.InnerY/2 + w.Build}
}

// CornerRadius is the radius of the inner corners, whatever the shape, metres.
func (w *Winding) CornerRadius() float64 {
	switch w.Shape {
	case Rectangle:
		return w.Corner
	default:
		return math.Min(w.InnerX, w.InnerY) / 2
	}
}

// HalfStraight is half the length of the straight pieces along x and y between the
// corners, before turning, in metres: 0 where there are none.
func (w *Winding) HalfStraight() r2.Vec {
	r := w.CornerRadius()
	return r2.Vec{X: math.Max(0, w.InnerX/2-r), Y: math.Max(0, w.InnerY/2-r)}
}

// MeanTurn is the length of the middle turn in metres: the parallel curve of
// the inner path at half the build.
func (w *Winding) MeanTurn() float64 {
	half := w.HalfStraight()
	return 4*(half.X+half.Y) + 2*math.Pi*(w.CornerRadius()+w.Build/2)
}
