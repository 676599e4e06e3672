package planning

import (
	"fmt"
	"math"
	"strings"
)

// Check is what to set the bench supply to while the pad is checked.
type Check struct {
	Raw     Setting `json:"raw"`     // for raw readings
	Compass Setting `json:"compass"` // for compass headings
}

// Setting is one recommendation. Where HoldAmps is set the supply works as a
// source of current: its limit holds, and its voltage only has to be above what
// the pad takes.
type Setting struct {
	Volts     float64 `json:"volts"`      // to set
	LimitAmps float64 `json:"limit_amps"` // to set
	HoldAmps  bool    `json:"hold_amps"`
	Amps      float64 `json:"amps"`     // that the supply should then show
	LeastUT   float64 `json:"least_uT"` // at the weakest coil
	Least     string  `json:"least"`
	MostUT    float64 `json:"most_uT"` // at the strongest
	Most      string  `json:"most"`
	Good      bool    `json:"good"` // everything asked for is reached
	Say       string  `json:"say"`
}

// What a check needs. The earth's field is 22 to 67 uT over the surface (World
// Magnetic Model 2025); phones' sensors were seen to re-zero by up to 54 uT, and
// commonly reach 4900 uT (own analysis of recorded phones; the full scale is
// that of a common part, from memory) though not always evenly.
const (
	rawLeastUT   = 250.0  // over the weakest coil's centre, to aim at
	rawEnoughUT  = 150.0  // what will do
	rawMostUT    = 2000.0 // anywhere the sensor may come
	compassLow   = 10.0   // sideways, below the weakest coil's pull a needle hardly turns
	compassHigh  = 60.0   // sideways, above it a phone may refuse the field
	gentleKelvin = 10.0   // the check may warm a coil by this much
)

func (j *job) check() {
	raw := j.reachOf(rawPull)
	aside := j.reachOf(func(o *OverCoil) (float64, float64) { return o.AsideUT[0], o.AsideUT[1] })
	if j.c.PadAmps == 0 || raw.least == 0 || aside.least == 0 {
		none := Setting{Say: "No current flows as planned: there is nothing to set."}
		j.f.Check = Check{none, none}
		return
	}
	most, why := j.mostDrive()
	j.f.Check.Raw = j.rawSetting(raw, most, why)
	j.f.Check.Compass = j.compassSetting(aside, most, why)
}

// mostDrive is how many times the planned currents may flow in a check, and why not more:
// something gets warm, or the supply's limit is reached.
func (j *job) mostDrive() (most float64, why string) {
	p := j.plan
	most, why = math.Inf(1), "the supply's limit allows no more"
	if limit := p.Supply.LimitAmps; limit > 0 {
		most = limit / j.c.PadAmps
	}
	for k := range p.Coils {
		w, amps := p.WindingOf(k), j.heating(k)
		s := math.Min(gentleAmpsPerMM2/density(w, amps), math.Sqrt(gentleKelvin/riseKelvin(w, amps)))
		if s < most {
			most, why = s, fmt.Sprintf("coil %s would get warm", p.Coils[k].ID)
		}
	}
	return most, why
}

// rawPull is what raw readings of a coil go by: the vertical field over its centre, and its
// strongest spot.
func rawPull(o *OverCoil) (least, most float64) { return math.Abs(o.BUT[2]), o.MostUT }

// reach is the weakest and strongest of something over all coils.
type reach struct {
	least, most     float64
	leastID, mostID string
}

func (j *job) reachOf(of func(*OverCoil) (least, most float64)) reach {
	const tie = 1e-9 // coils alike by symmetry: the first is named
	r := reach{least: math.Inf(1)}
	for k := range j.f.Over.Coils {
		o := &j.f.Over.Coils[k]
		least, most := of(o)
		if least < r.least*(1-tie) {
			r.least, r.leastID = least, o.ID
		}
		if most > r.most*(1+tie) {
			r.most, r.mostID = most, o.ID
		}
	}
	return r
}

// leastVolts is what a bench supply can be set to with some care.
const leastVolts = 0.5

// setting is the planned drive times s, rounded to what a supply can be set to.
func (j *job) setting(s float64, r reach) Setting {
	full := j.c.PadVolts + j.c.PadAmps*j.plan.Supply.SourceOhms
	out := Setting{Volts: twoDigits(s * full), Least: r.leastID, Most: r.mostID}
	most := math.Inf(1) // the supply cannot be set to more
	if limit := j.plan.Supply.LimitAmps; limit > 0 {
		most = limit
	}
	if out.HoldAmps = s*full < leastVolts || j.plan.Supply.Volts == 0; out.HoldAmps {
		out.Amps = math.Min(twoDigits(s*j.c.PadAmps), most)
		s = out.Amps / j.c.PadAmps
		out.LimitAmps, out.Volts = out.Amps, math.Max(1, twoDigits(2*s*full))
	} else {
		if out.Volts/full*j.c.PadAmps > most { // rounded up, it would show more than its limit
			out.Volts = floorTwoDigits(most / j.c.PadAmps * full)
		}
		s = out.Volts / full
		out.Amps = s * j.c.PadAmps
		out.LimitAmps = math.Min(twoDigits(1.25*out.Amps), most)
	}
	out.LeastUT, out.MostUT = s*r.least, s*r.most
	return out
}

// how says what to turn.
func (j *job) how(s *Setting) string {
	if s.HoldAmps {
		return fmt.Sprintf("Set the supply's current limit to %s A and its voltage to %s V, so that the limit holds. ", plain(s.LimitAmps), plain(s.Volts))
	}
	while := ""
	if j.plan.Supply.Pulsed {
		while = " while a pulse lasts"
	}
	return fmt.Sprintf("Set the supply to %s V and its limit to %s A; it should show about %s A%s. ", plain(s.Volts), plain(s.LimitAmps), Decimals(s.Amps, 2), while)
}

// rawSetting is for raw readings. Most and why are those of mostDrive.
func (j *job) rawSetting(r reach, most float64, why string) Setting {
	s := 1.0 // the plan's own, where that will do
	if r.least < rawEnoughUT || r.most > rawMostUT || most < 1 {
		s = rawLeastUT / r.least
	}
	held := ""
	if sat := rawMostUT / r.most; s > sat {
		s, held = sat, fmt.Sprintf("sensors begin to clip at %.0f uT, which the strongest spot then has", rawMostUT)
	}
	if s > most {
		s, held = most, why
	}
	out := j.setting(s, r)
	out.Good = held == "" || out.LeastUT >= rawEnoughUT*0.98
	warmest := 0.0
	for k := range j.plan.Coils {
		warmest = math.Max(warmest, riseKelvin(j.plan.WindingOf(k), out.Amps/j.c.PadAmps*j.heating(k)))
	}
	var say strings.Builder
	say.WriteString(j.how(&out))
	fmt.Fprintf(&say, "Every coil then pulls at least %s uT (coil %s), against 22 to 67 uT of the earth and jumps of up to 54 uT of a phone's sensor; the strongest spot has %.0f uT (coil %s), and no coil gets more than about %.0f K warmer.",
		Decimals(out.LeastUT, 0), out.Least, out.MostUT, out.Most, math.Ceil(warmest))
	if !out.Good {
		fmt.Fprintf(&say, " More would be better, %.0f uT over every coil, but %s: expect doubt at coil %s.", rawLeastUT, held, out.Least)
	}
	out.Say = say.String()
	return out
}

func (j *job) compassSetting(r reach, most float64, why string) Setting {
	// Between the two bounds, in the middle of what they leave.
	low, high := compassLow/r.least, compassHigh/r.most
	s := math.Sqrt(low * high)
	if low > high {
		s = high
	}
	out := j.setting(math.Min(s, most), r)
	enough := out.LeastUT >= compassLow*0.98
	out.Good = enough && out.MostUT <= compassHigh*1.02
	out.Say = j.how(&out) + fmt.Sprintf("Over the inner edge of a coil's winding the pad then pulls %s uT sideways", fromTo(out.LeastUT, out.MostUT))
	again := out.Amps * compassLow * 1.5 / out.LeastUT
	switch {
	case enough:
		out.Say += ": enough to turn a needle against the earth's 10 to 42 uT, and not so much that a phone refuses the field."
	case again > most*j.c.PadAmps:
		out.Say += fmt.Sprintf(". At coil %s that is less than the %.0f uT a compass needs. More would help, but %s: read that coil another way.", out.Least, compassLow, why)
	default:
		out.Say += fmt.Sprintf(". At coil %s that is less than the %.0f uT a compass needs, but coil %s pulls %.0f times as hard: read coil %[1]s again at %[5]s A.",
			out.Least, compassLow, r.mostID, r.most/r.least, plain(twoDigits(again)))
	}
	return out
}

// fromTo writes a range, or one number where that is all it is.
func fromTo(lo, hi float64) string {
	a, b := Decimals(lo, 0), Decimals(hi, 0)
	if a == b {
		return "about " + a
	}
	return a + " to " + b
}

// twoDigits rounds to two significant digits.
func twoDigits(x float64) float64 {
	if x == 0 || math.IsInf(x, 0) || math.IsNaN(x) {
		return x
	}
	unit := math.Pow(10, math.Floor(math.Log10(math.Abs(x)))-1)
	if unit < 1 { // dividing by a whole number keeps 0.35 from becoming 0.35000000000000003
		whole := math.Round(1 / unit)
		return math.Round(x*whole) / whole
	}
	return math.Round(x/unit) * unit
}
