package record

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"
	"time"

	"polewise/field/verdict"
	"polewise/layout"
)

//go:embed record.html
var pageText string

//go:embed record.css
var styleText string

// Policy is the Content-Security-Policy under which the HTML file works: its own
// style, its own pictures, nothing else.
var Policy = func() string {
	sum := sha256.Sum256([]byte(styleText))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; img-src data:; base-uri 'none'; form-action 'none'"
}()

var page = template.Must(template.New("record").Funcs(template.FuncMap{
	"when": when, "chance": chance, "ut": microtesla, "ohms": ohmWords, "across": across, "claim": Claim, "claimed": claimWords, "celsius": celsius, "tenths": tenths, "axis": func(i int) string { return "xyz"[i : i+1] }, "short": short, "long": func(text string) bool { return emWide(text) > longSerial }, "s": plural, "place": place, "join": strings.Join, "compass": compassSay,
	"mark": func(s verdict.State) template.HTML { return template.HTML(glyph(s)) }, // of this package's own making
}).Parse(pageText))

// row is a coil in the table of details.
type row struct {
	Coil
	Claim verdict.Coil
	Best  float64 // the likeliest state's probability
	Odd   bool    // the measured field is at odds with the claim
	// By: "needle" or "compass", where nothing else was read of it; they tell no size.
	By string
}

// HTML writes the record as one self-contained file. Sum is that of its JSON.
func (r *Record) HTML(sum string) ([]byte, error) {
	if m := r.Map; m == nil || m.NX < 1 || m.NY < 1 || m.NX > 512 || m.NY > 512 || len(m.BzUT) != m.NX*m.NY || !(m.Step > 0) {
		return nil, fmt.Errorf("map: expected a grid of nx times ny fields")
	}
	plan, err := layout.Parse("plan", []byte(r.Plan.TOML))
	if err != nil {
		return nil, err
	}
	field, most, err := r.mapDrawing(plan)
	if err != nil {
		return nil, err
	}
	room, note := r.room()
	var b bytes.Buffer
	err = page.Execute(&b, map[string]any{
		"R": r, "Sum": sum, "Policy": Policy, "Style": template.CSS(styleText), "Rows": r.rows(), "Supply": r.supply(plan),
		"Drawing": template.HTML(r.drawing(plan)), "Map": template.HTML(field), "Most": most, // both drawn here, every word in them escaped
		"Mended": mendWords(plan, r.Check.Mend), "North": r.calls("north"), "NorthSay": r.northSay(), "Counts": r.counts(), "OhmsSay": r.ohmsSay(), "Open": r.openSay(),
		"Holds": r.kinds("hold"), "Passes": r.kinds("pass"), "Hands": r.kinds("hand"), "Clean": r.Exception == nil, "CleanSay": r.cleanSay(), "Leads": leadsOf(plan, boxOf(plan)) != nil, "Room": room, "Note": note,
		"Unseen": r.unseen(plan), "Compass": slices.ContainsFunc(r.Readings, Reading.compass),
	})
	return b.Bytes(), err
}

// unseen is TurnsUnseen of a pad that is signed as planned.
func (r *Record) unseen(plan *layout.Plan) int {
	if r.Exception != nil {
		return 0
	}
	return TurnsUnseen(plan, r.Verdict, r.Ohms)
}

func (r *Record) rows() []row {
	more := map[string]Coil{}
	for _, c := range r.Coils {
		more[c.ID] = c
	}
	var out []row
	for _, c := range r.Verdict.Coils {
		best := 0.0
		for _, p := range c.P {
			best = math.Max(best, p)
		}
		odd := c.MeasuredUT != nil && c.ExpectedUT != 0 && !sizeOf(c.State, *c.MeasuredUT/c.ExpectedUT)
		out = append(out, row{Coil: more[c.ID], Claim: c, Best: best, Odd: odd, By: r.readBy(c)})
	}
	return out
}

// readBy names what a coil without a size of its own was read by: needle or compass, where
// it was nothing else; "" otherwise.
func (r *Record) readBy(c verdict.Coil) string {
	if c.Used == 0 || c.MeasuredUT != nil {
		return ""
	}
	by := ""
	for _, m := range r.Readings {
		if !slices.Contains(m.At, c.ID) {
			continue
		}
		this := ""
		switch {
		case m.Kind == "hand" && m.UT == nil:
			this = "needle"
		case m.compass():
			this = "compass"
		}
		if this == "" || by != "" && by != this {
			return ""
		}
		by = this
	}
	return by
}

// compass tells a reading of a compass.
func (m Reading) compass() bool { return m.OffDeg != nil || m.OnDeg != nil }

// compassSay is where a compass settled.
func compassSay(m Reading) string {
	off, on := "", ""
	if m.OffDeg != nil {
		off = fmt.Sprintf("%.0f°", *m.OffDeg)
	}
	if m.OnDeg != nil {
		on = fmt.Sprintf("%.0f°", *m.OnDeg)
	}
	switch {
	case on == "" && off == "":
		return ""
	case on == "":
		return off + " with the supply off"
	case off == "":
		return on + " with the supply on"
	}
	return off + " off, " + on + " on"
}

// cleanSay is the headline of a record without an exception: a needle tells which way a
// coil faces, and no more is claimed of it than that.
func (r *Record) cleanSay() string {
	n := 0
	for _, c := range r.rows() {
		if c.By == "needle" {
			n++
		}
	}
	switch {
	case n == 0:
		return "Every coil is claimed as planned, and the ohms agree."
	case n == len(r.Verdict.Coils):
		return "Every coil is claimed as planned, and the ohms agree. Read by needle: which way each coil faces, not how strong it is."
	}
	return fmt.Sprintf("Every coil is claimed as planned, and the ohms agree. %d of %d coils read by needle: which way they face, not how strong they are.", n, len(r.Verdict.Coils))
}

// odd counts the coils whose measured field is at odds with their claim.
func (r *Record) odd() (n int) {
	for _, c := range r.rows() {
		if c.Odd {
			n++
		}
	}
	return n
}

// counts says how many coils have which claim, the claims that were made first.
func (r *Record) counts() string {
	n := map[string]int{}
	for _, c := range r.Verdict.Coils {
		n[claimWords(c)]++
	}
	var parts []string
	for _, s := range []string{"as planned", "reversed", "dead", "weak", "undecided", "not read"} {
		if n[s] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n[s], s))
		}
	}
	say := fmt.Sprintf("%d: %s", len(r.Verdict.Coils), strings.Join(parts, ", "))
	if n := r.odd(); n > 0 {
		say += fmt.Sprintf("; %d with a size that does not fit by itself (see the details)", n)
	}
	return say
}

func (r *Record) ohmsSay() string {
	read, against := 0, 0
	for _, o := range r.Ohms {
		if o.Counts {
			read++
			if !o.Agrees {
				against++
			}
		}
	}
	switch {
	case read == 0:
		return "not read"
	case against == 0:
		return fmt.Sprintf("%d read, all within the plan's bounds", read)
	}
	return fmt.Sprintf("%d read, %d outside the plan's bounds", read, against)
}

// shownOpen is how many coils an exception names on the first page; the rest
// stand in the table.
const shownOpen = 24

func (r *Record) openSay() string {
	if r.Exception == nil {
		return ""
	}
	var parts []string
	for i, id := range r.Exception.Coils {
		if i == shownOpen {
			parts = append(parts, fmt.Sprintf("and %d more in the table of coils", len(r.Exception.Coils)-shownOpen))
			break
		}
		parts = append(parts, fmt.Sprintf("%s (%s)", id, claimWords(r.coil(id))))
	}
	return strings.Join(parts, ", ")
}

func (r *Record) kinds(kind string) (n int) {
	for _, m := range r.Readings {
		if m.Kind == kind {
			n++
		}
	}
	return n
}

// calls names a face, north or south as everywhere in this program, so that a
// maker who names them the other way round can read it as well.
func (r *Record) calls(face string) string {
	own := map[string]string{"north": "south", "south": "north"}[face]
	if r.OutFace != "south" || own == "" {
		return face
	}
	return fmt.Sprintf("%s (the maker's %s)", face, own)
}

// FaceUp says which face was read to look up.
func (r *Record) FaceUp(face string) string {
	if face == "none" {
		return "no face"
	}
	return r.calls(face) + " faces up"
}

// northSay says what north is on this record, in the maker's words too where they
// are known.
func (r *Record) northSay() string {
	switch r.OutFace {
	case "north":
		return "North is the face that the field comes out of; the maker calls it so."
	case "south":
		return "North is the face that the field comes out of, as physics has it; the maker calls it south. North up on this record is the maker's south up."
	}
	return "North is the face that the field comes out of, as physics has it; some makers call it south."
}

func (r *Record) supply(p *layout.Plan) string {
	if r.Predicted == nil {
		return ""
	}
	s := fmt.Sprintf("%.2f V, %.2f A", r.Predicted.Pad.Volts, r.Predicted.Pad.Amps)
	if p.Supply.Pulsed {
		s += fmt.Sprintf(", pulsed at %g Hz, duty %g", p.Supply.Hz, p.Supply.Duty)
	}
	return s
}

// mendWords says what was mended.
func mendWords(plan *layout.Plan, mend []verdict.Mend) string {
	var parts []string
	for _, m := range mend {
		what, group := "coil "+m.ID, plan.GroupIndex(m.ID) >= 0
		if group {
			what = "group " + m.ID
		} else if plan.StringIndex(m.ID) >= 0 {
			what = "string " + m.ID
		}
		switch {
		case m.Do == verdict.Flip:
			parts = append(parts, what+" turned over or its leads swapped")
		case m.Do == verdict.SwapString, m.Do == verdict.Rejoin && group: // a group joined the wrong way round
			parts = append(parts, "the ends of "+what+" swapped")
		case m.Do == verdict.SwapPad:
			parts = append(parts, "the pad's two leads swapped")
		case m.Do == verdict.Rejoin:
			parts = append(parts, what+" joined as planned")
		case m.Do == verdict.RemakeJoint:
			if what == "coil "+m.ID { // a short across it goes by the same word
				parts = append(parts, "a joint or short of "+what+" mended")
			} else {
				parts = append(parts, "the joint of "+what+" made anew")
			}
		case m.Do == verdict.Replace:
			parts = append(parts, what+" replaced")
		default:
			parts = append(parts, strings.TrimSpace(string(m.Do)+" "+m.ID))
		}
	}
	return strings.Join(parts, "; ")
}

func when(text string) string {
	t, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return text
	}
	return t.UTC().Format("2006-01-02 15:04 UTC")
}

// chance writes a probability without ever rounding up to certainty.
func chance(p float64) string {
	switch {
	case p > 0.9999:
		return "> 99.99 %"
	case p >= 0.99:
		return fmt.Sprintf("%.2f %%", p*100)
	}
	return fmt.Sprintf("%.0f %%", p*100)
}

func microtesla(v any) string {
	switch x := v.(type) {
	case float64:
		return strings.Replace(fmt.Sprintf("%.0f", x), "-", "\u2212", 1)
	case *float64:
		if x != nil {
			return microtesla(*x)
		}
	}
	return "\u2013"
}

// tenths writes a field as read.
func tenths(v float64) string { return strings.Replace(fmt.Sprintf("%.1f", v), "-", "\u2212", 1) }

func ohmWords(v any) string {
	switch x := v.(type) {
	case float64:
		return fmt.Sprintf("%.2f", x)
	case *float64:
		if x != nil {
			return fmt.Sprintf("%.2f", *x)
		}
	}
	return "open"
}

func celsius(t *float64) string {
	if t == nil {
		return "not read"
	}
	return fmt.Sprintf("%.1f", *t)
}

// place says where a phone's sensor sits.
func place(o *[2]float64) string {
	if o == nil {
		return "not known"
	}
	return fmt.Sprintf("%.1f mm across and %.1f mm along from the mark", o[0], o[1])
}

// short cuts what would take too much of the first page; the whole stands in the
// details.
func short(most int, text string) string {
	r := []rune(text)
	if len(r) <= most {
		return text
	}
	return string(r[:most-1]) + "\u2026"
}

func plural(n int) string {
	if n == 1 {
		return ""
	}
	return "s"
}
