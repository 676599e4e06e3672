// Package rehearsal makes up what a phone and a person would report over a pad:
// captures for trying the verdict out, and a phone that can be moved about live.
// Its readings come from the field model, with everything a workshop adds:
// a sensor that sits somewhere in the phone, a hand that misses the centre, the
// earth, steel in the bench, noise, jumps and clipping.
//
// Frames are those of the package field and of the package capture; lengths in
// Options are millimetres, fields microtesla and angles degrees, as a person
// would give them. The same options and seed always make the same readings.
package rehearsal

import (
	"fmt"
	"math"

	"polewise/field/capture"
	"polewise/layout"
)

// Rest says when the supply is off.
type Rest string

// Rests.
const (
	RestOnce  Rest = "once"  // once, before the first hold
	RestHolds Rest = "holds" // within every hold, as well as before the first
	RestNone  Rest = "none"  // never
)

// Options is everything that can be set about a made-up capture. Start from
// Defaults: a zero in a field of Options means exactly zero.
type Options struct {
	Seed   uint64
	Faults []layout.Fault
	Route  capture.Route
	Rest   Rest
	Passes bool // vector route: draw the phone along each row instead of holding it
	Ohms   bool // measure every coil, string, group and the pad as well

	Hz          float64 // readings a second
	HoldSeconds float64 // with the supply on; as long again with it off where Rest is RestHolds
	TopDeg      float64 // direction of the phone's top edge, counter-clockwise from pad +y

	// OffsetMM is where the sensor sits relative to the mark, phone frame x and
	// y; nil draws it as phones have it: x about N(0, 15), y about N(35, 25).
	OffsetMM *[2]float64
	// TellOffsetMM tells the offset in the start line, wrong by this much (sd on
	// either axis); negative says nothing of it.
	TellOffsetMM float64

	PlacementMM float64 // sd of the mark about the coil's centre, either axis
	HeightMM    float64 // sd of the sensor's height over the coil
	YawDeg      float64 // sd of the phone's turn against TopDeg
	TiltDeg     float64 // sd of pitch and of roll
	Gravity     bool    // report gravity

	EarthUT     float64 // strength of the earth's field; 0 draws 25 to 65
	SteelUT     float64 // the most that steel in the bench adds anywhere over the pad
	JumpChance  float64 // chance of a re-zero before a hold
	JumpInside  float64 // chance of a re-zero within a hold
	JumpUT      float64 // size of a re-zero: from an eighth of this to all of it
	NoiseUT     float64 // sd of a sample, each axis
	StepUT      float64 // quantisation, about; differs from axis to axis
	FrozenShare float64 // share of samples that repeat the one before
	FullScaleUT float64 // told in the start line; the sensor clips somewhere from 0.8 to 1 of it
	CurrentSD   float64 // relative sd of the supply's current against the plan, common to the pad
	TellAmps    bool    // report the current read off the supply

	HeadingDeg   float64 // sd of a compass heading
	LagSeconds   float64 // by which a heading lags
	HandMistakes float64 // hand route: share of faces read wrong
}

// Defaults is a usual phone in usual hands: the vector route by holds after one
// rest, without faults.
func Defaults() Options {
	return Options{
		Route: capture.Vector, Rest: RestOnce,
		Hz: 10, HoldSeconds: 2.5,
		TellOffsetMM: -1,
		PlacementMM:  5.5, HeightMM: 2, YawDeg: 6, TiltDeg: 1.5, Gravity: true,
		SteelUT: 12, JumpChance: 0.05, JumpUT: 40, NoiseUT: 0.4, StepUT: 0.15, FrozenShare: 0.03, FullScaleUT: 4900,
		CurrentSD:  0.05,
		HeadingDeg: 1.5, LagSeconds: 0.8, HandMistakes: 0.01,
	}
}

// check reports an option that makes no sense.
func (o *Options) check() error {
	switch o.Route {
	case capture.Vector, capture.Heading, capture.Hand:
	default:
		return fmt.Errorf("expected route vector, heading or hand, found %q", o.Route)
	}
	switch o.Rest {
	case RestOnce, RestHolds, RestNone:
	default:
		return fmt.Errorf("expected rest once, holds or none, found %q", o.Rest)
	}
	if o.Passes && o.Route != capture.Vector {
		return fmt.Errorf("expected the vector route for passes, found %s", o.Route)
	}
	for _, k := range []struct {
		name      string
		x, lo, hi float64
	}{
		{"readings a second", o.Hz, 1, 200}, {"seconds of a hold", o.HoldSeconds, 0.2, 60}, {"top_deg", o.TopDeg, -360, 360},
		{"offset error", o.TellOffsetMM, -1, 100}, {"placement", o.PlacementMM, 0, 100}, {"height", o.HeightMM, 0, 50},
		{"yaw", o.YawDeg, 0, 180}, {"tilt", o.TiltDeg, 0, 45},
		{"earth", o.EarthUT, 0, 1000}, {"steel", o.SteelUT, 0, 1000}, {"chance of a jump", o.JumpChance, 0, 1}, {"chance of a jump within a hold", o.JumpInside, 0, 1},
		{"jump", o.JumpUT, 0, 10000}, {"noise", o.NoiseUT, 0, 1000}, {"step", o.StepUT, 0, 100}, {"share of frozen readings", o.FrozenShare, 0, 0.9},
		{"full scale", o.FullScaleUT, 1, 1e6}, {"error of the current", o.CurrentSD, 0, 0.5},
		{"error of a heading", o.HeadingDeg, 0, 90}, {"lag", o.LagSeconds, 0, 10}, {"share of mistakes by hand", o.HandMistakes, 0, 1},
	} {
		if !(k.x >= k.lo && k.x <= k.hi) {
			return fmt.Errorf("%s: expected a number from %g to %g, found %g", k.name, k.lo, k.hi, k.x)
		}
	}
	if o.OffsetMM != nil && !(math.Hypot(o.OffsetMM[0], o.OffsetMM[1]) <= 300) {
		return fmt.Errorf("sensor offset: expected at most 300 mm, found %v", *o.OffsetMM)
	}
	return nil
}
