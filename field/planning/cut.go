package planning

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"

	"polewise/layout"
)

// Cut is what to cut and what to buy.
type Cut struct {
	Leads      []Lead  `json:"leads"`
	LeadM      float64 `json:"lead_m"` // all of them
	SlackShare float64 `json:"slack_share"`
	Spools     []Spool `json:"spools"`
}

// Lead is a piece of flexible wire from one place to another, run along the
// rows: along x, then along y.
type Lead struct {
	From     string  `json:"from"`
	To       string  `json:"to"`
	LengthMM float64 `json:"length_mm"` // with slack, rounded up to 5 mm
}

// Spool is the wire of one thickness.
type Spool struct {
	Wire   string  `json:"wire"`
	Metres float64 `json:"metres"`
	Kg     float64 `json:"kg"` // copper and enamel
	Spools int     `json:"spools"`
	// Whole is false where a single coil takes more than a spool holds: it
	// cannot be wound in one piece.
	Whole bool `json:"whole"`
}

// enamelShare is what enamel adds to the mass of copper: 2 to 4 percent for
// these wires (from memory).
const enamelShare = 0.04

// end is one end of something that is to be joined.
type end struct {
	name string
	at   r2.Vec
}

func (j *job) cut() {
	c := Cut{Leads: []Lead{}, SlackShare: j.o.LeadSlack}
	p := j.plan
	lead := func(from, to end) {
		along := math.Abs(from.at.X-to.at.X) + math.Abs(from.at.Y-to.at.Y)
		mm := math.Ceil(along*(1+j.o.LeadSlack)/millimetre/5-1e-9) * 5
		c.Leads = append(c.Leads, Lead{From: from.name, To: to.name, LengthMM: mm})
		c.LeadM += mm * millimetre
	}
	strung := func(i int) (plus, minus end) {
		coils := p.Strings[i].Coils
		place := func(k int, which string) end {
			return end{fmt.Sprintf("%s %s", p.Coils[k].ID, which), p.Coils[k].At}
		}
		for n := 1; n < len(coils); n++ {
			lead(place(coils[n-1], "minus"), place(coils[n], "plus"))
		}
		return place(coils[0], "plus"), place(coils[len(coils)-1], "minus")
	}
	plugPlus, plugMinus := end{name: "plug plus"}, end{name: "plug minus"} // at the pad's lower left corner
	// Members in parallel are joined where their leads meet: at the plug for the
	// pad itself, at the ends of the first member for a group within it.
	var grouped func(g int) (plus, minus end)
	member := func(id string) (plus, minus end) {
		if i := p.StringIndex(id); i >= 0 {
			return strung(i)
		}
		return grouped(p.GroupIndex(id))
	}
	grouped = func(g int) (plus, minus end) {
		for n, id := range p.Groups[g].Of {
			a, b := member(id)
			switch {
			case n == 0:
				plus, minus = a, b
			case p.Groups[g].Join == layout.Series:
				lead(minus, a)
				minus = b
			default:
				lead(a, plus)
				lead(b, minus)
			}
		}
		return plus, minus
	}
	home := func(plus, minus end) {
		lead(plugPlus, plus)
		lead(minus, plugMinus)
	}
	switch root := p.RootGroup(); {
	case root < 0:
		for i := range p.Strings {
			home(strung(i))
		}
	case p.Groups[root].Join == layout.Parallel:
		for _, id := range p.Groups[root].Of {
			home(member(id))
		}
	default:
		home(grouped(root))
	}
	j.spools(&c)
	j.f.Cut = c
}

// spools adds up the wire of each thickness. A coil is wound from one piece, so
// spools are filled coil by coil, the heaviest first; what is left on a spool
// that is less than a coil stays there.
func (j *job) spools(c *Cut) {
	type piece struct {
		wire string
		kg   float64
	}
	var pieces []piece
	for k := range j.plan.Coils {
		w := j.plan.Coils[k].Winding
		f := &j.f.Windings[w]
		p := piece{wireName(&j.plan.Windings[w]), f.CopperGrams / 1e3 * (1 + enamelShare)}
		pieces = append(pieces, p)
		at := slices.IndexFunc(c.Spools, func(s Spool) bool { return s.Wire == p.wire })
		if at < 0 {
			at = len(c.Spools)
			c.Spools = append(c.Spools, Spool{Wire: p.wire, Whole: true})
		}
		c.Spools[at].Metres += f.CutM
		c.Spools[at].Kg += p.kg
	}
	slices.SortStableFunc(pieces, func(a, b piece) int { return cmp.Compare(b.kg, a.kg) })
	full := j.o.SpoolKg * (1 + enamelShare)
	for i := range c.Spools {
		s := &c.Spools[i]
		var left []float64
		for _, p := range pieces {
			if p.wire != s.Wire {
				continue
			}
			if p.kg > full {
				s.Whole = false
				s.Spools += int(math.Ceil(p.kg / full))
				continue
			}
			at := slices.IndexFunc(left, func(kg float64) bool { return kg >= p.kg })
			if at < 0 {
				at = len(left)
				left = append(left, full)
			}
			left[at] -= p.kg
		}
		s.Spools += len(left)
	}
}

func wireName(w *layout.Winding) string {
	if math.IsNaN(w.AWG) {
		return fmt.Sprintf("%s mm", plain(math.Round(w.Wire/millimetre*1e4)/1e4))
	}
	return fmt.Sprintf("AWG %s (%.3f mm)", plain(w.AWG), w.Wire/millimetre)
}
