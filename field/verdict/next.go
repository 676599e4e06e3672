package verdict

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/field/capture"
)

// The next reading is the one expected to leave least doubt. For two explanations
// of weights p and q the chance to mistake one for the other after a reading is
// at most sqrt(pq) times the Bhattacharyya coefficient of what either expects to
// be read (Bhattacharyya, Bull. Calcutta Math. Soc. 35, 1943; the bound is
// Kailath's, IEEE Trans. Commun. Tech. 15, 1967; both from memory). The sum over
// all pairs that differ is what a reading leaves open.
const (
	nextRivals = 14   // explanations looked at
	nextCoils  = 6    // coils looked at, the most doubtful first,
	nextByHand = 40   // and where nothing but faces and ohms is read, which is soon worked out
	nextPlaced = 4    // explanations that get a place of the sensor of their own
	turnedGain = 0.85 // a turned or shifted hold must leave no more than this share of what a plain one does
	ohmsGain   = 0.6  // and the ohmmeter, which takes longer, no more than this
	uselessAt  = 0.97 // a reading that leaves more than this share of all that is open is not worth asking for,
	uselessOf  = 0.8  // if it leaves more than this share of what is open about its coil, too
	oftenRead  = 4    // a coil read as often as this and still open is better measured
	causeSure  = 0.9  // a cause as likely as this is known well enough to go and look
)

// choice is a reading that may be asked for. What is open is sums over pairs of explanations.
type choice struct {
	next Next
	open float64 // that it leaves open of everything
	left float64 // that it leaves open between explanations that differ in its coil,
	part float64 // and that is open between these now
	// The states of its coil that it tells apart best; empty where it tells none apart.
	one, other State
}

// next is the reading to ask for; nil where nothing is in doubt.
func (e *engine) next(v *Verdict, list []*scored, weights []float64) *Next {
	coils := doubtful(v)
	if len(coils) == 0 {
		return e.whichCause(v, list, weights)
	}
	first := coils[0]
	if n := e.unread(v, first); n != nil {
		return n
	}
	if n := e.nothingFlows(first, list, weights); n != nil {
		return n
	}
	if n := e.onTheLine(first, v.Coils[first].Used, list, weights); n != nil {
		return n
	}
	rivals := e.rivals(list, weights)
	compass := e.needleOf(rivals)
	most := nextCoils
	if e.byHand() {
		most = nextByHand
	}
	var best *choice
	for _, j := range coils[:min(len(coils), most)] {
		for _, c := range e.choices(rivals, compass, j, v.Coils[j].Used) {
			if best == nil || c.open < best.open {
				best = &c
			}
		}
	}
	all := leftOpen(rivals)
	if open := v.coilsOpen(); !open || v.Coils[first].Used > 1 {
		best = e.orOhms(best, rivals, first, open, all)
	}
	if best.open <= uselessAt*all || best.left <= uselessOf*best.part {
		return &best.next
	}
	id := v.Coils[first].ID
	if e.byHand() {
		return &Next{At: id, Why: fmt.Sprintf("No single reading tells what is left open about %s. Read its face once more.", id)}
	}
	return &Next{At: id, Why: fmt.Sprintf("No single reading tells what is left open about %s. Read it once more, with more current if the supply and the phone allow.", id)}
}

// unread asks for coil j, the most doubtful, where it was not read yet, or not so that it counts;
// nil where it was.
func (e *engine) unread(v *Verdict, j int) *Next {
	switch c := &v.Coils[j]; {
	case c.Used == 0 && len(e.ev.ohms) > 0 && !slices.ContainsFunc(v.Coils, func(c Coil) bool { return c.Used > 0 }):
		return &Next{At: c.ID, Why: fmt.Sprintf("Ohms do not tell which way a coil faces. Read %s with a phone, or with a needle.", c.ID)}
	case c.Used == 0 && e.ev.lost[j]:
		return &Next{At: c.ID, Why: fmt.Sprintf("Nothing that was read over %s counts; the notes say why. Read it once more.", c.ID)}
	case c.Used == 0 && e.ev.mended != nil:
		return e.closing()
	case c.Used == 0:
		return &Next{At: c.ID, Why: fmt.Sprintf("%s has not been read yet.", c.ID)}
	case c.withheld():
		return &Next{At: c.ID, Why: fmt.Sprintf("What was read over %s cannot be relied on. Read it once more.", c.ID)}
	}
	return nil
}

// orOhms is the ohms of the pad or of a string, where they tell enough more than the best reading
// of a coil; else that one. Of everything, all is open now. j is the most doubtful coil; open
// tells whether any is undecided.
func (e *engine) orOhms(field *choice, rivals []rival, j int, open bool, all float64) *choice {
	best := field
	for _, c := range e.wiringChoices(rivals, j, open) {
		gain, worth := all-c.open, (all-field.open)/ohmsGain
		if field.next.Route != "" {
			worth = all - field.open // an ohmmeter all the same
		}
		if (gain > worth || c.open < ohmsGain*field.open) && (best == field || c.open < best.open) {
			best = &c
		}
	}
	return best
}

// nothingFlows asks for the pad's ohms where no coil seems to carry current: reading the field
// tells nothing more then, and the supply may simply be off.
func (e *engine) nothingFlows(j int, list []*scored, weights []float64) *Next {
	still, left := 0.0, 1.0
	for i, s := range list {
		if s.hyp.currents().PadAmps <= 0 {
			still += weights[i]
		}
		if left -= weights[i]; still+left < 0.5 {
			return nil
		}
	}
	if still < 0.5 || slices.ContainsFunc(e.ev.ohms, func(o ohmReading) bool { return o.kind == "pad" }) {
		return nil
	}
	return &Next{At: e.m.plan.Coils[j].ID, Route: "ohms", Across: "pad",
		Why: "Nothing flows in the pad. Is the supply on, and the pad plugged in? If so, switch the supply off and measure the pad at its own plug."}
}

// Bounds on a coil that lost about so many turns as make it weak, as shares of its turns.
const (
	lineNear  = 0.08  // by which what its readings say may lie off that
	lineSD    = 0.08  // how well they say it
	nearlyAll = 0.995 // of the chance of all explanations is looked at
)

// onTheLine says of a coil that was read often that more readings do not help: they agree that it
// lost turns, about as many as make it weak.
func (e *engine) onTheLine(j, used int, list []*scored, weights []float64) *Next {
	if used < oftenRead {
		return nil
	}
	var sum, mean, square float64
	for i, s := range list {
		if sum > nearlyAll {
			break
		}
		if st := s.hyp.states[j].bare(); st != coilAsPlanned && st != coilWeak {
			return nil
		}
		share := s.hyp.currents().CoilTurns[j] / float64(e.m.plan.WindingOf(j).Turns)
		sum, mean, square = sum+weights[i], mean+weights[i]*share, square+weights[i]*share*share
	}
	if sum <= 0 {
		return nil
	}
	mean /= sum
	if sd := math.Sqrt(max(0, square/sum-mean*mean)); sd > lineSD || math.Abs(mean-weakBelow) > lineNear {
		return nil
	}
	id := e.m.plan.Coils[j].ID
	if e.measured(j) == 0 {
		return &Next{At: id, Route: "ohms", Why: fmt.Sprintf("%s acts with about %.0f %% of its turns, on the line between as planned and weak. More holds hardly settle it: measure it by itself.", id, 100*mean)}
	}
	return &Next{At: id, Why: fmt.Sprintf("%s acts with about %.0f %% of its turns, on the line between as planned and weak. More readings hardly settle it. If that is too little for the pad, replace it.", id, 100*mean)}
}

// whichCause asks for the ohms that tell causes apart where every coil is decided and
// what made them so is not: with strings in series, say, one open joint anywhere stops
// them all.
func (e *engine) whichCause(v *Verdict, list []*scored, weights []float64) *Next {
	if v.Outcome != Fault || len(v.Causes) == 0 || v.Causes[0].P >= causeSure {
		return nil
	}
	rivals := e.rivals(list, weights)
	all := leftOpen(rivals)
	var best *choice
	for _, c := range e.wiringChoices(rivals, 0, false) {
		if best == nil || c.open < best.open {
			best = &c
		}
	}
	if best == nil || best.open > uselessAt*all {
		return nil
	}
	return &best.next
}

// wiringChoices are the ohms of the pad and of each string. They are for where every coil is
// claimed and their joins are in doubt, or, if open, for coil j that more holds would not settle.
func (e *engine) wiringChoices(rivals []rival, j int, open bool) (out []choice) {
	add := func(of ohmReading, across, where string, at int) {
		if slices.ContainsFunc(e.ev.ohms, func(o ohmReading) bool { return o.kind == of.kind && o.index == of.index }) {
			return // once more would tell little new
		}
		c := e.weigh(rivals, j, func(r *rival) []foreseen { return ohmsForeseen(of.of(r.s.hyp.currents())) })
		why := fmt.Sprintf("Every coil by itself is decided, the pad as a whole is not. Supply off: measure %s.", where)
		if open {
			why = c.why(e.m.plan.Coils[j].ID, "Ohms tell more than another hold over %s. Supply off: measure "+where+".")
		}
		c.next = Next{At: e.m.plan.Coils[at].ID, Route: "ohms", Across: across, Why: why}
		out = append(out, c)
	}
	add(ohmReading{kind: "pad"}, "pad", "the pad at its own plug", j)
	for i, s := range e.m.plan.Strings {
		add(ohmReading{kind: "string", index: i}, "string:"+s.ID, fmt.Sprintf("string %s unplugged from the rest", s.ID), s.Coils[0])
	}
	return out
}

// withheld tells of a coil that is not claimed though its readings seem clear, since they cannot be
// relied on.
func (c *Coil) withheld() bool {
	for _, p := range c.P {
		if c.State == StateUndecided && !c.starved && p >= MinClaim {
			return true
		}
	}
	return false
}

// coilsOpen tells whether any coil is undecided.
func (v *Verdict) coilsOpen() bool {
	return slices.ContainsFunc(v.Coils, func(c Coil) bool { return c.State == StateUndecided && !c.starved })
}

// doubtful are the coils that are not claimed: those never read first, then those whose readings
// cannot be relied on, then the others, the most doubtful first. Where all are claimed and the pad
// as a whole is not, it is all of them.
func doubtful(v *Verdict) []int {
	doubt := make([]float64, len(v.Coils))
	var out []int
	open := v.coilsOpen()
	for j := range v.Coils {
		c := &v.Coils[j]
		// With every coil claimed, the pad as a whole may still be in doubt.
		if c.starved || c.State != StateUndecided && (open || v.Outcome != Undecided) {
			continue
		}
		doubt[j] = 1
		for _, p := range c.P {
			doubt[j] = min(doubt[j], 1-p)
		}
		switch {
		case c.Used == 0:
			doubt[j] += 2
		case c.withheld():
			doubt[j]++
		}
		out = append(out, j)
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(doubt[b], doubt[a]) })
	return out
}

// inUse is the phone that read last, and which way its top edge pointed then; -1 without any.
func (e *engine) inUse() (src int, topDeg float64) {
	src = -1
	last := math.Inf(-1)
	for i := range e.ev.holds {
		if h := &e.ev.holds[i]; h.to > last {
			src, topDeg, last = h.source, h.topDeg, h.to
		}
	}
	for i := range e.ev.passes {
		if p := &e.ev.passes[i]; p.to > last {
			src, topDeg, last = p.source, p.topDeg, p.to
		}
	}
	return src, topDeg
}

// byHand tells whether nothing was read but faces and ohms.
func (e *engine) byHand() bool {
	src, _ := e.inUse()
	return src < 0 && e.needleInUse() == nil
}

// holdChoices are holds over coil j with the phone in use: as it lay last; and turned by half, or
// moved so that its sensor comes over the middle, where that tells enough more.
func (e *engine) holdChoices(rivals []rival, j int, top float64) []choice {
	id := e.m.plan.Coils[j].ID
	var asIs *float64 // with the top edge away it needs no word
	if math.Abs(wrapDeg(top)) >= 1 {
		asIs = &top
	}
	hold := e.weigh(rivals, j, func(r *rival) []foreseen { return e.over(r, j, top, r2.Vec{}) })
	hold.next = Next{At: id, TopDeg: asIs, Why: hold.why(id, "One more reading of %s tells.")}
	out := []choice{hold}
	half := wrapDeg(top + 180)
	turned := e.weigh(rivals, j, func(r *rival) []foreseen { return e.over(r, j, half, r2.Vec{}) })
	turned.next = Next{At: id, TopDeg: &half, Why: turned.why(id, "Read %s once more with the phone turned by half: its sensor then lies elsewhere.")}
	if turned.left < turnedGain*hold.left {
		out = append(out, turned)
	}
	if shift, words, ok := e.toMiddle(rivals, j, top); ok {
		moved := e.weigh(rivals, j, func(r *rival) []foreseen { return e.over(r, j, top, shift) })
		moved.next = Next{At: id, TopDeg: asIs, ShiftMM: wholeMM(shift), Why: moved.why(id, "Lay the phone with its mark "+words+" the middle of %s: its sensor is over the middle then.")}
		if moved.left < turnedGain*hold.left {
			out = append(out, moved)
		}
	}
	return out
}

// wholeMM is a shift in whole millimetres.
func wholeMM(shift r2.Vec) []float64 {
	return []float64{math.Round(shift.X*1e3) + 0, math.Round(shift.Y*1e3) + 0} // no -0
}

// choices are the readings worth a thought over coil j, which was read so many times.
func (e *engine) choices(rivals []rival, compass *needle, j, used int) (out []choice) {
	id := e.m.plan.Coils[j].ID
	if src, top := e.inUse(); compass != nil {
		out = e.besides(rivals, j, compass)
	} else if src >= 0 {
		out = e.holdChoices(rivals, j, top)
	}
	byHand := e.byHand()
	times := e.measured(j)
	if byHand && (times > 0 || !e.faceKnown(j)) {
		face := e.weigh(rivals, j, func(r *rival) []foreseen { return e.faceForeseen(r.s.hyp, j) })
		face.next = Next{At: id, Why: face.why(id, "Read the face of %s once more.")}
		out = append(out, face)
	}
	if times > 1 || times > 0 && !byHand {
		return out // the meter would show what it showed
	}
	ohms := e.weigh(rivals, j, func(r *rival) []foreseen { return ohmsForeseen(r.s.hyp.currents().CoilOhms[j]) })
	ohms.next = Next{At: id, Route: "ohms", Why: ohms.why(id, "Ohms tell that better than the field: measure %s by itself.")}
	least := func(a, b choice) int { return cmp.Compare(a.left, b.left) }
	switch {
	case byHand: // a face is read no more quickly
		out = append(out, ohms)
	case used >= oftenRead && ohms.left < ohmsGain*ohms.part:
		out = []choice{ohms}
	case ohms.left < ohmsGain*slices.MinFunc(out, least).left:
		out = append(out, ohms)
	}
	return out
}

// faceKnown tells whether the same face was read twice over coil j: that is what a needle shows
// there.
func (e *engine) faceKnown(j int) bool {
	times := map[capture.Face]int{}
	for _, f := range e.ev.faces {
		if f.coil == j {
			times[f.face]++
		}
	}
	return len(times) > 0 && slices.Max(slices.Collect(maps.Values(times))) > 1
}

// why says why a reading is asked for: ask is the sentence that asks, with %s for the coil.
func (c *choice) why(id, ask string) string {
	ask = fmt.Sprintf(ask, id)
	if c.one == "" {
		return "It tells apart what else may be wrong. " + ask
	}
	return fmt.Sprintf("%s may be %s or %s. %s", id, c.one.words(), c.other.words(), ask)
}

// words is how a state is said in a sentence.
func (s State) words() string {
	if s == StateAsPlanned {
		return "as planned"
	}
	return string(s)
}

// How well a sensor's place must be known for a phone to be moved by it, metres (estimates, no
// source).
const (
	farthestSensor = 0.085 // from the mark: about half the length of a long phone
	widestPlace    = 0.03
)

// spread is half the greatest distance of any place from the first.
func spread(places []r2.Vec) (most float64) {
	for _, p := range places {
		most = math.Max(most, r2.Norm(r2.Sub(p, places[0]))/2)
	}
	return most
}

// toMiddle is where to lay the mark so that the sensor comes over the middle of a coil, in
// numbers and in words; not ok where the sensor is over the middle as it is, or nobody knows
// where it is.
func (e *engine) toMiddle(rivals []rival, j int, topDeg float64) (shift r2.Vec, words string, ok bool) {
	places := rivals[0].places
	var o r2.Vec
	for _, p := range places {
		o = r2.Add(o, r2.Scale(1/float64(len(places)), p))
	}
	w := e.m.plan.WindingOf(j)
	if r2.Norm(o) < 0.5*math.Min(w.InnerX, w.InnerY)/2 || r2.Norm(o) > farthestSensor || spread(places) > widestPlace {
		return shift, "", false
	}
	const whole = 1e-3 // millimetres
	o = toPad(o, topDeg)
	shift = r2.Vec{X: -math.Round(o.X/whole) * whole, Y: -math.Round(o.Y/whole) * whole}
	words = shiftWords(shift)
	return shift, words, words != ""
}

// shiftWords says where a shifted mark lies, to be followed by the middle of a coil; nothing
// where it is not shifted.
func shiftWords(shift r2.Vec) string {
	var parts []string
	say := func(d float64, plus, minus string) {
		if mm := math.Abs(d) * 1e3; mm >= 1 {
			parts = append(parts, fmt.Sprintf("%.0f mm %s", mm, map[bool]string{true: plus, false: minus}[d > 0]))
		}
	}
	say(shift.X, "to the right of", "to the left of")
	say(shift.Y, "beyond", "on your side of")
	return strings.Join(parts, " and ")
}
