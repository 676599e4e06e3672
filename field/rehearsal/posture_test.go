package rehearsal

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// The turned phone against the W3C's rotation (source in the file).
func TestPostureAgainstW3C(t *testing.T) {
	raw, err := os.ReadFile("testdata/orientation.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Cases []struct {
			Alpha, Beta, Gamma float64
			R                  [3][3]float64 `json:"R_device_to_earth"`
			Heading            *float64      `json:"heading_of_top_edge_deg"`
			Earth              [3]float64    `json:"earth_field_enu_uT"`
			Field              [3]float64    `json:"field_in_device_frame_uT"`
			Gravity            [3]float64    `json:"gravity_sensor_in_device_frame_ms2"`
		}
	}
	if err := json.Unmarshal(raw, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Cases) != 8 {
		t.Fatalf("expected 8 cases, found %d", len(file.Cases))
	}
	for _, c := range file.Cases {
		// Pad axes laid along east, north and up: alpha is then top_deg.
		p := lie(c.Alpha, c.Beta, c.Gamma)
		for row, axis := range [3]r3.Vec{{X: c.R[0][0], Y: c.R[1][0], Z: c.R[2][0]}, {X: c.R[0][1], Y: c.R[1][1], Z: c.R[2][1]}, {X: c.R[0][2], Y: c.R[1][2], Z: c.R[2][2]}} {
			if got := [3]r3.Vec{p.x, p.y, p.z}[row]; r3.Norm(r3.Sub(got, axis)) > 1e-11 {
				t.Errorf("%v: axis %d is %v, want %v", c, row, got, axis)
			}
		}
		b := p.toPhone(r3.Vec{X: c.Earth[0], Y: c.Earth[1], Z: c.Earth[2]})
		if want := (r3.Vec{X: c.Field[0], Y: c.Field[1], Z: c.Field[2]}); r3.Norm(r3.Sub(b, want)) > 1e-9 {
			t.Errorf("%v: field %v, want %v", c, b, want)
		}
		for a, want := range c.Gravity {
			// The file has the standard acceleration, 9.80665; ours is 9.81.
			if got := p.gravity()[a]; math.Abs(got-want*9.81/9.80665) > 1e-9 {
				t.Errorf("%v: gravity %d is %g, want %g", c, a, got, want)
			}
		}
		if c.Heading != nil {
			if got := p.headingDeg(r3.Vec{Y: 20, Z: -40}); math.Abs(wrap180(got-*c.Heading)) > 1e-9 {
				t.Errorf("%v: heading %g, want %g", c, got, *c.Heading)
			}
		}
	}
}
