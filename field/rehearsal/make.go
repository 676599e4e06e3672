package rehearsal

import (
	"io"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field/capture"
	"polewise/layout"
)

// Made is a made-up capture and what is true of it.
type Made struct {
	Lines []capture.Line
	// OffsetMM is where the sensor really sits relative to the mark.
	OffsetMM [2]float64
	// CurrentScale is the supply's real current over the planned one.
	CurrentScale float64
	Currents     *layout.Currents // with the faults, at the planned supply
}

// Write writes the capture as JSON Lines.
func (m *Made) Write(w io.Writer) error { return capture.Write(w, m.Lines...) }

// Make makes up a capture of a pad. It fails on options and faults that make no
// sense.
func Make(plan *layout.Plan, o Options) (*Made, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	// One stream of chance for each part, so that turning one knob leaves the
	// others' draws as they were.
	stream := func(n uint64) *rand.Rand { return rand.New(rand.NewPCG(o.Seed, n)) }
	s := &script{o: o, plan: plan, sensorRand: stream(1), hand: stream(2), meter: stream(3), compass: stream(4)}
	s.scale = math.Min(math.Max(1+o.CurrentSD*stream(5).NormFloat64(), 0.5), 1.5)
	w, err := newWorld(plan, o.Faults, s.scale, o.EarthUT, o.SteelUT, stream(6))
	if err != nil {
		return nil, err
	}
	s.world = w
	s.sensor = newSensor(&o, s.sensorRand)
	place := stream(7)
	s.offsetMM = [2]float64{15 * place.NormFloat64(), 35 + 25*place.NormFloat64()}
	if o.OffsetMM != nil {
		s.offsetMM = *o.OffsetMM
	}
	s.pulsePhase = place.Float64()
	s.start(place)
	switch {
	case o.Route == capture.Hand:
		s.byHand()
	case o.Route == capture.Heading:
		s.rest()
		s.headings()
	case o.Passes:
		s.rest()
		s.passes()
	default:
		s.rest()
		for j := range plan.Coils {
			s.holdOn(j)
		}
	}
	if o.Ohms {
		s.measureOhms()
	}
	return &Made{Lines: s.lines, OffsetMM: s.offsetMM, CurrentScale: s.scale, Currents: w.currents}, nil
}

// script writes a capture down as it happens.
type script struct {
	o          Options
	plan       *layout.Plan
	world      *world
	sensor     *sensor
	sensorRand *rand.Rand
	hand       *rand.Rand // what the person's hand does
	meter      *rand.Rand // ohmmeter and supply display
	compass    *rand.Rand
	offsetMM   [2]float64
	scale      float64
	pulsePhase float64

	t     float64 // seconds since the start
	drive capture.DriveState
	hz    float64 // of the pulses
	duty  float64
	lines []capture.Line

	// The compass: its lagging output, the turn since the start, and when it was
	// last read.
	compassDeg, compassAt float64
	compassOn             bool
}

// tick is one thousandth of a second: times are told no finer.
func tick(t float64) float64 { return math.Round(t*1e3) / 1e3 }

func (s *script) add(l capture.Line) { s.lines = append(s.lines, l) }

func (s *script) start(rng *rand.Rand) {
	start := capture.Start{V: 1, Route: s.o.Route, TopDeg: s.o.TopDeg, Device: "made up"}
	if s.o.Route != capture.Hand {
		start.Sensor = &capture.Sensor{FullScaleUT: s.o.FullScaleUT}
		if err := s.o.TellOffsetMM; err >= 0 {
			start.Sensor.OffsetMM = &[2]float64{
				math.Round(10*(s.offsetMM[0]+err*rng.NormFloat64())) / 10,
				math.Round(10*(s.offsetMM[1]+err*rng.NormFloat64())) / 10,
			}
			start.Sensor.OffsetSDMM = &[2]float64{err, err}
			if err == 0 {
				start.Sensor.OffsetMM = &[2]float64{s.offsetMM[0], s.offsetMM[1]}
			}
		}
		if s.o.Route == capture.Heading {
			start.Sensor.FullScaleUT = 0
		}
		if *start.Sensor == (capture.Sensor{}) {
			start.Sensor = nil
		}
	}
	s.add(start)
}

// on is how the supply drives the pad when it is not off.
func (s *script) on() capture.Drive {
	d := capture.Drive{State: capture.On}
	if p := &s.plan.Supply; p.Pulsed {
		d.State, d.Hz, d.Duty = capture.Pulse, p.Hz, p.Duty
	}
	if s.o.TellAmps {
		amps := s.scale * s.world.currents.PadAmps
		amps = math.Max(0, math.Round(100*(amps*(1+0.01*s.meter.NormFloat64())+0.005*s.meter.NormFloat64()))/100)
		d.Amps = &amps
	}
	return d
}

func (s *script) switchTo(d capture.Drive) {
	d.T = tick(s.t)
	s.drive, s.hz, s.duty = d.State, d.Hz, d.Duty
	s.add(d)
}

// share of its peak that the drive gives at a time.
func driveShare(state capture.DriveState, hz, duty, phase, t float64) float64 {
	switch state {
	case capture.On:
		return 1
	case capture.Pulse:
		if _, frac := math.Modf(hz*t + phase); frac < duty {
			return 1
		}
	}
	return 0
}

// field at a place now, teslas, pad axes.
func (s *script) field(at r3.Vec) r3.Vec {
	b := s.world.background(at)
	if driveShare(s.drive, s.hz, s.duty, s.pulsePhase, s.t) > 0 {
		b = r3.Add(b, s.world.pad.At(s.world.turns, at))
	}
	return b
}

// next lets the time to the next reading go by: the clock of a page is not
// quite even.
func (s *script) next() {
	s.t += math.Max(0.2, 1+0.04*s.sensorRand.NormFloat64()) / s.o.Hz
}

// laid is how the phone lies for a while.
type laid struct {
	posture
	sensorAt r3.Vec
}

// lay puts the mark at a place of the pad as well as the hand can.
func (s *script) lay(x, y float64) laid {
	const mm = 1e-3
	x += s.o.PlacementMM * mm * s.hand.NormFloat64()
	y += s.o.PlacementMM * mm * s.hand.NormFloat64()
	return s.layExactly(x, y, s.o.HeightMM*mm*s.hand.NormFloat64())
}

// layExactly puts the mark there and draws only how the phone is turned.
func (s *script) layExactly(x, y, lift float64) laid {
	l := laid{posture: lie(s.o.TopDeg+s.o.YawDeg*s.hand.NormFloat64(), s.o.TiltDeg*s.hand.NormFloat64(), s.o.TiltDeg*s.hand.NormFloat64())}
	l.sensorAt = s.sensorPlace(l.posture, x, y, s.world.height(x, y)+lift)
	return l
}

// leastGap keeps the sensor out of the copper: glass and casing are in between.
const leastGap = 1e-3

// sensorPlace is where the sensor is when the mark is at (x, y, z).
func (s *script) sensorPlace(p posture, x, y, z float64) r3.Vec {
	const mm = 1e-3
	at := r3.Add(r3.Vec{X: x, Y: y, Z: z}, p.offset(s.offsetMM[0]*mm, s.offsetMM[1]*mm))
	lowest := s.world.height(x, y) - s.plan.Above + leastGap
	at.Z = math.Max(at.Z, lowest)
	return at
}

// gravity takes one reading of the gravity sensor, with its noise.
func (s *script) gravity(l laid) {
	g := l.gravity()
	for a := range g {
		g[a] = math.Round(1e3*(g[a]+0.02*s.sensorRand.NormFloat64())) / 1e3
	}
	s.add(capture.Gravity{T: tick(s.t), MS2: g})
}

// sample takes readings for a while.
func (s *script) sample(l laid, seconds float64) {
	for k, end := 0, s.t+seconds; s.t < end; k++ {
		if s.o.Gravity && k%5 == 0 {
			s.gravity(l)
		}
		s.add(capture.B{T: tick(s.t), UT: s.sensor.read(l.toPhone(s.field(l.sensorAt)))})
		s.next()
	}
}

// rest takes readings with the supply off, the phone lying anywhere on the pad,
// and then switches it on.
func (s *script) rest() {
	if s.o.Rest != RestNone {
		s.switchTo(capture.Drive{State: capture.Off})
		j := s.hand.IntN(len(s.plan.Coils))
		at := s.plan.Coils[j].At
		l := s.lay(at.X+0.03*s.hand.NormFloat64(), at.Y+0.03*s.hand.NormFloat64())
		if s.o.Route == capture.Heading {
			s.sampleHeadings(l, s.o.HoldSeconds)
		} else {
			s.sample(l, s.o.HoldSeconds)
		}
	}
	s.switchTo(s.on())
	s.t += 0.5
}

// move lets the time go by in which the phone is carried to the next coil.
func (s *script) move() {
	s.t += 0.6 + 0.8*s.hand.Float64()
	if s.sensorRand.Float64() < s.o.JumpChance {
		s.sensor.jump(s.o.JumpUT)
	}
}

func (s *script) holdOn(j int) {
	s.move()
	c := &s.plan.Coils[j]
	l := s.lay(c.At.X, c.At.Y)
	s.add(capture.Hold{T: tick(s.t), Coil: c.ID})
	s.sampleWithJump(l, s.o.HoldSeconds)
	if s.o.Rest == RestHolds {
		s.switchTo(capture.Drive{State: capture.Off})
		s.sampleWithJump(l, s.o.HoldSeconds)
	}
	s.add(capture.Lift{T: tick(s.t)})
	if s.o.Rest == RestHolds {
		s.switchTo(s.on())
	}
}

func (s *script) sampleWithJump(l laid, seconds float64) {
	if s.sensorRand.Float64() >= s.o.JumpInside {
		s.sample(l, seconds)
		return
	}
	before := seconds * (0.2 + 0.6*s.sensorRand.Float64())
	s.sample(l, before)
	s.sensor.jump(s.o.JumpUT)
	s.sample(l, seconds-before)
}
