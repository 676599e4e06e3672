package fieldmap

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"polewise/layout"
)

// Format is how a map is written.
type Format string

// The formats a map can be written in.
const (
	SVG Format = "svg"
	PNG Format = "png"
	CSV Format = "csv"
)

// FormatOf is the format that a file's name asks for.
func FormatOf(file string) (Format, error) {
	switch f := Format(strings.ToLower(strings.TrimPrefix(filepath.Ext(file), "."))); f {
	case SVG, PNG, CSV:
		return f, nil
	default:
		return "", fmt.Errorf("expected a file that ends in .svg, .png or .csv, found %q", filepath.Base(file))
	}
}

// Style is how a picture looks.
type Style struct {
	Lines  Lines
	Pixels int // width of a PNG, to within half a dot an inch
}

// Usual widths of a PNG, and the bounds.
const (
	UsualPixels = 1520
	leastPixels = 200
	mostPixels  = 8000
)

// Check tells of a style that cannot be drawn.
func (s Style) Check() error {
	if s.Lines != Vertical && s.Lines != Strength {
		return fmt.Errorf("expected lines of the field's %s part or its %s, found %q", Vertical, Strength, s.Lines)
	}
	if s.Pixels < leastPixels || s.Pixels > mostPixels {
		return fmt.Errorf("expected a picture %d to %d pixels wide, found %d", leastPixels, mostPixels, s.Pixels)
	}
	return nil
}

// Write writes a grid in a format.
func (g *Grid) Write(w io.Writer, p *layout.Plan, f Format, s Style) error {
	if f == CSV {
		return g.WriteCSV(w, p)
	}
	if err := s.Check(); err != nil {
		return err
	}
	pic, err := newPicture(p, g, s.Lines)
	if err != nil {
		return err
	}
	wide, high := pic.size()
	if f == PNG {
		c := vgimg.NewWith(vgimg.UseWH(vg.Length(wide), vg.Length(high)), vgimg.UseDPI(int(math.Round(float64(s.Pixels)*72/wide))))
		pic.draw(c)
		_, err = vgimg.PngCanvas{Canvas: c}.WriteTo(w)
		return err
	}
	c := vgsvg.New(vg.Length(wide), vg.Length(high))
	pic.draw(c)
	var text bytes.Buffer
	if _, err := c.WriteTo(&text); err != nil {
		return err
	}
	// The canvas calls the PNGs it holds JPEGs, and would keep their proportions.
	svg := bytes.ReplaceAll(text.Bytes(), []byte(`xlink:href="data:image/jpg;`), []byte(`preserveAspectRatio="none" xlink:href="data:image/png;`))
	_, err = w.Write(svg)
	return err
}
