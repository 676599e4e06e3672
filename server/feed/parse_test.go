package feed

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// show writes a parser's result in one line a message.
func show(messages []Message, bad []BadLine) string {
	var b strings.Builder
	for _, m := range messages {
		fmt.Fprintf(&b, "%d:", m.Line)
		for _, n := range m.Numbers {
			fmt.Fprintf(&b, " %s=%g", n.Path, n.Value)
		}
		b.WriteString("\n")
	}
	for _, l := range bad {
		fmt.Fprintf(&b, "bad %v\n", l)
	}
	return strings.TrimSpace(b.String())
}

func TestParse(t *testing.T) {
	cases := []struct{ name, text, want string }{
		{"object", `{"acc":{"x":1,"y":2.5},"ok":true,"n":null,"name":"a board"}`, "1: acc.x=1 acc.y=2.5"},
		{"order kept", `{"z":3,"a":1}`, "1: z=3 a=1"},
		{"numbers as text", `{"x":"12.5","y":"-3e1","z":"up"}`, "1: x=12.5 y=-30"},
		{"lists", `{"mag":[1,-2,3],"t":7}`, "1: mag[0]=1 mag[1]=-2 mag[2]=3 t=7"},
		{"row as JSON", `[1,2,"a",4]`, "1: column 1=1 column 2=2 column 4=4"},
		{"array of objects", `[{"x":1},{"x":2}]`, "1: x=1\n1: x=2"},
		{"array of rows", `[[1,2],[3,4]]`, "1: column 1=1 column 2=2\n1: column 1=3 column 2=4"},
		{"labelled batch", `{"id":4,"batch":[{"kind":"field","v":{"x":1,"y":2}},{"kind":"tilt","v":{"x":9}}]}`,
			"1: batch.field.v.x=1 batch.field.v.y=2\n1: batch.tilt.v.x=9\n1: id=4"},
		{"plain list of objects", `{"batch":[{"x":1},{"x":2}]}`, "1: batch[0].x=1 batch[1].x=2"},
		{"JSON Lines", "{\"x\":1}\n\n{\"x\":2}\n", "1: x=1\n3: x=2"},
		{"over several lines", "{\n \"x\": 1,\n \"y\": 2\n}\n", "1: x=1 y=2"},
		{"broken JSON between", "{\"x\":1}\n{\"x\":\n{\"x\":3}", "1: x=1\n3: x=3\nbad line 2: expected a whole JSON value, found only its beginning. Put each on one line"},
		{"no number", `{"hello":"there"}`, "bad line 1: expected numbers, found none in this JSON"},
		{"more behind", `{"x":1} {"x":2}`, "bad line 1: expected one JSON value a line, found more after it"},
		{"comma", "1.5,-2,3e2", "1: column 1=1.5 column 2=-2 column 3=300"},
		{"comma and spaces", "1.5, -2, 3", "1: column 1=1.5 column 2=-2 column 3=3"},
		{"semicolon, decimal comma", "1,5;-2;3,25", "1: column 1=1.5 column 2=-2 column 3=3.25"},
		{"tab, decimal comma", "1,5\t-2\t3,25", "1: column 1=1.5 column 2=-2 column 3=3.25"},
		{"spaces", " 12  -7 \t", "1: column 1=12 column 2=-7"},
		{"spaces, decimal comma", "1,5 -2 3,25", "1: column 1=1.5 column 2=-2 column 3=3.25"},
		{"header", "t,mag x,mag y\n0.1,5,6\n0.2,7,8", "2: t=0.1 mag x=5 mag y=6\n3: t=0.2 mag x=7 mag y=8"},
		{"quoted header", "\"time, s\",\"x\"\n1,2", "2: time, s=1 x=2"},
		{"header said again", "a,b\n1,2\na,b\n3,4", "2: a=1 b=2\n4: a=3 b=4"},
		{"short row under a header", "a,b,c\n1,2,3\n1,2\n4,5,6", "2: a=1 b=2 c=3\n4: a=4 b=5 c=6\nbad line 3: expected 3 columns as in the header, found 2"},
		{"missing values", "a,b,c\n1,2,3\n,5,\n", "2: a=1 b=2 c=3\n3: b=5"},
		{"names twice", "x,x\n1,2", "2: x=1 x column 2=2"},
		{"words before rows", "sensor is ready\n1 2 3 4", "2: column 1=1 column 2=2 column 3=3 column 4=4"},
		{"time of day", "2031-01-02 10:11:12,1.5,2.5", "1: column 2=1.5 column 3=2.5"},
		{"comment", "# made by a board\n1,2", "2: column 1=1 column 2=2"},
		{"labels with equals", "mx=1.5,my=-2,mz=3", "1: mx=1.5 my=-2 mz=3"},
		{"labels with colons", "X: 1.5 Y: -2 Z: 3uT", "1: X=1.5 Y=-2 Z=3"},
		{"units", "12.5uT;3mT", "1: column 1=12.5 column 2=3"},
		{"single word", "ready", "bad line 1: expected numbers, found none"},
		{"bytes", "\xff\xfe\x01", "bad line 1: expected text, found bytes that are none. Is the port's speed right?"},
		{"not finite", `{"x":1e999,"y":1}`, "1: y=1"},
		{"carriage returns", "1,2\r\n3,4\r5,6", "1: column 1=1 column 2=2\n2: column 1=3 column 2=4\n3: column 1=5 column 2=6"},
		{"byte order mark", "\xef\xbb\xbf1;2", "1: column 1=1 column 2=2"},
		{"deep", strings.Repeat(`{"a":`, 20) + "1" + strings.Repeat("}", 20), "bad line 1: expected at most 12 levels of nesting, found more"},
		{"too many", "[[" + strings.Repeat("1,", 300) + "1]]", "bad line 1: expected at most 200 numbers in a message, found more"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			var p Parser
			if got := show(p.Parse([]byte(c.text))); got != c.want {
				t.Errorf("got:\n%s\nexpected:\n%s", got, c.want)
			}
		})
	}
}

// TestHeaderInAnEarlierChunk: a board sends its header once.
func TestHeaderInAnEarlierChunk(t *testing.T) {
	var p Parser
	p.Parse([]byte("t;x;y\n1;2,5;3\n"))
	if got := show(p.Parse([]byte("2;3,5;4\n"))); got != "3: t=2 x=3.5 y=4" {
		t.Error(got)
	}
	var q Parser // the program was started again in between
	q.recall(p.Columns())
	if got := show(q.Parse([]byte("2;3,5;4\n"))); got != "1: t=2 x=3.5 y=4" {
		t.Error(got)
	}
	var r Parser
	r.recall(p.Columns())
	if got := show(r.Parse([]byte("2;3,5\n"))); got != "1: column 1=2 column 2=3.5" {
		t.Error("a header of another table was used: ", got)
	}
}

func FuzzFeed(f *testing.F) {
	seeds, err := filepath.Glob("testdata/feeds/*")
	if err != nil || len(seeds) < 6 {
		f.Fatalf("found %d seeds, expected at least 6 (%v)", len(seeds), err)
	}
	for _, s := range seeds {
		raw, err := os.ReadFile(s)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(raw)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var p Parser
		half := len(data) / 2
		for _, chunk := range [][]byte{data[:half], data[half:]} {
			messages, bad := p.Parse(chunk)
			if len(messages) > maxMessages {
				t.Fatalf("%d messages", len(messages))
			}
			for i := range messages {
				m := &messages[i]
				if len(m.Numbers) == 0 || len(m.Numbers) > maxNumbers || m.Line < 1 {
					t.Fatalf("message %+v", m)
				}
				for _, n := range m.Numbers {
					if v, ok := m.Get(n.Path); !ok || v != n.Value || v-v != 0 {
						t.Fatalf("%q: %g, found %g %v", n.Path, n.Value, v, ok)
					}
				}
			}
			for _, b := range bad {
				if b.Why == "" || b.Line < 1 {
					t.Fatalf("bad line %+v", b)
				}
			}
		}
	})
}
