package capture

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
)

// AppendLine appends a line as one JSON object, without a line end.
func AppendLine(dst []byte, l Line) ([]byte, error) {
	if u, ok := l.(Unknown); ok {
		return append(dst, u.Raw...), nil
	}
	body, err := json.Marshal(l)
	if err != nil {
		return dst, fmt.Errorf("writing a %s line: %w", l.Type(), err)
	}
	dst = append(dst, `{"type":"`...)
	dst = append(dst, l.Type()...)
	dst = append(dst, '"')
	if !bytes.Equal(body, []byte("{}")) {
		dst = append(dst, ',')
	}
	return append(dst, body[1:]...), nil
}

// Raw is each line as AppendLine writes it.
func Raw(lines []Line) ([]json.RawMessage, error) {
	raws := make([]json.RawMessage, len(lines))
	for i, l := range lines {
		raw, err := AppendLine(nil, l)
		if err != nil {
			return nil, err
		}
		raws[i] = raw
	}
	return raws, nil
}

// Write writes lines as JSON Lines.
func Write(w io.Writer, lines ...Line) error {
	var buf []byte
	for _, l := range lines {
		var err error
		if buf, err = AppendLine(buf[:0], l); err != nil {
			return err
		}
		if _, err := w.Write(append(buf, '\n')); err != nil {
			return err
		}
	}
	return nil
}
