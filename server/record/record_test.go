package record

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"polewise/assets"
	"polewise/assets/demotest"
	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/field/verdict"
	"polewise/layout"
	"polewise/server/testplan"
)

// made is a record of a made-up check of a demo pad.
func made(t *testing.T, demo string, seed uint64, change func(*rehearsal.Options)) (*Record, *layout.Plan) {
	t.Helper()
	plan := demotest.Plan(t, demo)
	d, _ := assets.DemoNamed(demo)
	o := rehearsal.Defaults()
	o.Seed, o.Rest, o.TellOffsetMM, o.OffsetMM, o.Ohms = seed, rehearsal.RestHolds, 4, &[2]float64{2, 18}, true
	if change != nil {
		change(&o)
	}
	m, err := rehearsal.Make(plan, o)
	if err != nil {
		t.Fatal(err)
	}
	c, err := capture.FromLines(m.Lines)
	if err != nil {
		t.Fatal(err)
	}
	v, err := verdict.Judge(plan, c)
	if err != nil {
		t.Fatal(err)
	}
	r, err := Collect(plan, string(d.TOML), v, []Source{{ID: "main", Captures: []*capture.Capture{c}}})
	if err != nil {
		t.Fatal(err)
	}
	if err := r.AddMap(t.Context(), plan); err != nil {
		t.Fatal(err)
	}
	r.Signed, r.Check = "2024-05-01T12:00:00Z", Check{ID: "c0ffee", Began: "2024-05-01T11:40:00Z"}
	r.Maker, r.Serial = "AB", "17"
	return r, plan
}

func htmlOf(t *testing.T, r *Record) string {
	t.Helper()
	_, sum, err := r.Encode()
	if err != nil {
		t.Fatal(err)
	}
	page, err := r.HTML(sum)
	if err != nil {
		t.Fatal(err)
	}
	if dir := os.Getenv("POLEWISE_ARTEFACTS"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, strings.ReplaceAll(t.Name(), "/", "-")+".html"), page, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return string(page)
}

// What is read back is what was written, and so is the page made of it.
func TestRecordComesBack(t *testing.T) {
	r, _ := made(t, "kennel", 1, nil)
	text, sum, err := r.Encode()
	if err != nil {
		t.Fatal(err)
	}
	back, err := Decode(text)
	if err != nil {
		t.Fatal(err)
	}
	again, sum2, err := back.Encode()
	if err != nil || sum2 != sum || !bytes.Equal(again, text) {
		t.Errorf("written again it differs: %v", err)
	}
	if htmlOf(t, r) != htmlOf(t, back) {
		t.Error("the page made of it differs")
	}
}

// The file stands alone: no script, nothing from elsewhere; it carries sum, names
// and cautions.
func TestHTMLStandsAlone(t *testing.T) {
	r, _ := made(t, "kennel", 1, nil)
	r.Note, r.Maker = `<script>alert("x")</script> & "quotes"`, `<b>AB</b>`
	page := htmlOf(t, r)
	_, sum, _ := r.Encode()
	for _, s := range []string{sum, `Serial number<b dir="auto">17`, "c0ffee", "2024-05-01 12:00 UTC", "&lt;script&gt;alert(", "&lt;b&gt;AB&lt;/b&gt;", "pacemakers", "Every coil is claimed as planned"} {
		if !strings.Contains(page, s) {
			t.Errorf("the page lacks %q", s)
		}
	}
	for _, bad := range []string{"<script", "<link", "<iframe", "@import", "url(", "onload="} {
		if strings.Contains(strings.ToLower(page), bad) {
			t.Errorf("the page has %q", bad)
		}
	}
	for _, m := range regexp.MustCompile(`(?i)(?:src|href)\s*=\s*"([^"]{0,40})`).FindAllStringSubmatch(page, -1) {
		if !strings.HasPrefix(m[1], "data:image/png") {
			t.Errorf("the page points elsewhere: %q", m[1])
		}
	}
	if n := len(page); n > 200<<10 {
		t.Errorf("%d bytes", n)
	}
}

// Of a coil that was not claimed so, the record never says "as planned".
func TestNeverSaysMoreThanClaimed(t *testing.T) {
	r, plan := made(t, "kennel", 2, func(o *rehearsal.Options) {
		o.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "B2"}}
	})
	r.Verdict.Coils[0].State = verdict.StateUndecided
	r.Verdict.Coils[2].Used = 0 // inferred from the others only
	open := OpenOf(plan, r.Verdict, r.Ohms, nil)
	if len(open.Coils) != 3 {
		t.Fatalf("open: %+v", open)
	}
	r.Exception = &Exception{Reason: "Goes into the test bed only.", Open: open}
	page := htmlOf(t, r)
	for _, s := range []string{"Signed off with a written exception", "Goes into the test bed only.", "A1 (undecided)", "A3 (not read)", "B2 (reversed)"} {
		if !strings.Contains(page, s) {
			t.Errorf("the page lacks %q", s)
		}
	}
	if strings.Contains(page, "Every coil is claimed") {
		t.Error("the page claims every coil")
	}
	rows := regexp.MustCompile(`(?s)<tr data-coil="([^"]+)">.*?</tr>`).FindAllStringSubmatch(page, -1)
	if len(rows) != len(r.Verdict.Coils) {
		t.Fatalf("%d rows", len(rows))
	}
	said := 0
	for _, row := range rows {
		says := strings.Contains(row[0], "as planned")
		if claimed := Claim(r.coil(row[1])) == verdict.StateAsPlanned; says != claimed {
			t.Errorf("%s: says as planned %v, claimed %v", row[1], says, claimed)
		}
		if says {
			said++
		}
	}
	if !strings.Contains(page, "9: 6 as planned, 1 reversed, 1 undecided, 1 not read") || said != 6 {
		t.Errorf("%d rows say as planned", said)
	}
}

// A size at odds with its claim is marked, on the first page and in the table.
func TestOddSizesAreMarked(t *testing.T) {
	r, _ := made(t, "kennel", 1, nil)
	if page := htmlOf(t, r); strings.Contains(page, "does not fit") {
		t.Error("a size is said not to fit where all do")
	}
	*r.Verdict.Coils[4].MeasuredUT = -0.4 * r.Verdict.Coils[4].ExpectedUT
	page := htmlOf(t, r)
	row := regexp.MustCompile(`(?s)<tr data-coil="B2">.*?</tr>`).FindString(page)
	if !strings.Contains(page, "1 with a size that does not fit by itself") || !strings.Contains(row, " *</td>") {
		t.Errorf("not marked: %s", row)
	}
}

// Nothing changed is told as nothing; a coil turned over and ohms that moved are
// told, and only those.
func TestChanges(t *testing.T) {
	signed, _ := made(t, "kennel", 3, nil)
	moved, said := 0, []Change{}
	const again = 12
	for seed := range uint64(again) {
		later, _ := made(t, "kennel", 100+seed, nil)
		moved += len(later.Verdict.Coils)
		said = append(said, Changes(signed, later)...)
	}
	// Three sd: one in some hundreds, and the claim may fall under its bound.
	if len(said) > 3 {
		t.Errorf("%d changes told of %d coils with nothing changed: %v", len(said), moved, said)
	}
	// A hold in which the phone re-zeroed itself, and which the verdict left aside,
	// is no change of the coil.
	aside, _ := made(t, "kennel", 3, nil)
	*aside.Verdict.Coils[4].MeasuredUT = -0.4 * aside.Verdict.Coils[4].ExpectedUT
	if c := Changes(signed, aside); len(c) > 0 {
		t.Errorf("told: %v", c)
	}
	*aside.Verdict.Coils[4].MeasuredUT = 0.55 * aside.Verdict.Coils[4].ExpectedUT
	if c := Changes(signed, aside); len(c) != 1 || c[0].Of != "B2" {
		t.Errorf("a coil at little more than half is told as %v", c)
	}
	later, _ := made(t, "kennel", 55, func(o *rehearsal.Options) { o.Faults = []layout.Fault{{Kind: layout.CoilReversed, ID: "C1"}} })
	for i := range later.Ohms {
		if later.Ohms[i].Across == "string:A" {
			*later.Ohms[i].Ohms *= 1.4
		}
	}
	of := map[string]bool{}
	for _, c := range Changes(signed, later) {
		of[c.Of] = true
	}
	if len(of) != 2 || !of["C1"] || !of["string:A"] {
		t.Errorf("changes of %v", of)
	}
	// That it turned is told once, and not by its size as well.
	for _, c := range Changes(signed, later) {
		if c.Of == "C1" && c.Say != "C1 was claimed as planned; now it is claimed reversed." {
			t.Error(c.Say)
		}
	}
}

// A check after a mend says so, and what was mended.
func TestMendStandsOnTheRecord(t *testing.T) {
	r, _ := made(t, "kennel", 1, nil)
	r.Check.After, r.Check.Mend = "beef00", []verdict.Mend{{Do: "flip", ID: "B2"}, {Do: "swap-string", ID: "A"}, {Do: "remake-joint", ID: "B"}, {Do: "remake-joint", ID: "C1"}, {Do: "rejoin", ID: "C"}, {Do: "replace", ID: "C2"}}
	page := htmlOf(t, r)
	for _, s := range []string{", after a mend", "goes on from check beef00", "coil B2 turned over or its leads swapped; the ends of string A swapped; the joint of string B made anew; a joint or short of coil C1 mended; string C joined as planned; coil C2 replaced"} {
		if !strings.Contains(page, s) {
			t.Errorf("the page lacks %q", s)
		}
	}
}

// North is said in the maker's own words, while the JSON keeps to one meaning:
// the face that the field comes out of.
func TestNorthInTheMakersWords(t *testing.T) {
	r, _ := made(t, "kennel", 1, nil)
	uT := 410.0
	r.Readings = append(r.Readings, Reading{Kind: "hand", Source: "main", At: []string{"A1"}, Samples: 1, Face: "north", UT: &uT}, Reading{Kind: "hand", Source: "main", At: []string{"A2"}, Samples: 1, Face: "none"})
	plain, _, err := r.Encode()
	if err != nil {
		t.Fatal(err)
	}
	const head = `<th class="l" scope="col">%s</th><th class="l" scope="col">claim</th>`
	for _, c := range []struct {
		outFace  string
		has, not []string
	}{
		{"", []string{fmt.Sprintf(head, "north"), "some makers call it south", "north faces up, 410 uT", "toward the reader, north up;"}, []string{"the maker&#39;s", "the maker calls"}},
		{"north", []string{fmt.Sprintf(head, "north"), "the maker calls it so", "north faces up, 410"}, []string{"south"}},
		{"south", []string{fmt.Sprintf(head, "north (the maker&#39;s south)"), "the maker calls it south", "North up on this record is the maker&#39;s south up", "north (the maker&#39;s south) faces up, 410", "toward the reader, north (the maker&#39;s south) up;"}, []string{"some makers"}},
	} {
		r.OutFace = c.outFace
		page := htmlOf(t, r)
		for _, s := range append(c.has, "no face</td>", `class="l">up</td>`) {
			if !strings.Contains(page, s) {
				t.Errorf("called %q: the page lacks %q", c.outFace, s)
			}
		}
		for _, s := range c.not {
			if strings.Contains(page, s) {
				t.Errorf("called %q: the page has %q", c.outFace, s)
			}
		}
		// Nothing else of the JSON differs, and the page comes back from it alone.
		text, _, err := r.Encode()
		if err != nil {
			t.Fatal(err)
		}
		back, err := Decode(text)
		if err != nil {
			t.Fatal(err)
		}
		if htmlOf(t, back) != page {
			t.Errorf("called %q: the page made of the JSON differs", c.outFace)
		}
		back.OutFace = ""
		if again, _, err := back.Encode(); err != nil || !bytes.Equal(again, plain) {
			t.Errorf("called %q: the JSON differs in more than the maker's word, %v", c.outFace, err)
		}
	}
}

// What a compass read stands on the record: no other reading tells of its coil.
func TestCompassStandsOnTheRecord(t *testing.T) {
	r, _ := made(t, "kennel", 1, func(o *rehearsal.Options) { o.Route = capture.Heading })
	m := r.Readings[0]
	if m.OffDeg == nil || m.OnDeg == nil {
		t.Fatalf("of the first hold: %+v", m)
	}
	page := htmlOf(t, r)
	for _, s := range []string{fmt.Sprintf("%.0f° off, %.0f° on</td>", *m.OffDeg, *m.OnDeg), `data-h="measured uT">by compass</td>`, "of a compass: where it settled"} {
		if !strings.Contains(page, s) {
			t.Errorf("the page lacks %q", s)
		}
	}
	if raw, _ := made(t, "kennel", 1, nil); strings.Contains(htmlOf(t, raw), "compass") {
		t.Error("the page of readings of the field speaks of a compass")
	}
}

// Every row of every table has a cell under each of its heads.
func TestColumnsStandUnderTheirHeads(t *testing.T) {
	r, _ := made(t, "kennel", 1, nil)
	uT := 410.0
	r.Readings = append(r.Readings, Reading{Kind: "hand", At: []string{"A1"}, Samples: 1, Face: "north", UT: &uT}, Reading{Kind: "pass", At: []string{"A1", "A2"}, Samples: 40}, Reading{Kind: "hold", At: []string{"A3"}, Samples: 9})
	cell, wide := regexp.MustCompile(`<t[hd]\b[^>]*>`), regexp.MustCompile(`colspan="(\d+)"`)
	tables := regexp.MustCompile(`(?s)<table>.*?</table>`).FindAllString(htmlOf(t, r), -1)
	if len(tables) != 3 {
		t.Fatalf("%d tables", len(tables))
	}
	for _, table := range tables {
		want := 0
		for i, row := range regexp.MustCompile(`(?s)<tr.*?</tr>`).FindAllString(table, -1) {
			n := 0
			for _, c := range cell.FindAllString(row, -1) {
				n++
				if m := wide.FindStringSubmatch(c); m != nil {
					more, err := strconv.Atoi(m[1])
					if err != nil {
						t.Fatal(err)
					}
					n += more - 1
				}
			}
			if i == 0 {
				want = n
			}
			if n != want {
				t.Errorf("%d columns under %d heads: %s", n, want, row)
			}
		}
	}
}

// TestRecordOfTwoHundredCoils makes the record of a pad of two hundred
// coils, of the shape whose field takes longest. It takes a tenth of a second, which
// is why it shows no progress and cannot be stopped; a second would want both.
func TestRecordOfTwoHundredCoils(t *testing.T) {
	text := testplan.Many(10, testplan.Rectangle)
	plan, err := layout.Parse("large.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	o := rehearsal.Defaults()
	o.Seed = 1
	made, err := rehearsal.Make(plan, o)
	if err != nil {
		t.Fatal(err)
	}
	c, err := capture.FromLines(made.Lines)
	if err != nil {
		t.Fatal(err)
	}
	v := &verdict.Verdict{Outcome: verdict.AsPlanned}
	for _, coil := range plan.Coils {
		v.Coils = append(v.Coils, verdict.Coil{ID: coil.ID, State: verdict.StateAsPlanned, P: map[verdict.State]float64{verdict.StateAsPlanned: 0.999}, Used: 1})
	}
	build := func() (r *Record, page []byte, took time.Duration) {
		began := time.Now()
		r, err := Collect(plan, text, v, []Source{{ID: "phone", Captures: []*capture.Capture{c}}})
		if err != nil {
			t.Fatal(err)
		}
		if err := r.AddMap(t.Context(), plan); err != nil {
			t.Fatal(err)
		}
		_, sum, err := r.Encode()
		if err != nil {
			t.Fatal(err)
		}
		if page, err = r.HTML(sum); err != nil {
			t.Fatal(err)
		}
		return r, page, time.Since(began)
	}
	most := time.Second
	if underRace() {
		most *= 15
	}
	r, page, took := build()
	for range 4 { // the machine may be busy with something else
		if took > most {
			_, _, took = build()
		}
	}
	t.Logf("a record of %d coils with %d readings took %v; its page has %d bytes", len(r.Coils), len(r.Readings), took, len(page))
	if took > most || len(r.Coils) != 200 || len(r.Readings) < 200 {
		t.Errorf("a record of %d coils with %d readings took %v, expected %v at most", len(r.Coils), len(r.Readings), took, most)
	}
}

// underRace tells whether the tests look for races, which slows everything down.
func underRace() bool {
	info, ok := debug.ReadBuildInfo()
	return ok && slices.Contains(info.Settings, debug.BuildSetting{Key: "-race", Value: "true"})
}

// TestOhmsRoundedOnce: planned ohms stand on the record as everywhere else. Rounded to
// thousandths first, these came to another last digit.
func TestOhmsRoundedOnce(t *testing.T) {
	for x, want := range map[float64]string{0.97451: "0.97", 2.934996: "2.93", 1.044961: "1.04", 0.9856: "0.99"} {
		if got := ohmWords(micro(x)); got != want {
			t.Errorf("%g ohm stands as %s, expected %s", x, got, want)
		}
	}
}

// TestReadingsWithTheSupplyOn: a hold with its own rest stands on the record by what it
// read with the supply on. The background is in that, 70 uT at most.
func TestReadingsWithTheSupplyOn(t *testing.T) {
	r, _ := made(t, "kennel", 3, nil)
	seen := 0
	for _, m := range r.Readings {
		if m.Kind != "hold" {
			continue
		}
		seen++
		if read := *r.coil(m.At[0]).MeasuredUT; math.Abs(m.MeanUT[2]-read) > 100 {
			t.Errorf("%s: %.0f uT stands as read, %.0f is what the verdict took from it", m.At[0], m.MeanUT[2], read)
		}
	}
	if seen != 9 {
		t.Errorf("%d holds", seen)
	}
}

// TestNamesFit: a name in the drawing is no wider than its coil, and keeps its ends.
func TestNamesFit(t *testing.T) {
	for _, name := range []string{"A1", "left-7", "Longest-name_of-a-coil-32-chars1"} {
		short, letter := fitName(name, 0.5, 1.8)
		wide := 0.62 * letter * float64(len([]rune(short)))
		if wide > 1.8+1e-9 || letter < 0.35-1e-9 || short[:1] != name[:1] || short[len(short)-1:] != name[len(name)-1:] {
			t.Errorf("%s: drawn as %s, %.2f high and %.2f wide", name, short, letter, wide)
		}
	}
	if short, letter := fitName("A1", 0.5, 1.8); short != "A1" || letter != 0.5 {
		t.Errorf("A1: drawn as %s, %.2f high", short, letter)
	}
}

// TestChangesByBothErrors: what counts as moved hangs on the errors of both readings,
// and ohms are compared as they would be at 20 C.
func TestChangesByBothErrors(t *testing.T) {
	record := func(read, sd, ohms, celsius float64) *Record {
		return &Record{
			Coils:   []Coil{{ID: "A1", ErrorUT: sd}},
			Verdict: &verdict.Verdict{Coils: []verdict.Coil{{ID: "A1", State: verdict.StateAsPlanned, Used: 1, MeasuredUT: &read, ExpectedUT: 100}}},
			Ohms:    []Ohm{{Across: "pad", Ohms: &ohms, Celsius: &celsius, Counts: true}},
		}
	}
	for _, c := range []struct {
		signed, later *Record
		want          []string
	}{
		{record(100, 2, 10, 20), record(120, 2, 10, 20), []string{"A1"}}, // by 20 at 2.8
		{record(100, 2, 10, 20), record(120, 20, 10, 20), nil},
		{record(100, 20, 10, 20), record(120, 2, 10, 20), nil},
		// Copper has 0.393 percent more for each kelvin: 10.786 ohm at 40 C are 10 at 20.
		{record(100, 2, 10, 20), record(100, 2, 10.786, 40), nil},
		{record(100, 2, 10, 20), record(100, 2, 10, 40), []string{"pad"}},
	} {
		var of []string
		for _, change := range Changes(c.signed, c.later) {
			of = append(of, change.Of)
		}
		if fmt.Sprint(of) != fmt.Sprint(c.want) {
			t.Errorf("changes of %v, expected %v", of, c.want)
		}
	}
}

// A needle tells which way a coil faces and no size: the record's headline says so, and what
// is compared with it speaks of no size.
func TestNeedleTellsNoSize(t *testing.T) {
	r, _ := made(t, "kennel", 3, func(o *rehearsal.Options) { o.Route, o.HandMistakes = capture.Hand, 0 })
	text := htmlOf(t, r)
	for _, want := range []string{"Read by needle: which way each coil faces, not how strong it is.", ">by needle</td>"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page of a pad read by needle lacks %q", want)
		}
	}
	if n, sizes := Common(r, r); n != len(r.Verdict.Coils) || sizes != 0 {
		t.Errorf("compared with itself: %d coils, %d sizes", n, sizes)
	}
	phone, _ := made(t, "kennel", 3, nil)
	if text := htmlOf(t, phone); strings.Contains(text, "Read by needle") || strings.Contains(text, ">by needle<") {
		t.Error("the page of a pad read by phone speaks of a needle")
	}
	if n, sizes := Common(phone, phone); sizes != n {
		t.Errorf("read by phone: %d sizes of %d coils", sizes, n)
	}
}

// TestTurnsUnseenAreSaid: the ohms of the pad alone hardly show a coil that lost turns, and a
// needle does not; those of each coil do.
func TestTurnsUnseenAreSaid(t *testing.T) {
	phone, plan := made(t, "kennel", 3, nil)
	needle, _ := made(t, "kennel", 3, func(o *rehearsal.Options) { o.Route, o.HandMistakes = capture.Hand, 0 })
	c, err := plan.Solve()
	if err != nil {
		t.Fatal(err)
	}
	var pad, each []Ohm
	for _, m := range plan.Measurables(c) {
		warm, o := 20.0, Ohm{Across: m.Across, Ohms: &m.Ohms20, Counts: true, Agrees: true}
		o.Celsius = &warm
		if m.Across == "pad" {
			pad = append(pad, o)
		}
		each = append(each, o)
	}
	for _, tc := range []struct {
		name     string
		r        *Record
		ohms     []Ohm
		from, to int
	}{
		{"by phone, the pad", phone, pad, 20, 20},
		{"by needle, the pad", needle, pad, 30, 95},
		{"by phone, each coil", phone, each, 0, 0},
		{"by needle, each coil", needle, each, 0, 0},
	} {
		r := *tc.r
		r.Ohms, r.Exception = tc.ohms, nil
		got := TurnsUnseen(plan, r.Verdict, r.Ohms)
		if got < tc.from || got > tc.to {
			t.Errorf("%s: %d %% unseen, expected %d to %d", tc.name, got, tc.from, tc.to)
		}
		if said := strings.Contains(htmlOf(t, &r), "may be shorted all the same"); said != (got > 0) {
			t.Errorf("%s: said %v", tc.name, said)
		}
		r.Exception = &Exception{Reason: "a trial"}
		if strings.Contains(htmlOf(t, &r), "may be shorted all the same") {
			t.Errorf("%s: said of a pad that is signed with an exception", tc.name)
		}
	}
}

// The drawing marks where current enters every coil and names both ends of every string, and
// of a pad of coils too small for it says nothing of either.
func TestLeadsOnTheDrawing(t *testing.T) {
	r, plan := made(t, "kennel", 3, nil)
	l := leadsOf(plan, boxOf(plan))
	if len(l.plus) != len(plan.Coils) || len(l.ends) != 2*len(plan.Strings) {
		t.Fatalf("%d plus marks of %d coils, %d ends of %d strings", len(l.plus), len(plan.Coils), len(l.ends), len(plan.Strings))
	}
	for i, e := range l.ends {
		if want := plan.Strings[i/2].ID + []string{" +", " \u2212"}[i%2]; e.words != want {
			t.Errorf("end %d is named %q, expected %q", i, e.words, want)
		}
		for j := range plan.Coils {
			if d := math.Hypot(plan.Coils[j].At.X*1e3-e.to.X, plan.Coils[j].At.Y*1e3+e.to.Y); d < plan.WindingOf(j).HalfExtent().X*1e3 {
				t.Errorf("%s lies on coil %s", e.words, plan.Coils[j].ID)
			}
		}
	}
	if text := htmlOf(t, r); strings.Count(text, `class="mark" r="4.4"`) != len(plan.Coils) || !strings.Contains(text, "the lead where current enters it") {
		t.Error("the page lacks plus marks, or their meaning")
	}
	many, err := layout.Parse("many", []byte(testplan.Many(10, testplan.Round90)))
	if err != nil {
		t.Fatal(err)
	}
	if leadsOf(many, boxOf(many)) != nil {
		t.Error("200 coils have marks that nobody could read")
	}
}
