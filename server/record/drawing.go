package record

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"html"
	"image"
	"image/color"
	"image/png"
	"math"
	"strings"

	"polewise/field/verdict"
	"polewise/layout"
)

// The drawings are in millimetres of the pad frame, y turned to point down.

// glyphs are the shapes of the claims, as on the pages.
var glyphs = map[verdict.State]string{
	verdict.StateAsPlanned: "M3 9l4 4 7-9",
	verdict.StateReversed:  "M4 4h7a3 3 0 0 1 0 8H4m3-3-3 3 3 3",
	verdict.StateDead:      "M3 3l11 11M14 3L3 14",
	verdict.StateWeak:      "M2 6q3 4 6 0t7 0M2 12q3 4 6 0t7 0",
	verdict.StateUndecided: "M5 6a3.5 3.5 0 1 1 3.5 4v2m0 2v.5",
}

func glyph(s verdict.State) string {
	return `<svg class="glyph" viewBox="0 0 17 17" aria-hidden="true"><path d="` + glyphs[s] + `"/></svg>`
}

// dashes tell strings apart, as on the pages.
var dashes = []string{"", "14 7", "3 6", "16 6 3 6", "24 8", "8 4 2 4 2 4"}

// box is what is drawn, millimetres.
type box struct{ x, y, w, h float64 }

func boxOf(p *layout.Plan) box {
	const mm = 1e3
	x0, y0, x1, y1 := 0.0, 0.0, p.Outline.X*mm, p.Outline.Y*mm
	if !(x1 > 0) {
		x0, y0, x1, y1 = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	}
	for j := range p.Coils {
		half := p.WindingOf(j).HalfExtent()
		reach := math.Hypot(half.X, half.Y) * mm
		if half.X == half.Y {
			reach = half.X * mm
		}
		at := p.Coils[j].At
		x0, y0 = math.Min(x0, at.X*mm-reach), math.Min(y0, at.Y*mm-reach)
		x1, y1 = math.Max(x1, at.X*mm+reach), math.Max(y1, at.Y*mm+reach)
	}
	return box{x0, -y1, x1 - x0, y1 - y0}
}

// svg opens a drawing with room around it and for the scale bar below.
func (b box) svg(label string) string {
	m := math.Max(b.w, b.h) * 0.02
	return fmt.Sprintf(`<svg class="pad" role="img" aria-label="%s" viewBox="%.1f %.1f %.1f %.1f">`, html.EscapeString(label), b.x-m, b.y-m, b.w+2*m, b.h+2*m+math.Max(b.w, b.h)*0.06)
}

func (b box) sheet(p *layout.Plan) string {
	if !(p.Outline.X > 0) {
		return ""
	}
	return fmt.Sprintf(`<rect class="sheet" x="0" y="%.1f" width="%.1f" height="%.1f" rx="8"/>`, -p.Outline.Y*1e3, p.Outline.X*1e3, p.Outline.Y*1e3)
}

func (b box) scale() string {
	size := math.Max(b.w, b.h)
	step := 1.0
	for _, s := range []float64{2, 5, 10, 20, 50, 100, 200, 500, 1000} {
		if s <= size/4 {
			step = s
		}
	}
	y, h := b.y+b.h+size*0.045, size*0.01
	return fmt.Sprintf(`<path class="scale" stroke-width="%.2f" d="M%.1f %.1fv%.1fM%.1f %.1fh%.1fM%.1f %.1fv%.1f"/><text class="words" x="%.1f" y="%.1f" font-size="%.1f">%.0f mm</text>`,
		size*0.003, b.x, y-h, 2*h, b.x, y, step, b.x+step, y-h, 2*h, b.x+step+size*0.015, y+size*0.012, size*0.035, step)
}

// fitName makes a name fit into a coil as the pages do: first smaller, then without its
// middle. All names stand whole in the tables.
func fitName(name string, letter, room float64) (string, float64) {
	const wide, least = 0.62, 0.7 // of a bold letter; of the height wanted
	fits := room / (wide * letter)
	scale := math.Min(1, math.Max(least, fits/float64(len(name))))
	if most := int(fits/scale + 1e-6); len(name) > most {
		end := (most - 1) / 2
		name = name[:most-1-end] + "…" + name[len(name)-end:]
	}
	return name, letter * scale
}

// ring draws a winding's outline at a distance outside its inner path.
func ring(w *layout.Winding, u float64, class string, turnedDeg float64) string {
	const mm = 1e3
	x, y := w.InnerX*mm/2+u, w.InnerY*mm/2+u
	r := w.CornerRadius()*mm + u
	return fmt.Sprintf(`<rect class="%s" x="%.2f" y="%.2f" width="%.2f" height="%.2f" rx="%.2f" transform="rotate(%.1f)"/>`, class, -x, -y, 2*x, 2*y, r, -turnedDeg)
}

// face is the ring with a dot for field toward the reader, with a cross for
// field away.
func face(up int, r float64, class string) string {
	s := fmt.Sprintf(`<circle class="%s" r="%.2f" stroke-width="%.2f"/>`, class, r, r*0.16)
	switch up {
	case 1:
		s += fmt.Sprintf(`<circle class="dot" r="%.2f"/>`, r*0.36)
	case -1:
		s += fmt.Sprintf(`<path class="%s" stroke-width="%.2f" d="M%.2f %.2fL%.2f %.2fM%.2f %.2fL%.2f %.2f"/>`, class, r*0.16, -r*0.7, -r*0.7, r*0.7, r*0.7, r*0.7, -r*0.7, -r*0.7, r*0.7)
	}
	return s
}

// drawing is the pad to scale with the claim on every coil.
func (r *Record) drawing(p *layout.Plan) string {
	const mm = 1e3
	b := boxOf(p)
	l := leadsOf(p, b)
	b = l.with(b)
	var s strings.Builder
	s.WriteString(b.svg("The pad to scale, seen from above, with the claim on every coil"))
	s.WriteString(b.sheet(p))
	s.WriteString(l.lines())
	for i := range p.Strings {
		var points []string
		for _, j := range p.Strings[i].Coils {
			points = append(points, fmt.Sprintf("%.1f,%.1f", p.Coils[j].At.X*mm, -p.Coils[j].At.Y*mm))
		}
		fmt.Fprintf(&s, `<polyline class="string" stroke-dasharray="%s" points="%s"/>`, dashes[i%len(dashes)], strings.Join(points, " "))
	}
	for j := range p.Coils {
		c, w := &p.Coils[j], p.WindingOf(j)
		claim := Claim(r.coil(c.ID))
		up := int(c.North)
		shown, class := up, "face"
		switch claim {
		case verdict.StateReversed:
			shown = -up
		case verdict.StateDead:
			shown = 0
		case verdict.StateUndecided:
			class = "face planned" // dashed: what the plan has, not what was found
		}
		q := math.Min(w.InnerX, w.InnerY) * mm / 2
		turned := c.Turned * 180 / math.Pi
		fmt.Fprintf(&s, `<g transform="translate(%.1f %.1f)">`, c.At.X*mm, -c.At.Y*mm)
		s.WriteString(ring(w, w.Build*mm, "copper", turned))
		s.WriteString(ring(w, 0, "bore", turned))
		name, letter := fitName(c.ID, 0.5, 1.8)
		fmt.Fprintf(&s, `<text class="name" text-anchor="middle" font-size="%.1f" y="%.1f">%s</text>`, q*letter, -q*0.22, html.EscapeString(name))
		fmt.Fprintf(&s, `<g transform="translate(%.1f %.1f)">%s</g>`, -q*0.3, q*0.4, face(shown, q*0.22, class))
		fmt.Fprintf(&s, `<path class="claim" d="%s" transform="translate(%.1f %.1f) scale(%.3f)"/>`, glyphs[claim], q*0.06, q*0.16, q*0.5/17)
		s.WriteString(`</g>`)
	}
	s.WriteString(l.marks())
	s.WriteString(b.scale())
	s.WriteString(`</svg>`)
	return s.String()
}

var (
	towardInk = color.NRGBA{0x2f, 0x7f, 0x86, 0xff}
	awayInk   = color.NRGBA{0xb4, 0x58, 0x2f, 0xff}
)

// finer is how many pixels a cell of the map has a side.
const finer = 3

// mapDrawing is the predicted field as a tint, with its size over every coil in
// figures.
func (r *Record) mapDrawing(p *layout.Plan) (drawn, most string, err error) {
	const mm = 1e3
	m := r.Map
	top := 1.0
	for _, v := range m.BzUT {
		top = math.Max(top, math.Abs(v))
	}
	at := func(x, y float64) float64 { // cells, linear between their middles
		x, y = math.Min(math.Max(x, 0), float64(m.NX-1)), math.Min(math.Max(y, 0), float64(m.NY-1))
		i, j := min(int(x), max(0, m.NX-2)), min(int(y), max(0, m.NY-2))
		fx, fy := x-float64(i), y-float64(j)
		v := func(i, j int) float64 { return m.BzUT[min(j, m.NY-1)*m.NX+min(i, m.NX-1)] }
		return (1-fy)*((1-fx)*v(i, j)+fx*v(i+1, j)) + fy*((1-fx)*v(i, j+1)+fx*v(i+1, j+1))
	}
	img := image.NewNRGBA(image.Rect(0, 0, m.NX*finer, m.NY*finer))
	for y := range m.NY * finer {
		for x := range m.NX * finer {
			v := at((float64(x)+0.5)/finer-0.5, float64(m.NY)-1-((float64(y)+0.5)/finer-0.5))
			ink := towardInk
			if v < 0 {
				ink = awayInk
			}
			// Steps of a twelfth read better on paper than a wash, and pack well.
			strength := math.Round(12*math.Sqrt(math.Abs(v)/top)) / 12
			mix := func(c uint8) uint8 { return uint8(255 - strength*0.75*(255-float64(c))) }
			img.SetNRGBA(x, y, color.NRGBA{mix(ink.R), mix(ink.G), mix(ink.B), 255})
		}
	}
	var raw bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&raw, img); err != nil {
		return "", "", err
	}
	b := boxOf(p)
	page := leadsOf(p, b).with(b) // as large as the drawing beside it
	var s strings.Builder
	s.WriteString(page.svg("The predicted field across the pad"))
	// The map reaches beyond the pad; here it is cut to it, as the drawing beside it.
	fmt.Fprintf(&s, `<svg x="%.1f" y="%.1f" width="%.1f" height="%.1f" viewBox="%.1f %.1f %.1f %.1f"><image x="%.2f" y="%.2f" width="%.2f" height="%.2f" preserveAspectRatio="none" href="data:image/png;base64,%s"/></svg>`,
		b.x, b.y, b.w, b.h, b.x, b.y, b.w, b.h, m.X0-m.Step/2, -(m.Y0 - m.Step/2 + float64(m.NY)*m.Step), float64(m.NX)*m.Step, float64(m.NY)*m.Step, base64.StdEncoding.EncodeToString(raw.Bytes()))
	predicted := map[string]float64{}
	if r.Predicted != nil {
		for _, c := range r.Predicted.Coils {
			predicted[c.ID] = c.BzUT
		}
	}
	for j := range p.Coils {
		c, w := &p.Coils[j], p.WindingOf(j)
		q := math.Min(w.InnerX, w.InnerY) * mm / 2
		bz := predicted[c.ID]
		up := 1
		if bz < 0 {
			up = -1
		}
		turned := c.Turned * 180 / math.Pi
		fmt.Fprintf(&s, `<g transform="translate(%.1f %.1f)">%s%s`, c.At.X*mm, -c.At.Y*mm, ring(w, w.Build*mm, "outline", turned), ring(w, 0, "outline", turned))
		fmt.Fprintf(&s, `<g transform="translate(0 %.1f)">%s</g><text class="name" text-anchor="middle" font-size="%.1f" y="%.1f">%s</text></g>`, -q*0.25, face(up, q*0.24, "face"), q*0.42, q*0.48, microtesla(bz))
	}
	s.WriteString(page.scale())
	s.WriteString(`</svg>`)
	return s.String(), fmt.Sprintf("%.0f", top), nil
}
