package fieldmap

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"strconv"
	"strings"

	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font/opentype"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"

	"polewise/layout"
)

// Lines says which quantity the lines on a picture are drawn for. The colours are
// always those of the vertical field.
type Lines string

// What lines can be drawn for.
const (
	Vertical Lines = "vertical" // the vertical field, with its sign
	Strength Lines = "strength" // the strength of the field, whatever its direction
)

// Sizes of a picture in points.
const (
	pictureWidth = 760.0
	leftMargin   = 58.0
	rightMargin  = 96.0
	topMargin    = 74.0
	bottomMargin = 52.0
	textSize     = 11.0
	smallSize    = 9.5
)

var (
	ink   = color.RGBA{0x1b, 0x1d, 0x22, 255}
	soft  = color.RGBA{0x55, 0x5a, 0x63, 255}
	paper = color.RGBA{0xff, 0xff, 0xff, 255}
	veil  = color.NRGBA{0xff, 0xff, 0xff, 215}
	edge  = color.NRGBA{0x1b, 0x1d, 0x22, 200}
)

// picture is a map being drawn on a canvas.
type picture struct {
	vg.Canvas
	plan  *layout.Plan
	grid  *Grid
	lines Lines

	bz     []float64 // microtesla
	most   float64   // end of the scale of colours, microtesla
	fonts  *font.Cache
	w, h   float64 // of the map itself, points
	scale  float64 // points a metre
	labels []box
}

// box is a place on the picture that is taken.
type box struct{ x0, y0, x1, y1 float64 }

func newPicture(p *layout.Plan, g *Grid, lines Lines) (*picture, error) {
	sans, err := opentype.Parse(liberationsansregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("the font for the map: %w", err)
	}
	pic := &picture{plan: p, grid: g, lines: lines, bz: make([]float64, len(g.B)),
		fonts: font.NewCache(font.Collection{{Font: font.Font{Typeface: "Liberation", Variant: "Sans"}, Face: sans}})}
	for i, b := range g.B {
		pic.bz[i] = b.Z / microtesla
		pic.most = math.Max(pic.most, math.Abs(pic.bz[i]))
	}
	if pic.most == 0 {
		pic.most = 1
	}
	wide, high := float64(g.NX-1)*g.Step, float64(g.NY-1)*g.Step
	pic.w = pictureWidth - leftMargin - rightMargin
	pic.scale = pic.w / wide
	if tallest := 1.6 * pic.w; pic.scale*high > tallest {
		pic.scale = tallest / high
		pic.w = pic.scale * wide
	}
	pic.h = pic.scale * high
	return pic, nil
}

// size is that of the whole picture, in points.
func (p *picture) size() (w, h float64) {
	return leftMargin + math.Max(p.w, 300) + rightMargin, topMargin + p.h + bottomMargin
}

// at is a place of the pad, metres, on the picture.
func (p *picture) at(x, y float64) vg.Point { return pt(p.x(x), p.y(y)) }

func (p *picture) x(x float64) float64 { return leftMargin + (x-p.grid.X0)*p.scale }
func (p *picture) y(y float64) float64 { return bottomMargin + (y-p.grid.Y0)*p.scale }

func pt(x, y float64) vg.Point { return vg.Point{X: vg.Length(x), Y: vg.Length(y)} }

func (p *picture) draw(c vg.Canvas) {
	p.Canvas = c
	w, h := p.size()
	p.SetColor(paper)
	p.Fill(rectangle(0, 0, w, h))
	c.DrawImage(vg.Rectangle{Min: pt(leftMargin, bottomMargin), Max: pt(leftMargin+p.w, bottomMargin+p.h)}, p.tint())
	p.outline()
	for k := range p.plan.Coils { // their places are kept free of other labels
		c := &p.plan.Coils[k]
		x, y, half := p.x(c.At.X), p.y(c.At.Y), p.width(c.ID, textSize)/2+9
		p.labels = append(p.labels, box{x - half, y - 14, x + half, y + 14})
	}
	figures := p.level()
	for k := range p.plan.Coils {
		p.coil(k)
	}
	for _, f := range figures {
		p.figure(f)
	}
	p.axes()
	p.bar()
	p.title()
}

// tint is the vertical field in colours, three dots from one point of the grid to
// the next.
func (p *picture) tint() image.Image {
	const fine = 3
	g := p.grid
	w, h := (g.NX-1)*fine+1, (g.NY-1)*fine+1
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for v := range h {
		for u := range w {
			i, j := min(u/fine, g.NX-2), min(v/fine, g.NY-2)
			s, t := float64(u)/fine-float64(i), float64(v)/fine-float64(j)
			at := func(i, j int) float64 { return p.bz[j*g.NX+i] }
			b := (1-t)*((1-s)*at(i, j)+s*at(i+1, j)) + t*((1-s)*at(i, j+1)+s*at(i+1, j+1))
			img.SetRGBA(u, h-1-v, colourOf(b/p.most))
		}
	}
	return img
}

func (p *picture) outline() {
	if p.plan.Outline.X <= 0 {
		return
	}
	p.SetColor(soft)
	p.SetLineWidth(0.8)
	a, b := p.at(0, 0), p.at(p.plan.Outline.X, p.plan.Outline.Y)
	p.Stroke(rectangle(a.X.Points(), a.Y.Points(), b.X.Points(), b.Y.Points()))
}

// step is a handy step that goes into a range about so many times.
func step(span, times float64) float64 {
	unit := math.Pow(10, math.Floor(math.Log10(span/times)))
	for _, k := range []float64{1, 2, 5} {
		if span/(k*unit) <= times*1.2 {
			return k * unit
		}
	}
	return 10 * unit
}

// figure is the value of a line, to be written on it.
type figure struct {
	at   vg.Point
	text string
}

// level draws the lines, and finds places for figures on them.
func (p *picture) level() []figure {
	g := p.grid
	values, least := p.bz, -p.most
	most := p.most
	if p.lines == Strength {
		values, least, most = make([]float64, len(g.B)), 0, 0
		for i, b := range g.B {
			values[i] = r3.Norm(b) / microtesla
			most = math.Max(most, values[i])
		}
	}
	every := step(most, 5)
	var figures []figure
	for k := int(math.Ceil(least / every)); float64(k)*every <= most; k++ {
		if p.lines == Strength && k == 0 {
			continue
		}
		text := signed(float64(k)*every, p.lines)
		p.SetColor(edge)
		p.SetLineWidth(0.7)
		p.SetLineDash(nil, 0)
		switch {
		case k == 0:
			p.SetLineWidth(1.3)
		case k < 0:
			p.SetLineDash([]vg.Length{3.5, 2.5}, 0)
		}
		for _, run := range contours(values, g.NX, g.NY, float64(k)*every) {
			var path vg.Path
			var length float64
			points := make([]vg.Point, len(run))
			for n, q := range run {
				points[n] = p.at(g.X0+q.x*g.Step, g.Y0+q.y*g.Step)
				if n == 0 {
					path.Move(points[n])
					continue
				}
				path.Line(points[n])
				length += math.Hypot((points[n].X - points[n-1].X).Points(), (points[n].Y - points[n-1].Y).Points())
			}
			p.Stroke(path)
			if length < 60 {
				continue
			}
			if at, ok := p.roomOn(run, points, p.width(text, smallSize)/2+2); ok {
				figures = append(figures, figure{at, text})
			}
		}
	}
	p.SetLineDash(nil, 0)
	return figures
}

// roomOn takes a place on a line for a figure of so much half width, if one is free.
func (p *picture) roomOn(run line, points []vg.Point, half float64) (vg.Point, bool) {
	for n := range 12 { // places to try along the line
		i := (2*n + 1) * len(points) / 24
		at := points[i]
		b := box{at.X.Points() - half, at.Y.Points() - 6, at.X.Points() + half, at.Y.Points() + 6}
		if p.free(b) && !p.onCopper(p.grid.X0+run[i].x*p.grid.Step, p.grid.Y0+run[i].y*p.grid.Step) {
			p.labels = append(p.labels, b)
			return at, true
		}
	}
	return vg.Point{}, false
}

// signed writes a level; the sign of a vertical field is always told.
func signed(x float64, lines Lines) string {
	s := strconv.FormatFloat(math.Abs(x), 'f', -1, 64)
	if len(s) > 8 {
		s = strconv.FormatFloat(math.Abs(x), 'g', 3, 64)
	}
	switch {
	case lines == Strength || x == 0:
		return s
	case x < 0:
		return "\u2212" + s
	}
	return "+" + s
}

// free tells whether a place is within the map and not taken.
func (p *picture) free(b box) bool {
	if b.x0 < leftMargin || b.y0 < bottomMargin || b.x1 > leftMargin+p.w || b.y1 > bottomMargin+p.h {
		return false
	}
	for _, o := range p.labels {
		if b.x0 < o.x1 && o.x0 < b.x1 && b.y0 < o.y1 && o.y0 < b.y1 {
			return false
		}
	}
	return true
}

// onCopper tells whether a figure at a place of the pad would lie on a coil's
// copper, where lines are too close for any.
func (p *picture) onCopper(x, y float64) bool {
	beside := 8 / p.scale
	for k := range p.plan.Coils {
		c, w := &p.plan.Coils[k], p.plan.WindingOf(k)
		sin, cos := math.Sincos(c.Turned)
		dx, dy, half := x-c.At.X, y-c.At.Y, w.HalfStraight()
		// How far outside the inner path: a rectangle with round corners.
		u, v := math.Abs(cos*dx+sin*dy)-half.X, math.Abs(cos*dy-sin*dx)-half.Y
		out := math.Hypot(math.Max(u, 0), math.Max(v, 0)) + math.Min(math.Max(u, v), 0) - w.CornerRadius()
		if out > -beside && out < w.Build+beside {
			return true
		}
	}
	return false
}

// coil draws both edges of a coil's copper, its id, and the face as planned: a
// ring with a dot for field toward the reader, with a cross for away.
func (p *picture) coil(k int) {
	c, w := &p.plan.Coils[k], p.plan.WindingOf(k)
	for _, u := range []float64{0, w.Build} {
		path := p.turn(c, w, u)
		p.SetColor(veil)
		p.SetLineWidth(2.6)
		p.Stroke(path)
		p.SetColor(ink)
		p.SetLineWidth(1.1)
		p.Stroke(path)
	}
	x, y := p.x(c.At.X), p.y(c.At.Y)
	const ring = 4.5
	wide := 2*ring + 4 + p.width(c.ID, textSize)
	p.SetColor(veil)
	p.Fill(rounded(x-wide/2-4, y-8.5, x+wide/2+4, y+8.5, 5))
	p.SetColor(ink)
	p.SetLineWidth(1)
	at := pt(x-wide/2+ring, y)
	p.Stroke(circle(at, ring))
	if c.North == layout.Up {
		p.Fill(circle(at, 1.7))
	} else {
		const d = ring * math.Sqrt2 / 2
		var cross vg.Path
		cross.Move(pt(at.X.Points()-d, y-d))
		cross.Line(pt(at.X.Points()+d, y+d))
		cross.Move(pt(at.X.Points()-d, y+d))
		cross.Line(pt(at.X.Points()+d, y-d))
		p.Stroke(cross)
	}
	p.text(c.ID, x-wide/2+2*ring+4, y-textSize*0.36, textSize, ink)
}

// turn is the turn at distance u outside a coil's inner path: a rectangle with
// round corners, which a round coil and an oblong are too.
func (p *picture) turn(c *layout.Coil, w *layout.Winding, u float64) vg.Path {
	half, r := w.HalfStraight(), w.CornerRadius()+u
	sin, cos := math.Sincos(c.Turned)
	place := func(x, y float64) vg.Point {
		return p.at(c.At.X+cos*x-sin*y, c.At.Y+sin*x+cos*y)
	}
	var path vg.Path
	const steps = 24 // a quarter turn
	for q, corner := range [4][2]float64{{half.X, half.Y}, {-half.X, half.Y}, {-half.X, -half.Y}, {half.X, -half.Y}} {
		for n := range steps + 1 {
			s, c := math.Sincos(math.Pi / 2 * (float64(q) + float64(n)/steps))
			at := place(corner[0]+r*c, corner[1]+r*s)
			if q == 0 && n == 0 {
				path.Move(at)
			} else {
				path.Line(at)
			}
		}
	}
	path.Close()
	return path
}

func (p *picture) axes() {
	p.SetColor(ink)
	p.SetLineWidth(1)
	p.SetLineDash(nil, 0)
	p.Stroke(rectangle(leftMargin, bottomMargin, leftMargin+p.w, bottomMargin+p.h))
	g := p.grid
	every := step(math.Max(p.w, p.h)/p.scale/millimetre, 9)
	for mm := math.Ceil(g.X0/millimetre/every) * every; mm*millimetre <= g.X(g.NX-1); mm += every {
		x, s := p.x(mm*millimetre), number(mm)
		p.tick(x, bottomMargin, x, bottomMargin-4)
		p.text(s, x-p.width(s, textSize)/2, bottomMargin-17, textSize, ink)
	}
	for mm := math.Ceil(g.Y0/millimetre/every) * every; mm*millimetre <= g.Y(g.NY-1); mm += every {
		y, s := p.y(mm*millimetre), number(mm)
		p.tick(leftMargin, y, leftMargin-4, y)
		p.text(s, leftMargin-8-p.width(s, textSize), y-textSize*0.36, textSize, ink)
	}
	p.text("x, mm", leftMargin+p.w/2-p.width("x, mm", textSize)/2, 14, textSize, soft)
	p.Push()
	p.Translate(pt(18, bottomMargin+p.h/2-p.width("y, mm", textSize)/2))
	p.Rotate(math.Pi / 2)
	p.text("y, mm", 0, 0, textSize, soft)
	p.Pop()
}

func (p *picture) tick(x0, y0, x1, y1 float64) {
	var t vg.Path
	t.Move(pt(x0, y0))
	t.Line(pt(x1, y1))
	p.SetColor(ink)
	p.Stroke(t)
}

// number writes a round number of millimetres.
func number(mm float64) string {
	s := strconv.FormatFloat(math.Round(mm*1e6)/1e6+0, 'f', -1, 64)
	return strings.Replace(s, "-", "\u2212", 1)
}

// bar is the scale of the colours.
func (p *picture) bar() {
	const wide, steps = 16.0, 256
	x0 := leftMargin + p.w + 18
	img := image.NewRGBA(image.Rect(0, 0, 1, steps))
	for v := range steps {
		img.SetRGBA(0, steps-1-v, colourOf(2*float64(v)/(steps-1)-1))
	}
	high := math.Min(p.h, 420)
	y0 := bottomMargin + (p.h-high)/2
	p.DrawImage(vg.Rectangle{Min: pt(x0, y0), Max: pt(x0+wide, y0+high)}, img)
	p.SetColor(ink)
	p.SetLineWidth(1)
	p.Stroke(rectangle(x0, y0, x0+wide, y0+high))
	every := step(p.most, 5)
	for k := int(math.Ceil(-p.most / every)); float64(k)*every <= p.most; k++ {
		b := float64(k) * every
		y := y0 + high*(b/p.most+1)/2
		p.tick(x0+wide, y, x0+wide+4, y)
		p.text(signed(b, Vertical), x0+wide+8, y-textSize*0.36, textSize, ink)
	}
	p.text("Bz, uT", x0, y0+high+9, textSize, ink)
}

func (p *picture) title() {
	_, h := p.size()
	name := p.plan.Title()
	most := p.w + rightMargin - 24
	for cut := name; p.width(name, 15) > most && cut != ""; {
		runes := []rune(cut)
		cut = string(runes[:len(runes)-1])
		name = cut + "\u2026"
	}
	p.text(name, leftMargin, h-24, 15, ink)
	lines := "Lines: the same field, broken where it points away."
	if p.lines == Strength {
		lines = "Lines: strength of the field, whatever its direction, uT."
	}
	p.text(fmt.Sprintf("Vertical field as planned, %s mm over the mid-plane: + toward you.", number(math.Round(p.grid.Z/millimetre*100)/100)),
		leftMargin, h-44, smallSize+0.5, soft)
	p.text(lines, leftMargin, h-59, smallSize+0.5, soft)
}

func (p *picture) face(size float64) font.Face {
	return p.fonts.Lookup(font.Font{Typeface: "Liberation", Variant: "Sans"}, vg.Length(size))
}

func (p *picture) width(s string, size float64) float64 {
	f := p.face(size)
	return f.Width(s).Points()
}

func (p *picture) text(s string, x, y, size float64, c color.Color) {
	p.SetColor(c)
	p.FillString(p.face(size), pt(x, y), s)
}

// figure writes a figure on a light ground.
func (p *picture) figure(f figure) {
	x, y, half := f.at.X.Points(), f.at.Y.Points(), p.width(f.text, smallSize)/2
	p.SetColor(veil)
	p.Fill(rounded(x-half-2, y-5.5, x+half+2, y+5.5, 3))
	p.text(f.text, x-half, y-smallSize*0.36, smallSize, ink)
}

func rectangle(x0, y0, x1, y1 float64) vg.Path {
	var path vg.Path
	path.Move(pt(x0, y0))
	path.Line(pt(x1, y0))
	path.Line(pt(x1, y1))
	path.Line(pt(x0, y1))
	path.Close()
	return path
}

func rounded(x0, y0, x1, y1, r float64) vg.Path {
	var path vg.Path
	path.Move(pt(x0+r, y0))
	path.Line(pt(x1-r, y0))
	path.Arc(pt(x1-r, y0+r), vg.Length(r), -math.Pi/2, math.Pi/2)
	path.Line(pt(x1, y1-r))
	path.Arc(pt(x1-r, y1-r), vg.Length(r), 0, math.Pi/2)
	path.Line(pt(x0+r, y1))
	path.Arc(pt(x0+r, y1-r), vg.Length(r), math.Pi/2, math.Pi/2)
	path.Line(pt(x0, y0+r))
	path.Arc(pt(x0+r, y0+r), vg.Length(r), math.Pi, math.Pi/2)
	path.Close()
	return path
}

func circle(at vg.Point, r float64) vg.Path {
	var path vg.Path
	path.Move(pt(at.X.Points()+r, at.Y.Points()))
	path.Arc(at, vg.Length(r), 0, 2*math.Pi)
	path.Close()
	return path
}
