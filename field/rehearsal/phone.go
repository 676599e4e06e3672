package rehearsal

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field/capture"
	"polewise/layout"
)

// Phone is a made-up phone over a made-up pad, moved about and read live, with an
// ohmmeter at hand. It is for one goroutine.
type Phone struct {
	*scene
	rng   *rand.Rand
	meter *rand.Rand // the ohmmeter beside it

	posture posture
	mark    r3.Vec
	down    bool
}

// liftedBy is how high a phone is held that is not down on the pad, and trembles
// how far the hand that holds it moves about, metres; it turns by swaysDeg.
const (
	liftedBy = 0.06
	trembles = 0.003
	swaysDeg = 2.5
)

// NewPhone returns a phone over a pad with faults built in. Of the options it
// uses the seed, the faults and what concerns sensor, surroundings and current;
// placement, height, yaw and tilt come from whoever moves it.
func NewPhone(plan *layout.Plan, o Options) (*Phone, error) {
	scene, _, err := newScene(plan, o)
	if err != nil {
		return nil, err
	}
	ph := &Phone{scene: scene, rng: o.stream(8), meter: o.stream(3)}
	ph.drive.State = capture.Off
	ph.Move(0, 0, o.TopDeg, 0, 0, false)
	return ph, nil
}

// Move puts the mark at (xMM, yMM) of the pad frame, the top edge at topDeg
// counter-clockwise from pad +y, pitched and rolled (W3C beta and gamma). Down
// means lying on the pad; otherwise the phone is in the hand, a few centimetres
// up. Values that are not finite, or more than ten metres off, are ignored.
func (ph *Phone) Move(xMM, yMM, topDeg, pitchDeg, rollDeg float64, down bool) {
	for _, v := range [...]float64{xMM, yMM, topDeg, pitchDeg, rollDeg} {
		if !(math.Abs(v) <= 1e4) {
			return
		}
	}
	ph.posture = lie(topDeg, pitchDeg, rollDeg)
	ph.mark = r3.Vec{X: xMM * millimetre, Y: yMM * millimetre}
	ph.mark.Z = ph.world.height(ph.mark.X, ph.mark.Y)
	if !down {
		ph.mark.Z += liftedBy
	}
	if down && !ph.down && ph.rng.Float64() < ph.o.JumpChance {
		ph.sensor.jump(ph.o.JumpUT)
	}
	ph.down = down
}

// Drive switches the supply. Pulses are the plan's, or one a second, half on,
// where the plan has none. It returns the line to tell a capture, without time.
func (ph *Phone) Drive(state capture.DriveState) capture.Drive {
	ph.drive = capture.Drive{State: state}
	if state == capture.Pulse {
		ph.drive.Hz, ph.drive.Duty = 1, 0.5
		if s := &ph.plan.Supply; s.Pulsed {
			ph.drive.Hz, ph.drive.Duty = s.Hz, s.Duty
		}
	}
	return ph.drive
}

// Ohms is what an ohmmeter shows across a coil, string or group unplugged from the
// rest, or the pad (coil:ID, string:ID, group:ID, pad), at 20 C; nil: it is open.
func (ph *Phone) Ohms(name string) (*float64, error) {
	for _, a := range ph.plan.Measurables(ph.world.currents) {
		if a.Across == name {
			return meterReads(a.Ohms20, 20, ph.meter), nil
		}
	}
	return nil, fmt.Errorf("expected coil:ID, string:ID, group:ID or pad of the plan, found %q", name)
}

// Driven is what the supply does now.
func (ph *Phone) Driven() capture.Drive { return ph.drive }

// Read is one reading of magnetometer and gravity sensor at time t, in seconds
// since any fixed moment, phone axes: microtesla, and metres a second squared.
func (ph *Phone) Read(t float64) (uT, ms2 [3]float64) {
	p, mark := ph.posture, ph.mark
	if !ph.down { // nobody's hand is still
		p = shaken(p, ph.rng)
		mark = r3.Add(mark, r3.Scale(trembles, r3.Vec{X: ph.rng.NormFloat64(), Y: ph.rng.NormFloat64(), Z: ph.rng.NormFloat64()}))
	}
	at := ph.sensorAt(p, mark, ph.world.height(ph.mark.X, ph.mark.Y))
	ms2 = p.readGravity(ph.rng)
	return ph.sensor.read(p.toPhone(ph.field(at, t))), ms2
}

// shaken turns a posture by a few degrees about a random axis.
func shaken(p posture, rng *rand.Rand) posture {
	turn := r3.NewRotation(swaysDeg*degree*rng.NormFloat64(), r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
	return posture{turn.Rotate(p.x), turn.Rotate(p.y), turn.Rotate(p.z)}
}

// OffsetMM is where the sensor sits relative to the mark, phone frame x and y:
// for telling afterwards.
func (ph *Phone) OffsetMM() [2]float64 { return ph.offsetMM }
