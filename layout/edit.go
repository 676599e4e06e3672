package layout

import (
	"bytes"
	"fmt"
	"math"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/BurntSushi/toml"
)

// Edit is one change of a plan file. Values are those of the file: text,
// numbers, yes or no, lists of these; lengths in the plan's unit.
type Edit struct {
	// Op is one of
	//   set     give Key of a table this Value
	//   unset   take Key out
	//   add     add a table with these Pairs at the end of its kind
	//   remove  take a table out, with every mention of it; a string that has no
	//           coil left goes too, and a group that has no member left
	//   rename  give the table the id in Value, wherever it is named
	Op    string `json:"op"`
	Table string `json:"table,omitempty"` // "" for what stands above all tables
	ID    string `json:"id,omitempty"`    // which one, of windings, coils, strings and groups
	Key   string `json:"key,omitempty"`
	Value any    `json:"value,omitempty"`
	Pairs []Pair `json:"pairs,omitempty"`
}

// Pair is a key and its value.
type Pair struct {
	Key   string `json:"key"`
	Value any    `json:"value"`
}

// maxEdits is how many edits can be made at once.
const maxEdits = 2000

// The tables a plan has, in the order in which they are written.
var (
	singleTables = []string{"outline", "supply", "sensor"}
	listTables   = []string{"winding", "coil", "string", "group"}
)

var bareKey = regexp.MustCompile(`^[A-Za-z0-9_-]+$`)

// EditText changes the text of a plan file and leaves alone whatever an edit does
// not concern: comments, order, spacing, the way numbers are written. Text that
// is not TOML cannot be edited; a plan that has problems can. What comes out
// reads as exactly what was asked for, or there is an error and no text.
func EditText(text []byte, edits []Edit) ([]byte, error) {
	if len(text) > MaxPlanBytes {
		return nil, fmt.Errorf("expected a plan of at most %d KiB, found more", MaxPlanBytes>>10)
	}
	if len(edits) > maxEdits {
		return nil, fmt.Errorf("expected at most %d edits at once, found %d", maxEdits, len(edits))
	}
	e := &textEditor{text: string(text), eol: "\n"}
	if bytes.Contains(text, []byte("\r\n")) {
		e.eol = "\r\n"
	}
	if _, tooDeep := indexLines(e.text); tooDeep > 0 {
		return nil, fmt.Errorf("line %d: brackets or keys are nested too deep for a plan", tooDeep)
	}
	if err := toml.Unmarshal(text, &e.values); err != nil {
		return nil, fmt.Errorf("the text cannot be read as TOML, put that right first: %w", err)
	}
	if e.values == nil {
		e.values = map[string]any{}
	}
	for _, kind := range listTables {
		if list, ok := e.values[kind].([]any); ok {
			e.values[kind] = asTables(list)
		}
	}
	for i := range edits {
		if err := e.apply(&edits[i]); err != nil {
			return nil, fmt.Errorf("%s: %w", edits[i].what(), err)
		}
		if len(e.text) > MaxPlanBytes {
			return nil, fmt.Errorf("the plan would grow beyond %d KiB", MaxPlanBytes>>10)
		}
	}
	var got map[string]any
	if err := toml.Unmarshal([]byte(e.text), &got); err != nil || !reflect.DeepEqual(normal(got), normal(e.values)) {
		return nil, fmt.Errorf("the text is written in a way that cannot be changed piece by piece: change it as text")
	}
	return []byte(e.text), nil
}

func (q *Edit) what() string {
	words := q.Op + " " + q.Table
	if q.ID != "" {
		words += " " + show(q.ID)
	}
	if q.Key != "" {
		words += "." + q.Key
	}
	return words
}

// textEditor is a text being changed beside what it says.
type textEditor struct {
	text   string
	eol    string
	values map[string]any
	known  *spanIndex // of text; nil when it has changed
}

func (e *textEditor) spans() *spanIndex {
	if e.known == nil {
		e.known = indexSpans(e.text)
	}
	return e.known
}

func (e *textEditor) splice(from, to int, text string) {
	e.text = e.text[:from] + text + e.text[to:]
	e.known = nil
}

func (e *textEditor) apply(q *Edit) error {
	if q.Table != "" && !slices.Contains(singleTables, q.Table) && !slices.Contains(listTables, q.Table) {
		return fmt.Errorf("a plan has no such table")
	}
	list := slices.Contains(listTables, q.Table)
	switch q.Op {
	case "add":
		if !list {
			return fmt.Errorf("expected a kind of table there can be several of")
		}
		return e.add(q.Table, q.Pairs)
	case "set", "unset":
		if !bareKey.MatchString(q.Key) {
			return fmt.Errorf("expected a key, found %s", show(q.Key))
		}
	case "remove", "rename":
	default:
		return fmt.Errorf("expected set, unset, add, remove or rename")
	}
	path, table, err := e.find(q.Table, q.ID)
	if err != nil && (list || q.Op == "rename") {
		return err
	}
	switch {
	case q.Op == "rename" && list:
		id, ok := q.Value.(string)
		if !ok {
			return fmt.Errorf("expected an id, found %s", show(q.Value))
		}
		return e.rename(q.Table, q.ID, id)
	case q.Op == "rename":
		return fmt.Errorf("expected a table that has an id")
	case table == nil && q.Op == "set":
		return e.begin(q.Table, q.Key, q.Value)
	case table == nil:
		return nil // nothing to take out
	case q.Op == "set":
		return e.set(path, table, q.Key, q.Value)
	case q.Op == "unset":
		return e.unset(path, table, q.Key)
	case list:
		return e.remove(q.Table, q.ID)
	case path == "":
		return fmt.Errorf("expected the name of a table")
	}
	return e.removeSingle(path)
}

// find returns a table and its path; of several with one id the first.
func (e *textEditor) find(kind, id string) (string, map[string]any, error) {
	switch {
	case kind == "":
		return "", e.values, nil
	case slices.Contains(singleTables, kind):
		table, ok := e.values[kind].(map[string]any)
		if !ok && e.values[kind] != nil {
			return "", nil, fmt.Errorf("expected a table, found %s", show(e.values[kind]))
		}
		return kind, table, nil
	}
	tables, _ := e.values[kind].([]map[string]any)
	for i, table := range tables {
		if table["id"] == id {
			return fmt.Sprintf("%s[%d]", kind, i), table, nil
		}
	}
	return "", nil, fmt.Errorf("the plan has none")
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func (e *textEditor) set(path string, table map[string]any, key string, value any) error {
	literal, err := tomlValue(value)
	if err != nil {
		return err
	}
	place := join(path, key)
	old, there := table[key]
	table[key] = value
	if !there {
		return e.addKey(path, key, literal)
	}
	return e.replace(place, old, value, literal)
}

// replace puts a new value where an old one stands, and of a list as little as
// will do.
func (e *textEditor) replace(place string, old, value any, literal string) error {
	if reflect.DeepEqual(normal(old), normal(value)) {
		return nil
	}
	at, ok := e.spans().pairs[place]
	if !ok {
		return fmt.Errorf("it cannot be found in the text: change it as text")
	}
	was, wasList := old.([]any)
	now, isList := value.([]any)
	if wasList && isList && len(was) == len(now) {
		for i := len(now) - 1; i >= 0; i-- {
			item, err := tomlValue(now[i])
			if err != nil {
				return err
			}
			if err := e.replace(fmt.Sprintf("%s[%d]", place, i), was[i], now[i], item); err != nil {
				return err
			}
		}
		return nil
	}
	if wasList && isList {
		left := slices.Clone(was)
		for i := len(left) - 1; i >= 0; i-- {
			if !slices.ContainsFunc(now, func(v any) bool { return reflect.DeepEqual(normal(v), normal(left[i])) }) {
				left = slices.Delete(left, i, i+1)
			}
		}
		if len(left) <= len(now) && reflect.DeepEqual(normal(left), normal(now[:len(left)])) {
			for i := len(was) - 1; i >= 0; i-- {
				if !slices.ContainsFunc(now, func(v any) bool { return reflect.DeepEqual(normal(v), normal(was[i])) }) {
					e.removeItem(place, i)
					was = slices.Delete(slices.Clone(was), i, i+1)
				}
			}
			for i := len(left); i < len(now); i++ {
				item, err := tomlValue(now[i])
				if err != nil {
					return err
				}
				e.appendItem(place, i, item)
			}
			return nil
		}
	}
	e.splice(at.value, at.to, literal)
	return nil
}

// removeItem takes member i out of a list written in brackets.
func (e *textEditor) removeItem(place string, i int) {
	item := func(k int) span { return e.spans().pairs[fmt.Sprintf("%s[%d]", place, k)] }
	from, to := item(i).from, item(i).to
	if to == 0 || i > 0 && item(i-1).to > from {
		return // not found in the text; EditText refuses then
	}
	after := to + len(e.text[to:]) - len(strings.TrimLeft(e.text[to:], " \t"))
	if strings.HasPrefix(e.text[after:], ",") {
		to = after + 1
		to += len(e.text[to:]) - len(strings.TrimLeft(e.text[to:], " \t"))
	} else if i > 0 {
		// The last one, without a comma behind it: the one before goes.
		between := e.text[item(i-1).to:from]
		if strings.Trim(between, " \t,") == "" {
			from = item(i - 1).to
		}
	}
	rest := strings.TrimRight(e.text[to:e.lineEnd(to)], "\r")
	if start := e.lineStart(from); strings.TrimSpace(e.text[start:from]) == "" && (rest == "" || strings.HasPrefix(rest, "#")) {
		from, to = start, e.pastLine(to)
	}
	e.splice(from, to, "")
}

// appendItem adds a member behind the n that a list has.
func (e *textEditor) appendItem(place string, n int, literal string) {
	spans := e.spans().pairs
	if n == 0 {
		at := spans[place].value + 1
		e.splice(at, at, literal)
		return
	}
	at := spans[fmt.Sprintf("%s[%d]", place, n-1)].to
	e.splice(at, at, ", "+literal)
}

// addKey writes a new pair at the end of a table.
func (e *textEditor) addKey(path, key, literal string) error {
	s := e.spans()
	for _, h := range s.headings {
		if h.path == path {
			end, indent := e.bodyEnd(h)
			e.splice(end, end, e.line(end, indent+key+" = "+literal))
			return nil
		}
	}
	if at, ok := s.pairs[path]; ok && path != "" {
		if e.text[at.value] != '{' {
			return fmt.Errorf("it cannot be found in the text: change it as text")
		}
		end := at.to - 1
		inner := strings.TrimRight(e.text[at.value+1:end], " \t")
		pair := key + " = " + literal
		if inner != "" {
			pair = ", " + pair
		} else {
			pair = " " + pair
		}
		e.splice(at.value+1+len(inner), at.value+1+len(inner), pair)
		return nil
	}
	// Keys above all tables, or dotted ones like supply.volts.
	last := -1
	for p, at := range s.pairs {
		if (len(s.headings) == 0 || at.from < s.headings[0].from) && !strings.HasSuffix(p, "]") &&
			(path == "" && !strings.Contains(p, "[") || path != "" && strings.HasPrefix(p, path+".")) {
			last = max(last, at.to)
		}
	}
	if last >= 0 {
		end := e.pastLine(last)
		e.splice(end, end, e.line(end, join(path, key)+" = "+literal))
		return nil
	}
	at := len(e.text)
	if len(s.headings) > 0 {
		at = e.withComments(s.headings[0].from)
	}
	e.splice(at, at, e.line(at, join(path, key)+" = "+literal)+e.eol)
	return nil
}

// begin writes a single table that is not there yet, before the lists.
func (e *textEditor) begin(kind, key string, value any) error {
	literal, err := tomlValue(value)
	if err != nil {
		return err
	}
	if e.values[kind] != nil {
		return fmt.Errorf("expected a table, found %s", show(e.values[kind]))
	}
	e.values[kind] = map[string]any{key: value}
	block := "[" + kind + "]" + e.eol + key + " = " + literal
	for _, h := range e.spans().headings {
		if h.list {
			at := e.withComments(h.from)
			e.splice(at, at, e.line(at, block)+e.eol)
			return nil
		}
	}
	e.appendBlock(len(e.text), block)
	return nil
}

// add writes a table of a list behind the others of its kind.
func (e *textEditor) add(kind string, pairs []Pair) error {
	table := map[string]any{}
	lines := []string{"[[" + kind + "]]"}
	for _, p := range pairs {
		if !bareKey.MatchString(p.Key) || table[p.Key] != nil {
			return fmt.Errorf("expected a key once, found %s", show(p.Key))
		}
		literal, err := tomlValue(p.Value)
		if err != nil {
			return fmt.Errorf("%s: %w", p.Key, err)
		}
		table[p.Key] = p.Value
		lines = append(lines, p.Key+" = "+literal)
	}
	if e.values[kind] == nil {
		e.values[kind] = []map[string]any{}
	}
	tables, ok := e.values[kind].([]map[string]any)
	if !ok {
		return fmt.Errorf("expected a list of tables, found %s", show(e.values[kind]))
	}
	e.values[kind] = append(slices.Clip(tables), table)
	if _, inline := e.spans().pairs[kind]; inline {
		e.appendItem(kind, len(tables), "{ "+strings.Join(lines[1:], ", ")+" }")
		return nil
	}
	// Behind the last of its kind, or else of the kinds that come before it.
	order := slices.Concat(singleTables, listTables)
	at := -1
	for k := slices.Index(order, kind); k >= 0 && at < 0; k-- {
		for _, h := range e.spans().headings {
			if h.kind == order[k] {
				at, _ = e.bodyEnd(h)
			}
		}
	}
	if at < 0 {
		at = len(e.text)
	}
	for at < len(e.text) && strings.HasPrefix(strings.TrimLeft(e.text[at:e.lineEnd(at)], " \t"), "#") {
		at = e.pastLine(at) // remarks on the one before
	}
	e.appendBlock(at, strings.Join(lines, e.eol))
	return nil
}

// appendBlock writes lines behind a place, with an empty line between.
func (e *textEditor) appendBlock(at int, block string) {
	gap := e.eol
	if at == 0 || strings.HasSuffix(e.text[:at], "\n\n") || strings.HasSuffix(e.text[:at], "\n\r\n") {
		gap = ""
	}
	block += e.eol
	if gap != "" && at > 0 && e.text[at-1] != '\n' {
		gap += e.eol
	}
	e.splice(at, at, gap+block)
}

// line is a whole line to be put in at a place where one begins, or at the end
// of a text that lacks its last line end.
func (e *textEditor) line(at int, text string) string {
	if at > 0 && e.text[at-1] != '\n' {
		return e.eol + text + e.eol
	}
	return text + e.eol
}

func (e *textEditor) remove(kind, id string) error {
	path, _, err := e.find(kind, id)
	if err != nil {
		return err
	}
	tables := e.values[kind].([]map[string]any)
	at := slices.IndexFunc(tables, func(t map[string]any) bool { return t["id"] == id })
	e.values[kind] = slices.Delete(slices.Clone(tables), at, at+1)
	if _, inline := e.spans().pairs[kind]; inline {
		e.removeItem(kind, at)
	} else {
		e.cutTable(path)
	}
	// Whoever has the same id by mistake keeps its mentions.
	if _, _, err := e.find(kind, id); err == nil {
		return nil
	}
	switch kind {
	case "coil":
		return e.forget("string", "coils", id)
	case "string", "group":
		return e.forget("group", "of", id)
	}
	return nil
}

// forget takes a name out of the lists that carry it.
func (e *textEditor) forget(kind, key, id string) error {
	tables, _ := e.values[kind].([]map[string]any)
	for i := len(tables) - 1; i >= 0; i-- {
		names, ok := tables[i][key].([]any)
		if !ok || !slices.Contains(names, any(id)) {
			continue
		}
		left := slices.DeleteFunc(slices.Clone(names), func(v any) bool { return v == id })
		own, named := tables[i]["id"].(string)
		if len(left) == 0 && named {
			if err := e.remove(kind, own); err != nil {
				return err
			}
			tables, _ = e.values[kind].([]map[string]any)
			i = min(i, len(tables))
			continue
		}
		if err := e.set(fmt.Sprintf("%s[%d]", kind, i), tables[i], key, left); err != nil {
			return err
		}
	}
	return nil
}

func (e *textEditor) rename(kind, id, to string) error {
	path, table, err := e.find(kind, id)
	if err != nil {
		return err
	}
	if err := e.set(path, table, "id", to); err != nil {
		return err
	}
	mention := map[string][2]string{"winding": {"coil", "winding"}, "coil": {"string", "coils"}, "string": {"group", "of"}, "group": {"group", "of"}}[kind]
	tables, _ := e.values[mention[0]].([]map[string]any)
	for i, t := range tables {
		value := t[mention[1]]
		switch v := value.(type) {
		case string:
			if v != id {
				continue
			}
			value = to
		case []any:
			if !slices.Contains(v, any(id)) {
				continue
			}
			names := slices.Clone(v)
			for k := range names {
				if names[k] == id {
					names[k] = to
				}
			}
			value = names
		default:
			continue
		}
		if err := e.set(fmt.Sprintf("%s[%d]", mention[0], i), t, mention[1], value); err != nil {
			return err
		}
	}
	return nil
}

// cutTable takes out a heading and its pairs. Remarks above it stay.
func (e *textEditor) cutTable(path string) {
	for _, h := range e.spans().headings {
		if h.path != path {
			continue
		}
		from := e.lineStart(h.from)
		to, _ := e.bodyEnd(h)
		// Of two empty lines that would meet, one goes.
		if before := e.text[:from]; before == "" || strings.HasSuffix(before, "\n\n") || strings.HasSuffix(before, "\n\r\n") {
			if strings.TrimSpace(e.text[to:e.lineEnd(to)]) == "" && to < len(e.text) {
				to = e.pastLine(to)
			} else if to == len(e.text) {
				from = len(strings.TrimSuffix(strings.TrimSuffix(before, "\n"), "\r"))
			}
		}
		e.splice(from, to, "")
		return
	}
}

func (e *textEditor) removeSingle(path string) error {
	delete(e.values, path)
	if at, ok := e.spans().pairs[path]; ok {
		e.splice(e.lineStart(at.from), e.pastLine(at.to), "")
		return nil
	}
	e.cutTable(path)
	return nil
}

func (e *textEditor) unset(path string, table map[string]any, key string) error {
	if _, there := table[key]; !there {
		return nil
	}
	delete(table, key)
	place := join(path, key)
	s := e.spans()
	at, ok := s.pairs[place]
	if !ok {
		return fmt.Errorf("it cannot be found in the text: change it as text")
	}
	around, inline := s.pairs[path]
	if !inline || path == "" || e.text[around.value] != '{' {
		e.splice(e.lineStart(at.from), e.pastLine(at.to), "")
		return nil
	}
	// In an inline table a comma goes with it.
	before, after := -1, -1
	for p, b := range s.pairs {
		if strings.HasPrefix(p, path+".") && !strings.ContainsAny(p[len(path)+1:], ".[") {
			if b.to <= at.from {
				before = max(before, b.to)
			}
			if b.from >= at.to && (after < 0 || b.from < after) {
				after = b.from
			}
		}
	}
	switch {
	case after >= 0:
		e.splice(at.from, after, "")
	case before >= 0:
		e.splice(before, at.to, "")
	default:
		e.splice(at.from, at.to, "")
	}
	return nil
}

// bodyEnd is where the lines of a heading's table end, and how they are indented.
func (e *textEditor) bodyEnd(h heading) (int, string) {
	s := e.spans()
	limit := len(e.text)
	for _, other := range s.headings {
		if other.from > h.from {
			limit = min(limit, other.from)
		}
	}
	last := span{from: h.from, to: h.from}
	for _, at := range s.pairs {
		if at.from > h.from && at.from < limit && at.to > last.to {
			last = at
		}
	}
	indent := e.text[e.lineStart(last.from):last.from]
	if strings.TrimLeft(indent, " \t") != "" {
		indent = ""
	}
	return e.pastLine(last.to), indent
}

func (e *textEditor) lineStart(at int) int { return strings.LastIndexByte(e.text[:at], '\n') + 1 }

// lineEnd is where the line of a place ends, before its line end.
func (e *textEditor) lineEnd(at int) int {
	if i := strings.IndexByte(e.text[at:], '\n'); i >= 0 {
		return at + i
	}
	return len(e.text)
}

func (e *textEditor) pastLine(at int) int { return min(e.lineEnd(at)+1, len(e.text)) }

// withComments is where the remarks begin that stand right above a line.
func (e *textEditor) withComments(at int) int {
	at = e.lineStart(at)
	for at > 0 {
		above := e.lineStart(at - 1)
		if !strings.HasPrefix(strings.TrimLeft(e.text[above:at], " \t"), "#") {
			break
		}
		at = above
	}
	return at
}

// tomlValue writes a value as it stands in a file.
func tomlValue(v any) (string, error) {
	switch v := v.(type) {
	case string:
		if !utf8.ValidString(v) {
			return "", fmt.Errorf("expected text in UTF-8")
		}
		return tomlText(v), nil
	case bool:
		return fmt.Sprint(v), nil
	case int64:
		return fmt.Sprint(v), nil
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return "", fmt.Errorf("expected a finite number")
		}
		return plain(v + 0), nil
	case []any:
		items := make([]string, len(v))
		for i := range v {
			item, err := tomlValue(v[i])
			if err != nil {
				return "", err
			}
			items[i] = item
		}
		return "[" + strings.Join(items, ", ") + "]", nil
	}
	return "", fmt.Errorf("expected text, a number, yes or no, or a list of them, found %s", show(v))
}

func asTables(list []any) any {
	tables := make([]map[string]any, len(list))
	for i := range list {
		t, ok := list[i].(map[string]any)
		if !ok {
			return list
		}
		tables[i] = t
	}
	return tables
}

// normal brings values that mean the same to one form: whole numbers are numbers,
// lists of tables are lists, and an empty one is none.
func normal(v any) any {
	switch v := v.(type) {
	case int64:
		return float64(v)
	case float64:
		return v + 0
	case []any:
		out := make([]any, len(v))
		for i := range v {
			out[i] = normal(v[i])
		}
		return out
	case []map[string]any:
		out := make([]any, len(v))
		for i := range v {
			out[i] = normal(v[i])
		}
		return out
	case map[string]any:
		out := make(map[string]any, len(v))
		for k, w := range v {
			n := normal(w)
			if list, ok := n.([]any); ok && len(list) == 0 && slices.Contains(listTables, k) {
				continue
			}
			out[k] = n
		}
		return out
	}
	return v
}
