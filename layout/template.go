package layout

import (
	"bytes"
	"cmp"
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

// mostCoils is how many coils a pad may begin with.
const mostCoils = 400

// Plan lays the coils out. The supply is to be set by who knows the field. Errors are in
// the words of the form that a template is typed into.
func (t Template) Plan() (*Plan, error) {
	if err := t.checkCounts(); err != nil {
		return nil, err
	}
	t.fill()
	if err := t.checkSizes(); err != nil {
		return nil, err
	}
	p := &Plan{Name: t.Name, Unit: Millimetre, Supply: Supply{Volts: templateVolts}, Above: defaultAbove, Windings: []Winding{{
		ID: "round", Shape: Round, InnerX: t.Inner * 1e-3, InnerY: t.Inner * 1e-3, Turns: t.Turns, Build: t.Build * 1e-3, Width: templateWidth,
		AWG: t.AWG, Wire: BareDiameterOfAWG(t.AWG),
	}}}
	strings := 1
	switch t.Form {
	case "row":
		t.layRows(p, 1, t.Coils)
	case "grid", "staggered":
		t.layRows(p, t.Rows, t.Columns)
		strings = t.Rows
	case "ring":
		t.layRing(p)
	case "empty":
		p.Outline = r2.Vec{X: 0.4, Y: 0.4}
	default:
		return nil, fmt.Errorf("expected row, grid, staggered, ring or empty, found %s", show(t.Form))
	}
	if t.Strings > 0 {
		strings = t.Strings
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

// checkCounts tells of counts of coils that no pad begins with.
func (t *Template) checkCounts() error {
	within := func(what string, n, least int) error {
		if n < least || n > mostCoils {
			return fmt.Errorf("%s: from %d to %d, not %d", what, least, mostCoils, n)
		}
		return nil
	}
	switch t.Form {
	case "row":
		return within("coils", t.Coils, 1)
	case "ring":
		return within("coils", t.Coils, 3)
	case "grid", "staggered":
		if err := cmp.Or(within("coils in a row", t.Columns, 1), within("rows", t.Rows, 1)); err != nil {
			return err
		}
		if n := t.Rows * t.Columns; n > mostCoils {
			return fmt.Errorf("at most %d coils; %d in a row and %d rows make %d", mostCoils, t.Columns, t.Rows, n)
		}
	}
	return nil
}

// fill puts usual sizes where none are asked for.
func (t *Template) fill() {
	t.Inner = cmp.Or(t.Inner, 90)
	t.AWG = cmp.Or(t.AWG, 22)
	t.Build = cmp.Or(t.Build, templateBuild*1e3)
	t.Pitch = cmp.Or(t.Pitch, math.Ceil((t.outer()+18)/10)*10)
	t.Turns = cmp.Or(t.Turns, 60)
}

func (t *Template) checkSizes() error {
	for _, k := range []struct {
		what      string
		x, lo, hi float64
	}{
		{"distance from centre to centre in mm", t.Pitch, 1, 5000}, {"inner diameter in mm", t.Inner, 1, 5000},
		{"number of turns", float64(t.Turns), 1, maxTurns}, {"wire gauge", t.AWG, -3, 56}, {"number of strings", float64(t.Strings), 0, mostCoils},
	} {
		if !(k.x >= k.lo && k.x <= k.hi) {
			return fmt.Errorf("expected a %s from %g to %g, found %g", k.what, k.lo, k.hi, k.x)
		}
	}
	return nil
}

// outer is a coil's outer diameter, and edge how far the centres of the outermost coils
// lie from the pad's edge, millimetres.
func (t *Template) outer() float64 { return t.Inner + 2*t.Build }
func (t *Template) edge() float64  { return math.Ceil(t.outer()/2/10)*10 + 10 }

// templateMetres is a length in millimetres, rounded to a tenth: a whole number of
// millimetres is read back to the last bit.
func templateMetres(mm float64) float64 { return math.Round(mm*10) / 10 * 1e-3 }

// place puts a coil at a place in millimetres; k counts the coils whose faces alternate.
func (t *Template) place(p *Plan, id string, x, y float64, k int) {
	c := Coil{ID: id, At: r2.Vec{X: templateMetres(x), Y: templateMetres(y)}, North: Up, Sense: CounterClockwise}
	if t.Turning && k%2 == 1 {
		c.North = Down
	}
	p.Coils = append(p.Coils, c)
}

func (t *Template) layRing(p *Plan) {
	radius := t.Pitch / 2 / math.Sin(math.Pi/float64(t.Coils))
	middle := math.Ceil(radius) + t.edge()
	for k := range t.Coils {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(t.Coils))
		t.place(p, fmt.Sprintf("R%d", k+1), middle+radius*sin, middle+radius*cos, k)
	}
	p.Outline = r2.Vec{X: templateMetres(2 * middle), Y: templateMetres(2 * middle)}
}

// layRows lays rows from the one farthest from the person on.
func (t *Template) layRows(p *Plan, rows, columns int) {
	edge, aside, up := t.edge(), 0.0, t.Pitch
	if t.Form == "staggered" && rows > 1 {
		aside, up = t.Pitch/2, math.Round(t.Pitch*math.Sqrt(3)/2)
	}
	for row := range rows {
		for k := range columns {
			x := edge + float64(k)*t.Pitch
			if row%2 == 1 {
				x += aside
			}
			t.place(p, fmt.Sprintf("%s%d", letters(row), k+1), x, edge+float64(rows-1-row)*up, k+row)
		}
	}
	p.Outline = r2.Vec{X: templateMetres(2*edge + float64(columns-1)*t.Pitch + aside), Y: templateMetres(2*edge + float64(rows-1)*up)}
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
