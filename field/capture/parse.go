package capture

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"regexp"
	"slices"
	"strings"
)

// Bounds on what is accepted. They are far above any honest capture and keep a
// hostile one from filling the memory.
const (
	maxLineBytes = 64 << 10
	maxLines     = 2_000_000
	maxSeconds   = 1e7
	// A first sample may carry the time of its own taking, a little before the capture began.
	minSeconds   = -1
	maxUT        = 1e6
	maxCoilsPass = 1000
)

// Error is a line that cannot be used.
type Error struct {
	Line   int    // from 1; 0 when the line stands alone (in the live stream)
	Key    string // the offending key; empty when it is the line as a whole
	Say    string // what was expected and what was found
	Remedy string
}

// Error implements error.
func (e *Error) Error() string {
	var b strings.Builder
	if e.Line > 0 {
		fmt.Fprintf(&b, "line %d: ", e.Line)
	}
	if e.Key != "" {
		fmt.Fprintf(&b, "%q: ", e.Key)
	}
	b.WriteString(e.Say)
	if e.Remedy != "" {
		b.WriteString(" ")
		b.WriteString(e.Remedy)
	}
	return b.String()
}

// remedies are how keys are written, for where a line's own mistake says no more.
var remedies = map[string]string{
	"type":                 `Say what the line is, as in "type":"b".`,
	"t":                    `Write the seconds since the capture began, as in "t":12.5.`,
	"at":                   `Name the coil the phone lies on, as in "at":"A1".`,
	"route":                `Say "vector", "heading" or "hand".`,
	"v":                    `Write "v":1.`,
	"device":               `Write any text, or leave it out.`,
	"top_deg":              `Write degrees counter-clockwise from away, as in "top_deg":90, or leave it out.`,
	"sensor":               `Write an object, as in "sensor":{"offset_mm":[0,40]}, or leave it out.`,
	"sensor.offset_mm":     `Write x and y from the mark to the sensor, as in "offset_mm":[0,40], or leave it out when nothing is known.`,
	"sensor.offset_sd_mm":  `Write how well x and y are known, as in "offset_sd_mm":[5,5], or leave it out.`,
	"sensor.full_scale_uT": `Write the largest value of an axis, as in "full_scale_uT":4900, or leave it out.`,
	"state":                `Say "off", "on" or "pulse".`,
	"hz":                   `Write the pulses a second, as in "hz":1.`,
	"duty":                 `Write the share of the time that the pulse is on, as in "duty":0.5.`,
	"amps":                 `Write what the supply shows, as in "amps":1.2, or leave it out.`,
	"uT":                   `Write x, y and z in microtesla, as in "uT":[12.1,-3.0,-41.9].`,
	"ms2":                  `Write x, y and z in metres per second squared, as in "ms2":[0,0,9.81].`,
	"deg":                  `Write the compass heading in degrees, as in "deg":123.4.`,
	"turned_deg":           `Write degrees clockwise since the capture began, or leave it out.`,
	"accuracy_deg":         `Write degrees, or leave it out.`,
	"shift_mm":             `Write x and y on the pad, as in "shift_mm":[10,0], or leave it out.`,
	"along":                `Name the coils in the order the phone comes to them, as in "along":["A1","A2"].`,
	"face":                 `Say "north", "south" or "none".`,
	"across":               `Say "coil:ID", "string:ID", "group:ID" or "pad".`,
	"ohms":                 `Write null for an open circuit.`,
	"celsius":              `Write the coil's temperature, as in "celsius":21, or leave it out.`,
}

// bad is the error of a key. Without a remedy it says how the key is written.
func bad(key, remedy, format string, args ...any) *Error {
	if remedy == "" {
		remedy = remedies[key]
	}
	return &Error{Key: key, Say: fmt.Sprintf(format, args...), Remedy: remedy}
}

// cutShort ends what is said of a line that breaks off.
const cutShort = "unexpected end of JSON input)."

// planLine is how a plan begins.
var planLine = regexp.MustCompile(`^(#|\[|[A-Za-z_]+\s*=)`)

// Read reads a whole capture. Its first line must be a start line. Any error
// but one of reading itself is an *Error.
func Read(r io.Reader) (*Capture, error) {
	c := &Capture{}
	sc := bufio.NewScanner(r)
	sc.Buffer(make([]byte, 0, 4096), maxLineBytes)
	number := 0
	started := false
	for sc.Scan() {
		number++
		if number > maxLines {
			return nil, &Error{Line: number, Say: fmt.Sprintf("expected at most %d lines.", maxLines), Remedy: "Split the capture into several."}
		}
		raw := bytes.TrimSpace(sc.Bytes())
		if number == 1 {
			raw = bytes.TrimPrefix(raw, []byte("\xef\xbb\xbf"))
		}
		if len(raw) == 0 {
			continue
		}
		line, err := ParseLine(raw)
		if err != nil {
			var e *Error
			if errors.As(err, &e) {
				e.Line = number
				switch broken := strings.HasSuffix(e.Say, cutShort); {
				case broken && !started:
					e.Remedy = "Put the whole of each JSON object on a line of its own."
				case broken && !sc.Scan():
					e.Remedy = "The file ends in the middle of this line. Take the line out, and what stands before it can be judged."
				case !started && planLine.Match(raw):
					e.Remedy = "It looks like a plan. The plan comes first, and the capture after it."
				}
			}
			return nil, err
		}
		if err := c.add(line, number, &started); err != nil {
			return nil, err
		}
	}
	if errors.Is(sc.Err(), bufio.ErrTooLong) {
		return nil, &Error{Line: number + 1, Say: fmt.Sprintf("the line is longer than %d bytes.", maxLineBytes), Remedy: "Put one JSON object on each line."}
	}
	if err := sc.Err(); err != nil {
		return nil, fmt.Errorf("reading the capture: %w", err)
	}
	if !started {
		return nil, &Error{Line: 1, Say: "the capture is empty: expected a line of type start.", Remedy: `Begin with {"type":"start","v":1,"route":"vector"}.`}
	}
	return c, nil
}

// add adds a line; started tells whether the start line has come.
func (c *Capture) add(line Line, number int, started *bool) error {
	if _, unknown := line.(Unknown); unknown {
		c.Unknown++
		return nil
	}
	s, isStart := line.(Start)
	switch {
	case isStart && *started:
		return &Error{Line: number, Key: "type", Say: "a second start line.", Remedy: "A capture has one, at its beginning; put the rest in a capture of its own."}
	case isStart:
		c.Start = s
		*started = true
		return nil
	case !*started:
		return &Error{Line: number, Key: "type", Say: fmt.Sprintf("expected a start line before anything else, found %q.", clip(line.Type())), Remedy: `Begin with {"type":"start","v":1,"route":"vector"}.`}
	}
	c.Lines = append(c.Lines, line)
	c.Numbers = append(c.Numbers, number)
	return nil
}

// FromLines builds a capture from lines already parsed. The first that is not
// unknown must be a Start. Numbers count from 1 in the order given.
func FromLines(lines []Line) (*Capture, error) {
	c := &Capture{}
	started := false
	for i, l := range lines {
		if err := c.add(l, i+1, &started); err != nil {
			return nil, err
		}
	}
	if !started {
		return nil, &Error{Say: "no start line yet."}
	}
	return c, nil
}

// wire holds every key a line may carry; pointers tell a missing key from zero.
type wire struct {
	V      *float64        `json:"v"`
	Route  *string         `json:"route"`
	Sensor json.RawMessage `json:"sensor"`
	TopDeg *float64        `json:"top_deg"`
	Device *string         `json:"device"`

	T     *float64 `json:"t"`
	State *string  `json:"state"`
	Hz    *float64 `json:"hz"`
	Duty  *float64 `json:"duty"`
	Amps  *float64 `json:"amps"`

	UT  json.RawMessage `json:"uT"`
	MS2 []*float64      `json:"ms2"`

	Deg         *float64 `json:"deg"`
	TurnedDeg   *float64 `json:"turned_deg"`
	AccuracyDeg *float64 `json:"accuracy_deg"`

	At      *string    `json:"at"`
	ShiftMM []*float64 `json:"shift_mm"`
	Along   []string   `json:"along"`

	Face    *string         `json:"face"`
	Across  *string         `json:"across"`
	Ohms    json.RawMessage `json:"ohms"`
	Celsius *float64        `json:"celsius"`
}

// ParseLine reads one line. A line of a type not known comes back as Unknown;
// any error is an *Error without a line number.
func ParseLine(raw []byte) (Line, error) {
	if len(raw) > maxLineBytes {
		return nil, bad("", "Put one JSON object on each line.", "the line is longer than %d bytes.", maxLineBytes)
	}
	sent := raw
	raw = exact(raw)
	var kind struct {
		Type json.RawMessage `json:"type"`
	}
	if err := json.Unmarshal(raw, &kind); err != nil {
		return nil, NotJSON(err)
	}
	var name string
	if kind.Type == nil {
		return nil, bad("type", `Every line is an object with a "type".`, "missing.")
	}
	if err := json.Unmarshal(kind.Type, &name); err != nil {
		return nil, bad("type", "", "expected text, found %s.", clip(kind.Type))
	}
	parse, known := parsers[name]
	if !known {
		return Unknown{Name: name, Raw: bytes.Clone(sent)}, nil
	}
	var w wire
	if err := json.Unmarshal(raw, &w); err != nil {
		return nil, NotJSON(err)
	}
	line, err := parse(&w)
	if err != nil {
		return nil, err
	}
	return line, nil
}

// NotJSON puts an error of encoding/json in words.
func NotJSON(err error) *Error {
	var syntax *json.SyntaxError
	var typ *json.UnmarshalTypeError
	switch {
	case errors.As(err, &typ) && typ.Field != "":
		found, number := strings.CutPrefix(typ.Value, "number ")
		if number && typ.Type.Kind() == reflect.Float64 {
			return bad(typ.Field, "", "expected a number of usual size, found %s.", clip(found))
		}
		return bad(typ.Field, "", "expected %s, found %s.", jsonKind(typ.Type.Kind()), foundKind(found))
	case errors.As(err, &typ):
		return bad("", "Put one JSON object on each line.", "expected an object, found %s.", foundKind(typ.Value))
	case errors.As(err, &syntax):
		return bad("", syntaxRemedy(syntax.Error()), "not JSON (at byte %d: %s).", syntax.Offset, syntax)
	default:
		return bad("", "Was the file cut off, or edited by hand?", "not JSON: %s.", err)
	}
}

// syntaxRemedy says what to do about text that is not JSON, from what programs and
// people commonly write.
func syntaxRemedy(said string) string {
	begins := func(with ...string) bool {
		return slices.ContainsFunc(with, func(c string) bool { return strings.HasPrefix(said, "invalid character '"+c+"'") })
	}
	switch {
	case strings.HasSuffix(said, "after top-level value"):
		return "Put one JSON object on each line."
	case begins("N", "I"): // also of -Infinity
		return "JSON has neither NaN nor Infinity: leave the line out where the sensor gave nothing."
	case begins(`\'`):
		return `Put text in double quotes, as in "type":"b".`
	case begins("ÿ", "þ", `\x00`): // UTF-16, with a byte order mark or without
		return "Is this a capture? If so, save it as plain text in UTF-8."
	}
	return "Was the file cut off, or edited by hand?"
}

// foundKind names what encoding/json found, as jsonKind names what was expected. Of a number
// it tells the number.
func foundKind(value string) string {
	switch value {
	case "array":
		return "a list"
	case "string":
		return "text"
	case "object":
		return "an object"
	case "bool":
		return "true or false"
	case "number":
		return "a number"
	}
	return clip(value)
}

func jsonKind(k reflect.Kind) string {
	switch k {
	case reflect.Float64:
		return "a number"
	case reflect.Int, reflect.Int64:
		return "a whole number"
	case reflect.String:
		return "text"
	case reflect.Slice, reflect.Array:
		return "a list"
	case reflect.Struct, reflect.Map:
		return "an object"
	default:
		return k.String()
	}
}

// clip keeps a hostile line from filling the screen.
func clip[T ~string | ~[]byte](text T) string {
	if len(text) > 40 {
		return strings.ToValidUTF8(string(text[:40]), "") + "…"
	}
	return string(text)
}

var parsers = map[string]func(*wire) (Line, error){
	"start":    parseStart,
	"drive":    parseDrive,
	"b":        parseB,
	"gravity":  parseGravity,
	"heading":  parseBearing,
	"hold":     parseHold,
	"lift":     func(w *wire) (Line, error) { t, err := w.time(); return Lift{T: t}, err },
	"pass":     parsePass,
	"pass-end": func(w *wire) (Line, error) { t, err := w.time(); return PassEnd{T: t}, err },
	"reading":  parseReading,
	"ohms":     parseOhms,
}

// number checks that a value is there and within lo..hi.
func number(key string, v *float64, lo, hi float64) (float64, error) {
	if v == nil {
		return 0, bad(key, "", "missing: expected a number.")
	}
	if math.IsNaN(*v) || *v < lo || *v > hi {
		return 0, bad(key, "", "expected a number from %g to %g, found %g.", lo, hi, *v)
	}
	return *v, nil
}

func optional(key string, v *float64, lo, hi float64) (*float64, error) {
	if v == nil {
		return nil, nil
	}
	x, err := number(key, v, lo, hi)
	return &x, err
}

func numbers(key string, v []*float64, dst []float64, lo, hi float64) error {
	if v == nil {
		return bad(key, "", "missing: expected a list of %d numbers.", len(dst))
	}
	if len(v) != len(dst) {
		return bad(key, "", "expected a list of %d numbers, found %d.", len(dst), len(v))
	}
	for i := range v {
		if v[i] == nil {
			return bad(key, "Leave the line out where the sensor gave nothing.", "number %d is null.", i+1)
		}
		x, err := number(key, v[i], lo, hi)
		if err != nil {
			return err
		}
		dst[i] = x
	}
	return nil
}

func (w *wire) time() (float64, error) { return number("t", w.T, minSeconds, maxSeconds) }

func (w *wire) coil() (string, error) {
	if w.At == nil || *w.At == "" {
		return "", bad("at", "", "missing: expected the id of a coil.")
	}
	return *w.At, nil
}

func parseStart(w *wire) (Line, error) {
	var s Start
	if w.Route == nil {
		return nil, bad("route", "", "missing.")
	}
	switch s.Route = Route(*w.Route); s.Route {
	case Vector, Heading, Hand:
	default:
		return nil, bad("route", "", "there is no %q.", clip(*w.Route))
	}
	switch {
	case w.V == nil && s.Route != Hand:
		return nil, bad("v", "", "missing: expected the version of the capture's format.")
	case w.V != nil && *w.V != 1:
		return nil, bad("v", "It may come from a newer polewise.", "expected version 1, found %g.", *w.V)
	default:
		s.V = 1
	}
	if w.TopDeg != nil {
		top, err := number("top_deg", w.TopDeg, -3600, 3600)
		if err != nil {
			return nil, err
		}
		s.TopDeg = top
	}
	if w.Device != nil {
		s.Device = *w.Device
	}
	if len(w.Sensor) > 0 && string(w.Sensor) != "null" {
		sensor, err := parseSensor(w.Sensor)
		if err != nil {
			return nil, err
		}
		s.Sensor = sensor
	}
	return s, nil
}

func parseSensor(raw []byte) (*Sensor, error) {
	var w struct {
		OffsetMM    []*float64 `json:"offset_mm"`
		OffsetSDMM  []*float64 `json:"offset_sd_mm"`
		FullScaleUT *float64   `json:"full_scale_uT"`
	}
	if err := json.Unmarshal(raw, &w); err != nil {
		e := NotJSON(err)
		if e.Key == "" {
			e.Key = "sensor"
		} else {
			e.Key = "sensor." + e.Key
		}
		e.Remedy = remedies[e.Key]
		return nil, e
	}
	var s Sensor
	if w.OffsetMM != nil {
		s.OffsetMM = new([2]float64)
		if err := numbers("sensor.offset_mm", w.OffsetMM, s.OffsetMM[:], -500, 500); err != nil {
			return nil, err
		}
	}
	if w.OffsetSDMM != nil {
		if s.OffsetMM == nil {
			return nil, bad("sensor.offset_sd_mm", "Give offset_mm too, or leave both out when nothing is known.", "given without offset_mm.")
		}
		s.OffsetSDMM = new([2]float64)
		if err := numbers("sensor.offset_sd_mm", w.OffsetSDMM, s.OffsetSDMM[:], 0, 500); err != nil {
			return nil, err
		}
	}
	if w.FullScaleUT != nil {
		fs, err := number("sensor.full_scale_uT", w.FullScaleUT, 1, maxUT)
		if err != nil {
			return nil, err
		}
		s.FullScaleUT = fs
	}
	return &s, nil
}

func parseDrive(w *wire) (Line, error) {
	var d Drive
	var err error
	if d.T, err = w.time(); err != nil {
		return nil, err
	}
	if w.State == nil {
		return nil, bad("state", "", "missing.")
	}
	switch d.State = DriveState(*w.State); d.State {
	case Off, On:
	case Pulse:
		if d.Hz, err = number("hz", w.Hz, 0.01, 1e5); err != nil {
			return nil, err
		}
		if d.Duty, err = number("duty", w.Duty, 0, 1); err != nil {
			return nil, err
		}
		if d.Duty == 0 || d.Duty == 1 {
			return nil, bad("duty", `A duty of 1 is "on", of 0 is "off".`, "expected a number between 0 and 1, found %g.", d.Duty)
		}
	default:
		return nil, bad("state", "", "there is no %q.", clip(*w.State))
	}
	d.Amps, err = optional("amps", w.Amps, 0, 1e4)
	return d, err
}

func parseB(w *wire) (Line, error) {
	var b B
	var err error
	if b.T, err = w.time(); err != nil {
		return nil, err
	}
	var v []*float64
	if w.UT != nil {
		if err := json.Unmarshal(w.UT, &v); err != nil {
			return nil, bad("uT", "", "expected a list of 3 numbers, found %s.", clip(w.UT))
		}
	}
	if err := numbers("uT", v, b.UT[:], -maxUT, maxUT); err != nil {
		return nil, err
	}
	return b, nil
}

func parseGravity(w *wire) (Line, error) {
	var g Gravity
	var err error
	if g.T, err = w.time(); err != nil {
		return nil, err
	}
	if err := numbers("ms2", w.MS2, g.MS2[:], -1000, 1000); err != nil {
		return nil, err
	}
	return g, nil
}

func parseBearing(w *wire) (Line, error) {
	var b Bearing
	var err error
	if b.T, err = w.time(); err != nil {
		return nil, err
	}
	if b.Deg, err = number("deg", w.Deg, -3600, 3600); err != nil {
		return nil, err
	}
	if b.TurnedDeg, err = optional("turned_deg", w.TurnedDeg, -1e6, 1e6); err != nil {
		return nil, err
	}
	b.AccuracyDeg, err = optional("accuracy_deg", w.AccuracyDeg, -1, 360)
	return b, err
}

func parseHold(w *wire) (Line, error) {
	var h Hold
	var err error
	if h.T, err = w.time(); err != nil {
		return nil, err
	}
	if h.Coil, err = w.coil(); err != nil {
		return nil, err
	}
	if w.ShiftMM != nil {
		h.ShiftMM = new([2]float64)
		if err := numbers("shift_mm", w.ShiftMM, h.ShiftMM[:], -1e4, 1e4); err != nil {
			return nil, err
		}
	}
	h.TopDeg, err = optional("top_deg", w.TopDeg, -3600, 3600)
	return h, err
}

func parsePass(w *wire) (Line, error) {
	var p Pass
	var err error
	if p.T, err = w.time(); err != nil {
		return nil, err
	}
	if len(w.Along) < 2 {
		return nil, bad("along", "For a single coil use a hold.", "expected a list of at least two coils, found %d.", len(w.Along))
	}
	if len(w.Along) > maxCoilsPass {
		return nil, bad("along", "Make several passes of it.", "expected at most %d coils, found %d.", maxCoilsPass, len(w.Along))
	}
	p.Along = w.Along
	p.TopDeg, err = optional("top_deg", w.TopDeg, -3600, 3600)
	return p, err
}

func parseReading(w *wire) (Line, error) {
	var r Reading
	var err error
	if r.T, err = w.time(); err != nil {
		return nil, err
	}
	if r.Coil, err = w.coil(); err != nil {
		return nil, err
	}
	if w.Face == nil {
		return nil, bad("face", "", "missing.")
	}
	switch r.Face = Face(*w.Face); r.Face {
	case North, South, None:
	default:
		return nil, bad("face", "", "there is no %q.", clip(*w.Face))
	}
	if w.UT != nil && string(w.UT) != "null" {
		var v float64
		if err := json.Unmarshal(w.UT, &v); err != nil {
			return nil, bad("uT", `Write one number in microtesla, as in "uT":-300, or leave it out.`, "expected a number, found %s.", clip(w.UT))
		}
		r.UT, err = optional("uT", &v, -maxUT, maxUT)
	}
	return r, err
}

func parseOhms(w *wire) (Line, error) {
	var o Ohms
	var err error
	if o.T, err = w.time(); err != nil {
		return nil, err
	}
	if w.Across == nil {
		return nil, bad("across", "", "missing.")
	}
	o.Across = *w.Across
	if kind, id := o.Target(); kind == "" || (kind != "pad" && id == "") {
		return nil, bad("across", "", "there is no %q.", clip(*w.Across))
	}
	if w.Ohms == nil {
		return nil, bad("ohms", "", "missing: expected a number or null.")
	}
	if string(w.Ohms) != "null" {
		var v float64
		if err := json.Unmarshal(w.Ohms, &v); err != nil {
			return nil, bad("ohms", "", "expected a number or null, found %s.", clip(w.Ohms))
		}
		if o.Ohms, err = optional("ohms", &v, 0, 1e9); err != nil {
			return nil, err
		}
	}
	o.Celsius, err = optional("celsius", w.Celsius, -50, 200)
	return o, err
}

// Target splits Across: kind is "coil", "string", "group" or "pad", id is
// empty for the pad. Both are empty when Across is none of these.
func (o Ohms) Target() (kind, id string) {
	if o.Across == "pad" {
		return "pad", ""
	}
	kind, id, found := strings.Cut(o.Across, ":")
	if !found {
		return "", ""
	}
	switch kind {
	case "coil", "string", "group":
		return kind, id
	}
	return "", ""
}
