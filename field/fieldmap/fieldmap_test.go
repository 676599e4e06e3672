package fieldmap

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/assets/demotest"
	"polewise/field"
	"polewise/layout"
)

func sample(t *testing.T, p *layout.Plan, points int) *Grid {
	t.Helper()
	g, err := Sample(context.Background(), p, points, nil)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

// Every line of the table against the field worked out at the place it names.
func TestCSV(t *testing.T) {
	p := demotest.Plan(t, "bolster") // oblongs, turned, and rectangles
	g := sample(t, p, 23)
	var out bytes.Buffer
	if err := g.Write(&out, p, CSV, Style{}); err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(&out)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if strings.Join(rows[0], " ") != "x_mm y_mm bx_uT by_uT bz_uT b_uT" || len(rows) != 1+g.NX*g.NY {
		t.Fatalf("%v, and %d lines for %d by %d points", rows[0], len(rows), g.NX, g.NY)
	}
	cur, err := p.Solve()
	if err != nil {
		t.Fatal(err)
	}
	turns := cur.AllAmpereTurns(p)
	pad := field.NewPad(p)
	lowX, highX, lowY, highY := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, row := range rows[1:] {
		var v [6]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(row[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		b := r3.Scale(1e6, pad.At(turns, r3.Vec{X: v[0] / 1e3, Y: v[1] / 1e3, Z: p.SensorHeight(0)}))
		want := [4]float64{b.X, b.Y, b.Z, r3.Norm(b)}
		for i, w := range want {
			// Seven digits are written, of the place too: the field changes by some
			// 100 uT a millimetre at most.
			if math.Abs(v[2+i]-w) > 1e-3+1e-6*math.Abs(w) {
				t.Fatalf("at %g, %g mm: %v, expected %v", v[0], v[1], v[2:], want)
			}
		}
		lowX, highX = math.Min(lowX, v[0]), math.Max(highX, v[0])
		lowY, highY = math.Min(lowY, v[1]), math.Max(highY, v[1])
	}
	if lowX > 0 || lowY > 0 || highX < p.Outline.X*1e3 || highY < p.Outline.Y*1e3 {
		t.Errorf("x %g to %g mm, y %g to %g: the pad is not covered", lowX, highX, lowY, highY)
	}
}

// The picture is XML that a reader takes, holds every coil's id as text, and keeps
// names from being markup.
func TestSVG(t *testing.T) {
	p := demotest.Plan(t, "mat")
	p.Name = "Mat <b> & \"co\"\x01\u009b\uffff"
	for _, lines := range []Lines{Vertical, Strength} {
		var out bytes.Buffer
		if err := sample(t, p, 60).Write(&out, p, SVG, Style{lines, UsualPixels}); err != nil {
			t.Fatal(err)
		}
		texts := map[string]bool{}
		images := 0
		for d := xml.NewDecoder(&out); ; {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			switch token := token.(type) {
			case xml.StartElement:
				if token.Name.Local == "image" {
					images++
				}
			case xml.CharData:
				texts[strings.TrimSpace(string(token))] = true
			}
		}
		for _, c := range p.Coils {
			if !texts[c.ID] {
				t.Errorf("coil %s is not named", c.ID)
			}
		}
		for _, s := range []string{`Mat <b> & "co"`, "x, mm", "y, mm", "Bz, uT", "0"} {
			if !texts[s] {
				t.Errorf("no text %q", s)
			}
		}
		if images != 2 {
			t.Errorf("%d images, expected the map and the scale", images)
		}
	}
}

// The picture decodes, is as wide as asked for, and is orange over a coil that
// faces up and blue over one that faces down.
func TestPNG(t *testing.T) {
	p := demotest.Plan(t, "ring")
	g := sample(t, p, 80)
	var out bytes.Buffer
	if err := g.Write(&out, p, PNG, Style{Vertical, 900}); err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(&out)
	if err != nil {
		t.Fatal(err)
	}
	for _, wanted := range []int{leastPixels, 500, 900, UsualPixels} {
		var out bytes.Buffer
		if err := g.Write(&out, p, PNG, Style{Vertical, wanted}); err != nil {
			t.Fatal(err)
		}
		// The canvas knows whole dots an inch only, and a picture is ten inches wide.
		if c, err := png.DecodeConfig(&out); err != nil || c.Width < wanted-6 || c.Width > wanted+6 {
			t.Errorf("%d pixels wide, %v; expected %d", c.Width, err, wanted)
		}
	}
	pic, err := newPicture(p, g, Vertical)
	if err != nil {
		t.Fatal(err)
	}
	wide, high := pic.size()
	perPoint := float64(img.Bounds().Dx()) / wide
	for k := range p.Coils {
		c := &p.Coils[k]
		// Beside the id, half way to the winding.
		at := pic.at(c.At.X, c.At.Y+0.3*p.WindingOf(k).InnerY)
		r, _, b, _ := img.At(int(at.X.Points()*perPoint), int((high-at.Y.Points())*perPoint)).RGBA()
		if (r > b) != (c.North == layout.Up) || max(r, b)-min(r, b) < 0x2000 {
			t.Errorf("coil %s: red %d, blue %d", c.ID, r>>8, b>>8)
		}
	}
}

// A cone's level lines are circles: closed, at their radius, going once round.
func TestContoursOfACone(t *testing.T) {
	const n = 41
	values := make([]float64, n*n)
	for j := range n {
		for i := range n {
			values[j*n+i] = 20 - math.Hypot(float64(i)-20, float64(j)-20)
		}
	}
	runs := contours(values, n, n, 5)
	if len(runs) != 1 || runs[0][0] != runs[0][len(runs[0])-1] {
		t.Fatalf("%d runs: %v", len(runs), runs)
	}
	length := 0.0
	for k, q := range runs[0] {
		// Between points a cone is not straight: a hundredth of a step.
		if r := math.Hypot(q.x-20, q.y-20); math.Abs(r-15) > 0.02 {
			t.Errorf("point %v at radius %.3f, expected 15", q, r)
		}
		if k > 0 {
			length += math.Hypot(q.x-runs[0][k-1].x, q.y-runs[0][k-1].y)
		}
	}
	if want := 2 * math.Pi * 15; math.Abs(length-want) > 0.01*want {
		t.Errorf("%.2f long, expected %.2f", length, want)
	}
	// Cut by the border the line has four open parts.
	if runs := contours(values, n, n, -2); len(runs) != 4 {
		t.Errorf("%d runs cut by the border, expected 4", len(runs))
	}
	// A saddle: two lines that do not touch.
	if runs := contours([]float64{1, 0, 0, 1}, 2, 2, 0.4); len(runs) != 2 || len(runs[0]) != 2 {
		t.Errorf("saddle: %v", runs)
	}
}

func TestRefused(t *testing.T) {
	if _, err := FormatOf("field.jpeg"); err == nil || err.Error() != `expected a file that ends in .svg, .png or .csv, found "field.jpeg"` {
		t.Errorf("%v", err)
	}
	if f, err := FormatOf("a.b/FIELD.SVG"); f != SVG || err != nil {
		t.Errorf("%v %v", f, err)
	}
	p := demotest.Plan(t, "kennel")
	for _, n := range []int{-1, 9, 1001} {
		if _, err := Sample(context.Background(), p, n, nil); err == nil || !strings.Contains(err.Error(), "10 to 1000") {
			t.Errorf("%d points: %v", n, err)
		}
	}
	ended, end := context.WithCancel(context.Background())
	end()
	if _, err := Sample(ended, p, 500, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
	g := sample(t, p, 10)
	for _, s := range []Style{{"sideways", 800}, {Vertical, 3}, {Vertical, 1e6}} {
		if err := g.Write(io.Discard, p, PNG, s); err == nil || !strings.Contains(err.Error(), "expected") {
			t.Errorf("%v: %v", s, err)
		}
	}
}
