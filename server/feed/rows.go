package feed

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// header names a table's columns. It is sure once a row of its width followed.
type header struct {
	names []string
	sep   rune
	sure  bool
}

// row reads a line of a table, or of words and numbers.
func (p *Parser) row(line string) ([]Message, error) {
	sep := separator(line)
	if h := p.header; h != nil && h.sure && h.sep != 0 {
		sep = h.sep
	}
	fields := split(line, sep)
	if len(fields) > 2*maxNumbers {
		return nil, fmt.Errorf("expected at most %d columns, found %d", 2*maxNumbers, len(fields))
	}
	if h := p.header; h != nil && len(fields) == len(h.names)-1 && sep != ' ' && strings.HasSuffix(line, string(sep)) {
		fields = append(fields, "") // the last column has no value
	}
	if m, ok, err := labelled(fields, sep); ok || err != nil {
		return m, err
	}
	values := make([]float64, len(fields))
	is := make([]bool, len(fields))
	found := 0
	for i, f := range fields {
		if values[i], is[i] = number(f, sep != ','); is[i] {
			found++
		}
	}
	if found == 0 {
		if len(fields) < 2 {
			return nil, errors.New("expected numbers, found none")
		}
		names := columnNames(fields)
		if p.header != nil && slices.Equal(p.header.names, names) {
			return nil, nil // said again
		}
		if p.header != nil && p.header.sure && len(names) != len(p.header.names) {
			return nil, errors.New("expected numbers, found none")
		}
		p.header = &header{names: names, sep: sep}
		return nil, nil
	}
	if h := p.header; h != nil && len(fields) != len(h.names) {
		if h.sure {
			return nil, fmt.Errorf("expected %d columns as in the header, found %d", len(h.names), len(fields))
		}
		p.header = nil // those were words, not a header
	}
	if h := p.header; h != nil {
		h.sure, h.sep = true, sep
	}
	var m Message
	for i := range fields {
		if !is[i] {
			continue
		}
		name := columnName(i)
		if p.header != nil {
			name = p.header.names[i]
		}
		if err := m.set(name, values[i]); err != nil {
			return nil, err
		}
	}
	return []Message{m}, nil
}

// separator picks what parts a line's fields: a tab, a semicolon, a comma, else
// white space. Commas are decimal marks where they stand inside numbers that
// white space parts.
func separator(line string) rune {
	switch {
	case strings.ContainsRune(line, '\t'):
		return '\t'
	case strings.ContainsRune(line, ';'):
		return ';'
	case !strings.ContainsRune(line, ','):
		return ' '
	}
	fields := strings.Fields(line)
	if len(fields) < 2 {
		return ','
	}
	for _, f := range fields {
		i := strings.IndexByte(f, ',')
		if i < 0 {
			continue
		}
		if i == 0 || i == len(f)-1 || !digit(f[i-1]) || !digit(f[i+1]) || strings.IndexByte(f[i+1:], ',') >= 0 {
			return ','
		}
	}
	return ' '
}

func digit(c byte) bool { return c >= '0' && c <= '9' }

// split parts a line; double quotes keep a field together.
func split(line string, sep rune) []string {
	if sep == ' ' {
		return strings.Fields(line)
	}
	var out []string
	var b strings.Builder
	quoted := false
	for _, c := range line {
		switch {
		case c == '"':
			quoted = !quoted
		case c == sep && !quoted:
			out = append(out, strings.TrimSpace(b.String()))
			b.Reset()
		default:
			b.WriteRune(c)
		}
	}
	last := strings.TrimSpace(b.String())
	if last == "" && len(out) > 0 {
		return out // a separator at the end of each line parts nothing
	}
	return append(out, last)
}

// labelled reads fields like "x=12", "x:12" and "x: 12".
func labelled(fields []string, sep rune) (out []Message, ok bool, err error) {
	var m Message
	label := ""
	plain := 0
	for _, f := range fields {
		i := strings.IndexAny(f, "=:")
		if i < 0 {
			if v, is := number(f, sep != ','); is {
				if label == "" {
					plain++
					continue
				}
				if err := m.set(label, v); err != nil {
					return nil, false, err
				}
			}
			label = ""
			continue
		}
		name := strings.TrimSpace(f[:i])
		if name == "" || !unicode.IsLetter([]rune(name)[0]) || len(name) > maxPathBytes {
			label = ""
			continue // a time of day, say
		}
		rest := strings.TrimSpace(f[i+1:])
		if rest == "" {
			label = name
			continue
		}
		label = ""
		if v, is := number(rest, sep != ','); is {
			if err := m.set(name, v); err != nil {
				return nil, false, err
			}
		}
	}
	if len(m.Numbers) == 0 || plain > len(m.Numbers) {
		return nil, false, nil
	}
	return []Message{m}, true, nil
}

// columnNames makes names of a header's fields, each once.
func columnNames(fields []string) []string {
	out := make([]string, 0, len(fields))
	for i, f := range fields {
		f = strings.Trim(f, ` "'`)
		if len(f) > maxPathBytes {
			f = strings.ToValidUTF8(f[:maxPathBytes], "")
		}
		if f == "" || slices.Contains(out, f) {
			f = strings.TrimSpace(f + " " + columnName(i))
		}
		out = append(out, f)
	}
	return out
}

// number reads a decimal number, with a decimal comma where that may be one,
// and with a unit behind it, as in "12.5uT".
func number(s string, comma bool) (float64, bool) {
	s = strings.TrimSpace(s)
	if s == "" || len(s) > 64 {
		return 0, false
	}
	end := 0
	for end < len(s) && (digit(s[end]) || strings.IndexByte("+-.,eE", s[end]) >= 0) {
		end++
	}
	unit := s[end:]
	for _, r := range unit {
		if !unicode.IsLetter(r) && !strings.ContainsRune("%°µ/^² ", r) {
			return 0, false
		}
	}
	// The e of a unit that begins with one belongs to it.
	num := strings.TrimRight(s[:end], "eE")
	if comma && strings.Count(num, ",") == 1 && !strings.Contains(num, ".") {
		num = strings.Replace(num, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(num, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, false
	}
	return v, true
}
