package layout

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// planReader collects what is wrong while a plan file is read.
type planReader struct {
	file     string
	lines    lineIndex
	problems Problems
	values   map[string]any    // the whole file
	ids      map[string]string // of tables of a list, by path
}

// at adds a problem found at the place with that path in the line index.
func (r *planReader) at(path, key, remedy, format string, args ...any) *Problem {
	q := Problem{File: r.file, Line: r.lineOf(path), Key: key, Say: fmt.Sprintf(format, args...), Remedy: remedy}
	root, _, _ := strings.Cut(path, ".")
	q.Table, _, _ = strings.Cut(root, "[")
	q.ID = r.ids[root]
	return r.problems.add(q)
}

// lineOf is the line of a path, or of the nearest thing around it, or 0.
func (r *planReader) lineOf(path string) int {
	for path != "" {
		if line, ok := r.lines[path]; ok {
			return line
		}
		path = path[:max(0, strings.LastIndexAny(path, ".["))]
	}
	return 0
}

// table is one TOML table on its way into a plan. Every key asked for counts
// as known; what is left at the end is reported by unknown.
type table struct {
	r      *planReader
	values map[string]any
	path   string // in the line index, e.g. coil[0]
	label  string // for the reader, e.g. coil "A1"
	known  []string
	missed []string // keys reported as missing
}

func (t *table) key(key string) string {
	if t.label == "" {
		return key
	}
	return t.label + "." + key
}

func (t *table) place(key string) string {
	if t.path == "" {
		return key
	}
	return t.path + "." + key
}

// bad reports something wrong with one key.
func (t *table) bad(key, remedy, format string, args ...any) *Problem {
	return t.r.at(t.place(key), t.key(key), remedy, format, args...)
}

// missing reports a key that is not there.
func (t *table) missing(key, expected, remedy string) {
	t.missed = append(t.missed, key)
	t.bad(key, remedy, "missing: expected %s.", expected)
}

func (t *table) get(key string) (any, bool) {
	if !slices.Contains(t.known, key) {
		t.known = append(t.known, key)
	}
	v, ok := t.values[key]
	return v, ok
}

func (t *table) has(key string) bool {
	_, ok := t.get(key)
	return ok
}

// need tells how a key is to be treated when it is not there.
type need bool

const (
	required need = true
	optional need = false
)

// text reads a string.
func (t *table) text(key string, n need, expected, example string) (string, bool) {
	v, ok := t.get(key)
	if !ok {
		if n == required {
			t.missing(key, expected, fmt.Sprintf("Write %s = %s.", key, example))
		}
		return "", false
	}
	s, ok := v.(string)
	if !ok {
		t.bad(key, fmt.Sprintf("Write it in quotes, like %s = %s.", key, example), "expected %s, found %s.", expected, show(v))
	}
	return s, ok
}

// word reads one of a few words; the first is the default of an optional one.
func (t *table) word(key string, n need, words ...string) (string, bool) {
	list := quoted(words, "or")
	s, ok := t.text(key, n, list, strconv.Quote(words[0]))
	if !ok {
		return words[0], n == optional && !t.has(key)
	}
	if !slices.Contains(words, s) {
		remedy := fmt.Sprintf("Write one of these, as in %s = %q.", key, words[0])
		if near := nearest(s, words); near != "" {
			remedy = fmt.Sprintf("Did you mean %q?", near)
		}
		t.bad(key, remedy, "expected %s, found %s.", list, show(s))
		return words[0], false
	}
	return s, true
}

// limits is a range of numbers. An open end is left out of it.
type limits struct {
	lo, hi   float64
	openLow  bool
	openHigh bool
	what     string // e.g. "a length in mm"
}

func (l limits) contains(x float64) bool {
	return !(x < l.lo || x > l.hi || l.openLow && x == l.lo || l.openHigh && x == l.hi)
}

func (l limits) String() string {
	low := fmt.Sprintf("at least %s", plain(l.lo))
	if l.openLow {
		low = fmt.Sprintf("greater than %s", plain(l.lo))
	}
	high := fmt.Sprintf("at most %s", plain(l.hi))
	if l.openHigh {
		high = fmt.Sprintf("less than %s", plain(l.hi))
	}
	return fmt.Sprintf("%s, %s and %s", l.what, low, high)
}

// number reads a number within limits.
func (t *table) number(key string, n need, l limits) (float64, bool) {
	v, ok := t.get(key)
	if !ok {
		if n == required {
			t.missing(key, l.what, t.as(key, "Add it"))
		}
		return 0, false
	}
	return t.finite(key, v, l)
}

func (t *table) finite(key string, v any, l limits) (float64, bool) {
	x, ok := asNumber(v)
	switch {
	case !ok:
		remedy := t.as(key, "Write it")
		if s, isText := v.(string); isText {
			if _, err := strconv.ParseFloat(s, 64); err == nil {
				remedy = "Write it without quotes."
			} else if _, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64); err == nil {
				remedy = "Write it without quotes, and with a point."
			}
		}
		t.bad(key, remedy, "expected %s, found %s.", l.what, show(v))
	case math.IsNaN(x) || math.IsInf(x, 0):
		t.bad(key, t.as(key, "Write a plain number"), "expected a finite number, found %s.", show(v))
		return 0, false
	case !l.contains(x):
		t.bad(key, t.as(key, "Put it right"), "expected %s, found %s.", l, show(v))
		return x, false
	}
	return x, ok
}

// turns reads a number of turns.
func (t *table) turns() (int, bool) {
	const key = "turns"
	v, ok := t.get(key)
	expected := fmt.Sprintf("the number of turns, a whole number from 1 to %d", maxTurns)
	if !ok {
		t.missing(key, expected, t.as(key, "Add it"))
		return 0, false
	}
	n, ok := v.(int64)
	if !ok || n < 1 || n > maxTurns {
		t.bad(key, t.as(key, "Put it right"), "expected %s, found %s.", expected, show(v))
		return int(n), false
	}
	return int(n), true
}

// pair reads a list of two numbers, which has to be there.
func (t *table) pair(key string, l limits) (x, y float64, ok bool) {
	v, there := t.get(key)
	if !there {
		t.missing(key, "[x, y], each "+l.what, asLike(key, "Add it", pairExamples))
		return 0, 0, false
	}
	list, isList := v.([]any)
	if !isList || len(list) != 2 {
		t.bad(key, fmt.Sprintf("Write %s = [x, y].", key), "expected two numbers, found %s.", show(v))
		return 0, 0, false
	}
	x, okX := t.finite(key, list[0], l)
	y, okY := t.finite(key, list[1], l)
	return x, y, okX && okY
}

// texts reads a list of strings that is not empty, as far as it is one.
func (t *table) texts(key, what string) []string {
	v, ok := t.get(key)
	example := fmt.Sprintf(`Write %s = ["...", "..."].`, key)
	if !ok {
		t.missing(key, "a list of "+what, example)
		return nil
	}
	list, ok := v.([]any)
	if !ok {
		t.bad(key, example, "expected a list of %s, found %s.", what, show(v))
		return nil
	}
	if len(list) == 0 {
		t.bad(key, "Name at least one, or take the whole table out.", "expected a list of %s, found an empty one.", what)
		return nil
	}
	out := make([]string, 0, len(list))
	for _, e := range list {
		s, isText := e.(string)
		if !isText {
			t.bad(key, example, "expected a list of %s, found %s in it.", what, show(e))
			continue
		}
		out = append(out, s)
	}
	return out
}

// child reads a single table, like [supply].
func (t *table) child(key string, n need, expected string) (*table, bool) {
	v, ok := t.get(key)
	if !ok {
		if n == required {
			t.missing(key, expected, fmt.Sprintf("Add a [%s] table.", key))
		}
		return nil, false
	}
	m, ok := v.(map[string]any)
	if !ok {
		t.bad(key, fmt.Sprintf("Begin it with a line [%s].", key), "expected a table, found %s.", show(v))
		return nil, false
	}
	return &table{r: t.r, values: m, path: t.place(key), label: key}, true
}

// children reads a list of tables, like [[coil]]. Each is labelled by its id,
// or by its number when it has none.
func (t *table) children(key string, n need) []*table {
	v, ok := t.get(key)
	if !ok {
		if n == required {
			t.missing(key, fmt.Sprintf("at least one [[%s]]", key), fmt.Sprintf("Add a [[%s]] table.", key))
		}
		return nil
	}
	var maps []map[string]any
	switch v := v.(type) {
	case []map[string]any:
		maps = v
	case []any:
		for _, e := range v {
			m, isTable := e.(map[string]any)
			if !isTable {
				t.bad(key, fmt.Sprintf("Begin each with a line [[%s]].", key), "expected tables, found %s.", show(e))
				return nil
			}
			maps = append(maps, m)
		}
	default:
		t.bad(key, fmt.Sprintf("Begin each with a line [[%s]], in double brackets.", key), "expected a list of tables, found %s.", show(v))
		return nil
	}
	if len(maps) > MaxParts {
		t.bad(key, "Make several plans of it.", "expected at most %d of these tables, found %d.", MaxParts, len(maps))
		return nil
	}
	if len(maps) == 0 && n == required {
		t.bad(key, fmt.Sprintf("Add a [[%s]] table.", key), "expected at least one [[%s]], found an empty list.", key)
	}
	out := make([]*table, len(maps))
	for i, m := range maps {
		c := &table{r: t.r, values: m, path: fmt.Sprintf("%s[%d]", key, i)}
		if id, isText := m["id"].(string); isText && id != "" {
			c.label = key + " " + show(id)
			if t.r.ids == nil {
				t.r.ids = map[string]string{}
			}
			t.r.ids[c.path] = id
		} else {
			c.label = fmt.Sprintf("%s number %d", key, i+1)
		}
		out[i] = c
	}
	return out
}

// examples of what keys take, where it is not said at the place itself.
var examples = map[string]string{
	"volts": "2.0", "amps": "1.0", "source_ohms": "0.1", "limit_amps": "2.5", "hz": "1.0", "duty": "0.5",
	"above": "6", "inner": "90", "corner": "10", "turns": "60", "build": "6", "width": "8", "wire_awg": "22", "wire_mm": "0.6",
	"ohms": "0.97", "turned": "45", "lead_ohms": "0.05",
}

// pairExamples are those of keys that take two numbers; some take one or two.
var pairExamples = map[string]string{"size": "[600, 600]", "inner": "[60, 40]", "at": "[120, 120]"}

// as says to write a key like its example, if it has one: of two numbers where two
// are written.
func (t *table) as(key, what string) string {
	if _, isList := t.values[key].([]any); isList {
		return asLike(key, what, pairExamples)
	}
	return asLike(key, what, examples)
}

func asLike(key, what string, examples map[string]string) string {
	if e, ok := examples[key]; ok {
		return fmt.Sprintf("%s, as in %s = %s.", what, key, e)
	}
	return ""
}

// unknown reports every key that nothing asked for. One that was missed and is
// nearly there is told of once.
func (t *table) unknown() {
	var left []string
	for k := range t.values {
		if !slices.Contains(t.known, k) {
			left = append(left, k)
		}
	}
	slices.SortFunc(left, func(a, b string) int {
		return cmp.Or(cmp.Compare(t.r.lineOf(t.place(a)), t.r.lineOf(t.place(b))), cmp.Compare(a, b))
	})
	for _, k := range left {
		remedy := fmt.Sprintf("Known here: %s.", strings.Join(t.known, ", "))
		if near := nearest(k, t.missed); near != "" {
			remedy = fmt.Sprintf("Did you mean %s? It is missing.", near)
			t.r.problems.List = slices.DeleteFunc(t.r.problems.List, func(p Problem) bool {
				return p.Key == t.key(near) && strings.HasPrefix(p.Say, "missing:")
			})
		} else if near := nearest(k, t.known); near != "" {
			remedy = fmt.Sprintf("Did you mean %s?", near)
		}
		t.bad(clip(k), remedy, "unknown key.")
	}
}

func asNumber(v any) (float64, bool) {
	switch v := v.(type) {
	case int64:
		return float64(v), true
	case float64:
		return v, true
	}
	return math.NaN(), false
}

// show writes a value as a person would recognise it from the file.
func show(v any) string {
	switch v := v.(type) {
	case string:
		return strconv.Quote(clip(v))
	case int64:
		return strconv.FormatInt(v, 10)
	case float64:
		switch {
		case math.IsNaN(v):
			return "nan"
		case math.IsInf(v, 1):
			return "inf"
		case math.IsInf(v, -1):
			return "-inf"
		case v == math.Trunc(v) && math.Abs(v) < 1e15:
			return strconv.FormatFloat(v, 'f', 1, 64)
		}
		return plain(v)
	case bool:
		return strconv.FormatBool(v)
	case time.Time:
		return "a date"
	case []any:
		if len(v) == 0 {
			return "an empty list"
		}
		if len(v) <= 4 {
			items := make([]string, len(v))
			for i, e := range v {
				if _, nested := e.([]any); nested {
					return fmt.Sprintf("a list of %d lists", len(v))
				}
				items[i] = show(e)
			}
			return "[" + strings.Join(items, ", ") + "]"
		}
		return fmt.Sprintf("a list of %d", len(v))
	case []map[string]any:
		return "a list of tables"
	case map[string]any:
		return "a table"
	}
	return fmt.Sprintf("a %T", v)
}

// plain writes a number without an exponent where that stays short; a whole one without a
// point, which a plan accepts wherever it wants a number.
func plain(x float64) string {
	if a := math.Abs(x); a == 0 || a >= 1e-4 && a < 1e7 {
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	return strconv.FormatFloat(x, 'g', -1, 64)
}

// clip keeps a hostile string from filling the screen.
func clip(s string) string {
	const most = 40
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most]) + "..."
}

func quoted(words []string, last string) string {
	q := make([]string, len(words))
	for i, w := range words {
		q[i] = show(w)
	}
	if len(q) < 2 {
		return strings.Join(q, "")
	}
	return strings.Join(q[:len(q)-1], ", ") + " " + last + " " + q[len(q)-1]
}

// nearest is the word at most two changes away from s, or "".
func nearest(s string, words []string) string {
	best, dist := "", 3
	for _, w := range words {
		if d := changes(s, w); d < dist && d < len(w) {
			best, dist = w, d
		}
	}
	return best
}

// changes counts the letters to add, drop or replace to get from a to b
// (Levenshtein's distance), for short words; long ones count as far apart.
func changes(a, b string) int {
	if len(a) > 32 || len(b) > 32 {
		return 32
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j+1]+1, row[j]+1)
		}
	}
	return row[len(b)]
}
