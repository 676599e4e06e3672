package feed

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
)

// node is a JSON value with its keys in the order they came.
type node struct {
	kind byte // '{', '[', 'n' a number, 's' a text, 0 anything else
	keys []string
	kids []*node
	num  float64
	text string
}

// parseJSON reads one JSON value into messages: an array of objects or rows is a
// message each, and so is a labelled list inside an object (see messagesOf).
func parseJSON(line []byte) ([]Message, error) {
	dec := json.NewDecoder(bytes.NewReader(line))
	dec.UseNumber()
	left := 50 * maxNumbers * 10
	root, err := readNode(dec, 0, &left)
	if err == nil {
		if _, more := dec.Token(); !errors.Is(more, io.EOF) {
			err = errors.New("expected one JSON value a line, found more after it")
		}
	}
	if err != nil {
		return nil, err
	}
	list := []*node{root}
	if root.kind == '[' && !root.row() {
		list = root.kids
	}
	var out []Message
	for _, n := range list {
		m, err := messagesOf(n)
		if err != nil {
			return nil, err
		}
		if out = append(out, m...); len(out) > maxMessages {
			return nil, fmt.Errorf("expected at most %d messages at once, found more", maxMessages)
		}
	}
	if len(out) == 0 {
		return nil, errors.New("expected numbers, found none in this JSON")
	}
	return out, nil
}

func readNode(dec *json.Decoder, depth int, left *int) (*node, error) {
	if *left--; *left < 0 {
		return nil, errors.New("expected a short message, found one with too many values")
	}
	if depth > maxDepth {
		return nil, fmt.Errorf("expected at most %d levels of nesting, found more", maxDepth)
	}
	t, err := dec.Token()
	if err != nil {
		return nil, notJSON(err)
	}
	n := &node{}
	switch t := t.(type) {
	case json.Delim:
		n.kind = byte(t)
		for dec.More() {
			if n.kind == '{' {
				key, err := dec.Token()
				if err != nil {
					return nil, notJSON(err)
				}
				s, _ := key.(string)
				n.keys = append(n.keys, s)
			}
			kid, err := readNode(dec, depth+1, left)
			if err != nil {
				return nil, err
			}
			n.kids = append(n.kids, kid)
		}
		if _, err := dec.Token(); err != nil {
			return nil, notJSON(err)
		}
	case json.Number:
		if v, ok := number(t.String(), false); ok {
			n.kind, n.num = 'n', v
		}
	case string:
		n.kind, n.text = 's', t
		if v, ok := number(t, false); ok {
			n.kind, n.num = 'n', v
		}
	}
	return n, nil
}

func notJSON(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return errors.New("expected a whole JSON value, found only its beginning. Put each on one line")
	}
	return fmt.Errorf("expected JSON: %v", err)
}

// row tells a list of plain values from a list of messages.
func (n *node) row() bool {
	for _, k := range n.kids {
		if k.kind == '{' || k.kind == '[' {
			return false
		}
	}
	return true
}

// labels names the elements of a list of objects by the first key that holds a
// text in each of them, as in [{"name":"mag","x":1},{"name":"acc","x":2}]; nil
// where there is none.
func (n *node) labels() []string {
	if n.kind != '[' || len(n.kids) == 0 || n.kids[0].kind != '{' {
		return nil
	}
	for i, key := range n.kids[0].keys {
		if n.kids[0].kids[i].kind != 's' {
			continue
		}
		var out []string
		for _, k := range n.kids {
			text := ""
			for j := range k.keys {
				if k.kind == '{' && k.keys[j] == key && k.kids[j].kind == 's' {
					text = k.kids[j].text
				}
			}
			if text == "" {
				break
			}
			out = append(out, text)
		}
		if len(out) == len(n.kids) {
			return out
		}
	}
	return nil
}

// messagesOf flattens a value. A labelled list inside it is a batch: each of its
// elements is a message of its own, named by its label.
func messagesOf(n *node) ([]Message, error) {
	var rest Message
	var out []Message
	var walk func(n *node, path string, m *Message) error
	walk = func(n *node, path string, m *Message) error {
		if len(path) > maxPathBytes {
			return fmt.Errorf("expected names of at most %d letters, found %q", maxPathBytes, path[:20]+"...")
		}
		switch n.kind {
		case 'n':
			if path == "" {
				path = columnName(0)
			}
			return m.set(path, n.num)
		case '{':
			for i, kid := range n.kids {
				if err := walk(kid, join(path, n.keys[i]), m); err != nil {
					return err
				}
			}
		case '[':
			if labels := n.labels(); labels != nil {
				if len(out)+len(labels) > maxMessages {
					return fmt.Errorf("expected at most %d messages at once, found more", maxMessages)
				}
				for i, kid := range n.kids {
					var one Message
					if err := walk(kid, join(path, labels[i]), &one); err != nil {
						return err
					}
					if len(one.Numbers) > 0 {
						out = append(out, one)
					}
				}
				return nil
			}
			for i, kid := range n.kids {
				name := path + "[" + strconv.Itoa(i) + "]"
				if path == "" {
					name = columnName(i)
				}
				if err := walk(kid, name, m); err != nil {
					return err
				}
			}
		}
		return nil
	}
	if err := walk(n, "", &rest); err != nil {
		return nil, err
	}
	if len(rest.Numbers) > 0 {
		out = append(out, rest)
	}
	return out, nil
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func columnName(i int) string { return "column " + strconv.Itoa(i+1) }
