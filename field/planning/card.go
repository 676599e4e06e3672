package planning

import (
	"fmt"
	"math"

	"polewise/layout"
)

// Lead of a coil.
const (
	startLead   = "start"  // the end the winding began with
	finishLead  = "finish" // the end it ended with
	UnknownLead = ""       // the plan does not say which way the coil is wound
)

// Card is what to set, count, make bare, measure and mark for one kind of coil.
type Card struct {
	Winding  string   `json:"winding"`
	Coils    []string `json:"coils"`
	North    string   `json:"north"` // up or down
	Sense    string   `json:"sense"` // ccw, cw or empty
	PlusLead string   `json:"plus_lead"`
	Set      []string `json:"set"`
	Count    []string `json:"count"`
	Ends     []string `json:"ends"`
	Measure  []string `json:"measure"`
	Mark     []string `json:"mark"`
}

// plusLead is the lead that gets the plus mark, so that the coil faces as
// planned when current enters there. Current that runs counter-clockwise seen
// from above makes the face that looks up a north pole (right-hand rule): wound
// counter-clockwise from start to finish, it has to enter at the start for north
// up. Both other facts turn that round.
func plusLead(sense layout.Sense, north layout.Face) string {
	switch {
	case sense == layout.SenseUnknown:
		return UnknownLead
	case (sense == layout.CounterClockwise) == (north == layout.Up):
		return startLead
	}
	return finishLead
}

func (j *job) cards() {
	j.f.Cards = []Card{}
	type kind struct {
		winding int
		north   layout.Face
		sense   layout.Sense
	}
	at := map[kind]int{}
	for k := range j.plan.Coils {
		c := &j.plan.Coils[k]
		key := kind{c.Winding, c.North, c.Sense}
		if i, ok := at[key]; ok {
			j.f.Cards[i].Coils = append(j.f.Cards[i].Coils, c.ID)
			continue
		}
		at[key] = len(j.f.Cards)
		j.f.Cards = append(j.f.Cards, j.card(c))
	}
}

func (j *job) card(c *layout.Coil) Card {
	w, f := &j.plan.Windings[c.Winding], &j.f.Windings[c.Winding]
	card := Card{Winding: w.ID, Coils: []string{c.ID}, North: c.North.String(), Sense: string(c.Sense), PlusLead: plusLead(c.Sense, c.North)}
	mm := func(metres float64) string {
		s := fmt.Sprintf("%.4g mm", metres/millimetre)
		if j.plan.Unit == layout.Inch {
			s += fmt.Sprintf(" (%.4g in)", metres/layout.Inch.Metres())
		}
		return s
	}
	former := "round former, " + mm(w.InnerX) + " across"
	switch w.Shape {
	case layout.Oblong:
		former = fmt.Sprintf("oblong former, %s by %s, its ends half circles", mm(w.InnerX), mm(w.InnerY))
	case layout.Rectangle:
		former = fmt.Sprintf("rectangular former, %s by %s, corners rounded to %s", mm(w.InnerX), mm(w.InnerY), mm(w.Corner))
	}
	card.Set = []string{
		former,
		"cheeks " + mm(w.Width) + " apart",
		fmt.Sprintf("wire %s, %.1f m for one coil with tails of %.0f mm", wireName(w), math.Ceil(10*f.CutM-1e-6)/10, j.o.TailMM),
	}
	card.Count = []string{turns(w.Turns)}
	if f.TurnsPerLayer > 0 {
		high := fmt.Sprintf("about %.1f mm high", f.BuildMM)
		if f.TightBuildMM < f.BuildMM {
			high += fmt.Sprintf(" when piled up, %.1f mm with each turn in the groove below", f.TightBuildMM)
		}
		card.Count = append(card.Count, fmt.Sprintf("%s, %s; the plan gives them %s", layersInWords(f), high, mm(w.Build)))
	}
	card.Ends = []string{
		"burn and sand the enamel off both ends; burning it gives off fumes: air the room",
		"solder the leads on, and measure through them",
	}
	low, high := bounds(f.OhmsRoom)
	card.Measure = []string{
		fmt.Sprintf("%s ohm at %.0f C (%s to %s)", Decimals(f.OhmsRoom, 2), j.o.RoomCelsius, Decimals(low, 2), Decimals(high, 2)),
		Decimals(f.CopperGrams, 0) + " g of copper",
		fmt.Sprintf("%s, where you have a meter for it", Henries(f.InductanceUH)),
	}
	way := map[layout.Sense]string{layout.CounterClockwise: "counter-clockwise", layout.Clockwise: "clockwise"}[c.Sense]
	switch card.PlusLead {
	case UnknownLead:
		card.Mark = []string{
			fmt.Sprintf("look at the coil from above, as it will lie: if the turns run counter-clockwise from start to finish, mark the %s lead plus, else the %s lead",
				plusLead(layout.CounterClockwise, c.North), plusLead(layout.Clockwise, c.North)),
			"once marked, do not turn the coil over: the mark holds for the side that looks up now",
		}
	default:
		card.Mark = []string{
			fmt.Sprintf("wound %s from start to finish, seen from above: mark the %s lead plus", way, card.PlusLead),
			fmt.Sprintf("mark the side that looks up; with plus at the mark its north faces %s", card.North),
			"turned over, the coil is wound the other way: the mark then belongs on the other lead",
		}
	}
	return card
}

// layersInWords says how the turns lie, the last layer as full as it gets.
func layersInWords(f *Winding) string {
	full, rest := f.Turns/f.TurnsPerLayer, f.Turns%f.TurnsPerLayer
	if full == 0 {
		full, rest = 1, 0
	}
	words := fmt.Sprintf("%s of %s", layersOf(full), turns(min(f.Turns, f.TurnsPerLayer)))
	if rest > 0 {
		words += fmt.Sprintf(" and one of %d", rest)
	}
	return words
}

func turns(n int) string { return counted(n, "turn") }

func layersOf(n int) string { return counted(n, "layer") }

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// Henries writes an inductance with its unit.
func Henries(microhenry float64) string {
	switch { // 999.5 would be written as 1e+03
	case microhenry >= 999.5e3:
		return fmt.Sprintf("%.3g H", microhenry/1e6)
	case microhenry >= 999.5:
		return fmt.Sprintf("%.3g mH", microhenry/1e3)
	}
	return fmt.Sprintf("%.3g uH", microhenry)
}
