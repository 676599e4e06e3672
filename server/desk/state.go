package desk

import (
	"cmp"
	"fmt"
	"math"
	"strings"

	"polewise/field/capture"
	"polewise/field/predict"
	"polewise/field/verdict"
	"polewise/layout"
	"polewise/server/record"
)

// State is everything a bench page draws. Lengths are in millimetres.
type State struct {
	Check     CheckState          `json:"check"`
	Plan      PlanState           `json:"plan"`
	Predicted *predict.Prediction `json:"predicted"`
	Verdict   *verdict.Verdict    `json:"verdict"`
	Phones    []PhoneState        `json:"phones"`
	Holds     []HoldState         `json:"holds"`
	Passes    []PassState         `json:"passes"`
	Faces     []FaceState         `json:"faces"`
	Why       *verdict.Why        `json:"why"`
	Judging   *Judging            `json:"judging"`
	Prompt    *Prompt             `json:"prompt"`
	SignOff   *SignOffState       `json:"sign_off"`
	Mended    *MendedState        `json:"mended"` // nil: no mend came before
	Left      *Linked             `json:"left"`   // the check before, left open: it can be gone on with
	// Storing says why nothing read is stored now; empty while all is.
	Storing string `json:"storing"`
	Pairing
}

// Pairing is how a phone joins: the phone page's address and its QR code.
type Pairing struct {
	PhoneURL string `json:"phone_url"`
	QR       string `json:"qr_svg"`
	// OwnCertificate: the phone page has a certificate of the maker's own, and
	// there is no authority to install.
	OwnCertificate bool `json:"own_certificate"`
}

// CheckState names the check in progress.
type CheckState struct {
	ID        string `json:"id"`
	PlanName  string `json:"plan_name"`
	Began     string `json:"began"`
	Rehearsal string `json:"rehearsal"`
}

// PlanState is the plan as drawn.
type PlanState struct {
	Name     string         `json:"name"`
	Outline  [2]float64     `json:"outline_mm"`
	AboveMM  float64        `json:"above_mm"`
	Windings []WindingState `json:"windings"`
	Coils    []CoilState    `json:"coils"`
	Strings  []StringState  `json:"strings"`
	Groups   []GroupState   `json:"groups"`
	Supply   SupplyState    `json:"supply"`
	TOML     string         `json:"toml"`
}

// WindingState is a kind of coil as drawn.
type WindingState struct {
	ID       string     `json:"id"`
	Shape    string     `json:"shape"`
	InnerMM  [2]float64 `json:"inner_mm"`
	CornerMM float64    `json:"corner_mm"`
	BuildMM  float64    `json:"build_mm"`
	WidthMM  float64    `json:"width_mm"`
	Turns    int        `json:"turns"`
}

// CoilState is a coil as drawn.
type CoilState struct {
	ID        string  `json:"id"`
	X         float64 `json:"x_mm"`
	Y         float64 `json:"y_mm"`
	TurnedDeg float64 `json:"turned_deg"`
	North     string  `json:"north"`
	Sense     string  `json:"sense"`
	Winding   string  `json:"winding"`
	String    string  `json:"string"`
}

// StringState is a string as drawn.
type StringState struct {
	ID    string   `json:"id"`
	Coils []string `json:"coils"`
}

// GroupState is a group as drawn.
type GroupState struct {
	ID   string   `json:"id"`
	Join string   `json:"join"`
	Of   []string `json:"of"`
}

// SupplyState is the supply as planned.
type SupplyState struct {
	Volts     float64 `json:"volts"`
	Amps      float64 `json:"amps"`
	LimitAmps float64 `json:"limit_amps"`
	Drive     string  `json:"drive"`
	Hz        float64 `json:"hz"`
	Duty      float64 `json:"duty"`
}

// PhoneState is what a phone does now.
type PhoneState struct {
	Source    string      `json:"source"`
	Device    string      `json:"device"`
	Route     string      `json:"route"`
	Connected bool        `json:"connected"`
	At        string      `json:"at"`
	Count     int         `json:"count"`
	LastUT    *[3]float64 `json:"last_uT"`
	// Feed says that it is no phone: another sensor, with a card of its own.
	Feed bool `json:"feed"`
}

// HoldState is a hold in short: Samples has what the phone gave in it.
type HoldState struct {
	Source   string  `json:"source"`
	At       string  `json:"at"`
	T        float64 `json:"t"`
	Count    int     `json:"count"`
	Bearings int     `json:"bearings"`
	Open     bool    `json:"open"`
	Thrown   bool    `json:"thrown_out"`
	To       float64 `json:"to"`
	TopDeg   float64 `json:"top_deg"`
	// Heading is what a compass read; nil for other holds.
	Heading *HeadingState `json:"heading,omitempty"`
	// Account is what was expected there; nil before the verdict and for what it
	// does not use.
	Account *verdict.HoldAccount `json:"account"`
}

// HeadingState is where a compass came to rest in a hold, clockwise from north, with the
// supply off and on; nil where it was not so, or nobody told.
type HeadingState struct {
	OffDeg  *float64    `json:"off_deg"`
	OnDeg   *float64    `json:"on_deg"`
	ShiftMM *[2]float64 `json:"shift_mm,omitempty"` // where it lay beside the coil
}

func headingState(cut *capture.Stretches, h *capture.Stretch) *HeadingState {
	off, on := record.Settled(cut, h)
	return &HeadingState{OffDeg: off, OnDeg: on, ShiftMM: h.Hold.ShiftMM}
}

// State gathers what the bench page draws.
func (d *Desk) State() *State {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.stateLocked()
}

func (d *Desk) stateLocked() *State {
	s := d.check.state()
	s.Pairing = d.pairing
	s.Storing = d.storing
	return s
}

func (c *check) state() *State {
	s := &State{
		Check:   CheckState{ID: c.ID, PlanName: c.PlanName, Began: c.Began.UTC().Format("2006-01-02T15:04:05Z"), Rehearsal: c.Rehearsal},
		Plan:    PlanOf(c.plan, string(c.PlanTOML)),
		Verdict: c.verdict,
		Phones:  c.phones(),
		Judging: c.judging,
		SignOff: c.signOff(),
		Mended:  c.mended(),
	}
	if p, err := predict.Predict(c.plan, nil); err == nil {
		s.Predicted = p
	}
	if c.messages == 0 {
		s.Left = c.left
	}
	s.Holds, s.Passes = c.readings()
	s.Faces = c.faces()
	if c.account != nil {
		s.Why = c.account.why
	}
	if c.verdict != nil {
		p := c.nextStep(c.verdict)
		s.Prompt = &p
	}
	return s
}

// FaceState is a face read by hand, which has no samples to show.
type FaceState struct {
	Source string       `json:"source"`
	At     string       `json:"at"`
	T      float64      `json:"t"`
	Face   capture.Face `json:"face"`
	UT     *float64     `json:"uT,omitempty"` // hand meter
}

func (c *check) faces() []FaceState {
	out := []FaceState{}
	captures, sources := c.sent()
	for i, cap := range captures {
		for _, l := range cap.Lines {
			if r, ok := l.(capture.Reading); ok {
				out = append(out, FaceState{Source: sources[i], At: r.Coil, T: r.T, Face: r.Face, UT: r.UT})
			}
		}
	}
	return out
}

func holdState(source string, cut *capture.Stretches, h *capture.Stretch) HoldState {
	s := HoldState{Source: source, At: h.Hold.Coil, T: h.From, Count: len(h.B), Bearings: len(h.Bearings), Open: h.Open, To: h.To, TopDeg: h.TopDeg}
	if len(h.Bearings) > 0 && len(h.B) == 0 {
		s.Heading = headingState(cut, h)
	}
	return s
}

func (c *check) phones() []PhoneState {
	out := []PhoneState{}
	for _, id := range c.order {
		if id == BenchSource {
			continue
		}
		s := c.sources[id]
		p := PhoneState{Source: id, Device: s.device, Route: string(s.route), Connected: s.online > 0, At: s.at, Count: s.count, Feed: s.fed}
		if s.latest != nil {
			u := s.latest.UT
			p.LastUT = &u
		}
		out = append(out, p)
	}
	return out
}

// PlanOf turns a plan into what pages draw. Of a plan still being made, a coil
// may lack its winding or its string.
func PlanOf(p *layout.Plan, toml string) PlanState {
	const mm = 1e3
	s := PlanState{Name: p.Name, Outline: [2]float64{p.Outline.X * mm, p.Outline.Y * mm}, AboveMM: p.Above * mm, TOML: toml,
		Windings: []WindingState{}, Coils: []CoilState{}, Strings: []StringState{}, Groups: []GroupState{}}
	for i := range p.Windings {
		w := &p.Windings[i]
		s.Windings = append(s.Windings, WindingState{ID: w.ID, Shape: string(w.Shape), InnerMM: [2]float64{w.InnerX * mm, w.InnerY * mm},
			CornerMM: w.Corner * mm, BuildMM: w.Build * mm, WidthMM: w.Width * mm, Turns: w.Turns})
	}
	for j := range p.Coils {
		c := &p.Coils[j]
		winding, in := "", ""
		if c.Winding >= 0 {
			winding = p.Windings[c.Winding].ID
		}
		if i := p.StringOf(j); i >= 0 {
			in = p.Strings[i].ID
		}
		s.Coils = append(s.Coils, CoilState{ID: c.ID, X: c.At.X * mm, Y: c.At.Y * mm, TurnedDeg: c.Turned * 180 / math.Pi, North: c.North.String(),
			Sense: string(c.Sense), Winding: winding, String: in})
	}
	for i := range p.Strings {
		st := StringState{ID: p.Strings[i].ID, Coils: []string{}}
		for _, j := range p.Strings[i].Coils {
			st.Coils = append(st.Coils, p.Coils[j].ID)
		}
		s.Strings = append(s.Strings, st)
	}
	for _, g := range p.Groups {
		s.Groups = append(s.Groups, GroupState{ID: g.ID, Join: string(g.Join), Of: g.Of})
	}
	s.Supply = SupplyState{Volts: p.Supply.Volts, Amps: p.Supply.Amps, LimitAmps: p.Supply.LimitAmps, Drive: "steady", Hz: p.Supply.Hz, Duty: p.Supply.Duty}
	if p.Supply.Pulsed {
		s.Supply.Drive = "pulsed"
	}
	return s
}

// Prompt is what the person should do next.
type Prompt struct {
	Do  string `json:"do"` // hold | mend | done | ohms
	At  string `json:"at,omitempty"`
	Say string `json:"say"`
	Why string `json:"why,omitempty"`
	// Shown: where to lay the phone is for the phone itself to show. A compass knows where
	// north lies, and with it on which side of a coil it turns most.
	Shown bool `json:"shown,omitempty"`
}

// asDrawn says in short that the phone is not to lie as usual.
func asDrawn(n *verdict.Next) string {
	turned := n.TopDeg != nil && *n.TopDeg != 0
	switch {
	case turned && n.ShiftMM != nil:
		return ", turned and moved as drawn"
	case turned:
		return ", turned as drawn"
	case n.ShiftMM != nil:
		return ", moved as drawn"
	}
	return ""
}

// named is what is measured across, in words.
func named(kind, id string) string {
	if id == "" {
		return "the " + kind
	}
	return kind + " " + id
}

// reading says how a coil is read in this check: by what came in so far.
func (c *check) reading(coil string) string {
	by, phone := c.routes()
	switch {
	case by[capture.Vector] && !phone:
		return "Lay the sensor on " + coil
	case c.byCompass():
		return "Lay the phone beside " + coil // over its middle the field does not turn a compass
	case !by[capture.Vector] && by[capture.Hand]:
		return "Hold the needle or meter over " + coil
	}
	return "Lay the phone on " + coil
}

// routes tells by what was read so far, and whether a phone is among it.
func (c *check) routes() (by map[capture.Route]bool, phone bool) {
	by = map[capture.Route]bool{}
	for _, id := range c.order {
		if s := c.sources[id]; id != BenchSource && s.started {
			by[s.route] = true
			phone = phone || !s.fed
		}
	}
	by[capture.Hand] = by[capture.Hand] || len(c.faces()) > 0 // tapped in on the bench page
	return by, phone
}

// drawnAlong tells whether every phone that is there is drawn along rows.
func (c *check) drawnAlong() bool {
	there, drawn := 0, 0
	for _, s := range c.sources {
		if s.online > 0 && s.started && !s.fed {
			there++
			if s.drawn {
				drawn++
			}
		}
	}
	return there > 0 && drawn == there
}

// byCompass tells whether phones read by compass alone.
func (c *check) byCompass() bool {
	by, _ := c.routes()
	return by[capture.Heading] && !by[capture.Vector]
}

// otherSide is the coil that a compass was read on one side of, and that is not decided by
// it: a phone asks for its other side before anything else. None is "".
func (c *check) otherSide(v *verdict.Verdict) string {
	sides := map[string]int{}
	captures, _ := c.sent()
	for _, cap := range captures {
		for _, h := range cap.Cut().Holds {
			if !h.Open && len(h.Bearings) > 0 {
				sides[h.Hold.Coil]++
			}
		}
	}
	for i := range v.Coils {
		if k := &v.Coils[i]; k.State == verdict.StateUndecided && sides[k.ID] == 1 {
			return k.ID
		}
	}
	return ""
}

// compassAgain asks for what a phone that reads its compass asks for: the other side of a
// coil, then what the verdict asks for, where the phone shows; nil where it asks for nothing
// of its own.
func (c *check) compassAgain(v *verdict.Verdict) *Prompt {
	if v.Next == nil && v.Outcome == verdict.Fault {
		return nil // it is to be mended
	}
	at := c.otherSide(v)
	why := fmt.Sprintf("%s was read on one side only, and is not decided. The phone shows the other side.", at)
	if at == "" {
		if v.Next == nil || v.Next.Route != "" {
			return nil
		}
		at = v.Next.At
		why = fmt.Sprintf("%s is not decided yet. The phone shows where to lie.", at)
		if v.Next.ShiftMM == nil && v.Next.TopDeg == nil {
			why = v.Next.Why
		}
	}
	return &Prompt{Do: "hold", At: at, Say: c.reading(at) + " again, as it shows.", Why: why, Shown: true}
}

// unread is the coil to be read next of those that nobody has read, in the plan's order; ""
// where there is none. Of two phones that went the same way one comes from the plan's end:
// what it read last lies behind all of them.
func (c *check) unread(v *verdict.Verdict) string {
	first, last, behind := "", "", false
	over := c.readLast()
	for i := range v.Coils {
		k := &v.Coils[i]
		behind = behind || k.ID == over
		if k.Used == 0 && k.State == verdict.StateUndecided {
			first, last, behind = cmp.Or(first, k.ID), k.ID, false
		}
	}
	if behind {
		return last
	}
	return first
}

// readLast is the coil that a phone read last, of those that are there if any is; "" as long
// as only one has read.
func (c *check) readLast() string {
	phones, latest := 0, &source{}
	for _, id := range c.order {
		s := c.sources[id]
		if s.fed || s.over == "" {
			continue
		}
		phones++
		there, was := s.online > 0, latest.online > 0
		if there && !was || there == was && s.overAt > latest.overAt {
			latest = s
		}
	}
	if phones < 2 {
		return ""
	}
	return latest.over
}

// prompt picks the next step: coils not read yet in the plan's order, then what
// the verdict asks for, then mending or the end.
func (c *check) prompt(v *verdict.Verdict) Prompt {
	if id := c.unread(v); id != "" {
		why := fmt.Sprintf("%s has not been read yet.", id)
		if c.before != nil && v.Next != nil && v.Next.At == id {
			why = v.Next.Why // it was read before the mend
		}
		say := c.reading(id) + "."
		if c.drawnAlong() {
			say = "Read on as the phone shows." // it knows the rows
		}
		return Prompt{Do: "hold", At: id, Say: say, Why: why}
	}
	if c.byCompass() {
		if p := c.compassAgain(v); p != nil {
			return *p
		}
	}
	if v.Next != nil {
		p := Prompt{Do: "hold", At: v.Next.At, Say: fmt.Sprintf("%s again%s.", c.reading(v.Next.At), asDrawn(v.Next)), Why: v.Next.Why}
		if v.Next.Route == "ohms" {
			p.Do, p.Say = "ohms", fmt.Sprintf("Measure the ohms of %s.", v.Next.At)
			if kind, id, _ := strings.Cut(v.Next.Across, ":"); kind != "" {
				p.At, p.Say = "", fmt.Sprintf("Measure the ohms of %s.", named(kind, id))
			}
		}
		return p
	}
	if v.Outcome == verdict.Fault && len(v.Causes) > 0 {
		return Prompt{Do: "mend", Say: v.Causes[0].Say}
	}
	if v.Outcome == verdict.AsPlanned {
		return Prompt{Do: "done", Say: "Every coil faces as planned."}
	}
	return Prompt{Do: "done", Say: "Nothing more to read for now."}
}
