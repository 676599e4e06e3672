package planning

import (
	"math"
	"strconv"

	"polewise/layout"
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

func (j *job) ohms() {
	for _, line := range across(j.plan, j.c) {
		room := j.roomOhms(line.ohms)
		t := tolerance(room)
		j.f.Ohms = append(j.f.Ohms, Ohms{Across: line.across, Ohms20: line.ohms, Room: room, Low: math.Max(0, room-t), High: room + t})
	}
}

// line is a resistance at 20 C, and across what.
type line struct {
	across string
	ohms   float64
}

// across lists everything an ohmmeter can be put across.
func across(p *layout.Plan, c *layout.Currents) []line {
	var out []line
	for k := range p.Coils {
		out = append(out, line{"coil:" + p.Coils[k].ID, c.CoilOhms[k]})
	}
	for i := range p.Strings {
		out = append(out, line{"string:" + p.Strings[i].ID, c.StringOhms[i]})
	}
	for g := range p.Groups {
		out = append(out, line{"group:" + p.Groups[g].ID, c.GroupOhms[g]})
	}
	return append(out, line{"pad", c.PadOhms})
}

// plain writes a number without needless digits.
func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
