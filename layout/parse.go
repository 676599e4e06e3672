package layout

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"regexp"
	"strings"
	"unicode/utf8"

	"github.com/BurntSushi/toml"
	"gonum.org/v1/gonum/spatial/r2"
)

// Bounds on a plan file. They are far above any pad that was ever wound.
const (
	MaxPlanBytes = 1 << 20
	MaxParts     = 1000 // of each kind: windings, coils, strings, groups
	maxTurns     = 100_000
	maxMetres    = 100.0
	maxNameBytes = 200
)

// defaultAbove is the height of the sensor over a coil's top face where the
// plan gives none, in metres.
const defaultAbove = 6e-3

// Load reads a plan file. See Parse.
func Load(path string) (*Plan, error) {
	data, err := ReadFile(path)
	if err != nil {
		return nil, err
	}
	return Parse(path, data)
}

// ReadFile reads what Parse takes; of a file that is too long as much as shows that
// it is.
func ReadFile(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, MaxPlanBytes+1))
}

// Parse reads a plan. The name is used in messages. The error, if any, is a
// *Problems that tells everything wrong with the plan at once. Where it is
// OnlyUnbuildable, the plan is returned beside it and may be computed with;
// otherwise it is nil.
func Parse(name string, data []byte) (*Plan, error) {
	r := &planReader{file: name}
	plan := r.read(data)
	problems := r.problems.orNil()
	if problems == nil {
		return plan, nil
	}
	if !problems.OnlyUnbuildable() {
		plan = nil
	}
	return plan, problems
}

// Draft reads a plan that is still being made, for showing it: the plan is given
// as far as it could be read, whatever is wrong with it. A coil of no known
// winding has -1 for one. Values are what the file says, as written. Both are nil
// only where the text is not TOML.
func Draft(data []byte) (plan *Plan, values map[string]any, problems *Problems) {
	r := &planReader{}
	plan = r.read(data)
	return plan, r.values, r.problems.orNil()
}

func (r *planReader) read(data []byte) *Plan {
	if len(data) > MaxPlanBytes {
		r.at("", "", "Is this a plan?", "expected at most %d KiB, found more.", MaxPlanBytes>>10)
		return nil
	}
	lines, tooDeep := indexLines(string(data))
	r.lines = lines
	if tooDeep > 0 {
		p := r.at("", "", "A plan needs no more than lists in tables.", "brackets or keys are nested too deep.")
		p.Line = tooDeep
		return nil
	}
	var values map[string]any
	if err := toml.Unmarshal(data, &values); err != nil {
		p := r.at("", "", "", "this is not TOML: %s.", strings.TrimSuffix(err.Error(), "."))
		var parse toml.ParseError
		if errors.As(err, &parse) {
			p.Line = parse.Position.Line
			p.Say = fmt.Sprintf("this is not TOML: %s.", strings.TrimSuffix(parse.Message, "."))
		}
		p.Remedy = tomlRemedy(data, p.Line, p.Say)
		return nil
	}
	r.values = values
	return r.plan(&table{r: r, values: values})
}

var (
	decimalComma = regexp.MustCompile(`=\s*[-+]?\d+,\d+\s*(#.*)?$`)
	pointFirst   = regexp.MustCompile(`[=\[,]\s*[-+]?\.\d`)
	quotesOpen   = regexp.MustCompile(`^[^"#]*"[^"]*$`)
)

// tomlRemedy says what to do about a text that is not TOML, from what people
// commonly write and what was said of it.
func tomlRemedy(data []byte, line int, said string) string {
	lines := strings.Split(string(data), "\n")
	here := ""
	if line >= 1 && line <= len(lines) {
		here = strings.TrimSpace(lines[line-1])
	}
	switch {
	case bytes.HasPrefix(bytes.TrimSpace(data), []byte("{")):
		return "It looks like a capture or other JSON. The plan is the .toml file, and comes first."
	case bytes.IndexByte(data, 0) >= 0 || !utf8.Valid(data):
		return "Is this a plan? If so, save it as plain text in UTF-8."
	case decimalComma.MatchString(here):
		return "Write the number with a point, like 2.5."
	case quotesOpen.MatchString(here):
		return "Close the quotes on the same line."
	case strings.HasSuffix(said, "has already been defined."):
		return "Take one of the two out."
	case pointFirst.MatchString(here):
		return "Write a digit before the point, like 0.5."
	}
	return "Every line reads key = value, with text in quotes, or is a heading like [supply] or [[coil]]."
}

func (r *planReader) plan(t *table) *Plan {
	p := &Plan{Unit: Millimetre, Above: defaultAbove}
	if v, ok := t.get("format"); !ok {
		t.missing("format", "the format of the plan, 1", "Write format = 1.")
	} else if n, whole := v.(int64); n != 1 {
		remedy := "Write format = 1."
		if whole && n > 1 {
			remedy = "A higher number comes from a newer polewise."
		}
		t.bad("format", remedy, "expected 1, found %s.", show(v))
	}
	p.Name, _ = t.text("name", required, "the name of the pad", `"Kennel bed"`)
	if t.has("name") && len(p.Name) > maxNameBytes {
		t.bad("name", "Make it shorter.", "expected at most %d bytes, found %d.", maxNameBytes, len(p.Name))
	}
	unit, _ := t.word("length_unit", optional, "mm", "cm", "in")
	p.Unit = LengthUnit(unit)

	if o, ok := t.child("outline", optional, ""); ok {
		if x, y, ok := o.pair("size", p.size()); ok {
			p.Outline = r2.Scale(p.Unit.Metres(), r2.Vec{X: x, Y: y})
		}
		o.unknown()
	}
	if s, ok := t.child("supply", required, "a table that says what drives the pad"); ok {
		p.Supply = readSupply(s)
		s.unknown()
	}
	if s, ok := t.child("sensor", optional, ""); ok {
		if z, ok := s.number("above", optional, limits{lo: 0, hi: 1 / p.Unit.Metres(), what: "a height in " + unit}); ok {
			p.Above = z * p.Unit.Metres()
		}
		s.unknown()
	}

	windings := t.children("winding", required)
	sized := make([]bool, len(windings))
	for i, w := range windings {
		var read Winding
		read, sized[i] = readWinding(w, p)
		p.Windings = append(p.Windings, read)
		w.unknown()
	}
	r.uniqueIDs("winding", windings)

	coils := t.children("coil", required)
	placed := make([]bool, len(coils))
	for j, c := range coils {
		read, ok := readCoil(c, p)
		placed[j] = ok && sized[read.Winding]
		p.Coils = append(p.Coils, read)
		c.unknown()
	}
	strings := t.children("string", required)
	inString := make([]*table, len(p.Coils))
	for _, s := range strings {
		p.Strings = append(p.Strings, readString(s, p, inString))
		s.unknown()
	}
	groups := t.children("group", optional)
	for _, g := range groups {
		p.Groups = append(p.Groups, readGroup(g))
		g.unknown()
	}
	t.unknown()

	r.uniqueIDs("coil, string or group", coils, strings, groups)
	for j, s := range inString {
		// A second coil of one id cannot be named; its id was told off already.
		if s == nil && len(strings) > 0 && p.CoilIndex(p.Coils[j].ID) == j {
			r.at(coils[j].path, coils[j].label, "Name it in the coils of the [[string]] it belongs to.", "expected to be in one string, found it in none.")
		}
	}
	r.checkGroups(p, strings, groups)
	r.checkOverlaps(p, coils, placed)
	return p
}

// lengthFrom is the range of a length in the plan's unit, from lo in that unit.
func (p *Plan) lengthFrom(lo float64) limits {
	return limits{lo: lo, hi: maxMetres / p.Unit.Metres(), what: "a length in " + string(p.Unit)}
}

// size is the range of the size of something that has one: from a hundredth of
// a millimetre or less, whatever the unit.
func (p *Plan) size() limits {
	switch p.Unit {
	case Centimetre:
		return p.lengthFrom(0.001)
	case Inch:
		return p.lengthFrom(0.0004)
	default:
		return p.lengthFrom(0.01)
	}
}

func readSupply(t *table) Supply {
	var s Supply
	volts, amps := t.has("volts"), t.has("amps")
	switch {
	case volts && amps:
		t.bad("amps", "Take one of them out: volts for a supply set to a voltage, amps for one set to a current.", "expected one of volts and amps, found both.")
	case !volts && !amps:
		t.missing("volts", "one of volts and amps", "Write volts = 2.0 for a supply set to a voltage, amps = 1.0 for one set to a current.")
	}
	positive := func(what string, hi float64) limits { return limits{lo: 0, hi: hi, openLow: true, what: what} }
	s.Volts, _ = t.number("volts", optional, positive("a voltage in volts", 1e4))
	s.Amps, _ = t.number("amps", optional, positive("a current in amperes", 1e4))
	s.SourceOhms, _ = t.number("source_ohms", optional, limits{lo: 0, hi: 1e6, what: "a resistance in ohms"})
	s.LimitAmps, _ = t.number("limit_amps", optional, positive("a current in amperes", 1e4))
	drive, ok := t.word("drive", optional, "steady", "pulsed")
	s.Pulsed = drive == "pulsed"
	n := need(s.Pulsed)
	s.Hz, _ = t.number("hz", n, positive("pulses a second in hertz", 1e5))
	s.Duty, _ = t.number("duty", n, limits{lo: 0, hi: 1, openLow: true, openHigh: true, what: "the share of the time a pulse is on"})
	if !s.Pulsed && ok {
		for _, key := range []string{"hz", "duty"} {
			if t.has(key) {
				t.bad(key, `Write drive = "pulsed", or take it out.`, "expected only with a pulsed drive, found it with a steady one.")
			}
		}
		s.Hz, s.Duty = 0, 0
	}
	return s
}

// readWinding tells also whether the winding's outline is known.
func readWinding(t *table, p *Plan) (w Winding, outlined bool) {
	w = Winding{AWG: math.NaN()}
	w.ID = readID(t, `"round"`)
	m := p.Unit.Metres()
	shape, shapeKnown := t.word("shape", required, string(Round), string(Oblong), string(Rectangle))
	w.Shape = Shape(shape)
	sized, rounded := false, true
	switch {
	case !shapeKnown:
		t.has("inner")
	case w.Shape == Round:
		if v, there := t.get("inner"); there {
			if _, isList := v.([]any); isList {
				t.bad("inner", `Write one number, or shape = "oblong".`, "expected the inner diameter of a round winding, found %s.", show(v))
				break
			}
		}
		l := p.size()
		l.what = "the inner diameter in " + string(p.Unit)
		w.InnerX, sized = t.number("inner", required, l)
		w.InnerX *= m
		w.InnerY = w.InnerX
	default:
		w.InnerX, w.InnerY, sized = t.pair("inner", p.size())
		w.InnerX, w.InnerY = w.InnerX*m, w.InnerY*m
	}
	if corner, ok := t.number("corner", optional, p.lengthFrom(0)); !ok {
		rounded = !t.has("corner")
	} else {
		w.Corner = corner * m
		most := math.Min(w.InnerX, w.InnerY) / 2
		switch {
		case shapeKnown && w.Shape != Rectangle:
			t.bad("corner", "Take it out.", "expected only on a rectangle, found it on %s winding.", article(shape))
		case sized && w.Corner > most*(1+1e-9):
			t.bad("corner", `Make it smaller, or write shape = "oblong".`, "expected at most %s %s, half the shorter inner side, found %s %s.", p.show(most), p.Unit, p.show(w.Corner), p.Unit)
			rounded = false
		}
	}
	turns, turnsOK := t.turns()
	w.Turns = turns
	build, buildOK := t.number("build", required, p.size())
	width, widthOK := t.number("width", required, p.size())
	w.Build, w.Width = build*m, width*m
	wireOK := readWire(t, &w)
	if ohms, ok := t.number("ohms", optional, limits{lo: 1e-6, hi: 1e6, what: "a resistance in ohms at 20 C"}); ok {
		w.GivenOhms = ohms
	}
	if turnsOK && buildOK && widthOK && wireOK {
		checkSection(t, p, &w)
	}
	return w, sized && rounded && buildOK
}

func readWire(t *table, w *Winding) bool {
	awg, mm := t.has("wire_awg"), t.has("wire_mm")
	switch {
	case awg && mm:
		t.bad("wire_mm", "Take one of them out.", "expected one of wire_awg and wire_mm, found both.")
		return false
	case awg:
		g, ok := t.number("wire_awg", required, limits{lo: -3, hi: 56, what: "a wire gauge"})
		if !ok {
			return false
		}
		w.AWG, w.Wire = g, BareDiameterOfAWG(g)
		return true
	case mm:
		d, ok := t.number("wire_mm", required, limits{lo: 0.01, hi: 20, what: "the bare copper diameter in mm"})
		w.Wire = d * 1e-3
		return ok
	}
	t.missing("wire_awg", "one of wire_awg and wire_mm", "Write wire_awg = 22, or wire_mm = 0.64 for the bare copper diameter.")
	return false
}

// densest is the share of the plane that equal circles can cover at most
// (Lagrange, Thue). In a bounded section they cover less.
var densest = math.Pi / (2 * math.Sqrt(3))

// checkSection reports turns that no winder could get into the section, even
// with bare wire.
func checkSection(t *table, p *Plan, w *Winding) {
	const slack = 1 + 1e-9
	for _, side := range []struct {
		key  string
		size float64
	}{{"build", w.Build}, {"width", w.Width}} {
		if w.Wire > side.size*slack {
			t.bad(side.key, fmt.Sprintf("Take thinner wire, or make it at least %s %s.", p.showUp(w.Wire), p.Unit),
				"expected room for the wire, %s %s thick, found %s %s.", p.showUp(w.Wire), p.Unit, p.show(side.size), p.Unit).Unbuildable = true
			return
		}
	}
	copper, section := float64(w.Turns)*w.WireSection(), w.Build*w.Width
	if copper <= densest*section*slack {
		return
	}
	less := "Take thinner wire"
	if most := int(densest * section / w.WireSection()); most == 1 {
		less = "Wind 1 turn"
	} else if most > 1 {
		less = fmt.Sprintf("Wind at most %d turns", most)
	}
	t.bad("turns", fmt.Sprintf("%s, or make build times width at least %.1f mm2; enamel and the hand need more room still.", less, math.Ceil(copper/densest*1e7)/10),
		"%d turns of %.3f mm copper take %.1f mm2, and round wire fills at most %.1f percent of the %.1f mm2 of the section.",
		w.Turns, w.Wire*1e3, copper*1e6, densest*100, section*1e6).Unbuildable = true
}

// readCoil tells also whether it is known what lies where.
func readCoil(t *table, p *Plan) (c Coil, placed bool) {
	c = Coil{North: Up}
	c.ID = readID(t, `"A1"`)
	c.Winding = -1
	if id, ok := t.text("winding", required, "the id of a winding", `"round"`); ok {
		for i := range p.Windings {
			if p.Windings[i].ID == id {
				c.Winding = i
				break
			}
		}
		if c.Winding < 0 {
			ids := make([]string, 0, len(p.Windings))
			for i := range p.Windings {
				if p.Windings[i].ID != "" { // told off already
					ids = append(ids, p.Windings[i].ID)
				}
			}
			remedy := t.r.known("winding", id, ids)
			if len(ids) == 0 && len(p.Windings) > 0 {
				remedy = "Give the winding it is wound as that id."
			}
			t.bad("winding", remedy, "expected the id of a winding, found %s.", show(id))
		}
	}
	far := limits{lo: -maxMetres / p.Unit.Metres(), hi: maxMetres / p.Unit.Metres(), what: "a place in " + string(p.Unit)}
	x, y, atOK := t.pair("at", far)
	c.At = r2.Scale(p.Unit.Metres(), r2.Vec{X: x, Y: y})
	deg, ok := t.number("turned", optional, limits{lo: -360, hi: 360, what: "an angle in degrees"})
	turnedOK := ok || !t.has("turned")
	c.Turned = deg * degree
	north, _ := t.word("north", optional, "up", "down")
	if north == "down" {
		c.North = Down
	}
	if t.has("sense") {
		sense, ok := t.word("sense", required, string(CounterClockwise), string(Clockwise))
		if ok {
			c.Sense = Sense(sense)
		}
	}
	return c, c.Winding >= 0 && atOK && turnedOK
}

// degree in radians.
const degree = math.Pi / 180

func readString(t *table, p *Plan, inString []*table) String {
	var s String
	s.ID = readID(t, `"A"`)
	s.LeadOhms, _ = t.number("lead_ohms", optional, limits{lo: 0, hi: 1e6, what: "a resistance in ohms"})
	ids := t.texts("coils", "ids of coils")
	all := make([]string, len(p.Coils))
	for j := range p.Coils {
		all[j] = p.Coils[j].ID
	}
	for _, id := range ids {
		j := p.CoilIndex(id)
		switch {
		case j < 0:
			t.bad("coils", t.r.known("coil", id, all), "expected ids of coils, found %s, which is none.", show(id))
			continue
		case inString[j] == t:
			t.bad("coils", "Name it once.", "coil %s is named twice.", show(id))
			continue
		case inString[j] != nil:
			t.bad("coils", "Every coil is in exactly one string.", "coil %s is in %s already.", show(id), inString[j].label)
			continue
		}
		inString[j] = t
		s.Coils = append(s.Coils, j)
	}
	return s
}

func readGroup(t *table) Group {
	var g Group
	g.ID = readID(t, `"left"`)
	join, _ := t.word("join", required, string(Parallel), string(Series))
	g.Join = Join(join)
	g.Of = t.texts("of", "ids of strings or groups")
	return g
}

var idPattern = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]{0,31}$`)

func readID(t *table, example string) string {
	id, ok := t.text("id", required, "an id", example)
	if ok && !idPattern.MatchString(id) {
		t.bad("id", "Use letters, digits, _ and -, at most 32 in all, and begin with a letter or digit.", "expected an id, found %s.", show(id))
	}
	return id
}

// uniqueIDs reports every id that was given before in any of the lists.
func (r *planReader) uniqueIDs(what string, lists ...[]*table) {
	first := map[string]*table{}
	for _, list := range lists {
		for _, t := range list {
			id, ok := t.values["id"].(string)
			if !ok || id == "" {
				continue
			}
			if other, taken := first[id]; taken {
				where := ""
				if line := r.lineOf(other.place("id")); line > 0 {
					where = fmt.Sprintf(" on line %d", line)
				}
				t.bad("id", "Give it another id.", "expected an id no other %s has, found the one of %s%s.", what, other.label, where)
				continue
			}
			first[id] = t
		}
	}
}

// checkGroups reports what keeps groups and strings from making one tree.
func (r *planReader) checkGroups(p *Plan, strings, groups []*table) {
	if len(groups) == 0 {
		return
	}
	ids := make([]string, 0, len(p.Strings)+len(p.Groups))
	for i := range p.Strings {
		ids = append(ids, p.Strings[i].ID)
	}
	for i := range p.Groups {
		ids = append(ids, p.Groups[i].ID)
	}
	parent := map[string]int{} // id of a member to the index of its group
	sound := true
	for g := range p.Groups {
		t := groups[g]
		for _, id := range p.Groups[g].Of {
			if p.StringIndex(id) < 0 && p.GroupIndex(id) < 0 {
				remedy := r.known("string or group", id, ids)
				if p.CoilIndex(id) >= 0 {
					remedy = "That is a coil: name the string it is in."
				}
				t.bad("of", remedy, "expected ids of strings or groups, found %s, which is none.", show(id))
				sound = false
				continue
			}
			if other, taken := parent[id]; taken {
				if other == g {
					t.bad("of", "Name it once.", "%s is named twice.", show(id))
				} else {
					t.bad("of", "A string or group is joined in one place only.", "%s is in %s already.", show(id), groups[other].label)
				}
				sound = false
				continue
			}
			parent[id] = g
		}
	}
	for i := range p.Strings {
		if _, ok := parent[p.Strings[i].ID]; !ok && p.Strings[i].ID != "" {
			strings[i].r.at(strings[i].path, strings[i].label, "When there are groups, every string is in one: name it after of = in a [[group]].", "expected to be in a group, found it in none.")
			sound = false
		}
	}
	if sound {
		r.checkRoots(p, parent, groups)
	}
}

// checkRoots reports groups that contain themselves, and more than one that is part of no
// other. Parent has the index of the group of every string, and of every group that is
// part of one: walking up from a group must come to a root.
func (r *planReader) checkRoots(p *Plan, parent map[string]int, groups []*table) {
	var roots []int
	for g := range p.Groups {
		at, steps := g, 0
		for ; steps <= len(p.Groups); steps++ {
			up, ok := parent[p.Groups[at].ID]
			if !ok {
				break
			}
			at = up
		}
		if steps > len(p.Groups) {
			groups[g].bad("of", "Take one of them out of the other.", "the group contains itself, or is in one that does.")
			return
		}
		if at == g {
			roots = append(roots, g)
		}
	}
	for _, g := range roots[1:] {
		r.at(groups[g].path, groups[g].label, "Name both in a further [[group]]: the one that is part of no other is the pad.", "expected exactly one group that is part of no other, found this beside %s.", groups[roots[0]].label)
	}
}

// checkOverlaps reports every two coils whose copper would lie in one place,
// among those of which it is known where they lie.
func (r *planReader) checkOverlaps(p *Plan, coils []*table, placed []bool) {
	cores := make([]core, len(p.Coils))
	for j := range cores {
		if placed[j] {
			cores[j] = p.core(j)
		}
	}
	for j := range cores {
		for i := range j {
			if !placed[i] || !placed[j] {
				continue
			}
			depth := overlap(&cores[i], &cores[j])
			if depth == 0 {
				continue
			}
			q := coils[j].bad("at", fmt.Sprintf("Move one of them by %s %s or more, or make them smaller.", p.showUp(depth), p.Unit),
				"the copper of coils %s and %s overlaps by %s %s.", show(p.Coils[i].ID), show(p.Coils[j].ID), p.showUp(depth), p.Unit)
			q.Unbuildable, q.With = true, p.Coils[i].ID
		}
	}
}

// show writes a length in the plan's unit, to a thousandth.
func (p *Plan) show(metres float64) string {
	return plain(math.Round(metres/p.Unit.Metres()*1e3) / 1e3)
}

// showUp is show, rounded up to a hundredth: for lengths that must be reached.
func (p *Plan) showUp(metres float64) string {
	return plain(math.Ceil(metres/p.Unit.Metres()*1e2-1e-6) / 1e2)
}

// known says what a name that refers to nothing might have meant.
func (r *planReader) known(what, found string, ids []string) string {
	// A hostile file could have a hundred thousand of them, to be held against a
	// thousand names each.
	if len(r.problems.List) > 4*maxListed {
		return "Look at the problems before it."
	}
	if near := nearest(found, ids); near != "" {
		return fmt.Sprintf("Did you mean %q?", near)
	}
	const most = 12
	switch {
	case len(ids) == 0:
		return fmt.Sprintf("The plan has no %s yet.", what)
	case len(ids) > most:
		return fmt.Sprintf("The plan has %d, from %s to %s.", len(ids), show(ids[0]), show(ids[len(ids)-1]))
	}
	return fmt.Sprintf("The plan has %s.", quoted(ids, "and"))
}

func article(word string) string {
	if strings.ContainsRune("aeiou", rune(word[0])) {
		return "an " + word
	}
	return "a " + word
}
