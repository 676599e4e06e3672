package verdict_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/field/verdict"
	"polewise/layout"
)

// smallCoils are coils so small that a sensor 5 cm from the mark reads hardly
// anything of them.
const smallCoils = `format = 1
name = "small coils"
[supply]
volts = 1.5
[[winding]]
id = "small"
shape = "round"
inner = 36
turns = 40
build = 5
width = 6
wire_awg = 24
[[coil]]
id = "A1"
winding = "small"
at = [40, 40]
[[coil]]
id = "A2"
winding = "small"
at = [140, 40]
[[coil]]
id = "A3"
winding = "small"
at = [240, 40]
[[string]]
id = "A"
coils = ["A1", "A2", "A3"]
`

// TestNextMovesTheSensorOverTheCoil: a reading beside a coil tells little of it;
// what is asked for next is the one with the sensor over it.
func TestNextMovesTheSensorOverTheCoil(t *testing.T) {
	p, err := layout.Parse("small.toml", []byte(smallCoils))
	if err != nil {
		t.Fatal(err)
	}
	o := rehearsal.Defaults()
	o.Rest, o.OffsetMM, o.TellOffsetMM = rehearsal.RestHolds, &[2]float64{15, 52}, 3
	moved := 0
	for seed := range uint64(8) {
		o.Seed = seed
		m, err := verdict.Warm(p)
		if err != nil {
			t.Fatal(err)
		}
		v, err := m.Judge(capturesOf(p, o)...)
		if err != nil {
			t.Fatal(err)
		}
		if v.Outcome != verdict.Undecided {
			continue
		}
		if v.Next == nil {
			t.Fatalf("seed %d: undecided, and nothing asked for", seed)
		}
		if v.Next.ShiftMM == nil {
			t.Errorf("seed %d: asked for %+v", seed, v.Next)
			continue
		}
		moved++
		if d := math.Hypot(v.Next.ShiftMM[0]+15, v.Next.ShiftMM[1]+52); d > 8 {
			t.Errorf("seed %d: mark to be moved by %v, expected about [-15 -52]", seed, v.Next.ShiftMM)
		}
		if !strings.Contains(v.Next.Why, "to the left of and") || !strings.Contains(v.Next.Why, "on your side of the middle of "+v.Next.At) {
			t.Errorf("seed %d: %s", seed, v.Next.Why)
		}
	}
	if moved == 0 {
		t.Error("no case was undecided")
	}
}

// TestNextOfATurnedPhone: how the phone is to be moved is worked out as it lay last;
// turned by half, that has to be said.
func TestNextOfATurnedPhone(t *testing.T) {
	p, err := layout.Parse("small.toml", []byte(smallCoils))
	if err != nil {
		t.Fatal(err)
	}
	o := rehearsal.Defaults()
	o.Rest, o.OffsetMM, o.TellOffsetMM, o.TopDeg = rehearsal.RestHolds, &[2]float64{15, 52}, 3, 180
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	asked := 0
	for seed := range uint64(8) {
		o.Seed = seed
		v, err := m.Judge(capturesOf(p, o)...)
		if err != nil {
			t.Fatal(err)
		}
		if v.Next == nil || v.Next.Route == "ohms" {
			continue
		}
		asked++
		if v.Next.TopDeg == nil {
			t.Errorf("seed %d: asked for %+v, which is read with the top edge away", seed, v.Next)
			continue
		}
		if s := v.Next.ShiftMM; s != nil && (math.Abs(*v.Next.TopDeg) < 170 || math.Hypot(s[0]-15, s[1]-52) > 8) {
			t.Errorf("seed %d: top edge at %g, mark to be moved by %v; expected 180 and about [15 52]", seed, *v.Next.TopDeg, s)
		}
	}
	if asked == 0 {
		t.Error("no case was undecided")
	}
}

// TestNextAsksForOhms: over a coil that is shorted its neighbours turn the needle the other
// way. Read again it shows the same again, and that is no proof that the coil itself faces the
// wrong way; whether it is whole a needle cannot tell.
func TestNextAsksForOhms(t *testing.T) {
	p := kennel(t)
	o := careful(3, layout.Fault{Kind: layout.CoilShorted, ID: "B2"})
	o.Route, o.Ohms = capture.Hand, false
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	c := capturesOf(p, o)[0]
	var face capture.Face
	for _, l := range c.Lines {
		if r, ok := l.(capture.Reading); ok && r.Coil == "B2" {
			face = r.Face
		}
	}
	if face != capture.South {
		t.Fatalf("over B2 the needle shows %q; this test is about one turned by its neighbours", face)
	}
	for more := range 4 {
		v, err := m.Judge(c)
		if err != nil {
			t.Fatal(err)
		}
		b2 := v.Coils[p.CoilIndex("B2")]
		if b2.State != verdict.StateUndecided {
			t.Fatalf("B2, which is dead, is called %s after %d more readings: %v", b2.State, more, b2.P)
		}
		if v.Next == nil || v.Next.At != "B2" {
			t.Fatalf("B2 %v, asked for %+v", b2.P, v.Next)
		}
		if v.Next.Route == "ohms" {
			return
		}
		c.Lines, c.Numbers = append(c.Lines, capture.Reading{T: 1e4 + float64(more), Coil: "B2", Face: face}), append(c.Numbers, 0)
	}
	t.Error("no ohms are asked for")
}

// TestNeedleSaysNothingOfJoins: faces by needle and the strings' ohms are the same where
// two strings are one after the other. As long as the pad's own ohms were not read a pad
// that is told as planned is told that too.
func TestNeedleSaysNothingOfJoins(t *testing.T) {
	p := grid(3, 2)
	cur, err := p.Solve()
	if err != nil {
		t.Fatal(err)
	}
	lines := `{"type":"start","v":1,"route":"hand"}` + "\n"
	for range 2 { // once is not enough for a needle
		for i := range p.Coils {
			lines += fmt.Sprintf(`{"type":"reading","t":%d,"at":%q,"face":"north"}`+"\n", i+1, p.Coils[i].ID)
		}
	}
	for i := range p.Strings {
		lines += fmt.Sprintf(`{"type":"ohms","t":50,"across":"string:%s","ohms":%.3f,"celsius":20}`+"\n", p.Strings[i].ID, cur.StringOhms[i])
	}
	pad := fmt.Sprintf(`{"type":"ohms","t":60,"across":"pad","ohms":%.3f,"celsius":20}`+"\n", cur.PadOhms)
	for _, tc := range []struct {
		lines string
		told  bool
	}{{lines, true}, {lines + pad, false}} {
		c, err := capture.Read(strings.NewReader(tc.lines))
		if err != nil {
			t.Fatal(err)
		}
		v, err := verdict.Judge(p, c)
		if err != nil {
			t.Fatal(err)
		}
		told := slices.ContainsFunc(v.Notes, func(n string) bool { return strings.Contains(n, "one after the other") })
		if v.Outcome != verdict.AsPlanned || told != tc.told {
			t.Errorf("%s, notes %q; expected as-planned, and the joins spoken of %v", v.Outcome, v.Notes, tc.told)
		}
	}
}

// TestNextByHandComesToAnEnd: faces read by needle, as planned. What is asked for
// next, done each time, leads to a verdict, and no reading is asked for that tells
// nothing: at last how the strings are joined is told by the ohms of the pad.
func TestNextByHandComesToAnEnd(t *testing.T) {
	p := kennel(t)
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	cur, err := p.Solve()
	if err != nil {
		t.Fatal(err)
	}
	lines := `{"type":"start","v":1,"route":"hand"}` + "\n"
	for i := range p.Coils {
		lines += fmt.Sprintf(`{"type":"reading","t":%d,"at":%q,"face":"north"}`+"\n", i+1, p.Coils[i].ID)
		lines += fmt.Sprintf(`{"type":"ohms","t":%d,"across":"coil:%s","ohms":%.2f,"celsius":20}`+"\n", i+1, p.Coils[i].ID, cur.CoilOhms[i])
	}
	var asked []string
	for more := 0; ; more++ {
		c, err := capture.Read(strings.NewReader(lines))
		if err != nil {
			t.Fatal(err)
		}
		v, err := m.Judge(c)
		if err != nil {
			t.Fatal(err)
		}
		if v.Outcome == verdict.AsPlanned {
			break
		}
		if v.Next == nil || more == 6 {
			t.Fatalf("%s after %v, asked for %+v", v.Outcome, asked, v.Next)
		}
		asked = append(asked, v.Next.At+" "+v.Next.Route+" "+v.Next.Across)
		at := 100 + more
		switch n := v.Next; {
		case n.Across == "pad":
			lines += fmt.Sprintf(`{"type":"ohms","t":%d,"across":"pad","ohms":%.2f,"celsius":20}`+"\n", at, cur.PadOhms)
		case n.Across != "":
			lines += fmt.Sprintf(`{"type":"ohms","t":%d,"across":%q,"ohms":%.2f,"celsius":20}`+"\n", at, n.Across, cur.StringOhms[0])
		case n.Route == "ohms":
			lines += fmt.Sprintf(`{"type":"ohms","t":%d,"across":"coil:%s","ohms":%.2f,"celsius":20}`+"\n", at, n.At, cur.CoilOhms[p.CoilIndex(n.At)])
		default:
			lines += fmt.Sprintf(`{"type":"reading","t":%d,"at":%q,"face":"north"}`+"\n", at, n.At)
		}
	}
	if len(asked) == 0 || !strings.HasSuffix(asked[len(asked)-1], "ohms pad") {
		t.Errorf("asked for %v; expected the ohms of the pad at last", asked)
	}
}

// TestNextAfterOhmsAlone: measured from end to end, as planned; and no face known.
func TestNextAfterOhmsAlone(t *testing.T) {
	p := kennel(t)
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	lines := `{"type":"start","v":1,"route":"hand"}` + "\n" + `{"type":"ohms","t":1,"across":"pad","ohms":0.98,"celsius":20}` + "\n"
	c, err := capture.Read(strings.NewReader(lines))
	if err != nil {
		t.Fatal(err)
	}
	v, err := m.Judge(c)
	if err != nil {
		t.Fatal(err)
	}
	if v.Outcome != verdict.Undecided || v.Next == nil || v.Next.Why != "Ohms do not tell which way a coil faces. Read A1 with a phone, or with a needle." {
		t.Errorf("%s, asked for %+v", v.Outcome, v.Next)
	}
}

// TestNextWhereNothingFlows: with strings in series one open joint stops every coil, and
// the field says no more than that. The ohmmeter finds it, string by string.
func TestNextWhereNothingFlows(t *testing.T) {
	text := `format = 1
name = "in series"
[supply]
volts = 6
[[winding]]
id = "r"
shape = "round"
inner = 80
turns = 50
build = 6
width = 8
wire_awg = 22
`
	for i, id := range []string{"A1", "A2", "B1", "B2", "C1", "C2"} {
		text += fmt.Sprintf("[[coil]]\nid = %q\nwinding = \"r\"\nat = [%d, %d]\n", id, 60+110*(i%2), 60+110*(i/2))
	}
	for _, s := range []string{"A", "B", "C"} {
		text += fmt.Sprintf("[[string]]\nid = \"S%s\"\ncoils = [\"%s1\", \"%s2\"]\n", s, s, s)
	}
	text += "[[group]]\nid = \"all\"\njoin = \"series\"\nof = [\"SA\", \"SB\", \"SC\"]\n"
	p, err := layout.Parse("series", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	cur, err := p.Solve()
	if err != nil {
		t.Fatal(err)
	}
	o := careful(5, layout.Fault{Kind: layout.StringOpen, ID: "SB"})
	o.Ohms = false
	made, err := rehearsal.Make(p, o)
	if err != nil {
		t.Fatal(err)
	}
	lines := made.Lines
	var asked []string
	found := false
	for len(asked) < 5 && !found {
		v := judgedMade(t, p, lines)
		if v.Next == nil {
			if v.Outcome != verdict.Fault || v.Causes[0].P < 0.9 || v.Causes[0].Faults[0].ID != "SB" {
				t.Errorf("after %v: %s, %+v", asked, v.Outcome, v.Causes)
			}
			found = true
			continue
		}
		asked = append(asked, v.Next.Across)
		o := capture.Ohms{T: 200 + float64(len(asked)), Across: v.Next.Across}
		if v.Next.Across != "pad" && v.Next.Across != "string:SB" {
			o.Ohms = &cur.StringOhms[0]
		}
		lines = append(lines, o)
	}
	if !found || len(asked) == 0 { // by the ohms of SB, or of all the others
		t.Errorf("asked for %v, and SB is not known to be open", asked)
	}
}

// TestNextWithEveryCoilClaimed: a sound pad read once with the sensor over the windings.
// Each coil by itself is claimed, and one among them may still have lost turns. A
// reading with the sensor over the middle, or an ohmmeter, tells; to read once more as
// before does not, and is not asked for.
func TestNextWithEveryCoilClaimed(t *testing.T) {
	p := kennel(t)
	o := rehearsal.Defaults()
	o.OffsetMM, o.Rest = &[2]float64{16, 54}, rehearsal.RestHolds
	cases := 0
	for seed := range uint64(5) {
		o.Seed = 8 + seed
		v, err := verdict.Judge(p, capturesOf(p, o)...)
		if err != nil {
			t.Fatal(err)
		}
		if v.Outcome != verdict.Undecided || slices.ContainsFunc(v.Coils, func(c verdict.Coil) bool { return c.State != verdict.StateAsPlanned }) {
			continue
		}
		cases++
		if v.Next == nil || v.Next.ShiftMM == nil && v.Next.TopDeg == nil && v.Next.Route != "ohms" {
			t.Errorf("seed %d: asked for %+v", o.Seed, v.Next)
		}
	}
	if cases == 0 {
		t.Error("no case had every coil claimed and the pad open")
	}
}

// TestNextBesideACoil: what is asked for of a compass is a place for its mark from which its
// sensor comes to lie over the winding, where the coil turns the needle.
func TestNextBesideACoil(t *testing.T) {
	p := kennel(t)
	m, err := verdict.Warm(p)
	if err != nil {
		t.Fatal(err)
	}
	asked := 0
	for seed := range uint64(20) {
		o := passing(seed, layout.Fault{Kind: layout.CoilShorted, ID: "B2"})
		o.Passes, o.Route = false, capture.Heading
		v, err := m.Judge(capturesOf(p, o)...)
		if err != nil {
			t.Fatal(err)
		}
		n := v.Next
		if n == nil || n.Route == "ohms" {
			continue
		}
		if len(n.ShiftMM) != 2 {
			t.Fatalf("seed %d: asked for %+v, expected a place beside the coil", seed, n)
		}
		w := p.WindingOf(p.CoilIndex(n.At))
		// The sensor was told to sit within 3 mm, one standard deviation, of 2, 12 mm.
		from := math.Hypot(n.ShiftMM[0]+2, n.ShiftMM[1]+12)
		if inner, outer := w.InnerX*1e3/2-9, w.HalfExtent().X*1e3+9; from < inner || from > outer {
			t.Errorf("seed %d: %+v puts the sensor %.0f mm from the middle, expected it over the winding, %.0f to %.0f", seed, n, from, inner+9, outer-9)
		}
		asked++
	}
	if asked == 0 {
		t.Error("no place beside a coil was asked for")
	}
}

// TestFacesOfOneCoilSpeakTogether: a face read again over one coil is no further reason. What
// the readings over it say together is told once.
func TestFacesOfOneCoilSpeakTogether(t *testing.T) {
	m, err := verdict.Warm(kennel(t))
	if err != nil {
		t.Fatal(err)
	}
	c, err := capture.Read(strings.NewReader(`{"type":"start","v":1,"route":"hand"}
{"type":"reading","t":1,"at":"A1","face":"south"}
{"type":"reading","t":2,"at":"A2","face":"north"}
{"type":"reading","t":3,"at":"A1","face":"south"}
{"type":"reading","t":4,"at":"A2","face":"none"}
`))
	if err != nil {
		t.Fatal(err)
	}
	_, why, err := m.Explain(c)
	if err != nil {
		t.Fatal(err)
	}
	var told []string
	for _, r := range why.Carried {
		told = append(told, r.Reading)
	}
	slices.Sort(told)
	if want := []string{"north and none read by hand on A2", "south read by hand on A1"}; !slices.Equal(told, want) {
		t.Errorf("carried by %q, expected %q", told, want)
	}
}
