// Package record is what is signed of a pad before it is taped: a document of one
// page and its details, as JSON and as a self-contained HTML file. A record is
// made once and never again, so that paper and file can be matched.
package record

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"

	"polewise/field/fieldmap"
	"polewise/field/predict"
	"polewise/field/verdict"
)

// recordType and recordVersion name the JSON form. DEVELOPERS.md describes it.
const (
	recordType    = "polewise-record"
	recordVersion = 1
)

// Record is a signed pad. Fields are in microtesla, resistances in ohms, times
// of readings in seconds of their capture.
type Record struct {
	Type      string              `json:"type"`
	V         int                 `json:"v"`
	Signed    string              `json:"signed"` // RFC 3339, UTC
	Check     Check               `json:"check"`
	Serial    string              `json:"serial"`
	Maker     string              `json:"maker"`
	Note      string              `json:"note"`
	OutFace   string              `json:"out_face,omitempty"` // what the maker calls the face that the field comes out of: north | south, "" if never asked
	Exception *Exception          `json:"exception"`          // nil: every coil claimed as planned, and the ohms agree
	Verdict   *verdict.Verdict    `json:"verdict"`
	Coils     []Coil              `json:"coils"`
	Ohms      []Ohm               `json:"ohms"`
	Readings  []Reading           `json:"readings"`
	Phones    []Phone             `json:"phones"`
	Plan      Plan                `json:"plan"`
	Predicted *predict.Prediction `json:"predicted"`
	Map       *fieldmap.Page      `json:"map"`
	Cautions  []string            `json:"cautions"`
}

// Check names the check that was signed.
type Check struct {
	ID    string `json:"id"`
	Began string `json:"began"`
	// After names the check before the pad was mended: what was read in it over
	// coils that the mend left alone goes on to count.
	After string         `json:"after,omitempty"`
	Mend  []verdict.Mend `json:"mend,omitempty"`
}

// Plan is the plan as it was.
type Plan struct {
	Name string `json:"name"`
	TOML string `json:"toml"`
}

// Open is what stands against signing without words.
type Open struct {
	Coils  []string `json:"coils"`       // not read, or not claimed as planned
	Ohms   []string `json:"ohms"`        // read, and against the plan
	Unread bool     `json:"ohms_unread"` // the ohms of the whole wiring were not read
	Wiring string   `json:"wiring"`      // a fault that leaves every coil facing right, or what was not read since a mend
}

// Nothing tells whether nothing stands against it.
func (o *Open) Nothing() bool {
	return len(o.Coils) == 0 && len(o.Ohms) == 0 && !o.Unread && o.Wiring == ""
}

// Exception is why a pad was signed all the same.
type Exception struct {
	Reason string `json:"reason"` // as typed
	Open
}

// Coil is what belongs to a coil besides the verdict on it.
type Coil struct {
	ID      string  `json:"id"`
	String  string  `json:"string"`
	North   string  `json:"north"`
	ErrorUT float64 `json:"error_uT"` // one sd of the measured field, placing the phone included
}

// Ohm is an ohmmeter reading beside the plan. Where the same was read more than
// once, the last one counts.
type Ohm struct {
	Across  string   `json:"across"`
	Ohms    *float64 `json:"ohms"` // nil: open
	Celsius *float64 `json:"celsius"`
	Planned float64  `json:"planned"`
	Low     float64  `json:"low"`
	High    float64  `json:"high"`
	Agrees  bool     `json:"agrees"`
	Counts  bool     `json:"counts"`
}

// Reading is a hold, a pass or a face read by hand.
type Reading struct {
	Kind    string      `json:"kind"` // hold | pass | hand
	Source  string      `json:"source"`
	At      []string    `json:"at"` // one coil, or those of a pass
	T       float64     `json:"t"`
	Samples int         `json:"samples"`
	MeanUT  *[3]float64 `json:"mean_uT"` // phone frame, as read with the supply on; off where it never was on
	Face    string      `json:"face,omitempty"`
	OffDeg  *float64    `json:"off_deg,omitempty"` // where a compass settled, clockwise from north, with the supply off
	OnDeg   *float64    `json:"on_deg,omitempty"`  // and with it on
	UT      *float64    `json:"uT,omitempty"`      // hand meter
}

// Phone is a phone or feed that read.
type Phone struct {
	Source   string      `json:"source"`
	Device   string      `json:"device"`
	Route    string      `json:"route"`
	OffsetMM *[2]float64 `json:"offset_mm"` // sensor from mark, nil: not known
	Samples  int         `json:"samples"`
}

// Bounds of what a person types.
const (
	MaxSerial = 64
	MaxMaker  = 64
	MaxNote   = 600
	MaxReason = 600
)

// cautions stand on every record.
var cautions = []string{
	"Low current only while checking; never leave a driven pad alone.",
	"Keep it away from pacemakers, insulin pumps and other implants: 0.5 mT is the usual limit for a static field (ICNIRP 2009, Guidelines on limits of exposure to static magnetic fields). Magnetic cards and mechanical watches suffer too.",
	"Isolate the supply before touching a joint. Burning enamel gives off fumes.",
	"No medical claim is made. Local electrical rules and licensed people come first.",
}

// Claim is what a record claims of a coil: nothing of one that was not read,
// whatever the verdict infers from the others.
func Claim(c verdict.Coil) verdict.State {
	if c.Used == 0 {
		return verdict.StateUndecided
	}
	return c.State
}

// coil is the verdict on a coil, by its id.
func (r *Record) coil(id string) verdict.Coil {
	for _, c := range r.Verdict.Coils {
		if c.ID == id {
			return c
		}
	}
	return verdict.Coil{ID: id, State: verdict.StateUndecided}
}

// Encode writes the record as it is kept: compact JSON, and its SHA-256.
func (r *Record) Encode() (text []byte, sum string, err error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(r); err != nil {
		return nil, "", err
	}
	text = bytes.TrimSuffix(b.Bytes(), []byte("\n"))
	return text, Sum(text), nil
}

// Sum is the SHA-256 by which a record is known.
func Sum(text []byte) string {
	s := sha256.Sum256(text)
	return hex.EncodeToString(s[:])
}

// Decode reads a record's JSON.
func Decode(text []byte) (*Record, error) {
	var r Record
	if err := json.Unmarshal(text, &r); err != nil {
		return nil, fmt.Errorf("the record is not JSON as expected: %w", err)
	}
	switch {
	case r.Type != recordType:
		return nil, fmt.Errorf("type: expected %q, found %q", recordType, r.Type)
	case r.V != recordVersion:
		return nil, fmt.Errorf("v: expected %d, found %d; a newer polewise wrote this", recordVersion, r.V)
	case r.Verdict == nil:
		return nil, fmt.Errorf("verdict: expected one, found none")
	}
	if _, err := time.Parse(time.RFC3339, r.Signed); err != nil {
		return nil, fmt.Errorf("signed: expected a time as in 2024-05-01T12:00:00Z, found %q", r.Signed)
	}
	return &r, nil
}
