package rehearsal

import (
	"io"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/field/capture"
	"polewise/layout"
)

// Made is a made-up capture.
type Made struct{ Lines []capture.Line }

// Write writes the capture as JSON Lines.
func (m *Made) Write(w io.Writer) error { return capture.Write(w, m.Lines...) }

// Make makes up a capture of a pad. It fails on options and faults that make no
// sense.
func Make(plan *layout.Plan, o Options) (*Made, error) {
	scene, place, err := newScene(plan, o)
	if err != nil {
		return nil, err
	}
	s := &script{scene: scene, hand: o.stream(2), meter: o.stream(3), compass: o.stream(4)}
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
	return &Made{s.lines}, nil
}

// script writes a capture down as it happens.
type script struct {
	*scene
	hand    *rand.Rand // what the person's hand does
	meter   *rand.Rand // ohmmeter and supply display
	compass *rand.Rand

	t     float64 // seconds since the start
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
	d := capture.Driven(&s.plan.Supply)
	if s.o.TellAmps {
		amps := s.scale * s.world.currents.PadAmps
		amps = math.Max(0, math.Round(100*(amps*(1+0.01*s.meter.NormFloat64())+0.005*s.meter.NormFloat64()))/100)
		d.Amps = &amps
	}
	return d
}

func (s *script) switchTo(d capture.Drive) {
	d.T = tick(s.t)
	s.drive = d
	s.add(d)
}

// next lets the time to the next reading go by: the clock of a page is not
// quite even.
func (s *script) next() {
	s.t += math.Max(0.2, 1+0.04*s.sensor.rng.NormFloat64()) / s.o.Hz
}

// laid is how the phone lies for a while.
type laid struct {
	posture
	at r3.Vec // the sensor
}

// lay puts the mark at a place of the pad as well as the hand can.
func (s *script) lay(x, y float64) laid {
	x += s.o.PlacementMM * millimetre * s.hand.NormFloat64()
	y += s.o.PlacementMM * millimetre * s.hand.NormFloat64()
	return s.layExactly(x, y, s.o.HeightMM*millimetre*s.hand.NormFloat64())
}

// layExactly puts the mark there and draws only how the phone is turned.
func (s *script) layExactly(x, y, lift float64) laid {
	l := laid{posture: lie(s.o.TopDeg+s.o.YawDeg*s.hand.NormFloat64(), s.o.TiltDeg*s.hand.NormFloat64(), s.o.TiltDeg*s.hand.NormFloat64())}
	l.at = s.sensorOver(l.posture, x, y, lift)
	return l
}

// sensorOver is where the sensor is when the mark is over (x, y), lifted by so much.
func (s *script) sensorOver(p posture, x, y, lift float64) r3.Vec {
	height := s.world.height(x, y)
	return s.sensorAt(p, r3.Vec{X: x, Y: y, Z: height + lift}, height)
}

// sample takes readings for a while.
func (s *script) sample(l laid, seconds float64) {
	for k, end := 0, s.t+seconds; s.t < end; k++ {
		s.read(l, k)
	}
}

// read takes the k-th reading, every fifth with gravity before it.
func (s *script) read(l laid, k int) {
	if s.o.Gravity && k%5 == 0 {
		s.add(capture.Gravity{T: tick(s.t), MS2: l.readGravity(s.sensor.rng)})
	}
	s.add(capture.B{T: tick(s.t), UT: s.sensor.read(l.toPhone(s.field(l.at, s.t)))})
	s.next()
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
	if s.sensor.rng.Float64() < s.o.JumpChance {
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
	if s.sensor.rng.Float64() >= s.o.JumpInside {
		s.sample(l, seconds)
		return
	}
	before := seconds * (0.2 + 0.6*s.sensor.rng.Float64())
	s.sample(l, before)
	s.sensor.jump(s.o.JumpUT)
	s.sample(l, seconds-before)
}
