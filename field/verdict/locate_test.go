package verdict_test

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"polewise/field/capture"
	"polewise/field/rehearsal"
	"polewise/field/verdict"
	"polewise/layout"
)

// placing is where the mark is asked for, from the coil's middle, and the top edge.
type placing struct{ upMM, top float64 }

// asked are the placings of the phone page: the mark on the middle and turned by
// half, and both again with the mark on the winding's inner edge.
var asked = []placing{{0, 0}, {0, 180}, {-45, 0}, {45, 180}}

// laid makes the readings of a made-up phone laid on one coil, the supply switched
// in every hold as the phone page asks. Each time the mark lies further to the
// right than the last by slipMM.
func laid(t *testing.T, plan *layout.Plan, at string, offsetMM [2]float64, seed uint64, placings []placing, slipMM float64, faults ...layout.Fault) *capture.Capture {
	t.Helper()
	o := rehearsal.Defaults()
	o.Seed, o.Faults, o.OffsetMM, o.JumpChance = seed, faults, &offsetMM, 0
	ph, err := rehearsal.NewPhone(plan, o)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(seed, 99))
	sd := func(s float64) float64 { return s * rng.NormFloat64() }
	coil := plan.Coils[plan.CoilIndex(at)]
	lines := []capture.Line{capture.Start{V: 1, Route: capture.Vector}}
	now, state := 0.0, capture.Off
	drive := func(s capture.DriveState) {
		d := ph.Drive(s)
		d.T = now
		lines = append(lines, d)
		now += 0.4
	}
	read := func() {
		for range 22 {
			u, g := ph.Read(now)
			lines = append(lines, capture.B{T: now, UT: u}, capture.Gravity{T: now, MS2: g})
			now += 0.1
		}
	}
	drive(capture.Off)
	for i, p := range placings {
		ph.Move(coil.At.X*1e3+float64(i)*slipMM+sd(3), coil.At.Y*1e3+p.upMM+sd(3), p.top+sd(3), sd(1), sd(1), true)
		lines = append(lines, capture.Hold{T: now, Coil: at, TopDeg: &p.top, ShiftMM: &[2]float64{0, p.upMM}})
		now += 0.01
		read()
		if state == capture.Off {
			state = capture.On
		} else {
			state = capture.Off
		}
		drive(state)
		read()
		lines = append(lines, capture.Lift{T: now})
		now += 2
	}
	c, err := capture.FromLines(lines)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func warmKennel(t *testing.T) (*layout.Plan, *verdict.Model) {
	t.Helper()
	plan := kennel(t)
	m, err := verdict.Warm(plan)
	if err != nil {
		t.Fatal(err)
	}
	return plan, m
}

// TestLocate finds the sensor of made-up phones, whose place is known, over a coil
// that faces either way, with marks laid to 3 mm and turned to 3 degrees. Far out
// in a phone a turn matters more, and the spread has to say so.
func TestLocate(t *testing.T) {
	plan, m := warmKennel(t)
	at := plan.Coils[0].ID
	for i, offset := range [][2]float64{{0, 0}, {8, 38}, {-12, 52}, {20, -8}, {-25, 74}} {
		far := math.Hypot(offset[0], offset[1]) > 65
		for seed, faults := range [][]layout.Fault{nil, {{Kind: layout.CoilReversed, ID: at}}} {
			p, err := m.LocateUntil(t.Context(), laid(t, plan, at, offset, uint64(10*i+seed), asked, 0, faults...))
			if err != nil {
				t.Fatal(err)
			}
			dx, dy := p.Offset[0]*1e3-offset[0], p.Offset[1]*1e3-offset[1]
			off, sd := math.Hypot(dx, dy), math.Max(p.SD[0], p.SD[1])*1e3
			t.Logf("%v %v: off by %.1f mm, stated sd %.1f and %.1f mm, %s", faults, offset, off, p.SD[0]*1e3, p.SD[1]*1e3, p.Doubt)
			if !far && (off > 5 || sd > 6 || p.Doubt != "") {
				t.Errorf("%v %v, seed %d: found off by %.1f mm, spread %.1f mm, doubt %q", faults, offset, seed, off, sd, p.Doubt)
			}
			if math.Abs(dx) > 2.5*p.SD[0]*1e3 || math.Abs(dy) > 2.5*p.SD[1]*1e3 {
				t.Errorf("%v %v, seed %d: off by %.1f, %.1f mm with a spread of %v", faults, offset, seed, dx, dy, p.SD)
			}
		}
	}
}

// TestLocateSaysWhenItCannot: nothing is found where nothing can be.
func TestLocateSaysWhenItCannot(t *testing.T) {
	plan, m := warmKennel(t)
	at := plan.Coils[0].ID
	dead := laid(t, plan, at, [2]float64{5, 40}, 1, asked[:2], 0, layout.Fault{Kind: layout.CoilShorted, ID: at})
	p, err := m.LocateUntil(t.Context(), dead)
	if err != nil {
		t.Fatal(err)
	}
	if p.Doubt == "" && math.Max(p.SD[0], p.SD[1]) < 6e-3 {
		t.Errorf("over a dead coil the sensor was found at %v within %v", p.Offset, p.SD)
	}
	// Between the holds the mark was moved, though it was to stay on the middle.
	moved := laid(t, plan, at, [2]float64{5, 25}, 2, asked[:2], 50)
	if p, err = m.LocateUntil(t.Context(), moved); err != nil {
		t.Fatal(err)
	}
	t.Logf("moved: %v within %v, %s", p.Offset, p.SD, p.Doubt)
	if p.Doubt == "" && math.Max(p.SD[0], p.SD[1]) < 6e-3 {
		t.Errorf("a mark moved by 50 mm was not noticed: the sensor was found at %v within %v", p.Offset, p.SD)
	}
}

// TestLocateHalted: finding a sensor that nobody waits for any more ends.
func TestLocateHalted(t *testing.T) {
	plan := kennel(t)
	m, err := verdict.Warm(plan)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if p, err := m.LocateUntil(ctx, laid(t, plan, "B2", [2]float64{10, 50}, 1, asked, 0)); !errors.Is(err, verdict.ErrHalted) || p != nil {
		t.Errorf("found %+v, %v", p, err)
	}
}
