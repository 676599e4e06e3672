package verdict

import (
	"math"
	"slices"

	"polewise/field/capture"
)

// A supply may be set otherwise in the course of a check: lower, where a sensor came to the end of
// its range, or higher, where a needle hardly turned. What its display showed each time tells by
// how much. All currents go with it, and so does what the pad adds to the earth's field. Every
// reading is taken for what it would have been with the supply as it was set last.

// settings are what the supply was set to: for each capture, in the order told.
type settings [][]setting

// setting is one that holds from a time on.
type setting struct {
	from  float64 // seconds into the capture
	share float64 // of what the supply was set to last
}

// ampsReading is what the supply's display showed: the mean of so many times.
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

// When two currents that a supply showed are of one setting (estimates, no source).
const (
	ampsAlike  = 3.0  // standard deviations that they may lie apart, to be one figure read again
	resetAlike = 6.0  // and that they must, for it to be said that the supply was set otherwise,
	resetShare = 0.15 // and so much, of the larger: less may be a pad that grew warm
)

// setOtherwise tells whether the supply was set to something else between two figures.
func (a ampsReading) setOtherwise(now ampsReading) bool {
	away := math.Abs(a.amps - now.amps)
	return now.amps > 0 && a.amps > 0 && a.pulsed == now.pulsed &&
		away > resetAlike*math.Max(a.sd(), now.sd()) && away > resetShare*math.Max(a.amps, now.amps)
}

// shown is a figure of the supply's display as it was told: which of evidence.amps it counts to.
type shown struct {
	from    float64 // seconds into its capture
	reading int
}

// readDisplays gathers what the supply's display showed, and lists for each capture when. A display
// that shows too much does so every time, so the same figure again within a capture tells little
// more than once. last is the figure told last; -1 without any.
func (ev *evidence) readDisplays(cuts []*capture.Stretches) (told [][]shown, last int) {
	told = make([][]shown, len(cuts))
	last = -1
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
			told[c] = append(told[c], shown{d.T, last})
		}
	}
	return told, last
}

// readSupply takes what was read off the supply: what it showed as it was set last stays as
// evidence, and what it showed before makes settings. Where something was told since these
// captures, that is what it is set to now.
func (ev *evidence) readSupply(cuts []*capture.Stretches, since *ampsReading) settings {
	told, last := ev.readDisplays(cuts)
	out := make(settings, len(cuts))
	if last < 0 {
		return out
	}
	now := ev.amps[last]
	if since != nil {
		now = *since
	}
	shares := make([]float64, len(ev.amps))
	var kept []ampsReading
	for i, a := range ev.amps {
		if shares[i] = 1; a.setOtherwise(now) {
			shares[i] = a.amps / now.amps
			ev.note("The supply showed %.3g A and later %.3g A. It is taken to have been set otherwise; if it was not, one of these is wrong: tell the amps again.", a.amps, now.amps)
		} else {
			kept = append(kept, a)
		}
	}
	ev.amps = kept
	for c, list := range told {
		for _, s := range list {
			out[c] = append(out[c], setting{s.from, shares[s.reading]})
		}
		if ev.setFirst == 0 && len(out[c]) > 0 && out[c][0].share != 1 {
			ev.setFirst = out[c][0].share
		}
	}
	if all := out.all(); len(all) > 1 && slices.ContainsFunc(out, func(told []setting) bool { return len(told) == 0 }) {
		ev.note("The supply was set to more than one current, and of what one phone read nothing tells at which. Tell the amps on each phone.")
	}
	return out
}

// firstShare is what the supply was set to as the check began, as a share of what it was set to
// last. If ever it was set as planned, that was at first.
func (ev *evidence) firstShare() float64 {
	if ev.setFirst == 0 {
		return 1
	}
	return ev.setFirst
}

// at are the shares that may have held at a time in a capture: mostly one. What was read before the
// first setting was told was read at that one. Of a capture in which none was told it may be any.
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

// all are the shares of all settings, once each, that of the last one first.
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

// settingsOf are the shares of the last setting that a reading may have been read at, given what
// was told (settings.at), and how likely each is. One told share other than 1 may be told wrong,
// with nothing changed at the supply. Several told shares are as likely as one another.
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
