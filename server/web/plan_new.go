package web

import (
	"fmt"
	"net/http"

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
		problem(w, http.StatusBadRequest, "no-template", "There is no such pad to begin from: "+err.Error()+".", "Choose one from the list.")
		return
	}
	writeJSON(w, http.StatusOK, map[string]string{"plan_toml": text})
}

var templateWords = map[string]string{"row": "Row of %d coils", "grid": "Grid of %d coils", "staggered": "Staggered grid of %d coils", "ring": "Ring of %d coils"}

func newPlan(t layout.Template) (string, error) {
	p, err := t.Plan()
	if err != nil {
		return "", err
	}
	if p.Name == "" {
		p.Name = "New pad"
		if words := templateWords[t.Form]; words != "" {
			p.Name = fmt.Sprintf(words, len(p.Coils))
		}
	}
	if len(p.Coils) > 0 {
		if c, err := planning.Brief(p); err == nil && c.Raw.Volts > 0 {
			p.Supply.Volts, p.Supply.LimitAmps = c.Raw.Volts, c.Raw.LimitAmps
		}
	}
	text, err := p.WriteWithRemarks("A pad to begin from. Every number is there to be changed.")
	return string(text), err
}
