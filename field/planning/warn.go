package planning

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"polewise/layout"
)

// Warning is something that will not work as planned: the number that breaks it,
// and the number that would do. Everything else still holds.
type Warning struct {
	Key    string `json:"key"` // as in the plan file, e.g. winding "round".build
	Say    string `json:"say"`
	Remedy string `json:"remedy"`
}

// String is the warning on one line.
func (w Warning) String() string { return w.Key + ": " + w.Say + " " + w.Remedy }

func (j *job) warning(key, remedy, format string, args ...any) {
	j.f.Warnings = append(j.f.Warnings, Warning{Key: key, Say: fmt.Sprintf(format, args...), Remedy: remedy})
}

func (j *job) warn() {
	j.warnUnit()
	for i := range j.plan.Windings {
		j.warnFit(&j.plan.Windings[i], &j.f.Windings[i])
	}
	j.warnHeat()
	j.warnSupply()
	j.warnPulse()
	j.warnField()
	for _, s := range j.f.Cut.Spools {
		if !s.Whole {
			j.warning("spool", "Take a larger spool: a coil is wound from one piece.", "a coil of %s takes more wire than the %s kg on a spool.", s.Wire, plain(j.o.SpoolKg))
		}
	}
}

// Coils that a phone can tell apart and a hand can wind lie well between these;
// common practice, no source.
const smallestCoil, largestCoil = 10e-3, 500e-3 // inner size, metres

// warnUnit tells of coils no pad has, which another unit of length would make
// ordinary ones.
func (j *job) warnUnit() {
	for i := range j.plan.Windings {
		w := &j.plan.Windings[i]
		size := math.Max(w.InnerX, w.InnerY)
		if size >= smallestCoil && size <= largestCoil {
			continue
		}
		for _, unit := range []layout.LengthUnit{layout.Millimetre, layout.Centimetre, layout.Inch} {
			if meant := size / j.plan.Unit.Metres() * unit.Metres(); meant >= smallestCoil && meant <= largestCoil {
				name := map[layout.LengthUnit]string{layout.Millimetre: "millimetres", layout.Centimetre: "centimetres", layout.Inch: "inches"}
				j.warning("length_unit", fmt.Sprintf("If they are meant as %s, write length_unit = %q.", name[unit], string(unit)),
					"sizes are read as %s, which makes winding %q %s mm across inside.", name[j.plan.Unit], w.ID, plain(twoDigits(size/millimetre)))
				return
			}
		}
	}
}

// loosest is how much higher than piled up in layers a hand winds at most; an estimate, no
// source.
const loosest = 1.4

// warnFit tells of a build far from what the wire makes, and of turns that bare wire would leave room for and enamelled wire,
// laid in layers, does not.
func (j *job) warnFit(w *layout.Winding, f *Winding) {
	key := fmt.Sprintf("winding %q", w.ID)
	switch {
	case f.TurnsPerLayer == 0:
		j.warning(key+".width", fmt.Sprintf("Make the width at least %.2f mm, or take thinner wire.", f.OverEnamelMM),
			"the wire is %.2f mm thick with its enamel, and the former is only %.2f mm wide.", f.OverEnamelMM, w.Width/millimetre)
	case f.TightBuildMM > w.Build/millimetre*(1+1e-9):
		most := mostTurns(w)
		fits := fmt.Sprintf("Make the build %.1f mm, or wind at most %s.", math.Ceil(10*f.TightBuildMM)/10, turns(most))
		if most == 0 {
			fits = fmt.Sprintf("Make the build %.1f mm, or take thinner wire.", math.Ceil(10*f.TightBuildMM)/10)
		}
		j.warning(key+".turns", fits,
			"%s lie in %s of %d and build %.1f mm even with every turn in the groove below, and the former leaves %.1f mm.",
			turns(w.Turns), layersOf(f.Layers), f.TurnsPerLayer, f.TightBuildMM, w.Build/millimetre)
	case f.BuildMM > w.Build/millimetre*(1+1e-9):
		j.warning(key+".turns", fmt.Sprintf("Lay each turn in the groove below, or make the build %.1f mm.", math.Ceil(10*f.BuildMM)/10),
			"%s lie in %s of %d and build %.1f mm when piled up, and the former leaves %.1f mm.",
			turns(w.Turns), layersOf(f.Layers), f.TurnsPerLayer, f.BuildMM, w.Build/millimetre)
	case w.Build/millimetre > loosest*f.BuildMM:
		j.warning(key+".build", fmt.Sprintf("Make the build %.1f mm, or what a coil of it measures: ohms and field follow from it.", math.Ceil(10*f.BuildMM)/10),
			"%s lie in %s of %d and build %.1f mm when piled up, and the plan gives %.1f mm.",
			turns(w.Turns), layersOf(f.Layers), f.TurnsPerLayer, f.BuildMM, w.Build/millimetre)
	}
	if w.GivenOhms > 0 {
		computed := w.ComputedOhms()
		if off := w.GivenOhms/computed - 1; math.Abs(off) > 0.15 {
			j.warning(key+".ohms", "Measure it again, or put turns and wire right.",
				"the plan gives %.2f ohm, and %d turns of this wire have %.2f: %+.0f percent.", w.GivenOhms, w.Turns, computed, 100*off)
		}
	}
}

// mostTurns is how many turns fit the former, each in the groove below.
func mostTurns(w *layout.Winding) int {
	return sort.Search(w.Turns, func(n int) bool {
		less := *w
		less.Turns = n + 1
		_, _, _, tight := layers(&less)
		return tight > w.Build
	})
}

const (
	// What an open, taped bundle can carry for long, and how much warmer than the
	// room it should be; common practice, no source.
	longAmpsPerMM2 = 6
	longKelvin     = 60
	// burntKelvin is beyond what enamels stand, most of which are made for 105 to
	// 220 C (from memory): how much more says nothing.
	burntKelvin = 200
)

// warnHeat tells of the coil whose wire carries most, if that is too much.
func (j *job) warnHeat() {
	worst, load := -1, 1.0
	for k := range j.plan.Coils {
		w, amps := j.plan.WindingOf(k), j.heating(k)
		if l := math.Max(density(w, amps)/longAmpsPerMM2, math.Sqrt(riseKelvin(w, amps)/longKelvin)); l > load {
			worst, load = k, l
		}
	}
	if worst < 0 {
		return
	}
	w, heating := j.plan.WindingOf(worst), j.heating(worst)
	what := ""
	if j.plan.Supply.Pulsed {
		what = fmt.Sprintf(" (heating like a steady %.2f A)", heating)
	}
	warm := fmt.Sprintf("some %.0f K", riseKelvin(w, heating))
	if riseKelvin(w, heating) > burntKelvin {
		warm = fmt.Sprintf("far more than %d K", burntKelvin)
	}
	remedy := fmt.Sprintf("%.2f A would do: set the supply to %s.", math.Abs(j.c.CoilAmps[worst])/load, j.supplyAt(1/load))
	j.warning("supply", remedy,
		"coil %s carries %.2f A%s, %.1f A/mm2 of its wire and %s over the room's temperature; %d A/mm2 and %d K are the most a taped bundle should have for long.",
		j.plan.Coils[worst].ID, j.c.CoilAmps[worst], what, density(w, heating), warm, longAmpsPerMM2, longKelvin)
}

// supplyAt puts the planned drive times s into words.
func (j *job) supplyAt(s float64) string {
	if j.plan.Supply.Volts > 0 {
		return plain(twoDigits(s*(j.c.PadVolts+j.c.PadAmps*j.plan.Supply.SourceOhms))) + " V"
	}
	return plain(twoDigits(s*j.c.PadAmps)) + " A"
}

func (j *job) warnSupply() {
	s := &j.plan.Supply
	if !j.f.Pad.Limited {
		return
	}
	switch {
	case s.Volts > 0 && !math.IsInf(j.c.PadOhms, 1):
		want := s.Volts / (j.c.PadOhms + s.SourceOhms)
		j.warning("supply.limit_amps", fmt.Sprintf("Set the limit to %s A, or the supply to %.1f V; the figures here are for the limit.", plain(math.Ceil(10*want)/10), j.c.PadVolts+j.c.PadAmps*s.SourceOhms),
			"%s V would drive %.2f A through the pad, and the supply's limit holds it at %.2f A.", plain(s.Volts), want, s.LimitAmps)
	case s.Amps > s.LimitAmps:
		j.warning("supply.limit_amps", fmt.Sprintf("Set the limit to %s A or more; the figures here are for the limit.", plain(s.Amps)),
			"the supply is to give %s A, and its limit holds it at %s A.", plain(s.Amps), plain(s.LimitAmps))
	}
}

// warnPulse tells of pulses that end before the current has risen: currents and
// fields are worked out for the end of the rise.
func (j *job) warnPulse() {
	const enough = 0.95
	worst := -1
	for i := range j.f.Strings {
		const tie = 1e-9 // strings alike by symmetry: the first is named
		if s := &j.f.Strings[i]; s.PeakShare < enough && (worst < 0 || s.PeakShare < j.f.Strings[worst].PeakShare-tie) {
			worst = i
		}
	}
	if worst < 0 {
		return
	}
	s, supply := &j.f.Strings[worst], &j.plan.Supply
	on := 0.0 // milliseconds, until every string has enough
	for _, parts := range j.rise.strings {
		on = math.Max(on, 1e3*j.rise.within(parts, enough))
	}
	hz := supply.Duty / on * 1e3
	remedy := fmt.Sprintf("Pulses of %s ms would do: set hz to %s or less.", plain(twoDigits(on)), plain(floorTwoDigits(hz)))
	j.warning("supply.hz", remedy,
		"a pulse of %s ms ends when string %s has reached %.0f percent of its current; all currents and fields here are those at the end of the rise.",
		plain(twoDigits(supply.Duty/supply.Hz*1e3)), s.ID, 100*s.PeakShare)
}

// floorTwoDigits rounds down to two significant digits.
func floorTwoDigits(x float64) float64 {
	r := twoDigits(x)
	if r > x {
		r = twoDigits(r - math.Pow(10, math.Floor(math.Log10(x))-1))
	}
	return r
}

// warnField tells of fields that cannot be read.
func (j *job) warnField() {
	r := j.reachOf(rawPull)
	// As strong as the earth's field at its strongest (World Magnetic Model
	// 2025): below that a reading hangs on knowing the background.
	const readableUT = 67
	if r.least < readableUT {
		remedy := "No current flows: nothing can be read at all."
		if r.least > 0 {
			doubtless := rawLeastUT / r.least
			remedy = fmt.Sprintf("It takes %s to reach the %d uT of the earth's field, %s for a reading without doubt", j.supplyAt(readableUT/r.least), readableUT, j.supplyAt(doubtless))
			if most, why := j.mostDrive(); doubtless > most {
				remedy += "; but " + why
			}
			remedy += "."
		}
		j.warning("supply", remedy, "the field over coil %s is only %s uT.", r.leastID, Decimals(r.least, 0))
	}
	j.warnOutdone()
	if r.most > rawMostUT {
		j.warning("supply", fmt.Sprintf("%s would stay below %.0f uT.", j.supplyAt(rawMostUT/r.most), rawMostUT),
			"near coil %s the field reaches %.0f uT, and a phone's sensor may clip from %.0f uT on.", r.mostID, r.most, rawMostUT)
	}
}

// warnOutdone tells of coils whose neighbours' field over them is stronger than their own:
// a needle over one that faces as planned shows the other face.
func (j *job) warnOutdone() {
	var ids []string
	for k := range j.f.Over.Coils {
		c := &j.plan.Coils[k]
		if j.c.CoilAmps[k] != 0 && j.f.Over.Coils[k].BUT[2]*float64(c.North) < 0 {
			ids = append(ids, c.ID)
		}
	}
	if len(ids) > 0 {
		j.warning("coil", "Give it more current, by strings of more equal ohms, or more room to the strong coils.",
			"over %s the field of the other coils is stronger than its own and the other way: faced as planned, a needle there still shows the other face.", strings.Join(ids, ", "))
	}
}
