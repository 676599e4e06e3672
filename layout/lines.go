package layout

import (
	"strconv"
	"strings"
)

// lineIndex knows on which line of a TOML file each key stands. Keys are
// written like coil[0].at: tables of a list are counted from 0. The TOML
// library reports a line for what it cannot read, but none for the keys it has
// read; that is all this is for, and it understands only what it must.
type lineIndex map[string]int

// Bounds on how a file may be nested. A plan needs two levels; these keep a
// hostile file from costing more than its size.
const (
	maxNesting  = 16
	maxKeyParts = 8
)

// lineScanner walks over the text once. On text that is not TOML it finds what
// it can, always comes to the end, and leaves the complaint to the library.
type lineScanner struct {
	text    string
	pos     int
	line    int
	index   lineIndex
	tooDeep int        // line at which the nesting exceeds the bounds, 0 if it does not
	spans   *spanIndex // also noted when not nil
}

// spanIndex knows where in the text everything stands, in bytes, for those who
// change the text. Paths are those of lineIndex.
type spanIndex struct {
	pairs    map[string]span // key = value, and members of lists
	headings []heading
}

// span is where a pair stands: its key begins at from, its value at value and
// ends before to. A member of a list has no key: from is value.
type span struct{ from, value, to int }

// heading is a line like [supply] or [[coil]].
type heading struct {
	path string // e.g. coil[0]
	kind string // e.g. coil
	list bool
	from int // of its first bracket
}

// indexLines returns the index, and the line at which the file is nested
// deeper than any plan needs, or 0.
func indexLines(text string) (lineIndex, int) {
	s := &lineScanner{text: text, line: 1, index: lineIndex{}}
	s.scan()
	return s.index, s.tooDeep
}

// indexSpans returns where everything stands in the text.
func indexSpans(text string) *spanIndex {
	s := &lineScanner{text: text, line: 1, index: lineIndex{}, spans: &spanIndex{pairs: map[string]span{}}}
	s.scan()
	return s.spans
}

func (s *lineScanner) scan() {
	counts := map[string]int{}
	prefix := ""
	for s.blank(); s.pos < len(s.text); s.blank() {
		start := s.pos
		switch {
		case strings.HasPrefix(s.text[s.pos:], "[["):
			s.pos += 2
			line, key := s.line, s.key("]")
			prefix = key + "[" + strconv.Itoa(counts[key]) + "]"
			s.head(heading{path: prefix, kind: key, list: true, from: start})
			if counts[key] == 0 {
				s.put(key, line)
			}
			counts[key]++
			s.put(prefix, line)
			s.skipLine()
		case s.text[s.pos] == '[':
			s.pos++
			line, key := s.line, s.key("]")
			prefix = key
			s.head(heading{path: key, kind: key, from: start})
			s.put(key, line)
			s.skipLine()
		default:
			s.pair(prefix, 0)
		}
		if s.pos == start { // a stray character
			s.next()
		}
	}
}

func (s *lineScanner) head(h heading) {
	if s.spans != nil {
		s.spans.headings = append(s.spans.headings, h)
	}
}

// span notes where a value stands that ends here.
func (s *lineScanner) span(path string, from, value int) {
	if s.spans == nil {
		return
	}
	if _, seen := s.spans.pairs[path]; !seen {
		to := value + len(strings.TrimRight(s.text[value:s.pos], " \t\r"))
		s.spans.pairs[path] = span{from, value, to}
	}
}

// put keeps the first line a key is seen on.
func (s *lineScanner) put(key string, line int) {
	if _, seen := s.index[key]; !seen {
		s.index[key] = line
	}
}

func (s *lineScanner) next() {
	if s.text[s.pos] == '\n' {
		s.line++
	}
	s.pos++
}

func (s *lineScanner) skipLine() {
	for s.pos < len(s.text) && s.text[s.pos] != '\n' {
		s.pos++
	}
}

// blank skips white space, line ends and comments.
func (s *lineScanner) blank() {
	for s.pos < len(s.text) {
		switch s.text[s.pos] {
		case ' ', '\t', '\r', '\n':
			s.next()
		case '#':
			s.skipLine()
		default:
			return
		}
	}
}

// key reads a dotted key up to one of the ends and returns it joined by dots,
// without quotes.
func (s *lineScanner) key(ends string) string {
	var b strings.Builder
	parts := 1
	for s.pos < len(s.text) && s.text[s.pos] != '\n' && !strings.ContainsRune(ends, rune(s.text[s.pos])) {
		switch c := s.text[s.pos]; c {
		case '"', '\'':
			s.pos++
			for s.pos < len(s.text) && s.text[s.pos] != c && s.text[s.pos] != '\n' {
				b.WriteByte(s.text[s.pos])
				s.pos++
			}
			if s.pos < len(s.text) && s.text[s.pos] == c {
				s.pos++
			}
		case ' ', '\t':
			s.pos++
		default:
			if c == '.' {
				parts++
			}
			b.WriteByte(c)
			s.pos++
		}
	}
	s.deep(parts > maxKeyParts)
	return b.String()
}

func (s *lineScanner) deep(is bool) {
	if is && s.tooDeep == 0 {
		s.tooDeep = s.line
	}
}

// pair reads key = value.
func (s *lineScanner) pair(prefix string, depth int) {
	from := s.pos
	line, key := s.line, s.key("=,}")
	if prefix != "" {
		key = prefix + "." + key
	}
	s.put(key, line)
	if s.pos < len(s.text) && s.text[s.pos] == '=' {
		s.pos++
		for s.pos < len(s.text) && (s.text[s.pos] == ' ' || s.text[s.pos] == '\t') {
			s.pos++
		}
		value := s.pos
		s.value(key, depth)
		s.span(key, from, value)
	}
}

// value reads a value and indexes the keys within it.
func (s *lineScanner) value(path string, depth int) {
	for s.pos < len(s.text) && (s.text[s.pos] == ' ' || s.text[s.pos] == '\t') {
		s.pos++
	}
	if s.pos >= len(s.text) {
		return
	}
	s.deep(depth > maxNesting)
	if depth > maxNesting {
		s.skipLine()
		return
	}
	rest := s.text[s.pos:]
	switch c := rest[0]; {
	case strings.HasPrefix(rest, `"""`), strings.HasPrefix(rest, `'''`):
		s.pos += 3
		for s.pos < len(s.text) && !strings.HasPrefix(s.text[s.pos:], rest[:3]) {
			if c == '"' && s.text[s.pos] == '\\' && s.pos+1 < len(s.text) {
				s.next()
			}
			s.next()
		}
		s.pos = min(s.pos+3, len(s.text))
	case c == '"' || c == '\'':
		s.pos++
		for s.pos < len(s.text) && s.text[s.pos] != c && s.text[s.pos] != '\n' {
			if c == '"' && s.text[s.pos] == '\\' && s.pos+1 < len(s.text) {
				s.next()
			}
			s.next()
		}
		if s.pos < len(s.text) && s.text[s.pos] == c {
			s.pos++
		}
	case c == '[':
		s.pos++
		s.members(']', func(i int) {
			item := path + "[" + strconv.Itoa(i) + "]"
			s.put(item, s.line)
			from := s.pos
			s.value(item, depth+1)
			s.span(item, from, from)
		})
	case c == '{':
		s.pos++
		s.members('}', func(int) { s.pair(path, depth+1) })
	default:
		for s.pos < len(s.text) && !strings.ContainsRune(",]}#\n", rune(s.text[s.pos])) {
			s.pos++
		}
	}
}

// members reads what stands between brackets, separated by commas.
func (s *lineScanner) members(end byte, member func(i int)) {
	for i := 0; ; {
		s.blank()
		if s.pos >= len(s.text) {
			return
		}
		switch s.text[s.pos] {
		case end:
			s.pos++
			return
		case ',':
			s.pos++
			continue
		}
		start := s.pos
		member(i)
		i++
		if s.pos == start { // not TOML: leave it to the library
			s.next()
		}
	}
}
