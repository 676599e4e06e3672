package planning

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"polewise/layout"
)

// Measured is one reading of an ohmmeter.
type Measured struct {
	Across  string   `json:"across"` // coil:ID, string:ID, group:ID or pad
	Ohms    *float64 `json:"ohms"`   // nil: open
	Celsius float64  `json:"celsius"`
}

// State is how a reading compares with the plan.
type State string

// States.
const (
	AsPlanned State = "as-planned"
	Low       State = "low"
	High      State = "high"
	Open      State = "open"
)

// Finding is what one reading may mean.
type Finding struct {
	Across   string   `json:"across"`
	Expected float64  `json:"expected"` // at the temperature of the reading
	Low      float64  `json:"low"`
	High     float64  `json:"high"`
	Measured *float64 `json:"measured"`
	State    State    `json:"state"`
	Say      string   `json:"say"`
	May      []string `json:"may"` // what it may come from, the likeliest first; empty when as planned
}

// Comparison is what all readings come to.
type Comparison struct {
	Findings []Finding `json:"findings"`
	// Together lists the single faults that every reading agrees with, when not
	// all are as planned.
	Together []string `json:"together"`
}

// Compare holds readings against the plan, each at its temperature. It fails on
// a reading across something the plan does not have, or that is no resistance.
func Compare(p *layout.Plan, readings []Measured) (*Comparison, error) {
	planned, err := p.Solve()
	if err != nil {
		return nil, err
	}
	c := comparer{plan: p, suspects: suspects(p)}
	out := &Comparison{Findings: []Finding{}, Together: []string{}}
	lines := p.Measurables(planned)
	for i, m := range readings {
		at := -1
		for k := range lines {
			if lines[k].Across == m.Across {
				at = k
			}
		}
		switch {
		case at < 0:
			return nil, fmt.Errorf("reading %d: expected coil:ID, string:ID, group:ID or pad of plan %q, found %q", i+1, p.Name, m.Across)
		case m.Ohms != nil && !(*m.Ohms >= 0 && *m.Ohms <= 1e9):
			return nil, fmt.Errorf("reading %d: expected a resistance, found %g ohm", i+1, *m.Ohms)
		case !(m.Celsius >= -40 && m.Celsius <= 120):
			return nil, fmt.Errorf("reading %d: expected a temperature from -40 to 120 C, found %g", i+1, m.Celsius)
		}
		out.Findings = append(out.Findings, c.finding(m, at, lines[at].Ohms20))
	}
	out.Together = c.together(readings, out.Findings)
	return out, nil
}

// suspect is a single fault and what an ohmmeter would read with it.
type suspect struct {
	fault layout.Fault
	lines []layout.Measurable
}

type comparer struct {
	plan     *layout.Plan
	suspects []suspect
}

// mostSolved bounds how many faults are solved: a pad of a thousand coils would
// else take hours. Wrong joins are then left out first, since they are the most.
const mostSolved = 5000

// suspects lists the single faults an ohmmeter can see. Shorted turns are left
// out: their share is worked out from the reading.
func suspects(p *layout.Plan) []suspect {
	var out []suspect
	solved := 0
	add := func(f layout.Fault) {
		if solved >= mostSolved {
			return
		}
		solved++
		if c, err := p.Solve(f); err == nil {
			out = append(out, suspect{f, p.Measurables(c)})
		}
	}
	for k := range p.Coils {
		add(layout.Fault{Kind: layout.CoilShorted, ID: p.Coils[k].ID})
		add(layout.Fault{Kind: layout.CoilOpen, ID: p.Coils[k].ID})
	}
	for i := range p.Strings {
		add(layout.Fault{Kind: layout.StringOpen, ID: p.Strings[i].ID})
	}
	chain := func(ids []string) {
		for a, id := range ids {
			for _, other := range ids[:a] {
				add(layout.Fault{Kind: layout.StringsInSeries, IDs: []string{other, id}})
			}
		}
	}
	if len(p.Groups) == 0 {
		chain(p.StringIDs())
	}
	for g := range p.Groups {
		if p.Groups[g].Join == layout.Parallel {
			chain(p.Groups[g].Of)
		}
	}
	for k := range p.Coils {
		for i := range p.Strings {
			add(layout.Fault{Kind: layout.CoilInWrongString, ID: p.Coils[k].ID, String: p.Strings[i].ID})
		}
	}
	return out
}

// agrees tells whether a reading could be of a resistance at 20 C.
func agrees(m Measured, ohms20 float64) bool {
	if m.Ohms == nil || math.IsInf(ohms20, 1) {
		return m.Ohms == nil && math.IsInf(ohms20, 1)
	}
	ohms := layout.OhmsAt(ohms20, m.Celsius)
	return math.Abs(*m.Ohms-ohms) <= tolerance(ohms)
}

func (c *comparer) finding(m Measured, at int, ohms20 float64) Finding {
	expected := layout.OhmsAt(ohms20, m.Celsius)
	f := Finding{Across: m.Across, Expected: expected, Measured: m.Ohms, May: []string{}}
	f.Low, f.High = bounds(expected)
	kind, id, _ := strings.Cut(m.Across, ":")
	name := strings.TrimSpace(kind + " " + id)
	switch {
	case m.Ohms == nil:
		f.State = Open
		f.Say = fmt.Sprintf("The %s is open where %.2f ohm are expected.", name, expected)
	case agrees(m, ohms20):
		f.State = AsPlanned
		f.Say = fmt.Sprintf("The %s is as planned: %.2f ohm, %.2f to %.2f expected.", name, *m.Ohms, f.Low, f.High)
		return f
	case *m.Ohms < expected:
		f.State = Low
		f.Say = fmt.Sprintf("The %s is low: %.2f ohm, %.2f to %.2f expected at %.0f C.", name, *m.Ohms, f.Low, f.High, m.Celsius)
	default:
		f.State = High
		f.Say = fmt.Sprintf("The %s is high: %.2f ohm, %.2f to %.2f expected at %.0f C.", name, *m.Ohms, f.Low, f.High, m.Celsius)
	}
	if kind == "coil" {
		f.May = c.coilMay(m, f.State, id, ohms20)
		return f
	}
	f.May = c.may(m, at, f.State)
	return f
}

// coilMay says what a single coil's reading may come from.
func (c *comparer) coilMay(m Measured, state State, id string, ohms20 float64) []string {
	w := c.plan.WindingOf(c.plan.CoilIndex(id))
	if state == Open {
		return []string{"an open joint: a lead's enamel not burnt and sanded off, a cold solder joint, or a broken wire"}
	}
	got := layout.OhmsAt20(*m.Ohms, m.Celsius)
	tol := layout.OhmsAt20(tolerance(layout.OhmsAt(ohms20, m.Celsius)), m.Celsius)
	share := func(ohms float64) float64 { return math.Min(math.Max(math.Abs(ohms-ohms20)/ohms20, 0), 1) }
	least, most := math.Max(0, share(got)-tol/ohms20), math.Min(1, share(got)+tol/ohms20)
	lost := fmt.Sprintf("%.0f of %d turns (%.0f to %.0f percent)", share(got)*float64(w.Turns), w.Turns, 100*least, 100*most)
	if state == Low {
		if agrees(m, 0) {
			return []string{"a short: its two leads touch", "nearly all turns shorted"}
		}
		return []string{"shorted turns: about " + lost + " out of action", "as many turns too few, or thicker wire than planned"}
	}
	return []string{
		fmt.Sprintf("a poor joint that adds about %.2f ohm: enamel left on a lead, or cold solder", got-ohms20),
		"too many turns, by about " + lost + ", or thinner wire than planned",
	}
}

// may says what a reading across several coils may come from: every single fault
// that would read so, the same kind told together; or shorted turns.
func (c *comparer) may(m Measured, at int, state State) []string {
	order := []layout.FaultKind{layout.StringOpen, layout.CoilOpen, layout.CoilShorted, layout.CoilInWrongString, layout.StringsInSeries}
	found := map[layout.FaultKind][]layout.Fault{}
	for _, s := range c.suspects {
		if agrees(m, s.lines[at].Ohms20) {
			found[s.fault.Kind] = append(found[s.fault.Kind], s.fault)
		}
	}
	out := []string{}
	if state == Low && agrees(m, 0) {
		out = append(out, "a short: its two ends touch somewhere")
	}
	for _, kind := range order {
		if faults := found[kind]; len(faults) > 0 {
			out = append(out, c.tell(kind, faults))
		}
	}
	switch {
	case state == Open && len(out) == 0:
		out = append(out, "an open joint in the leads to the plug, or more than one open joint")
	case state == Low:
		out = append(out, c.shortedTurns(m, at)...)
	case state == High:
		out = append(out, "a poor joint, or leads longer or thinner than planned")
	}
	if len(out) == 0 {
		out = append(out, "more than one fault: measure its parts one by one")
	}
	return out
}

// tell puts faults of one kind into words.
func (c *comparer) tell(kind layout.FaultKind, faults []layout.Fault) string {
	ids := make([]string, 0, len(faults))
	for _, f := range faults {
		if kind == layout.StringsInSeries {
			ids = append(ids, strings.Join(f.IDs, " with "))
		} else {
			ids = append(ids, f.ID)
		}
	}
	switch kind {
	case layout.StringOpen:
		return "an open joint in string " + either(ids)
	case layout.CoilOpen:
		return "an open coil, or a joint at it: " + either(ids)
	case layout.CoilShorted:
		return "one coil too few: shorted, or left out: " + either(ids)
	case layout.StringsInSeries:
		return "a wrong join: in series instead of in parallel: " + either(ids)
	}
	// Coils joined into the wrong string: by the string, not by the coil.
	var moves []string
	for _, f := range faults {
		from := c.plan.Strings[c.plan.StringOf(c.plan.CoilIndex(f.ID))].ID
		move := fmt.Sprintf("from string %s into string %s", from, f.String)
		if !slices.Contains(moves, move) {
			moves = append(moves, move)
		}
	}
	return "a wrong join: a coil moved " + either(moves)
}

// shortedTurns works out what share of turns, in one coil of each string, would
// read so.
func (c *comparer) shortedTurns(m Measured, at int) []string {
	var out []string
	for i := range c.plan.Strings {
		id := c.plan.Coils[c.plan.Strings[i].Coils[0]].ID
		reads := func(lost float64) float64 {
			cur, err := c.plan.Solve(layout.Fault{Kind: layout.TurnsShorted, ID: id, Lost: lost})
			if err != nil {
				return math.Inf(1)
			}
			return c.plan.Measurables(cur)[at].Ohms20
		}
		got := layout.OhmsAt20(*m.Ohms, m.Celsius)
		const least, most = 0.005, 0.995
		if reads(most) > got || reads(least) < got || reads(most) == reads(least) {
			continue
		}
		lo, hi := least, most // falls as more turns are lost
		for range 40 {
			if mid := (lo + hi) / 2; reads(mid) > got {
				lo = mid
			} else {
				hi = mid
			}
		}
		out = append(out, fmt.Sprintf("shorted turns in string %s: about %.0f percent of one coil", c.plan.Strings[i].ID, 100*lo))
	}
	return out
}

// together lists the single faults that every reading agrees with.
func (c *comparer) together(readings []Measured, findings []Finding) []string {
	wrong := false
	for _, f := range findings {
		wrong = wrong || f.State != AsPlanned
	}
	out := []string{}
	if !wrong {
		return out
	}
	for _, s := range c.suspects {
		all := true
		for _, m := range readings {
			for _, l := range s.lines {
				if l.Across == m.Across && !agrees(m, l.Ohms20) {
					all = false
				}
			}
		}
		if all {
			out = append(out, s.fault.Text())
		}
	}
	return out
}

// either joins alternatives, no more than a person reads.
func either(ids []string) string {
	const most = 8
	more := ""
	if len(ids) > most {
		more = fmt.Sprintf(" or %d more", len(ids)-most)
		ids = ids[:most]
	}
	if more == "" && len(ids) > 1 {
		return strings.Join(ids[:len(ids)-1], ", ") + " or " + ids[len(ids)-1]
	}
	return strings.Join(ids, ", ") + more
}
