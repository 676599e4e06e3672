package layout

import (
	"bytes"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
)

// Template is a pad to begin from: coils of one kind in a regular order.
type Template struct {
	Form    string  `json:"form"` // row, grid, staggered, ring or empty
	Name    string  `json:"name"`
	Coils   int     `json:"coils"`   // row, ring
	Columns int     `json:"columns"` // grid, staggered
	Rows    int     `json:"rows"`
	Pitch   float64 `json:"pitch_mm"` // from centre to centre
	Inner   float64 `json:"inner_mm"` // the bore's diameter
	Turns   int     `json:"turns"`
	AWG     float64 `json:"wire_awg"`
	Strings int     `json:"strings"` // 0: each row of a grid is one, else all coils are
	Turning bool    `json:"turning"` // faces alternate along a row
	Build   float64 `json:"-"`       // of the winding, mm
}

// The winding of a template where nothing else is asked, as on the demo bed.
const (
	templateBuild = 6e-3
	templateWidth = 8e-3
	templateVolts = 2.0
)

// maxTemplate is how many coils a template makes at most.
const maxTemplate = 400

// Plan lays the coils out. The supply is to be set by who knows the field.
func (t Template) Plan() (*Plan, error) {
	orElse := func(x *float64, or float64) {
		if *x == 0 {
			*x = or
		}
	}
	orElse(&t.Inner, 90)
	orElse(&t.AWG, 22)
	orElse(&t.Build, templateBuild*1e3)
	outer := t.Inner + 2*t.Build
	orElse(&t.Pitch, math.Ceil((outer+18)/10)*10)
	if t.Turns == 0 {
		t.Turns = 60
	}
	for _, k := range []struct {
		what      string
		x, lo, hi float64
	}{
		{"distance from centre to centre in mm", t.Pitch, 1, 5000}, {"inner diameter in mm", t.Inner, 1, 5000},
		{"number of turns", float64(t.Turns), 1, maxTurns}, {"wire gauge", t.AWG, -3, 56}, {"number of strings", float64(t.Strings), 0, maxTemplate},
	} {
		if !(k.x >= k.lo && k.x <= k.hi) {
			return nil, fmt.Errorf("expected a %s from %g to %g, found %g", k.what, k.lo, k.hi, k.x)
		}
	}
	rows, columns := 1, t.Coils
	switch t.Form {
	case "row", "ring":
		if t.Coils < 1 || t.Form == "ring" && t.Coils < 3 {
			return nil, fmt.Errorf("expected at least %d coils, found %d", map[bool]int{true: 3, false: 1}[t.Form == "ring"], t.Coils)
		}
	case "grid", "staggered":
		rows, columns = t.Rows, t.Columns
		if least, most := min(rows, columns), max(rows, columns); least < 1 || most > maxTemplate {
			return nil, fmt.Errorf("expected 1 to %d rows and as many columns at most, found %d and %d", maxTemplate, rows, columns)
		}
	case "empty":
		rows, columns = 0, 0
	default:
		return nil, fmt.Errorf("expected row, grid, staggered, ring or empty, found %s", show(t.Form))
	}
	if rows*columns > maxTemplate {
		return nil, fmt.Errorf("expected at most %d coils, found %d", maxTemplate, rows*columns)
	}
	p := &Plan{Name: t.Name, Unit: Millimetre, Supply: Supply{Volts: templateVolts}, Above: defaultAbove, Windings: []Winding{{
		ID: "round", Shape: Round, InnerX: t.Inner * 1e-3, InnerY: t.Inner * 1e-3, Turns: t.Turns, Build: t.Build * 1e-3, Width: templateWidth,
		AWG: t.AWG, Wire: BareDiameterOfAWG(t.AWG),
	}}}
	// A whole number of millimetres is read back to the last bit.
	mm := func(x float64) float64 { return math.Round(x*10) / 10 * 1e-3 }
	edge := math.Ceil(outer/2/10)*10 + 10
	place := func(id string, x, y float64, k int) {
		c := Coil{ID: id, At: r2.Vec{X: mm(x), Y: mm(y)}, North: Up, Sense: CounterClockwise}
		if t.Turning && k%2 == 1 {
			c.North = Down
		}
		p.Coils = append(p.Coils, c)
	}
	switch t.Form {
	case "ring":
		radius := t.Pitch / 2 / math.Sin(math.Pi/float64(t.Coils))
		middle := math.Ceil(radius) + edge
		for k := range t.Coils {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(t.Coils))
			place(fmt.Sprintf("R%d", k+1), middle+radius*sin, middle+radius*cos, k)
		}
		p.Outline = r2.Vec{X: mm(2 * middle), Y: mm(2 * middle)}
	case "empty":
		p.Outline = r2.Vec{X: 0.4, Y: 0.4}
	default:
		aside, up := 0.0, t.Pitch
		if t.Form == "staggered" && rows > 1 {
			aside, up = t.Pitch/2, math.Round(t.Pitch*math.Sqrt(3)/2)
		}
		for row := range rows {
			for k := range columns {
				x := edge + float64(k)*t.Pitch
				if row%2 == 1 {
					x += aside
				}
				place(fmt.Sprintf("%s%d", letters(row), k+1), x, edge+float64(rows-1-row)*up, k+row)
			}
		}
		p.Outline = r2.Vec{X: mm(2*edge + float64(columns-1)*t.Pitch + aside), Y: mm(2*edge + float64(rows-1)*up)}
	}
	strings := t.Strings
	if strings == 0 {
		strings = max(rows, 1)
	}
	strings = min(strings, len(p.Coils))
	for i := range strings {
		s := String{ID: letters(i), LeadOhms: 0.05}
		for j := i * len(p.Coils) / strings; j < (i+1)*len(p.Coils)/strings; j++ {
			s.Coils = append(s.Coils, j)
		}
		p.Strings = append(p.Strings, s)
	}
	return p, nil
}

// letters counts A to Z, then AA, AB and on.
func letters(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return letters(i/26-1) + string(rune('A'+i%26))
}

// WriteWithRemarks is Write, with a word on every part for who reads the file
// for the first time.
func (p *Plan) WriteWithRemarks(first string) ([]byte, error) {
	var b bytes.Buffer
	if err := p.Write(&b); err != nil {
		return nil, err
	}
	text := "# " + first + "\n# Remarks like this one stay when the plan is changed on the bench page.\n" + b.String()
	for _, k := range [][2]string{
		{"\n[supply]\n", "# What drives the pad during the check.\n"},
		{"\n[sensor]\n", "# Height of the phone's sensor over a coil's top face.\n"},
		{"\n[[winding]]\n", "# Kinds of coil. Each coil below names one.\n"},
		{"\n[[coil]]\n", "# Coils: at is the centre, from the pad's lower left corner.\n"},
		{"\n[[string]]\n", "# Strings: coils in series, from the plus end to the minus end.\n"},
	} {
		text = strings.Replace(text, k[0], "\n"+k[1]+k[0][1:], 1)
	}
	return []byte(text), nil
}
