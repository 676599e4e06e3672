package web

import (
	"cmp"
	"math"
	"net/http"
	"strings"

	"polewise/field/planning"
	"polewise/layout"
)

// planNew answers with the text of a plan to begin from: a demo, or a template
// with the supply set as the check wants it.
func (s *Site) planNew(w http.ResponseWriter, r *http.Request) {
	var q struct {
		layout.Template
		Demo *string `json:"demo"`
	}
	if !s.read(w, r, &q) {
		return
	}
	if q.Demo != nil {
		text, err := s.planOf(planRequest{Demo: q.Demo})
		if err != nil {
			s.fail(w, err)
			return
		}
		writeJSON(w, http.StatusOK, map[string]string{"plan_toml": string(text.TOML)})
		return
	}
	text, err := newPlan(q.Template)
	if err != nil {
		problem(w, http.StatusBadRequest, "no-template", sentence(err.Error()), "Change that number and press Begin again.")
		return
	}
	writeJSON(w, http.StatusOK, map[string]string{"plan_toml": text})
}

// templateWords name a pad that nobody named. They count nothing: coils come and go, and the
// name stays.
var templateWords = map[string]string{"row": "Coils in a row", "grid": "Coils in a grid", "staggered": "Coils in a staggered grid", "ring": "Coils in a ring"}

// sentence is words with a capital and a full stop.
func sentence(words string) string {
	return strings.ToUpper(words[:1]) + words[1:] + "."
}

func newPlan(t layout.Template) (string, error) {
	p, err := t.Plan()
	if err != nil {
		return "", err
	}
	// As high as that wire builds, so that ohms and field are those of the coil that comes of it.
	if piled := planning.Piled(&p.Windings[0]); piled > 0 {
		t.Build = math.Ceil(piled*1e4-1e-6) / 10
		if p, err = t.Plan(); err != nil {
			return "", err
		}
	}
	if p.Name == "" {
		p.Name = cmp.Or(templateWords[t.Form], "New pad")
	}
	if len(p.Coils) > 0 {
		if c, err := planning.Brief(p); err == nil && c.Raw.Volts > 0 {
			p.Supply.Volts, p.Supply.LimitAmps = c.Raw.Volts, c.Raw.LimitAmps
		}
	}
	text, err := p.WriteWithRemarks("A pad to begin from. Every number is there to be changed.")
	return string(text), err
}
