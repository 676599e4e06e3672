package layout

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var update = flag.Bool("update", false, "write the golden messages anew")

// Every broken plan is told off in exactly the words that stand beside it.
func TestBrokenPlans(t *testing.T) {
	files, err := filepath.Glob("testdata/broken/*.toml")
	if err != nil {
		t.Fatal(err)
	}
	if len(files) < 25 {
		t.Fatalf("expected at least 25 broken plans, found %d", len(files))
	}
	for _, path := range files {
		name := filepath.Base(path)
		t.Run(strings.TrimSuffix(name, ".toml"), func(t *testing.T) {
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			plan, err := Parse(name, data)
			var problems *Problems
			if !errors.As(err, &problems) {
				t.Fatalf("expected problems, found %v", err)
			}
			for _, p := range problems.List {
				if p.Remedy == "" {
					t.Errorf("nothing to do about it: %s", p)
				}
			}
			if (plan != nil) != problems.OnlyUnbuildable() {
				t.Errorf("plan given: %v, only unbuildable: %v", plan != nil, problems.OnlyUnbuildable())
			}
			golden := strings.TrimSuffix(path, ".toml") + ".txt"
			got := err.Error() + "\n"
			if *update {
				if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("got\n%swant\n%s", got, want)
			}
		})
	}
}

// TestManyNamesOfNothing: a file of the greatest size that names tens of thousands of
// coils it does not have is told off without holding each against all there are.
func TestManyNamesOfNothing(t *testing.T) {
	var b strings.Builder
	b.WriteString("format = 1\nname = \"x\"\nsupply = {volts = 1}\n[[winding]]\nid = \"r\"\nshape = \"round\"\ninner = 10\nturns = 5\nbuild = 2\nwidth = 2\nwire_mm = 0.3\n")
	for j := range MaxParts {
		fmt.Fprintf(&b, "[[coil]]\nid = \"c%030d\"\nwinding = \"r\"\nat = [%d, %d]\n", j, 20*(j%40), 20*(j/40))
	}
	b.WriteString("[[string]]\nid = \"S\"\ncoils = [")
	n := 0
	for ; b.Len() < MaxPlanBytes-100; n++ {
		fmt.Fprintf(&b, "\"d%030d\",", n)
	}
	b.WriteString("]\n")
	began := time.Now()
	_, err := Parse("many.toml", []byte(b.String()))
	var problems *Problems
	// Every name, and every coil that is in no string.
	if !errors.As(err, &problems) || len(problems.List)+problems.More != n+MaxParts {
		t.Fatalf("expected %d problems, found %.300v", n+MaxParts, err)
	}
	// It took forty seconds, and takes less than one.
	if took := time.Since(began); took > 10*time.Second {
		t.Errorf("it took %v", took)
	}
}

// full uses every key a plan may have, and units other than the default.
const full = `format = 1
name = "Every \"key\", \\ and a tab\t"
length_unit = "in"
outline = { size = [24, 18.5] }

[supply]
volts = 4.0
source_ohms = 8.25
limit_amps = 1.5
drive = "pulsed"
hz = 1.5
duty = 0.4

[sensor]
above = 0.25

[[winding]]
id = "r"
shape = "rectangle"
inner = [3, 2]
corner = 0.4
turns = 40
build = 0.25
width = 0.3
wire_mm = 0.7
ohms = 0.65

[[winding]]
id = "o"
shape = "oblong"
inner = [2, 3]
turns = 40
build = 0.25
width = 0.3
wire_awg = 22.5

[[coil]]
id = "C1"
winding = "r"
at = [3, 3.1]
turned = -33.3
north = "down"
sense = "cw"

[[coil]]
id = "C2"
winding = "o"
at = [8.3, 3.1]
sense = "ccw"

[[string]]
id = "S1"
coils = ["C1"]
lead_ohms = 0.07

[[string]]
id = "S2"
coils = ["C2"]

[[group]]
id = "G"
join = "series"
of = ["S2", "S1"]
`

func TestEveryKey(t *testing.T) {
	p, err := Parse("full.toml", []byte(full))
	if err != nil {
		t.Fatal(err)
	}
	if p.Name != "Every \"key\", \\ and a tab\t" || p.Unit != Inch {
		t.Errorf("name %q, unit %q", p.Name, p.Unit)
	}
	near(t, "outline", p.Outline.Y, 18.5*0.0254, 1e-12)
	if want := (Supply{Volts: 4, SourceOhms: 8.25, LimitAmps: 1.5, Pulsed: true, Hz: 1.5, Duty: 0.4}); p.Supply != want {
		t.Errorf("supply %+v, want %+v", p.Supply, want)
	}
	near(t, "above", p.Above, 6.35e-3, 1e-12)
	r, o := p.Windings[0], p.Windings[1]
	near(t, "inner x", r.InnerX, 76.2e-3, 1e-12)
	near(t, "inner y", r.InnerY, 50.8e-3, 1e-12)
	near(t, "corner", r.Corner, 10.16e-3, 1e-12)
	near(t, "build", r.Build, 6.35e-3, 1e-12)
	near(t, "width", r.Width, 7.62e-3, 1e-12)
	near(t, "wire, always in mm", r.Wire, 0.7e-3, 1e-12)
	near(t, "half gauge", o.Wire, BareDiameterOfAWG(22.5), 1e-12)
	if r.GivenOhms != 0.65 || r.Turns != 40 || r.Shape != Rectangle || o.Shape != Oblong || r.AWG == r.AWG {
		t.Errorf("windings %+v", p.Windings)
	}
	c := p.Coils[0]
	near(t, "turned", c.Turned, -33.3*3.14159265358979/180, 1e-12)
	if c.North != Down || c.Sense != Clockwise || p.Coils[1].North != Up || p.Coils[1].Sense != CounterClockwise || p.Coils[1].Winding != 1 {
		t.Errorf("coils %+v", p.Coils)
	}
	if p.Strings[0].LeadOhms != 0.07 || len(p.Groups) != 1 || p.Groups[0].Join != Series || p.Groups[0].Of[0] != "S2" {
		t.Errorf("strings %+v, groups %+v", p.Strings, p.Groups)
	}
}

func TestDefaults(t *testing.T) {
	p, err := Parse("small.toml", []byte(small(1, 200)))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "sensor height", p.Above, 6e-3, 1e-15)
	if p.Unit != Millimetre || p.Supply.Pulsed || p.Supply.SourceOhms != 0 || p.Supply.LimitAmps != 0 || p.Coils[0].North != Up || p.Coils[0].Sense != SenseUnknown || p.Strings[0].LeadOhms != 0 {
		t.Errorf("%+v", p)
	}
}

// small is a plan of n coils, each in its own string, so far apart.
func small(n int, apart float64) string {
	var b strings.Builder
	b.WriteString("format = 1\nname = \"small\"\nsupply = { volts = 2.0 }\n[[winding]]\nid = \"w\"\nshape = \"round\"\ninner = 90\nturns = 60\nbuild = 6\nwidth = 8\nwire_awg = 22\n")
	for i := range n {
		fmt.Fprintf(&b, "[[coil]]\nid = \"c%d\"\nwinding = \"w\"\nat = [%g, %g]\n[[string]]\nid = \"s%d\"\ncoils = [\"c%d\"]\n", i, apart*float64(i%32), apart*float64(i/32), i, i)
	}
	return b.String()
}

// What no honest plan holds is refused quickly and in few words.
func TestHostilePlans(t *testing.T) {
	if _, err := Parse("big.toml", []byte(small(MaxParts, 200))); err != nil {
		t.Errorf("a thousand coils are allowed: %v", err)
	}
	cases := map[string]struct{ text, want string }{
		"too many coils": {small(MaxParts+1, 200), "coil: expected at most 1000 of these tables, found 1001."},
		"too large":      {"# " + strings.Repeat("x", MaxPlanBytes), "expected at most 1024 KiB, found more. Is this a plan?"},
		"long name":      {strings.Replace(small(1, 200), "small", strings.Repeat("n", 300), 1), "name: expected at most 200 bytes, found 300."},
		"long key":       {strings.Repeat("a.", 300_000) + "a = 1", "nested too deep"},
		"deep":           {"x = " + strings.Repeat("[", 500_000), "nested too deep"},
		"deep tables":    {"x = " + strings.Repeat("{a=", 300_000), "nested too deep"},
		"not text":       {"\x00\xff\xfe", "this is not TOML"},
		"all in one":     {small(MaxParts, 0.01), "more."},
		"long value":     {strings.Replace(small(1, 200), `shape = "round"`, `shape = "`+strings.Repeat("r", 100_000)+`"`, 1), `found "rrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrr...".`},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			_, err := Parse("plan.toml", []byte(c.text))
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("got %.300v, want it to say %q", err, c.want)
			}
			if len(err.Error()) > 10_000 {
				t.Errorf("%d bytes of complaint", len(err.Error()))
			}
		})
	}
}

func TestLoad(t *testing.T) {
	if _, err := Load(filepath.Join(t.TempDir(), "none.toml")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v", err)
	}
	path := filepath.Join(t.TempDir(), "broken.toml")
	if err := os.WriteFile(path, []byte("format = 2"), 0o644); err != nil {
		t.Fatal(err)
	}
	var problems *Problems
	if _, err := Load(path); !errors.As(err, &problems) || problems.List[0].File != path {
		t.Errorf("got %v", err)
	}
}

// The line index finds keys wherever TOML lets them stand.
func TestLines(t *testing.T) {
	text := `# comment with [brackets] and = signs
top = "a # b" # c
text = """
[not.a.table]
x = 1
""" 
'quoted' = 'it''
[ supply ]
  volts = 1
[[coil]]
id = "A"
at = [
  1, # one
  2,
]
[[coil]]
inline = { a = 1, b = [3, 4] }
id = "B"
dotted . key = 1
`
	lines, deep := indexLines(text)
	if deep != 0 {
		t.Errorf("too deep on line %d", deep)
	}
	for key, want := range map[string]int{
		"top": 2, "text": 3, "quoted": 7, "supply": 8, "supply.volts": 9, "coil": 10, "coil[0]": 10, "coil[0].id": 11,
		"coil[0].at": 12, "coil[0].at[0]": 13, "coil[0].at[1]": 14, "coil[1]": 16, "coil[1].inline": 17, "coil[1].inline.b[1]": 17,
		"coil[1].id": 18, "coil[1].dotted.key": 19,
	} {
		if got := lines[key]; got != want {
			t.Errorf("%s: line %d, want %d", key, got, want)
		}
	}
	if _, ok := lines["x"]; ok {
		t.Error("a key within a text counts")
	}
}

func TestWriteReadsBack(t *testing.T) {
	p, err := Parse("full.toml", []byte(full))
	if err != nil {
		t.Fatal(err)
	}
	sameAfterWriting(t, p)
}

// sameAfterWriting fails when a plan does not survive being written and read,
// to the last bit.
func sameAfterWriting(t testing.TB, p *Plan) {
	t.Helper()
	var out, again bytes.Buffer
	if err := p.Write(&out); err != nil {
		t.Fatal(err)
	}
	q, err := Parse("written.toml", out.Bytes())
	if q == nil {
		t.Fatalf("%v in\n%s", err, out.String())
	}
	// NaN, the gauge of a wire given by diameter, is equal to nothing: compare
	// what is printed, which tells every bit of a float.
	if a, b := fmt.Sprintf("%+v", *p), fmt.Sprintf("%+v", *q); a != b {
		t.Fatalf("written as\n%s\nbecame\n%s\nin\n%s", a, b, out.String())
	}
	if err := q.Write(&again); err != nil || again.String() != out.String() {
		t.Fatalf("written twice, read differently: %v\n%s\n%s", err, out.String(), again.String())
	}
}
