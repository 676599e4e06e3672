package record

import (
	"fmt"
	"math"
	"strings"

	"polewise/field/planning"
	"polewise/field/verdict"
	"polewise/layout"
)

// Change is something that is not as it was when the pad was signed.
type Change struct {
	Of  string `json:"of"` // a coil's id, or across what an ohmmeter was put
	Say string `json:"say"`
}

// farSD is how many times its error a figure must have moved to be told.
const farSD = 3.0

// Changes tells what later readings of a pad say otherwise than the signed ones.
// Only what was found both times is compared.
func Changes(signed, later *Record) []Change {
	return append(coilChanges(signed, later), ohmChanges(signed, later)...)
}

// errorsUT are the errors of the coils' fields by their ids.
func (r *Record) errorsUT() map[string]float64 {
	errs := map[string]float64{}
	for _, c := range r.Coils {
		errs[c.ID] = c.ErrorUT
	}
	return errs
}

func coilChanges(signed, later *Record) []Change {
	out := []Change{}
	errs, lateErrs := signed.errorsUT(), later.errorsUT()
	now := map[string]verdict.Coil{}
	for _, c := range later.Verdict.Coils {
		now[c.ID] = c
	}
	for _, was := range signed.Verdict.Coils {
		is, ok := now[was.ID]
		if !ok || was.Used == 0 || is.Used == 0 {
			continue
		}
		switch {
		case is.State == was.State:
		case is.State == verdict.StateUndecided:
			out = append(out, Change{was.ID, fmt.Sprintf("%s was claimed %s; now it is undecided.", was.ID, words(was.State))})
		case was.State == verdict.StateUndecided:
			out = append(out, Change{was.ID, fmt.Sprintf("%s was undecided; now it is claimed %s.", was.ID, words(is.State))})
		default:
			out = append(out, Change{was.ID, fmt.Sprintf("%s was claimed %s; now it is claimed %s.", was.ID, words(was.State), words(is.State))})
		}
		if was.MeasuredUT == nil || is.MeasuredUT == nil || was.ExpectedUT == 0 || is.ExpectedUT == 0 {
			continue
		}
		// Both are read where the sensor then lay; the share of what was expected
		// there is what can be compared.
		before, after := *was.MeasuredUT/was.ExpectedUT, *is.MeasuredUT/is.ExpectedUT
		// With another claim its size is another too: that is told already.
		if was.State != is.State && was.State != verdict.StateUndecided && is.State != verdict.StateUndecided {
			continue
		}
		if was.State == is.State && !(sizeOf(was.State, before) && sizeOf(is.State, after)) {
			continue
		}
		sd := math.Hypot(errs[was.ID]/was.ExpectedUT, lateErrs[was.ID]/is.ExpectedUT)
		if math.Abs(after-before) > farSD*sd {
			out = append(out, Change{was.ID, fmt.Sprintf("%s measured %s %% of what was expected, now %s %%; the error of that difference is %.0f %%.", was.ID, whole(100*before), whole(100*after), 100*sd)})
		}
	}
	return out
}

func ohmChanges(signed, later *Record) (out []Change) {
	for _, was := range signed.Ohms {
		for _, is := range later.Ohms {
			if !was.Counts || !is.Counts || was.Across != is.Across {
				continue
			}
			switch {
			case was.Ohms == nil && is.Ohms == nil:
			case is.Ohms == nil:
				out = append(out, Change{was.Across, fmt.Sprintf("%s measured %.2f ohm; now it is open.", across(was.Across), *was.Ohms)})
			case was.Ohms == nil:
				out = append(out, Change{was.Across, fmt.Sprintf("%s was open; now it measures %.2f ohm.", across(was.Across), *is.Ohms)})
			default:
				before, e0 := at20(was)
				after, e1 := at20(is)
				if math.Abs(after-before) > math.Hypot(e0, e1) {
					out = append(out, Change{was.Across, fmt.Sprintf("%s measured %.2f ohm, now %.2f ohm (both at 20 °C); the meter alone may differ by %.2f ohm.", across(was.Across), before, after, math.Hypot(e0, e1))})
				}
			}
		}
	}
	return out
}

// whole is a number without its fraction, with a true minus.
func whole(v float64) string { return strings.Replace(fmt.Sprintf("%.0f", v), "-", "\u2212", 1) }

// sizeOf tells whether a measured share of what was expected says how strong a
// coil is. One that is at odds with the coil's own claim, as after a phone has
// re-zeroed itself, was not what the claim rests on.
func sizeOf(s verdict.State, share float64) bool {
	switch s {
	case verdict.StateAsPlanned:
		return math.Abs(share-1) < 0.5
	case verdict.StateReversed:
		return math.Abs(share+1) < 0.5
	}
	return true
}

// at20 is a reading at 20 C and its error. Where no temperature was read, that
// of a room is taken.
func at20(o Ohm) (ohms, err float64) {
	err = planning.MeterOhms(*o.Ohms)
	if o.Celsius == nil {
		return *o.Ohms, math.Hypot(err, *o.Ohms*layout.CopperPerKelvin*planning.UnknownWithin)
	}
	return layout.OhmsAt20(*o.Ohms, *o.Celsius), err
}

// claimWords says what is claimed of a coil; of one that was not read, that.
func claimWords(c verdict.Coil) string {
	if c.Used == 0 {
		return "not read"
	}
	return words(c.State)
}

// words says a claim.
func words(s verdict.State) string {
	if s == verdict.StateAsPlanned {
		return "as planned"
	}
	return string(s)
}

// across says what an ohmmeter was put across: "coil A1" for coil:A1.
func across(ends string) string {
	for i := range ends {
		if ends[i] == ':' {
			return ends[:i] + " " + ends[i+1:]
		}
	}
	return "the " + ends
}

// Common counts the coils that something was read of both times, and those of which a
// size was: a needle tells none.
func Common(signed, later *Record) (n, sizes int) {
	before := map[string]verdict.Coil{}
	for _, c := range signed.Verdict.Coils {
		before[c.ID] = c
	}
	for _, c := range later.Verdict.Coils {
		if c.Used > 0 && before[c.ID].Used > 0 {
			n++
			if c.MeasuredUT != nil && before[c.ID].MeasuredUT != nil {
				sizes++
			}
		}
	}
	return n, sizes
}
