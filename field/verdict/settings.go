package verdict

import (
	"math"
	"slices"

	"polewise/field/capture"
)

// A supply may be set otherwise in the course of a check: lower, where a sensor came to the
// end of its range, or higher, where a needle hardly turned. What it showed each time tells
// by how much. All currents go with it, and so does what the pad adds to the earth's field:
// every reading is taken for what it would have been as the supply was set last.

// settings are what the supply was set to, by capture and in the order told.
type settings [][]setting

// setting is one that holds from a time on.
type setting struct {
	from  float64
	share float64 // of what the supply was set to last
}

// When two currents that a supply showed are of one setting (estimates, no source).
const (
	ampsAlike  = 3.0  // standard deviations that they may lie apart, to be one figure read again
	resetAlike = 6.0  // and that they must, for it to be said that the supply was set otherwise,
	resetShare = 0.15 // and so much, of the larger: less may be a pad that grew warm
)

// readSupply takes what was read off the supply: what it showed at the setting told last, and
// the settings before. A display that shows too much does every time: what it showed again
// tells no more than once, but for its last digit. Where something was told since these
// captures, that is what it is set to now.
func (ev *evidence) readSupply(cuts []*capture.Stretches, since *ampsReading) settings {
	type seen struct {
		from    float64
		reading int
	}
	list := make([][]seen, len(cuts))
	last := -1
	for c, cut := range cuts {
		first := len(ev.amps)
		for _, d := range cut.Drives {
			if d.Amps == nil || d.State == capture.Off {
				continue
			}
			a := ampsReading{amps: *d.Amps, times: 1, pulsed: d.State == capture.Pulse}
			k := slices.IndexFunc(ev.amps[first:], func(o ampsReading) bool {
				return o.pulsed == a.pulsed && math.Abs(o.amps-a.amps) < ampsAlike*math.Max(o.sd(), a.sd())
			})
			if last = first + k; k < 0 {
				last = len(ev.amps)
				ev.amps = append(ev.amps, a)
			} else {
				o := &ev.amps[last]
				o.times++
				o.amps += (a.amps - o.amps) / o.times
			}
			list[c] = append(list[c], seen{d.T, last})
		}
	}
	out := make(settings, len(cuts))
	if last < 0 {
		return out
	}
	now := ev.amps[last]
	if since != nil {
		now = *since
	}
	shares := make([]float64, len(ev.amps))
	for i, a := range ev.amps {
		shares[i] = 1
		if away := math.Abs(a.amps - now.amps); now.amps > 0 && a.amps > 0 && a.pulsed == now.pulsed &&
			away > resetAlike*math.Max(a.sd(), now.sd()) && away > resetShare*math.Max(a.amps, now.amps) {
			shares[i] = a.amps / now.amps
			ev.note("The supply showed %.3g A and later %.3g A. It is taken to have been set otherwise; if it was not, one of these is wrong: tell the amps again.", a.amps, now.amps)
		}
	}
	for c, seen := range list {
		for _, s := range seen {
			out[c] = append(out[c], setting{s.from, shares[s.reading]})
		}
	}
	if all := out.all(); len(all) > 1 && slices.ContainsFunc(out, func(told []setting) bool { return len(told) == 0 }) {
		ev.note("The supply was set to more than one current, and of what one phone read nothing tells at which. Tell the amps on each phone.")
	}
	for _, told := range out {
		if ev.setFirst == 0 && len(told) > 0 && told[0].share != 1 {
			ev.setFirst = told[0].share
		}
	}
	var kept []ampsReading // what tells of the setting told last
	for i, a := range ev.amps {
		if shares[i] == 1 {
			kept = append(kept, a)
		}
	}
	ev.amps = kept
	return out
}

// firstShare is what the supply was set to as the check began, as a share of what it was set
// to last. A supply is set as planned first, if ever.
func (ev *evidence) firstShare() float64 {
	if ev.setFirst == 0 {
		return 1
	}
	return ev.setFirst
}

// at is the share of the last setting that held at a time in a capture. What was read
// before the first was told was read at that one. Of a capture in which none was told,
// while there were several elsewhere, nobody knows: then it is every one of them.
func (s settings) at(c int, t float64) []float64 {
	if len(s[c]) == 0 {
		return s.all()
	}
	share := s[c][0].share
	for _, o := range s[c] {
		if o.from > t {
			break
		}
		share = o.share
	}
	return []float64{share}
}

// all are the shares of all settings, that of the last one first.
func (s settings) all() []float64 {
	out := []float64{1}
	for _, list := range s {
		for _, o := range list {
			if !slices.Contains(out, o.share) {
				out = append(out, o.share)
			}
		}
	}
	return out
}

// mistoldShare is how often a current is typed or read wrong that makes a setting of its own.
const mistoldShare = 0.03

// settingsOf are the shares that a current told for a reading may stand for, and how likely
// each is: where it makes a setting of its own, it may be told wrong, and nothing have been
// changed. Where it was not told they are all alike.
func settingsOf(told []float64) (shares, chance []float64) {
	if len(told) == 1 && told[0] != 1 {
		return []float64{told[0], 1}, []float64{1 - mistoldShare, mistoldShare}
	}
	chance = make([]float64, len(told))
	for i := range chance {
		chance[i] = 1 / float64(len(told))
	}
	return told, chance
}

// ampsReading is what the supply showed, on average, so many times.
type ampsReading struct {
	amps, times float64
	pulsed      bool
}

// sd is by how much that may be off.
func (a ampsReading) sd() float64 {
	sd := displayShare*a.amps + displayAmps/math.Sqrt(a.times)
	if a.pulsed {
		return math.Hypot(sd, pulsedShare*a.amps)
	}
	return sd
}

// A supply's display: 2 % and a digit. Of a current that is switched several times a
// second it shows some middle, and a sensor that smooths sees the pulses lower, all alike.
const (
	displayShare, displayAmps = 0.02, 0.01
	pulsedShare               = 0.07
)
