package desk

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"polewise/field/capture"
	"polewise/field/verdict"
)

// reading names a hold or pass among all that a check has.
type reading struct {
	source string
	placed
}

// accounted is a verdict's account, to be found by readings.
type accounted struct {
	why    *verdict.Why
	holds  map[reading]*verdict.HoldAccount
	passes map[reading]*PassTrace
}

// accountOf sorts an account by readings; sources names the source of each
// capture that was judged.
func accountOf(a *verdict.Account, sources []string) *accounted {
	out := &accounted{why: &a.Why, holds: map[reading]*verdict.HoldAccount{}, passes: map[reading]*PassTrace{}}
	for i := range a.Holds {
		h := &a.Holds[i]
		out.holds[reading{sources[h.Capture], placed{h.At, h.T}}] = h
	}
	for i := range a.Passes {
		p := &a.Passes[i]
		source := sources[p.Capture]
		out.passes[reading{source, placed{p.Coils[0], p.T}}] = &PassTrace{Source: source, Traced: traced(p), PassAccount: p}
	}
	return out
}

// PassTrace is a judged pass laid along its row, for drawing.
type PassTrace struct {
	Source string `json:"source"`
	Traced string `json:"traced"`
	*verdict.PassAccount
}

// traced names a trace: another one has another name.
func traced(p *verdict.PassAccount) string {
	sum := sha256.New()
	fmt.Fprint(sum, p.Read, p.Best, p.Rival)
	return hex.EncodeToString(sum.Sum(nil)[:6])
}

// PassState is a pass in short: Desk.Trace has where along the row its samples
// were taken, once it is judged.
type PassState struct {
	Source  string    `json:"source"`
	Along   []string  `json:"along"`
	T       float64   `json:"t"`
	To      float64   `json:"to"`
	Count   int       `json:"count"`
	Open    bool      `json:"open"`
	Thrown  bool      `json:"thrown_out"`
	Account *PassTold `json:"account"`
	// Trace is there only where nobody can fetch it later.
	Trace *PassTrace `json:"trace,omitempty"`
}

// PassTold is what a verdict says of a pass, but for its trace. Traced changes
// when that does.
type PassTold struct {
	Times  float64 `json:"times,omitempty"`
	Stray  bool    `json:"stray"`
	Traced string  `json:"traced"`
}

// readings lists all holds and passes, also those thrown out.
func (c *check) readings() ([]HoldState, []PassState) {
	holds, passes := []HoldState{}, []PassState{}
	thrown := map[reading]bool{}
	for _, t := range c.thrown {
		thrown[reading{t.Source, placed{t.Coil, t.T}}] = true
	}
	for _, id := range c.order {
		for _, cap := range c.sources[id].captures(nil) {
			cut := cap.Cut()
			for i := range cut.Holds {
				h := holdState(id, cut, &cut.Holds[i])
				key := reading{id, placed{h.At, h.T}}
				if h.Thrown = thrown[key]; !h.Thrown && c.account != nil {
					h.Account = c.account.holds[key]
				}
				holds = append(holds, h)
			}
			for i := range cut.Passes {
				p := passState(id, &cut.Passes[i])
				key := reading{id, placed{p.Along[0], p.T}}
				if p.Thrown = thrown[key]; !p.Thrown && c.account != nil {
					if k := c.account.passes[key]; k != nil {
						p.Account = &PassTold{Times: k.Times, Stray: k.Stray, Traced: k.Traced}
					}
				}
				passes = append(passes, p)
			}
		}
	}
	return holds, passes
}

func passState(source string, s *capture.Stretch) PassState {
	return PassState{Source: source, Along: s.Pass.Along, T: s.From, To: s.To, Count: len(s.B) + len(s.Bearings), Open: s.Open}
}
