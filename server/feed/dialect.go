package feed

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
)

// Dialect is what a person showed of a source: which of its numbers are the
// field, in which unit, and how its axes lie. It is kept and used again.
type Dialect struct {
	Name    string   `json:"name"`
	Source  string   `json:"source"`            // the source it was taught on
	Shape   []string `json:"shape"`             // paths of a message that carries the field, in order
	Columns []string `json:"columns,omitempty"` // a table's header, for when it is not sent again

	Field [3]string `json:"field"` // paths of the three numbers, as picked
	Unit  string    `json:"unit"`  // uT, mT, G, mG, nT or counts
	// PerUT is how many counts one microtesla is; for unit counts only.
	PerUT float64 `json:"per_uT,omitempty"`
	Axes  Axes    `json:"axes"` // from the numbers as picked to the device's own axes

	Gravity      *[3]string `json:"gravity,omitempty"`
	GravityScale float64    `json:"gravity_scale,omitempty"` // metres a second squared per number
	GravityAxes  Axes       `json:"gravity_axes,omitzero"`

	Time     string `json:"time,omitempty"` // path; empty: the time of arrival
	TimeUnit string `json:"time_unit,omitempty"`

	// AtSensor says that the mark put on a coil's centre is the sensor itself.
	AtSensor bool `json:"at_sensor"`
}

// unitsUT are microteslas per number.
var unitsUT = map[string]float64{"uT": 1, "mT": 1e3, "G": 100, "mG": 0.1, "nT": 1e-3}

// timeUnits are seconds per number.
var timeUnits = map[string]float64{"s": 1, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}

var nameForm = regexp.MustCompile(`^[\pL\pN][\pL\pN ._()+-]{0,39}$`)

// checkName tells what is wrong with a name for a dialect.
func checkName(name string) error {
	if !nameForm.MatchString(name) {
		return fmt.Errorf("expected a name of 1 to 40 letters, digits, spaces or . _ - + ( ), found %q", clip(name))
	}
	return nil
}

func clip(s string) string {
	if len(s) > 40 {
		return strings.ToValidUTF8(s[:40], "") + "..."
	}
	return s
}

// ScaleUT is how many microteslas one of the field's numbers stands for.
func (d *Dialect) ScaleUT() (float64, error) {
	if d.Unit == "counts" {
		if !(d.PerUT >= 1e-6 && d.PerUT <= 1e9) {
			return 0, errors.New("expected how many counts one microtesla is, a number above 0. The sensor's data sheet has it")
		}
		return 1 / d.PerUT, nil
	}
	s, ok := unitsUT[d.Unit]
	if !ok {
		return 0, fmt.Errorf("expected the unit uT, mT, G, mG, nT or counts, found %q", clip(d.Unit))
	}
	return s, nil
}

// Check tells what is missing in what was picked, before the axes are settled.
func (d *Dialect) Check() error {
	if err := distinct("field", d.Field[:]); err != nil {
		return err
	}
	if _, err := d.ScaleUT(); err != nil {
		return err
	}
	if d.Gravity != nil {
		if err := distinct("gravity", d.Gravity[:]); err != nil {
			return err
		}
		for _, p := range d.Gravity {
			if slices.Contains(d.Field[:], p) {
				return fmt.Errorf("%q is picked for the field and for gravity", p)
			}
		}
	}
	if _, ok := timeUnits[d.TimeUnit]; d.Time != "" && !ok {
		return fmt.Errorf("expected the time in s, ms, us or ns, found %q", clip(d.TimeUnit))
	}
	return nil
}

func distinct(what string, paths []string) error {
	for i, p := range paths {
		if p == "" {
			return fmt.Errorf("pick three numbers as the %s: %c is missing", what, "xyz"[i])
		}
		if len(p) > 4*maxPathBytes {
			return errors.New("a number's name is too long")
		}
		if slices.Contains(paths[:i], p) {
			return fmt.Errorf("%q is picked twice for the %s", p, what)
		}
	}
	return nil
}

// maxUT is the strongest field that can be meant; the capture's own bound.
const maxUT = 1e6

// Reading is a message understood.
type Reading struct {
	UT      [3]float64  // device axes, microtesla
	Gravity *[3]float64 // device axes, metres a second squared
	Time    *float64    // the device's clock, seconds
}

// Read understands a message. ok is false where the message holds none of the
// field's numbers: it speaks of something else. An error says what is missing.
func (d *Dialect) Read(m *Message) (r Reading, ok bool, err error) {
	raw, found := m.three(d.Field)
	if found == 0 {
		return r, false, nil
	}
	if found < 3 {
		return r, false, fmt.Errorf("expected 3 numbers at %s, found %d", together(d.Field), found)
	}
	scale, err := d.ScaleUT()
	if err != nil {
		return r, false, err
	}
	r.UT = d.Axes.Apply(raw)
	for a := range r.UT {
		r.UT[a] *= scale
		if !(math.Abs(r.UT[a]) <= maxUT) {
			return r, false, fmt.Errorf("expected a field of at most %.0f uT, found %g at %s. Is the unit right?", maxUT, r.UT[a], together(d.Field))
		}
	}
	if d.Gravity != nil {
		g, n := m.three(*d.Gravity)
		for a := range g {
			g[a] *= d.GravityScale
		}
		if g = d.GravityAxes.Apply(g); n == 3 && norm(g) < 500 {
			r.Gravity = &g
		}
	}
	if d.Time != "" {
		if v, is := m.Get(d.Time); is {
			v *= timeUnits[d.TimeUnit]
			r.Time = &v
		}
	}
	return r, true, nil
}

// together writes three paths as one: magnetometer.x/y/z.
func together(p [3]string) string {
	cut := 0
	for cut < len(p[0]) && cut < len(p[1]) && cut < len(p[2]) && p[0][cut] == p[1][cut] && p[0][cut] == p[2][cut] {
		cut++
	}
	// Only at the end of a word: "column 1/2/3", "mag.x/y/z".
	for cut > 0 && !strings.ContainsRune(". [_", rune(p[0][cut-1])) {
		cut--
	}
	return p[0] + "/" + p[1][cut:] + "/" + p[2][cut:]
}

// Fits tells whether a message has all of the field's numbers.
func (d *Dialect) Fits(m *Message) bool {
	_, n := m.three(d.Field)
	return n == 3
}

// SameShape tells whether a message has the very numbers the dialect was taught
// on, in their order.
func (d *Dialect) SameShape(m *Message) bool {
	if len(m.Numbers) != len(d.Shape) {
		return false
	}
	for i := range m.Numbers {
		if m.Numbers[i].Path != d.Shape[i] {
			return false
		}
	}
	return true
}

// Named tells whether the field's numbers have names of their own. Numbered
// columns say nothing of who sends them.
func (d *Dialect) Named() bool {
	for _, p := range d.Field {
		if strings.HasPrefix(p, "column ") || strings.HasPrefix(p, "[") {
			return false
		}
	}
	return true
}
