package desk

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"unicode/utf8"

	"polewise/field/capture"
	"polewise/field/verdict"
)

// Message is what a phone or feed sends: numbered lines, or a request. Seq is negative
// where none was told, which a request need not do.
type Message struct {
	Seq   int64             `json:"seq"`
	Lines []json.RawMessage `json:"lines"`
	Undo  *Undo             `json:"undo,omitempty"`
	Again *Again            `json:"again,omitempty"`
}

// Undo asks for a reading to be thrown out: the one begun at T over a coil, or across
// a place of the ohmmeter, by the source that asks. It may be sent twice and does the
// same as once.
type Undo struct {
	At string   `json:"at"`
	T  *float64 `json:"t,omitempty"`
}

// Again asks for a new check of the same plan, after a mend. It names the check
// that it ends, so that asking twice begins only one, and the mend as the person saw it.
type Again struct {
	Check string         `json:"check"`
	Mend  []verdict.Mend `json:"mend,omitempty"`
}

// maxSeq is the largest number that every client counts up to exactly, and leaves
// room to go on from.
const maxSeq = 1<<53 - 1

// unnumbered is the number of a message that tells none.
const unnumbered = math.MinInt64

// maxMessageLines bounds the lines of one message.
const maxMessageLines = 5000

// ClientError is something wrong with what a client sent, in words for the
// person who has to do something about it.
type ClientError struct {
	Code    string `json:"code"`
	Say     string `json:"say"`
	Hint    string `json:"hint,omitempty"`
	Seq     int64  `json:"seq,omitempty"`
	LastSeq *int64 `json:"last_seq,omitempty"`
}

func (e *ClientError) Error() string { return e.Say }

// ParseMessage reads a message and its lines. Errors are *ClientError.
func ParseMessage(raw []byte) (*Message, []capture.Line, error) {
	m := Message{Seq: unnumbered}
	if !utf8.Valid(raw) { // it would be stored so, and no export of it could be read
		return nil, nil, &ClientError{Code: "not-a-message", Say: "This message has bytes that are no text: it is not UTF-8.", Hint: "Send text as UTF-8."}
	}
	if err := json.Unmarshal(raw, &m); err != nil {
		e := capture.NotJSON(err)
		e.Remedy = "" // that of a line
		return nil, nil, &ClientError{Code: "not-a-message", Say: fmt.Sprintf("This message is not JSON of the form {\"seq\":1,\"lines\":[…]}: %v", e), Hint: "Send one JSON object a message."}
	}
	if m.Undo != nil || m.Again != nil {
		number := max(m.Seq, 0)
		// Acknowledged together, the lines would be taken for stored.
		if m.Lines != nil || m.Undo != nil && m.Again != nil {
			return nil, nil, &ClientError{Code: "not-a-message", Seq: number, Say: fmt.Sprintf("Message %d asks for more than one thing; expected one of \"lines\", \"undo\" and \"again\".", number), Hint: "Send each in a message of its own."}
		}
		if m.Again != nil && m.Again.Check == "" {
			return nil, nil, &ClientError{Code: "not-a-message", Seq: number, Say: fmt.Sprintf("Message %d asks for another check without saying after which.", number), Hint: `Name the check that the greeting named, as in "again":{"check":"1f2e"}.`}
		}
		return &m, nil, nil
	}
	if m.Seq < 0 || m.Seq > maxSeq {
		found := "none"
		if m.Seq != unnumbered {
			found = strconv.FormatInt(m.Seq, 10)
		}
		return nil, nil, &ClientError{Code: "no-seq", Say: fmt.Sprintf("Expected \"seq\" of 0 to %d, found %s.", int64(maxSeq), found), Hint: "Number messages one after the other, from 1."}
	}
	if len(m.Lines) == 0 || len(m.Lines) > maxMessageLines {
		return nil, nil, &ClientError{Code: "no-lines", Seq: m.Seq, Say: fmt.Sprintf("Message %d has %d lines; expected 1 to %d.", m.Seq, len(m.Lines), maxMessageLines), Hint: "Send at least one line, and split long messages."}
	}
	lines := make([]capture.Line, len(m.Lines))
	for i, r := range m.Lines {
		// One line of the store is one line of the capture.
		var one bytes.Buffer
		if err := json.Compact(&one, r); err != nil {
			return nil, nil, &ClientError{Code: "bad-line", Seq: m.Seq, Say: fmt.Sprintf("Line %d of message %d is not JSON.", i+1, m.Seq), Hint: "Send one JSON object a line."}
		}
		m.Lines[i] = one.Bytes()
		l, err := capture.ParseLine(m.Lines[i])
		if err != nil {
			return nil, nil, badLine(err, i+1, m.Seq)
		}
		lines[i] = l
	}
	return &m, lines, nil
}

func badLine(err error, line int, seq int64) error {
	var e *capture.Error
	if errors.As(err, &e) {
		hint := e.Remedy
		c := *e
		c.Remedy = ""
		return &ClientError{Code: "bad-line", Seq: seq, Say: fmt.Sprintf("Line %d of message %d: %s", line, seq, c.Error()), Hint: hint}
	}
	return &ClientError{Code: "bad-line", Seq: seq, Say: fmt.Sprintf("Line %d of message %d: %v", line, seq, err), Hint: "Put that line right, or leave it out."}
}
