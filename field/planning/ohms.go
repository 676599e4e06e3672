package planning

import (
	"math"
	"strconv"
)

// Ohms is a line of the ohms sheet: what an ohmmeter should read. A coil, string
// or group is measured unplugged from the rest, the pad at its own plug with the
// supply off.
type Ohms struct {
	Across string  `json:"across"` // coil:ID, string:ID, group:ID or pad
	Ohms20 float64 `json:"ohms_20C"`
	Room   float64 `json:"ohms_room"`
	Low    float64 `json:"low"` // at the room's temperature: within these it is as planned
	High   float64 `json:"high"`
}

// What may lie between plan and meter with nothing wrong: the meter itself (1.5
// percent and 0.05 ohm), and the wire's diameter and the hand's pull on it (2.5
// percent; an estimate: the grades of wire allow about 1 percent of diameter,
// from memory). Apart from the 0.05 ohm they are independent.
const (
	meterShare = 0.015
	meterOhms  = 0.05
	wireShare  = 0.025
)

// tolerance is how far a reading may be off.
func tolerance(ohms float64) float64 {
	return ohms*math.Hypot(meterShare, wireShare) + meterOhms
}

// bounds are the least and the most that may be read with nothing wrong.
func bounds(ohms float64) (low, high float64) {
	return math.Max(0, ohms-tolerance(ohms)), ohms + tolerance(ohms)
}

func (j *job) ohms() {
	for _, line := range j.plan.Measurables(j.c) {
		o := Ohms{Across: line.Across, Ohms20: line.Ohms20, Room: j.roomOhms(line.Ohms20)}
		o.Low, o.High = bounds(o.Room)
		j.f.Ohms = append(j.f.Ohms, o)
	}
}

// plain writes a number without needless digits.
func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// Decimals writes a number with so many decimals, a small one with as many as show two
// digits: nothing is told as 0 that is not.
func Decimals(x float64, places int) string {
	if math.Abs(x) < 9.5*math.Pow(10, -float64(places)) {
		return plain(twoDigits(x))
	}
	return strconv.FormatFloat(x, 'f', places, 64)
}
