package web

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"

	"github.com/go-chi/chi/v5"

	"polewise/field/planning"
	"polewise/layout"
	"polewise/server/desk"
)

// planningRoutes are what a plan comes to, and what measured ohms say of it.
func (s *Site) planningRoutes(r chi.Router) {
	r.Get("/", s.planningOfBench)
	r.Post("/", s.planningOf)
	r.Post("/compare", s.compareOhms)
}

// planningOptions are the options as pages give them; what is left out stays at
// its default.
type planningOptions struct {
	RoomCelsius  *float64 `json:"room_celsius"`
	SpoolKg      *float64 `json:"spool_kg"`
	SlackPercent *float64 `json:"slack_percent"`
	TailMM       *float64 `json:"tail_mm"`
}

func (q planningOptions) options() (planning.Options, error) {
	o := planning.Defaults()
	set := func(to *float64, from *float64, unit float64) {
		if from != nil {
			*to = *from * unit
		}
	}
	set(&o.RoomCelsius, q.RoomCelsius, 1)
	set(&o.SpoolKg, q.SpoolKg, 1)
	set(&o.LeadSlack, q.SlackPercent, 0.01)
	set(&o.TailMM, q.TailMM, 1)
	if err := o.Check(); err != nil {
		return o, &desk.ClientError{Code: "bad-option", Say: "The " + err.Error() + ".", Hint: "Give a number within these bounds."}
	}
	return o, nil
}

// planningAnswer is figures, and why the plan cannot be built as it stands.
type planningAnswer struct {
	Name     string            `json:"name"`
	Planning *planning.Figures `json:"planning"`
	Problems []layout.Problem  `json:"problems"`
}

// planningOfBench takes options as the query: room_celsius and so on.
func (s *Site) planningOfBench(w http.ResponseWriter, r *http.Request) {
	var q planningOptions
	for name, to := range map[string]**float64{"room_celsius": &q.RoomCelsius, "spool_kg": &q.SpoolKg, "slack_percent": &q.SlackPercent, "tail_mm": &q.TailMM} {
		text := r.URL.Query().Get(name)
		if text == "" {
			continue
		}
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			problem(w, http.StatusBadRequest, "bad-option", fmt.Sprintf("Expected a number for %s, found %q.", name, text), "Type a number, as in 20 or 2.5.")
			return
		}
		*to = &x
	}
	s.answerPlanning(w, r, planRequest{}, q)
}

func (s *Site) planningOf(w http.ResponseWriter, r *http.Request) {
	var q struct {
		planRequest
		Options planningOptions `json:"options"`
	}
	if s.read(w, r, &q) {
		s.answerPlanning(w, r, q.planRequest, q.Options)
	}
}

func (s *Site) answerPlanning(w http.ResponseWriter, r *http.Request, q planRequest, options planningOptions) {
	o, err := options.options()
	if err != nil {
		s.fail(w, err)
		return
	}
	plan, problems, err := s.computable(q)
	if err != nil {
		s.fail(w, err)
		return
	}
	if !s.wait(w, r, s.planningTurn) {
		return
	}
	defer s.planningTurn.done()
	f, err := planning.Plan(plan, o)
	if err != nil {
		s.fail(w, &desk.ClientError{Code: "no-figures", Say: "No figures can be given for this plan: " + err.Error() + ".", Hint: "Put that number right in the plan."})
		return
	}
	writeJSON(w, http.StatusOK, planningAnswer{Name: plan.Name, Planning: f, Problems: problems})
}

// computable reads a plan that can be computed with, even where it cannot be
// built; problems then says why, and is empty otherwise.
func (s *Site) computable(q planRequest) (*layout.Plan, []layout.Problem, error) {
	text, err := s.planOf(q)
	if err != nil {
		return nil, nil, err
	}
	plan, err := layout.Parse(text.Name, text.TOML)
	var p *layout.Problems
	switch {
	case err == nil:
		return plan, []layout.Problem{}, nil
	case plan != nil && errors.As(err, &p):
		return plan, p.List, nil
	}
	return nil, nil, err
}

// compareOhms tells what measured ohms may mean. Readings without a temperature
// were taken at 20 C, as the check has it too.
func (s *Site) compareOhms(w http.ResponseWriter, r *http.Request) {
	var q struct {
		planRequest
		Readings []struct {
			Across  string   `json:"across"`
			Ohms    *float64 `json:"ohms"` // null: open
			Celsius *float64 `json:"celsius"`
		} `json:"readings"`
	}
	if !s.read(w, r, &q) {
		return
	}
	plan, _, err := s.computable(q.planRequest)
	if err != nil {
		s.fail(w, err)
		return
	}
	if len(q.Readings) > 4*layout.MaxParts {
		problem(w, http.StatusBadRequest, "too-many", fmt.Sprintf("Expected at most %d readings, found %d.", 4*layout.MaxParts, len(q.Readings)), "Send fewer at once.")
		return
	}
	readings := make([]planning.Measured, len(q.Readings))
	for i, m := range q.Readings {
		readings[i] = planning.Measured{Across: m.Across, Ohms: m.Ohms, Celsius: 20}
		if m.Celsius != nil {
			readings[i].Celsius = *m.Celsius
		}
	}
	if !s.wait(w, r, s.planningTurn) {
		return
	}
	defer s.planningTurn.done()
	c, err := planning.Compare(plan, readings)
	if err != nil {
		s.fail(w, &desk.ClientError{Code: "bad-reading", Say: "This cannot be compared: " + err.Error() + ".", Hint: "Put that reading right."})
		return
	}
	writeJSON(w, http.StatusOK, c)
}
