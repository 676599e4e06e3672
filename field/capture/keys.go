package capture

import (
	"bytes"
	"encoding/json"
	"reflect"
	"strings"
)

// keysKnown are the keys that a line may carry.
var keysKnown = func() map[string]bool {
	known := map[string]bool{"type": true}
	for f := range reflect.TypeFor[wire]().Fields() {
		known[f.Tag.Get("json")] = true
	}
	return known
}()

// exact leaves keys out that encoding/json would take for others because it does
// not tell capitals from small letters: a logger's "T" is a temperature, not the
// time. Of text that is not JSON it leaves all.
func exact(raw []byte) []byte {
	if !mistakable(raw) {
		return raw
	}
	var all map[string]json.RawMessage
	if json.Unmarshal(raw, &all) != nil {
		return raw
	}
	for key := range all {
		if !keysKnown[key] {
			delete(all, key)
		}
	}
	out, err := json.Marshal(all)
	if err != nil {
		return raw
	}
	return out
}

// mistakable tells whether one of the object's own keys may be taken for another.
// It looks at the bytes: a capture has up to two million lines.
func mistakable(raw []byte) bool {
	depth := 0
	for i := 0; i < len(raw); i++ {
		switch raw[i] {
		case '{', '[':
			depth++
		case '}', ']':
			depth--
		case '"':
			from := i + 1
			escaped := false
			for i = from; i < len(raw) && raw[i] != '"'; i++ {
				if raw[i] == '\\' {
					escaped = true
					i++
				}
			}
			if depth != 1 || i >= len(raw) || !bytes.HasPrefix(bytes.TrimLeft(raw[i+1:], " \t\r\n"), []byte(":")) {
				continue
			}
			if key := string(raw[from:i]); escaped || !keysKnown[key] && foldsToKnown(key) {
				return true
			}
		}
	}
	return false
}

// foldsToKnown tells whether a key is a known one but for capitals.
func foldsToKnown(key string) bool {
	for known := range keysKnown {
		if strings.EqualFold(known, key) {
			return true
		}
	}
	return false
}
