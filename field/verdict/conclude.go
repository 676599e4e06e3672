package verdict

import (
	"fmt"
	"math"
	"slices"

	"polewise/field/capture"
	"polewise/layout"
)

// conclude sums the scored hypotheses up to a verdict.
func (e *engine) conclude(list []*scored) *Verdict {
	v := &Verdict{Outcome: Undecided, Causes: []Cause{}, Notes: e.ev.notes}
	if v.Notes == nil {
		v.Notes = []string{}
	}
	weights := normalise(list)
	all := e.sumUp(list, weights)
	var top *node
	if len(list) > 0 {
		top = e.evaluate(&scored{hyp: list[0].hyp})
	}
	odd := e.unexplained(top)
	odd.turned = e.turnedBetween(top, odd.holds)
	odd.idle = e.maybeIdle(top, list)
	odd.beside = e.readBeside(list, top)
	claimed, still := e.claims(list, all, odd)
	v.Coils = e.coils(claimed, all, top)
	if ids := v.starvedIDs(); len(ids) > 0 {
		v.Notes = append(v.Notes, fmt.Sprintf("Hardly any current is left for %s by what is wrong elsewhere. How %s shows once that is mended.", and(ids), faceOf(len(ids))))
	}
	closing := e.closing()
	instead := e.turnedInstead(still)
	if instead != nil {
		v.Notes = append(v.Notes, fmt.Sprintf("%s was mended and is not as planned yet. Another coil may have been turned in its place: read every coil again before you turn anything.", e.m.plan.Coils[still].ID))
	}
	again := e.toReadAgain(list, weights)
	sound := !slices.ContainsFunc(v.Coils, func(c Coil) bool { return c.State != StateAsPlanned })
	fine := sound && all.fine >= MinClaim
	switch {
	case fine && closing == nil && len(again) == 0:
		v.Outcome = AsPlanned
	case all.sum > MinClaim && all.fine <= 1-MinClaim && all.faultKnown() && !odd.many && !onlyWithheld(claimed):
		v.Outcome = Fault
	}
	if v.Outcome != AsPlanned {
		v.Causes = e.causes(list, weights)
	}
	if top != nil {
		v.Notes = append(v.Notes, odd.notes()...)
		v.Notes = append(v.Notes, e.poleInDoubt(top.hyp)...)
	}
	if v.Outcome == AsPlanned {
		v.Notes = append(v.Notes, e.alone()...)
		v.Notes = append(v.Notes, e.joinsUnread()...)
	}
	for i := range again {
		if i > 0 || !fine { // else it is the next
			v.Notes = append(v.Notes, again[i].Why)
		}
	}
	switch {
	case closing != nil && (sound || e.ev.mended.touched[e.m.plan.CoilIndex(closing.At)]):
		v.Next = closing
	case instead != nil:
		v.Next = instead
	case fine && len(again) > 0:
		v.Next = &again[0]
	case odd.turned:
		v.Next = e.nextTurned(odd.holds[0])
	default:
		if v.Next = e.nextBeside(&odd); v.Next == nil {
			v.Next = e.next(v, list, weights)
		}
	}
	v.roundP()
	return v
}

// roundP rounds the chances of each coil's states as they are told.
func (v *Verdict) roundP() {
	for j := range v.Coils {
		for st, q := range v.Coils[j].P {
			v.Coils[j].P[st] = round(q, 6)
		}
	}
}

// coils are what is said of each coil.
func (e *engine) coils(claimed []claim, all totals, top *node) (out []Coil) {
	for j := range e.m.plan.Coils {
		c := Coil{ID: e.m.plan.Coils[j].ID, State: claimed[j].state, P: all.coils[j], ExpectedUT: e.m.tops[j], Used: e.used(j) - e.measured(j), starved: claimed[j].starved}
		if top != nil {
			c.ExpectedUT, c.MeasuredUT = e.compare(top, j)
		}
		out = append(out, c)
	}
	return out
}

// totals are chances: sums of the weights of all hypotheses.
type totals struct {
	coils  []map[State]float64 // per coil, of each of its states
	fed    []map[State]float64 // the same, by the explanations that leave the coil some current
	fine   float64             // that nothing is wrong
	joined float64             // that strings or coils are joined where they should not be
	sum    float64             // 1, or 0 where there is no hypothesis
}

// faultKnown tells whether it is known where a fault is: in the joins, or in some coil that is not
// as planned, whatever it is. That one of many coils is wrong, nobody knows which, is no fault yet.
func (t *totals) faultKnown() bool {
	return t.joined >= MinClaim || slices.ContainsFunc(t.coils, func(p map[State]float64) bool { return p[StateAsPlanned] <= 1-MinClaim })
}

// sumUp sums the weights of hypotheses.
func (e *engine) sumUp(list []*scored, weights []float64) totals {
	sums := make([]struct{ all, fed [coilStates]float64 }, len(e.m.plan.Coils))
	out := totals{}
	for i, s := range list {
		w := weights[i]
		out.sum += w
		for j, st := range s.hyp.states {
			sums[j].all[st.bare()] += w
			if !s.hyp.starves(j) {
				sums[j].fed[st.bare()] += w
			}
		}
		if s.hyp.fine() {
			out.fine += w
		}
		if s.hyp.joinedWrong() {
			out.joined += w
		}
	}
	named := func(p *[coilStates]float64) map[State]float64 {
		m := make(map[State]float64, coilStates)
		for st, v := range p {
			m[stateNames[st]] = v
		}
		return m
	}
	for j := range sums {
		out.coils, out.fed = append(out.coils, named(&sums[j].all)), append(out.fed, named(&sums[j].fed))
	}
	return out
}

// claim is what is said of a coil.
type claim struct {
	state    State
	withheld bool // nothing is said, though it may well not be as planned, since its readings cannot be relied on
	starved  bool // nothing is said, since too little current is left for it
}

// onlyWithheld tells whether no faulty coil is claimed, and some are withheld.
func onlyWithheld(claimed []claim) bool {
	return !slices.ContainsFunc(claimed, func(c claim) bool { return c.state != StateAsPlanned && c.state != StateUndecided }) &&
		slices.ContainsFunc(claimed, func(c claim) bool { return c.withheld })
}

// starvedIDs are the coils for which too little current is left.
func (v *Verdict) starvedIDs() (ids []string) {
	for _, c := range v.Coils {
		if c.starved {
			ids = append(ids, c.ID)
		}
	}
	return ids
}

// faceOf is how so many coils face, in a sentence.
func faceOf(coils int) string {
	if coils == 1 {
		return "it faces"
	}
	return "they face"
}

// claims says of every coil what is sure of it, and which mended coil is still wrong, -1 for none.
func (e *engine) claims(list []*scored, all totals, odd unexplained) (out []claim, still int) {
	p := all.coils
	misread, shaky := odd.coils(len(p)), e.shaky()
	still = e.stillWrong(p)
	doubtful := func(k int) bool { return shaky[k] || misread[k] }
	out = make([]claim, len(p))
	for j := range out {
		likeliest := StateUndecided
		for st, q := range p[j] {
			if q >= MinClaim {
				likeliest = st
			}
		}
		wrong := likeliest != StateAsPlanned
		c := &out[j]
		c.state = StateUndecided
		switch {
		case likeliest == StateUndecided:
			c.withheld = odd.idle[j] || odd.isBeside(j) || doubtful(j)
		case all.fed[j][likeliest] < MinClaim:
			c.starved = true
		case odd.idle[j]:
			c.withheld = true
		case odd.isBeside(j), misread[j], shaky[j] && wrong && !e.borne(list, p, j, doubtful):
			c.withheld = wrong
		case e.used(j) == e.measured(j): // what nobody read may be likely, and is not known
		case e.ev.mended != nil && (e.ev.mended.touched[j] || still >= 0) && !e.readSince(j):
		default:
			c.state = likeliest
		}
	}
	return out, still
}

// alone says what a sound field does not tell: a coil that lost turns, alone in its
// string on a set voltage, draws as much more current as it has turns less.
func (e *engine) alone() []string {
	p := e.m.plan
	var ids []string
	for i := range p.Strings {
		j := p.Strings[i].Coils[0]
		measured := slices.ContainsFunc(e.ev.ohms, func(o ohmReading) bool {
			return o.kind == "coil" && o.index == j || o.kind == "string" && o.index == i
		})
		if len(p.Strings[i].Coils) == 1 && !measured && !e.showsLostTurns(j) {
			ids = append(ids, p.Coils[j].ID)
		}
	}
	switch len(ids) {
	case 0:
		return nil
	case 1:
		return []string{fmt.Sprintf("%s is alone in its string: should some of its turns be shorted, the field stays as planned and the coil gets warmer. Only its ohms tell.", ids[0])}
	}
	return []string{fmt.Sprintf("%s are each alone in a string: should some turns of one be shorted, the field stays as planned and the coil gets warmer. Only its ohms tell.", and(ids))}
}

// joinsUnread says what a needle does not tell: which way round coils face is the same with
// two strings one after the other that should be side by side, and so are the strings' ohms.
func (e *engine) joinsUnread() []string {
	joined := slices.ContainsFunc(e.singles, func(s single) bool { return s.Kind == layout.StringsInSeries })
	across := slices.ContainsFunc(e.ev.ohms, func(o ohmReading) bool { return o.kind == "pad" || o.kind == "group" })
	if !joined || across || len(e.factors) > 0 || len(e.ev.passes) > 0 {
		return nil
	}
	return []string{"A needle does not tell two strings joined one after the other from two side by side. The ohms of the whole pad do: measure across its plug."}
}

// poleInDoubt asks to make sure of what told the faces where by hand alone the whole pad
// seems turned over: a needle that was magnetised anew, or is taken for its other end, reads
// every coil so too.
func (e *engine) poleInDoubt(h *hypothesis) []string {
	turned := slices.ContainsFunc(h.faults, func(f layout.Fault) bool { return f.Kind == layout.PadReversed })
	if !turned || len(e.factors) > 0 || len(e.ev.faces) == 0 {
		return nil
	}
	return []string{"Nothing but faces read by hand says that the whole pad is turned over. Before you swap the plug, make sure of the needle or meter: a north face pushes away the end of a needle that points north. A magnet whose poles are marked tells."}
}

// showsLostTurns tells whether coil j's field would be weak with a third of its turns
// shorted: on a set current it would, and where a lead or a limit holds the current.
func (e *engine) showsLostTurns(j int) bool {
	h := newHypothesis(e.m, []layout.Fault{{Kind: layout.TurnsShorted, ID: e.m.plan.Coils[j].ID, Lost: 1. / 3}}, 0)
	return h == nil || math.Abs(h.ampTurns()[j]) < weakBelow*math.Abs(e.m.planned.ampTurns()[j])
}

// normalise are the weights of hypotheses, in all 1.
func normalise(list []*scored) []float64 {
	w := make([]float64, len(list))
	if len(list) == 0 {
		return w
	}
	var sum float64
	for i, s := range list {
		w[i] = math.Exp(s.log - list[0].log)
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}

// round rounds to so many digits behind the point.
func round(x float64, digits int) float64 {
	f := math.Pow(10, float64(digits))
	return math.Round(x*f) / f
}

// used counts the readings that were about a coil, its own ohms among them.
func (e *engine) used(j int) int {
	n := 0
	for _, f := range e.factors {
		if f.frame().coil == j {
			n++
		}
	}
	for i := range e.ev.passes {
		if slices.Contains(e.ev.passes[i].coils, j) {
			n++
		}
	}
	for _, f := range e.ev.faces {
		if f.coil == j {
			n++
		}
	}
	return n + e.measured(j)
}

// measured counts the readings of a coil's own ohms. They tell nothing of how it faces: a coil that
// was only measured has not been read yet.
func (e *engine) measured(j int) int {
	n := 0
	for _, o := range e.ev.ohms {
		if o.kind == "coil" && o.index == j {
			n++
		}
	}
	return n
}

// compare returns the planned and the measured Bz over coil j, at the place
// where the sensor is believed to have been. Without a hold on the coil it is
// the planned field over its centre, and nothing measured.
func (e *engine) compare(n *node, j int) (expected float64, measured *float64) {
	expected = e.m.tops[j]
	count := 0.0
	var sumE, sumM float64
	for i, f := range e.factors {
		h, ok := f.(*holdFactor)
		if !ok || h.coil != j {
			continue
		}
		c, m := e.likeliest(n, h.source)
		k := h.ph.middle(h.ph.cells[c])
		planned := h.fr.cols.plannedAt(k)
		here := e.fieldOf(n, i)[h.ph.slot[k]]
		sumE += planned[2] * n.sc.s[m]
		pulls := h.pulls(&n.bg[i])
		best := 0
		for q := range pulls {
			z := func(q int) float64 { return math.Abs(pulls[q].d[2] - here[2]*n.sc.s[m]) }
			if pulls[q].logW > pulls[best].logW-3 && z(q) < z(best) {
				best = q
			}
		}
		sumM += pulls[best].d[2]
		count++
	}
	if count > 0 {
		m := round(sumM/count, 1)
		return round(sumE/count, 1), &m
	}
	for _, f := range e.ev.faces {
		if f.coil == j && !math.IsNaN(f.ut) && f.face != capture.None {
			m := math.Abs(f.ut)
			if f.face == capture.South {
				m = -m
			}
			measured = &m
		}
	}
	return round(expected, 1), measured
}
