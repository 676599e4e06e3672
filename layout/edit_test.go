package layout

import (
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
	"pgregory.net/rapid"
)

// remarked is a plan written by a hand that likes remarks, columns and inline
// tables.
const remarked = `# The bed by the stove.
format = 1
name   = "Bed"      # what it is called
sensor = { above = 6 }

  [supply]
  volts      = 2.0   # low on purpose
  limit_amps = 1

# Kinds of coil.
[[winding]]
id = "big" # wound in spring
shape = "round"
inner = 90.0
turns = 60
build = 6
width = 8
wire_awg = 22

[[winding]]
id = 'small'
shape = "oblong"
inner = [ 40,  60 ]   # x, y
turns = 30
build = 4
width = 8
wire_mm = 0.5

# Back row.
[[coil]]
id = "A1"
winding = "big"
at = [ 60,  240.50 ] # under the window

# A2 was moved once.
[[coil]]
id = "A2"
winding = "big"
at = [180, 240]
north = "down"
# mind the seam

# Front row.
[[coil]]
id = "B1"
winding = "small"
at = [60, 60]
[[coil]]
id = "B2"
winding = "small"
at = [180, 60]

[[string]]
id = "A"
coils = [
  "A1",  # plus end
  "A2",  # minus end
]

[[string]]
id = "B"
coils = ["B1", "B2"]
lead_ohms = 0.05 # both leads

[[group]]
id = "bed"
join = "parallel"
of = ["A", "B"]
# The end.`

func edited(t *testing.T, text string, edits ...Edit) string {
	t.Helper()
	out, err := EditText([]byte(text), edits)
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

func TestEditText(t *testing.T) {
	replaced := func(pairs ...string) string {
		out := remarked
		for i := 0; i < len(pairs); i += 2 {
			if strings.Count(out, pairs[i]) != 1 {
				t.Fatalf("%q stands %d times in the text", pairs[i], strings.Count(out, pairs[i]))
			}
			out = strings.Replace(out, pairs[i], pairs[i+1], 1)
		}
		return out
	}
	for _, c := range []struct {
		name  string
		edits []Edit
		want  string
	}{
		{"one coordinate moves", []Edit{{Op: "set", Table: "coil", ID: "A1", Key: "at", Value: []any{75.0, 240.5}}},
			replaced("[ 60,  240.50 ]", "[ 75,  240.50 ]")},
		{"the same value written another way stays", []Edit{{Op: "set", Table: "winding", ID: "big", Key: "inner", Value: 90.0}}, remarked},
		{"a remark behind a value stays", []Edit{{Op: "set", Table: "supply", Key: "volts", Value: 3.5}}, replaced("2.0   #", "3.5   #")},
		{"a new key is indented as its neighbours", []Edit{{Op: "set", Table: "supply", Key: "source_ohms", Value: 0.25}},
			replaced("  limit_amps = 1\n", "  limit_amps = 1\n  source_ohms = 0.25\n")},
		{"a new key in an inline table", []Edit{{Op: "set", Table: "sensor", Key: "above", Value: 5.0}}, replaced("{ above = 6 }", "{ above = 5 }")},
		{"a key at the top", []Edit{{Op: "set", Key: "length_unit", Value: "mm"}}, replaced("{ above = 6 }\n", "{ above = 6 }\nlength_unit = \"mm\"\n")},
		{"a key goes", []Edit{{Op: "unset", Table: "coil", ID: "A2", Key: "north"}}, replaced("north = \"down\"\n", "")},
		{"a table that was not there", []Edit{{Op: "set", Table: "outline", Key: "size", Value: []any{300.0, 300.0}}},
			replaced("# Kinds of coil.\n", "[outline]\nsize = [300, 300]\n\n# Kinds of coil.\n")},
		{"a coil comes behind the coils", []Edit{{Op: "add", Table: "coil", Pairs: []Pair{{"id", "B3"}, {"winding", "small"}, {"at", []any{240.0, 60.0}}}}},
			replaced("at = [180, 60]\n", "at = [180, 60]\n\n[[coil]]\nid = \"B3\"\nwinding = \"small\"\nat = [240, 60]\n")},
		{"a coil goes, and its name in the string", []Edit{{Op: "remove", Table: "coil", ID: "A2"}},
			replaced("[[coil]]\nid = \"A2\"\nwinding = \"big\"\nat = [180, 240]\nnorth = \"down\"\n", "", "  \"A2\",  # minus end\n", "")},
		{"the last coil of a string takes it along", []Edit{{Op: "remove", Table: "coil", ID: "B1"}, {Op: "remove", Table: "coil", ID: "B2"}},
			replaced("[[coil]]\nid = \"B1\"\nwinding = \"small\"\nat = [60, 60]\n[[coil]]\nid = \"B2\"\nwinding = \"small\"\nat = [180, 60]\n", "",
				"\n[[string]]\nid = \"B\"\ncoils = [\"B1\", \"B2\"]\nlead_ohms = 0.05 # both leads\n", "", `["A", "B"]`, `["A"]`)},
		{"a name changes wherever it stands", []Edit{{Op: "rename", Table: "coil", ID: "A1", Value: "W1"}, {Op: "rename", Table: "winding", ID: "small", Value: "little"}},
			strings.ReplaceAll(replaced(`"A1"`+"\n", `"W1"`+"\n", `"A1",  #`, `"W1",  #`, `'small'`, `"little"`), `"small"`, `"little"`)},
		{"a string gets one more", []Edit{{Op: "set", Table: "string", ID: "B", Key: "coils", Value: []any{"B1", "B2", "A1"}}}, replaced(`["B1", "B2"]`, `["B1", "B2", "A1"]`)},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, eol := range []string{"\n", "\r\n"} {
				from, want := strings.ReplaceAll(remarked, "\n", eol), strings.ReplaceAll(c.want, "\n", eol)
				if got := edited(t, from, c.edits...); got != want {
					t.Errorf("got\n%s\nwant\n%s", got, want)
				}
			}
		})
	}
}

func TestEditRefuses(t *testing.T) {
	for name, q := range map[string]Edit{
		"no such coil":  {Op: "set", Table: "coil", ID: "Z9", Key: "at", Value: []any{1.0, 2.0}},
		"no such table": {Op: "set", Table: "coils", Key: "at", Value: 1.0},
		"a key of two":  {Op: "set", Table: "supply", Key: "a.b", Value: 1.0},
		"no op":         {Op: "move", Table: "coil", ID: "A1"},
		"no value":      {Op: "set", Table: "coil", ID: "A1", Key: "at"},
		"a table":       {Op: "set", Table: "coil", ID: "A1", Key: "at", Value: map[string]any{}},
		"all of it":     {Op: "remove"},
	} {
		if out, err := EditText([]byte(remarked), []Edit{q}); err == nil || out != nil {
			t.Errorf("%s: expected an error and no text, found %v and %q", name, err, out)
		}
	}
	if _, err := EditText([]byte("format = = 1"), nil); err == nil {
		t.Error("text that is not TOML was edited")
	}
}

// inlined is a plan without a single heading.
const inlined = `format = 1 # inline
name = "Flat"
supply = { volts = 2 }
outline.size = [100, 100] # dotted
winding = [ { id = "w", shape = "round", inner = 20, turns = 10, build = 3, width = 5, wire_mm = 0.5 } ]
coil = [
  { id = "A1", winding = "w", at = [20, 20] }, # first
  { id = "A2", winding = "w", at = [60, 20] },
]
string = [{ id = "A", coils = ["A1", "A2"] }]
`

// model makes the same edits on what a text says, the plain way.
func model(t *rapid.T, values map[string]any, q Edit) {
	tables := func(kind string) []any { l, _ := normal(values).(map[string]any)[kind].([]any); return l }
	each := func(kind string, change func(m map[string]any) bool) {
		var left []any
		for _, m := range tables(kind) {
			if change(m.(map[string]any)) {
				left = append(left, m)
			}
		}
		values[kind] = left
	}
	keep := func(list []any, drop string) []any {
		return slices.DeleteFunc(slices.Clone(list), func(v any) bool { return v == drop })
	}
	switch q.Op {
	case "set":
		if q.Table == "supply" || q.Table == "sensor" {
			if values[q.Table] == nil {
				values[q.Table] = map[string]any{}
			}
			values[q.Table].(map[string]any)[q.Key] = q.Value
			return
		}
		each(q.Table, func(m map[string]any) bool {
			if m["id"] == q.ID {
				m[q.Key] = q.Value
			}
			return true
		})
	case "unset":
		each(q.Table, func(m map[string]any) bool {
			if m["id"] == q.ID {
				delete(m, q.Key)
			}
			return true
		})
	case "add":
		m := map[string]any{}
		for _, p := range q.Pairs {
			m[p.Key] = p.Value
		}
		values[q.Table] = append(tables(q.Table), m)
	case "remove":
		each("coil", func(m map[string]any) bool { return m["id"] != q.ID })
		var gone []string
		each("string", func(m map[string]any) bool {
			had := len(m["coils"].([]any))
			m["coils"] = keep(m["coils"].([]any), q.ID)
			if had > 0 && len(m["coils"].([]any)) == 0 {
				gone = append(gone, m["id"].(string))
				return false
			}
			return true
		})
		for len(gone) > 0 {
			id := gone[0]
			gone = gone[1:]
			each("group", func(m map[string]any) bool {
				m["of"] = keep(m["of"].([]any), id)
				if len(m["of"].([]any)) == 0 {
					gone = append(gone, m["id"].(string))
					return false
				}
				return true
			})
		}
	}
}

// linesOf parts a text at its headings: what stands above the first, and each
// table by its id.
func linesOf(text string) map[string][]string {
	out := map[string][]string{}
	at, remarks := "", []string{}
	lines := strings.Split(text, "\n")
	for i, l := range lines {
		if strings.HasPrefix(strings.TrimSpace(l), "[") && !strings.HasPrefix(l, " ") || strings.HasPrefix(strings.TrimSpace(l), "[supply]") {
			at = l
			if i+1 < len(lines) && strings.HasPrefix(lines[i+1], "id") {
				at += lines[i+1]
			}
		}
		if l = strings.TrimSpace(l); l == "" || strings.HasPrefix(l, "#") {
			remarks = append(remarks, l)
			continue
		}
		out[at] = append(out[at], l)
	}
	out["#"] = slices.DeleteFunc(remarks, func(l string) bool { return l == "" })
	return out
}

// TestEditsKeepTheRest: after any edits the text says exactly what was asked for,
// and every table that no edit was about has its lines, byte by byte; every
// remark on a line of its own outside lists is still there, in order.
func TestEditsKeepTheRest(t *testing.T) {
	texts := []string{remarked, inlined, full}
	demos, err := filepath.Glob("../assets/demo/*.toml")
	if err != nil || len(demos) == 0 {
		t.Fatal("no demo plans: ", err)
	}
	for _, path := range demos {
		raw, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		texts = append(texts, string(raw))
	}
	number := rapid.OneOf(rapid.Float64Range(-1e4, 1e4), rapid.Map(rapid.IntRange(-500, 500), func(i int) float64 { return float64(i) / 2 }), rapid.Float64())
	word := rapid.OneOf(rapid.SampledFrom([]string{"up", "down", "cw", "#", "a\"b", "]", "\n", "\\"}), rapid.String())
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.SampledFrom(texts).Draw(t, "text")
		if rapid.Bool().Draw(t, "no last line end") {
			text = strings.TrimRight(text, "\n")
		}
		var want map[string]any
		if err := toml.Unmarshal([]byte(text), &want); err != nil {
			t.Fatal(err)
		}
		want = normal(want).(map[string]any)
		touched := map[string]bool{}
		stringsTouched := false
		var edits []Edit
		for range rapid.IntRange(1, 8).Draw(t, "edits") {
			ids := func(kind string) (out []string) {
				l, _ := normal(want).(map[string]any)[kind].([]any)
				for _, m := range l {
					out = append(out, m.(map[string]any)["id"].(string))
				}
				return out
			}
			var q Edit
			kind := rapid.SampledFrom([]string{"coil", "coil", "string", "winding"}).Draw(t, "kind")
			if len(ids(kind)) == 0 {
				continue
			}
			id := rapid.SampledFrom(ids(kind)).Draw(t, "id")
			switch rapid.IntRange(0, 6).Draw(t, "what") {
			case 0:
				q = Edit{Op: "set", Table: "coil", Key: "at", Value: []any{number.Draw(t, "x"), number.Draw(t, "y")}}
				if len(ids("coil")) == 0 {
					continue
				}
				q.ID = rapid.SampledFrom(ids("coil")).Draw(t, "coil")
			case 1:
				q = Edit{Op: "set", Table: kind, ID: id, Key: rapid.SampledFrom([]string{"north", "sense", "turned", "remark"}).Draw(t, "key"), Value: word.Draw(t, "word")}
			case 2:
				q = Edit{Op: "unset", Table: kind, ID: id, Key: rapid.SampledFrom([]string{"north", "sense", "lead_ohms", "ohms"}).Draw(t, "key")}
			case 3:
				fresh := rapid.StringMatching(`N[0-9]{6}`).Draw(t, "fresh")
				if slices.Contains(ids("coil"), fresh) {
					continue
				}
				q = Edit{Op: "add", Table: "coil", ID: fresh, Pairs: []Pair{{"id", fresh}, {"winding", word.Draw(t, "w")}, {"at", []any{number.Draw(t, "x"), number.Draw(t, "y")}}}}
			case 4:
				if len(ids("coil")) == 0 {
					continue
				}
				q = Edit{Op: "remove", Table: "coil", ID: rapid.SampledFrom(ids("coil")).Draw(t, "coil")}
				stringsTouched = true
			case 5:
				if len(ids("string")) == 0 || len(ids("coil")) == 0 {
					continue
				}
				order := rapid.SliceOfDistinct(rapid.SampledFrom(ids("coil")), rapid.ID).Draw(t, "order")
				list := make([]any, len(order))
				for i := range order {
					list[i] = order[i]
				}
				q = Edit{Op: "set", Table: "string", ID: rapid.SampledFrom(ids("string")).Draw(t, "string"), Key: "coils", Value: list}
				stringsTouched = true
			case 6:
				q = Edit{Op: "set", Table: rapid.SampledFrom([]string{"supply", "sensor"}).Draw(t, "table"), Key: rapid.SampledFrom([]string{"volts", "above", "hz"}).Draw(t, "key"), Value: number.Draw(t, "v")}
				touched["["+q.Table+"]"] = true
			}
			if q.Op == "" {
				continue
			}
			touched[q.ID] = true
			edits = append(edits, q)
			model(t, want, q)
		}
		for i := range edits {
			if edits[i].Op == "add" {
				edits[i].ID = ""
			}
		}
		out, err := EditText([]byte(text), edits)
		if err != nil {
			t.Fatalf("%v\nedits %+v", err, edits)
		}
		var got map[string]any
		if err := toml.Unmarshal(out, &got); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		if !reflect.DeepEqual(normal(got), normal(want)) {
			t.Fatalf("edits %+v\nsays %v\nwant %v\n%s", edits, normal(got), normal(want), out)
		}
		if text == inlined || strings.TrimRight(inlined, "\n") == text {
			return // no tables of lines
		}
		before, after := linesOf(text), linesOf(string(out))
	tables:
		for head, lines := range before {
			if stringsTouched && (strings.HasPrefix(head, "[[string]]") || strings.HasPrefix(head, "[[group]]")) {
				continue
			}
			for id := range touched {
				if id != "" && (strings.Contains(head, `"`+id+`"`) || strings.Contains(head, `'`+id+`'`) || strings.TrimSpace(head) == id || head == "" && id == "[sensor]") {
					continue tables
				}
			}
			if head == "#" && stringsTouched {
				continue // a list that is written anew loses those within it
			}
			if !slices.Equal(lines, after[head]) {
				t.Fatalf("%s\nwas %q\nis  %q\nedits %+v\n%s", head, lines, after[head], edits, out)
			}
		}
	})
}
