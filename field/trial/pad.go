package trial

import (
	"math"
)

// kind is a kind of coil.
type kind struct {
	id             string
	shape          string // round, oblong, rectangle
	innerX, innerY float64
	corner         float64 // rectangle only
	turns          int
	build, width   float64
	awg            float64
	givenOhms      float64 // as written in the plan; 0 when left to be computed
	wound          *winder
}

func (k *kind) cornerRadius() float64 {
	if k.shape == "rectangle" {
		return k.corner
	}
	return math.Min(k.innerX, k.innerY) / 2
}

// bareDiameter of an AWG wire: the progression of ASTM B258, 0.127 mm at 36 and
// 0.46 inch at 0000, 39 steps between.
func bareDiameter(awg float64) float64 { return 0.127e-3 * math.Pow(92, (36-awg)/39) }

// resistivity of copper at 20 C, ohm metre (IEC 60028, from memory), and its
// growth a kelvin at 20 C.
const (
	resistivity   = 1.7241e-8
	growPerKelvin = 0.00393
)

// ohms20 is the resistance at 20 C the plan stands for.
func (k *kind) ohms20() float64 {
	if k.givenOhms > 0 {
		return k.givenOhms
	}
	d := bareDiameter(k.awg)
	r := k.cornerRadius()
	mean := 2*(k.innerX-2*r) + 2*(k.innerY-2*r) + 2*math.Pi*(r+k.build/2)
	return resistivity * float64(k.turns) * mean / (math.Pi * d * d / 4)
}

// half is half the outer size along x and y before turning.
func (k *kind) half() (x, y float64) { return k.innerX/2 + k.build, k.innerY/2 + k.build }

type padCoil struct {
	id     string
	kind   *kind
	x, y   float64
	turned float64 // radians
	down   bool    // planned north down
}

func (c *padCoil) north() float64 {
	if c.down {
		return -1
	}
	return 1
}

// at is the field of the coil for one ampere, counter-clockwise from above, at
// a place in the pad frame, in microtesla.
func (c *padCoil) at(p vec) vec {
	own := vec{p[0] - c.x, p[1] - c.y, p[2]}.turned(-c.turned)
	return c.kind.wound.at(own).turned(c.turned)
}

type padString struct {
	id       string
	coils    []int
	leadOhms float64
}

type padGroup struct {
	id     string
	series bool
	of     []string
}

type supply struct {
	volts, amps float64 // exactly one is not 0
	sourceOhms  float64
	limitAmps   float64 // 0: none
	pulsed      bool
	hz, duty    float64
}

// pad is a plan as the benchmark knows it.
type pad struct {
	name    string
	unit    string // of lengths in the file
	size    [2]float64
	supply  supply
	above   float64 // sensor over the top face
	kinds   []*kind
	coils   []padCoil
	strings []padString
	groups  []padGroup
	rows    [][]int // coils that lie in a row, for passes
}

func (p *pad) stringOf(coil int) int {
	for i, s := range p.strings {
		for _, j := range s.coils {
			if j == coil {
				return i
			}
		}
	}
	return -1
}

func (p *pad) coilIndex(id string) int {
	for j := range p.coils {
		if p.coils[j].id == id {
			return j
		}
	}
	return -1
}

func (p *pad) stringIndex(id string) int {
	for i := range p.strings {
		if p.strings[i].id == id {
			return i
		}
	}
	return -1
}

// rootGroup is the group that is the pad; -1 without groups.
func (p *pad) rootGroup() int {
	for i, g := range p.groups {
		part := false
		for _, h := range p.groups {
			for _, id := range h.of {
				part = part || id == g.id
			}
		}
		if !part {
			return i
		}
	}
	return -1
}

// sensorHeight is where the plan expects the sensor over the mid-plane.
func (p *pad) sensorHeight(j int) float64 { return p.coils[j].kind.width/2 + p.above }

// field is the field of all coils at a place for given signed amperes, in
// microtesla; share is the part of each coil's turns that works.
func (p *pad) field(amps, share []float64, at vec) vec {
	var sum vec
	for j := range p.coils {
		if k := amps[j] * share[j]; k != 0 {
			sum = sum.plus(p.coils[j].at(at).times(k))
		}
	}
	return sum
}
