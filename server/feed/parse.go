// Package feed takes readings from sensors other than the phone page: a sensor
// app, a hobby board on a serial port, whatever sends numbers as text. Nobody
// has to know a format. The parser finds the numbers and names them; a person
// shows on the bench page which of them are the field; what was shown is kept as
// a dialect, by which later readings become capture lines.
package feed

import (
	"bytes"
	"encoding/json"
	"fmt"
	"unicode/utf8"
)

// Bounds on what one source may send. They are far above any honest device and
// keep a hostile one from filling the memory.
const (
	MaxChunkBytes = 1 << 20
	MaxLineBytes  = 64 << 10
	maxNumbers    = 200  // in a message
	maxMessages   = 5000 // in a chunk
	maxDepth      = 12
	maxPathBytes  = 160
)

// Number is a number of a message and where it stands: "acc.x", "values[0]",
// "column 3".
type Number struct {
	Path  string  `json:"path"`
	Value float64 `json:"value"`
}

// Message is what a device says at once: a JSON object, a row.
type Message struct {
	Line    int // from 1
	Numbers []Number
}

// Get returns the number at a path.
func (m *Message) Get(path string) (float64, bool) {
	for i := range m.Numbers {
		if m.Numbers[i].Path == path {
			return m.Numbers[i].Value, true
		}
	}
	return 0, false
}

// three returns the numbers at three paths, and how many of them there are.
func (m *Message) three(paths [3]string) (v [3]float64, n int) {
	for a, p := range paths {
		x, ok := m.Get(p)
		if ok {
			n++
		}
		v[a] = x
	}
	return v, n
}

// set adds a number; a path that comes twice has the last value.
func (m *Message) set(path string, v float64) error {
	for i := range m.Numbers {
		if m.Numbers[i].Path == path {
			m.Numbers[i].Value = v
			return nil
		}
	}
	if len(m.Numbers) == maxNumbers {
		return fmt.Errorf("expected at most %d numbers in a message, found more", maxNumbers)
	}
	m.Numbers = append(m.Numbers, Number{path, v})
	return nil
}

// BadLine is a line that gave no message, and why.
type BadLine struct {
	Line int    `json:"line"`
	Why  string `json:"why"`
}

func (b BadLine) String() string { return fmt.Sprintf("line %d: %s", b.Line, b.Why) }

// Parser turns the text of one source into messages. It remembers a table's
// header and counts lines.
type Parser struct {
	line   int
	header *header
}

// Columns returns the header in force, nil without one.
func (p *Parser) Columns() []string {
	if p.header == nil || !p.header.sure {
		return nil
	}
	return p.header.names
}

// recall takes up a header known from earlier, for a source that sends it only
// once. A row of another width drops it.
func (p *Parser) recall(columns []string) {
	if p.header == nil && len(columns) > 0 {
		p.header = &header{names: columns}
	}
}

// lineIs says that the next line is the n-th of its source.
func (p *Parser) lineIs(n int) { p.line = n - 1 }

// Parse reads a chunk of whole lines: JSON (an object, an array of them, one a
// line), rows of a table with or without header, or lines like "x: 12 y: 7".
// Lines that cannot be used are listed and never stop those after them.
func (p *Parser) Parse(chunk []byte) (messages []Message, bad []BadLine) {
	chunk = bytes.TrimPrefix(chunk, []byte("\xef\xbb\xbf"))
	take := func(m []Message, err error) {
		if err == nil && len(messages)+len(m) > maxMessages {
			err = fmt.Errorf("expected at most %d messages at once, found more", maxMessages)
		}
		if err != nil {
			bad = append(bad, BadLine{p.line, err.Error()})
			return
		}
		for i := range m {
			m[i].Line = p.line
		}
		messages = append(messages, m...)
	}
	if body := bytes.TrimSpace(chunk); looksJSON(body) && bytes.IndexByte(body, '\n') >= 0 && json.Valid(body) {
		p.line++ // one value over several lines
		take(parseJSON(body))
		p.line += bytes.Count(body, []byte("\n"))
		return messages, bad
	}
	for len(chunk) > 0 {
		var line []byte
		line, chunk = nextLine(chunk)
		p.line++
		line = bytes.TrimSpace(line)
		switch {
		case len(line) == 0 || line[0] == '#':
		case len(line) > MaxLineBytes:
			take(nil, fmt.Errorf("expected at most %d bytes, found %d", MaxLineBytes, len(line)))
		case looksJSON(line):
			take(parseJSON(line))
		case !utf8.Valid(line) || bytes.IndexByte(line, 0) >= 0:
			take(nil, fmt.Errorf("expected text, found bytes that are none. Is the port's speed right?"))
		default:
			take(p.row(string(line)))
		}
	}
	return messages, bad
}

// nextLine cuts at a line feed, a carriage return, or both.
func nextLine(chunk []byte) (line, rest []byte) {
	i := bytes.IndexAny(chunk, "\r\n")
	if i < 0 {
		return chunk, nil
	}
	next := i + 1
	if chunk[i] == '\r' && next < len(chunk) && chunk[next] == '\n' {
		next++
	}
	return chunk[:i], chunk[next:]
}

func looksJSON(line []byte) bool {
	return len(line) > 0 && (line[0] == '{' || line[0] == '[')
}
