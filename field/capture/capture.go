// Package capture reads what a phone, a hand or an ohmmeter reported: the
// JSON Lines of a capture file, which are also the lines of the live stream.
//
// Samples are in the phone frame of the W3C Magnetometer and DeviceOrientation
// drafts: x to the right of the screen, y to its top edge, z out of it. Field
// is in microtesla, angles in degrees, time in seconds, as in the file: the
// conversion to SI is made by whoever computes with them.
package capture

import "polewise/layout"

// Route is how readings come in.
type Route string

// Routes.
const (
	Vector  Route = "vector"
	Heading Route = "heading"
	Hand    Route = "hand"
)

// Line is one line of a capture: a Start, Drive, B, Gravity, Bearing, Hold,
// Lift, Pass, PassEnd, Reading, Ohms or Unknown.
type Line interface {
	// Type is the line's "type" on the wire.
	Type() string
	// At is the line's time in seconds since the capture began; 0 for lines
	// that carry none.
	At() float64
}

// Start is the first line.
type Start struct {
	V      int     `json:"v,omitempty"`
	Route  Route   `json:"route"`
	Sensor *Sensor `json:"sensor,omitempty"`
	// TopDeg is the direction of the phone's top edge, counter-clockwise from
	// pad +y.
	TopDeg float64 `json:"top_deg"`
	Device string  `json:"device,omitempty"`
}

// Sensor says what is known of the magnetometer in the phone.
type Sensor struct {
	// OffsetMM is where the sensor sits relative to the mark, phone frame x
	// and y; nil when nothing is known.
	OffsetMM *[2]float64 `json:"offset_mm,omitempty"`
	// OffsetSDMM is how well that is known; 0 means exactly. Nil with a given
	// offset means DefaultOffsetSDMM.
	OffsetSDMM  *[2]float64 `json:"offset_sd_mm,omitempty"`
	FullScaleUT float64     `json:"full_scale_uT,omitempty"` // 0: not known
}

// DefaultOffsetSDMM is taken where a capture gives an offset without saying
// how well it is known.
const DefaultOffsetSDMM = 5.0

// DriveState is what the supply does.
type DriveState string

// Drive states.
const (
	Off   DriveState = "off"
	On    DriveState = "on"
	Pulse DriveState = "pulse"
)

// Drive says that the supply was switched.
type Drive struct {
	T     float64    `json:"t"`
	State DriveState `json:"state"`
	Hz    float64    `json:"hz,omitempty"`
	Duty  float64    `json:"duty,omitempty"`
	// Amps is the pad's total current at the peak, read off the supply; nil
	// when it was not read.
	Amps *float64 `json:"amps,omitempty"`
}

// Driven is the supply on as the plan has it, without a time.
func Driven(s *layout.Supply) Drive {
	if s.Pulsed {
		return Drive{State: Pulse, Hz: s.Hz, Duty: s.Duty}
	}
	return Drive{State: On}
}

// B is one magnetometer sample.
type B struct {
	T  float64    `json:"t"`
	UT [3]float64 `json:"uT"`
	// Until is when it was last read again bit for bit, if it was: in stretches alone.
	Until float64 `json:"-"`
}

// Gravity is one reading of the gravity sensor: +9.81 on z when the phone lies
// flat, screen up.
type Gravity struct {
	T   float64    `json:"t"`
	MS2 [3]float64 `json:"ms2"`
}

// Bearing is one compass heading of the phone's top edge.
type Bearing struct {
	T   float64 `json:"t"`
	Deg float64 `json:"deg"` // clockwise from magnetic north
	// TurnedDeg is the phone's own rotation since the start, clockwise, by
	// gyroscope alone; nil when it is not known.
	TurnedDeg   *float64 `json:"turned_deg,omitempty"`
	AccuracyDeg *float64 `json:"accuracy_deg,omitempty"`
}

// Hold begins a stretch in which the phone's mark lies still at a coil.
type Hold struct {
	T       float64     `json:"t"`
	Coil    string      `json:"at"`
	ShiftMM *[2]float64 `json:"shift_mm,omitempty"` // pad frame, from the coil's centre
	TopDeg  *float64    `json:"top_deg,omitempty"`
}

// Lift ends a hold.
type Lift struct {
	T float64 `json:"t"`
}

// Pass begins a stretch in which the phone is drawn from coil to coil.
type Pass struct {
	T      float64  `json:"t"`
	Along  []string `json:"along"`
	TopDeg *float64 `json:"top_deg,omitempty"`
}

// PassEnd ends a pass.
type PassEnd struct {
	T float64 `json:"t"`
}

// Face is what a hand reading found looking up.
type Face string

// Faces.
const (
	North Face = "north"
	South Face = "south"
	None  Face = "none"
)

// Reading is a face read by hand.
type Reading struct {
	T    float64  `json:"t"`
	Coil string   `json:"at"`
	Face Face     `json:"face"`
	UT   *float64 `json:"uT,omitempty"`
}

// Ohms is an ohmmeter reading.
type Ohms struct {
	T       float64  `json:"t"`
	Across  string   `json:"across"` // coil:ID, string:ID, group:ID or pad
	Ohms    *float64 `json:"ohms"`   // nil: open
	Celsius *float64 `json:"celsius,omitempty"`
}

// Unknown is a line of a type this program does not know. It is counted and
// otherwise ignored.
type Unknown struct {
	Name string
	Raw  []byte
}

// Type implements Line.
func (Start) Type() string     { return "start" }
func (Drive) Type() string     { return "drive" }
func (B) Type() string         { return "b" }
func (Gravity) Type() string   { return "gravity" }
func (Bearing) Type() string   { return "heading" }
func (Hold) Type() string      { return "hold" }
func (Lift) Type() string      { return "lift" }
func (Pass) Type() string      { return "pass" }
func (PassEnd) Type() string   { return "pass-end" }
func (Reading) Type() string   { return "reading" }
func (Ohms) Type() string      { return "ohms" }
func (u Unknown) Type() string { return u.Name }

// At implements Line.
func (Start) At() float64     { return 0 }
func (l Drive) At() float64   { return l.T }
func (l B) At() float64       { return l.T }
func (l Gravity) At() float64 { return l.T }
func (l Bearing) At() float64 { return l.T }
func (l Hold) At() float64    { return l.T }
func (l Lift) At() float64    { return l.T }
func (l Pass) At() float64    { return l.T }
func (l PassEnd) At() float64 { return l.T }
func (l Reading) At() float64 { return l.T }
func (l Ohms) At() float64    { return l.T }
func (Unknown) At() float64   { return 0 }

// Capture is everything one source reported.
type Capture struct {
	Start   Start
	Lines   []Line // without the start line and without unknown ones, in file order
	Numbers []int  // the line number of each of Lines, from 1
	Unknown int    // how many lines were of an unknown type
}
