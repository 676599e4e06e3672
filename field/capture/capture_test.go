package capture

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/layout"
)

// TestBrokenCaptures holds every broken capture in testdata against the exact
// message it must give. A file's first line, beginning with #, is that message;
// the capture follows.
func TestBrokenCaptures(t *testing.T) {
	files, err := filepath.Glob("testdata/broken/*.txt")
	if err != nil || len(files) < 15 {
		t.Fatalf("found %d broken captures, expected at least 15 (%v)", len(files), err)
	}
	plan := &layout.Plan{Name: "two coils",
		Coils:   []layout.Coil{{ID: "A1", At: r2.Vec{X: .1}}, {ID: "A2", At: r2.Vec{X: .3}}, {ID: "A3", At: r2.Vec{X: .3}}},
		Strings: []layout.String{{ID: "A", Coils: []int{0, 1, 2}}}}
	for _, f := range files {
		t.Run(filepath.Base(f), func(t *testing.T) {
			raw, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			head, body, _ := bytes.Cut(raw, []byte("\n"))
			want := strings.TrimSpace(strings.TrimPrefix(string(head), "#"))
			c, err := Read(bytes.NewReader(body))
			if err == nil {
				err = c.Check(plan)
			}
			if err == nil {
				t.Fatalf("accepted; expected: %s", want)
			}
			if e := (*Error)(nil); !errors.As(err, &e) || e.Remedy == "" {
				t.Errorf("nothing to do about it: %s", err)
			}
			if err.Error() != want {
				t.Errorf("message\n got: %s\nwant: %s", err, want)
			}
		})
	}
}

const good = `{"type":"start","v":1,"route":"vector","sensor":{"offset_mm":[1,40],"offset_sd_mm":[5,5],"full_scale_uT":4900},"top_deg":90,"device":"a phone"}
{"type":"drive","t":0,"state":"off"}
{"type":"b","t":0.1,"uT":[1,2,-42]}
{"type":"b","t":0.2,"uT":[1.5,2,-42]}
{"type":"b","t":0.3,"uT":[1.5,2,-42]}
{"type":"drive","t":1,"state":"on","amps":1.2}
{"type":"hum","t":1}
{"type":"hold","t":2,"at":"A1","shift_mm":[0,10],"top_deg":180}
{"type":"b","t":2.2,"uT":[1,2,300]}
{"type":"gravity","t":2.2,"ms2":[0,0,9.81]}
{"type":"b","t":2.1,"uT":[1,2,301]}
{"type":"heading","t":2.3,"deg":12,"turned_deg":-3,"accuracy_deg":15}
{"type":"lift","t":3}
{"type":"pass","t":4,"along":["A1","A2"]}
{"type":"b","t":4.5,"uT":[9,2,30]}
{"type":"pass-end","t":5}
{"type":"reading","t":6,"at":"A2","face":"north","uT":300}
{"type":"ohms","t":7,"across":"coil:A1","ohms":null,"celsius":21}
{"type":"hold","t":8,"at":"A2"}
{"type":"b","t":8.5,"uT":[0,0,1]}
`

func TestReadAndCut(t *testing.T) {
	c, err := Read(strings.NewReader(good))
	if err != nil {
		t.Fatal(err)
	}
	if c.Unknown != 1 || len(c.Lines) != 18 {
		t.Fatalf("unknown lines %d, others %d; expected 1 and 18", c.Unknown, len(c.Lines))
	}
	s := c.Cut()
	if len(s.Rests) != 1 || len(s.Rests[0].B) != 2 {
		t.Fatalf("rests: %+v; expected one of two samples, the third being frozen", s.Rests)
	}
	if s.Rests[0].Repeated != 1 || s.Backward != 0 {
		t.Errorf("repeated %d, times back in line %d; expected 1 and none", s.Rests[0].Repeated, s.Backward)
	}
	if len(s.Holds) != 2 {
		t.Fatalf("holds: %d, expected 2", len(s.Holds))
	}
	h := s.Holds[0]
	if len(h.B) != 2 || h.B[0].T != 2.1 || h.TopDeg != 180 || len(h.Gravity) != 1 || len(h.Bearings) != 1 || h.Open {
		t.Errorf("first hold: %+v", h)
	}
	if last := s.Holds[1]; !last.Open || last.TopDeg != 90 {
		t.Errorf("last hold: %+v; expected open, top edge as in the start line", last)
	}
	if len(s.Passes) != 1 || len(s.Passes[0].B) != 1 || len(s.Readings) != 1 || len(s.Ohms) != 1 || s.Ohms[0].Ohms != nil {
		t.Errorf("passes, readings, ohms: %+v", s)
	}
	if d, ok := s.DriveAt(0.5); !ok || d.State != Off {
		t.Errorf("drive at 0.5 s: %v %v", d, ok)
	}
	if _, ok := s.DriveAt(-1); ok {
		t.Error("drive before the first drive line must not be known")
	}
}

// TestKeysInCapitals: a key is what it is written as. A board that writes its
// temperature as T, its supply's voltage as V, does not move the time by that.
func TestKeysInCapitals(t *testing.T) {
	for _, text := range []string{
		`{"type":"b","t":0.1,"uT":[1,2,3],"T":24.5}`,
		`{"T":[1],"type":"b","t":0.1,"uT":[1,2,3],"UT":"mT","Type":5}`,
		`{"type":"b","t":0.1,"uT":[1,2,3],"\u0054":24.5}`,
		`{"type":"b","t":0.1,"uT":[1,2,3],"more":{"T":1,"uT":2}}`,
	} {
		l, err := ParseLine([]byte(text))
		if err != nil || l != (B{T: 0.1, UT: [3]float64{1, 2, 3}}) {
			t.Errorf("%s: read as %+v, %v", text, l, err)
		}
	}
	const unknown = `{"type":"hum","T":1}`
	if l, err := ParseLine([]byte(unknown)); err != nil || string(l.(Unknown).Raw) != unknown {
		t.Errorf("%s: read as %+v, %v", unknown, l, err)
	}
}

// BenchmarkParseLine reads the most frequent line.
func BenchmarkParseLine(b *testing.B) {
	line := []byte(`{"type":"b","t":123.456,"uT":[12.1234,-3.5678,-41.9012]}`)
	for b.Loop() {
		if _, err := ParseLine(line); err != nil {
			b.Fatal(err)
		}
	}
}

func TestWriteReadsBack(t *testing.T) {
	c, err := Read(strings.NewReader(good))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := Write(&b, append([]Line{c.Start}, c.Lines...)...); err != nil {
		t.Fatal(err)
	}
	again, err := Read(&b)
	if err != nil {
		t.Fatal(err)
	}
	again.Unknown, again.Numbers = c.Unknown, c.Numbers
	if !reflect.DeepEqual(c, again) {
		t.Errorf("written and read back:\n%+v\nwas:\n%+v", again, c)
	}
}

func FuzzCapture(f *testing.F) {
	f.Add([]byte(good))
	files, _ := filepath.Glob("testdata/broken/*.txt")
	if len(files) == 0 {
		f.Fatal("no broken captures to begin from")
	}
	for _, name := range files {
		raw, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		_, body, _ := bytes.Cut(raw, []byte("\n"))
		f.Add(body)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Read(bytes.NewReader(data))
		if err != nil {
			if err.Error() == "" {
				t.Fatal("an error without words")
			}
			return
		}
		s := c.Cut()
		n := 0
		for _, l := range c.Lines {
			if _, ok := l.(B); ok {
				n++
			}
		}
		kept := 0
		for _, list := range [][]Stretch{s.Holds, s.Passes, s.Rests} {
			for _, st := range list {
				kept += len(st.B) + st.Repeated
				for i := 1; i < len(st.B); i++ {
					if st.B[i].T < st.B[i-1].T {
						t.Fatalf("samples of a stretch out of order: %v", st.B)
					}
				}
			}
		}
		if kept > n {
			t.Fatalf("%d samples read, %d kept", n, kept)
		}
		// Whatever is accepted can be written and is accepted again.
		var b bytes.Buffer
		if err := Write(&b, append([]Line{c.Start}, c.Lines...)...); err != nil {
			t.Fatal(err)
		}
		if _, err := Read(&b); err != nil {
			t.Fatalf("written capture refused: %v\n%s", err, b.String())
		}
	})
}

// TestTimesBeforeTheBeginning: a sample taken a moment before the capture began is one like
// another; a time far before it is no time.
func TestTimesBeforeTheBeginning(t *testing.T) {
	for at, ok := range map[string]bool{"-0.002": true, "-0.9": true, "-30": false} {
		_, err := Read(strings.NewReader("{\"type\":\"start\",\"v\":1,\"route\":\"vector\"}\n{\"type\":\"b\",\"t\":" + at + ",\"uT\":[1,2,3]}\n"))
		if (err == nil) != ok {
			t.Errorf("a sample at %s s: %v", at, err)
		}
	}
}
