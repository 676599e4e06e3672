package web

import (
	"encoding/json"
	"math"
	"net/http"
	"time"

	"github.com/go-chi/chi/v5"

	"polewise/field/planning"
	"polewise/field/predict"
	"polewise/layout"
	"polewise/server/desk"
)

// planRoutes are what the plan editor asks. The page holds the text; it is read
// and changed here only, so that there is one understanding of it.
func (s *Site) planRoutes(r chi.Router) {
	r.Post("/look", s.planLook)
	r.Post("/new", s.planNew)
	r.Get("/file", s.planFile)
	r.Post("/save", s.planSave)
}

// editRequest is a plan's text and what to change in it first.
type editRequest struct {
	PlanTOML string        `json:"plan_toml"`
	Edits    []layout.Edit `json:"edits"`
}

// planSight is a plan as the editor shows it.
type planSight struct {
	PlanTOML string  `json:"plan_toml"`
	UnitMM   float64 `json:"unit_mm"` // what one of the file's lengths is
	// Values are the file's own, as written; null where it is not TOML.
	Values    any              `json:"values"`
	Plan      *desk.PlanState  `json:"plan"` // null where it is not TOML
	Problems  []layout.Problem `json:"problems"`
	More      int              `json:"more"` // problems beyond these
	Usable    bool             `json:"usable"`
	Predicted json.RawMessage  `json:"predicted"` // as predict.Prediction; null while the plan cannot be used
	Check     json.RawMessage  `json:"check"`     // as planning.Check
	Gauges    map[string]gauge `json:"gauges"`    // of windings
}

// gauge is what follows from a winding alone.
type gauge struct {
	WireMM float64 `json:"wire_mm"`
	Ohms   float64 `json:"ohms"`
}

func (s *Site) planLook(w http.ResponseWriter, r *http.Request) {
	var q editRequest
	if !s.read(w, r, &q) {
		return
	}
	if len(q.Edits) > 0 {
		text, err := layout.EditText([]byte(q.PlanTOML), q.Edits)
		if err != nil {
			problem(w, http.StatusUnprocessableEntity, "no-edit", "That cannot be changed in the plan: "+err.Error()+".", "Change it in the text of the plan.")
			return
		}
		q.PlanTOML = string(text)
	}
	writeJSON(w, http.StatusOK, sightOf(q.PlanTOML))
}

func sightOf(text string) *planSight {
	out := &planSight{PlanTOML: text, UnitMM: 1, Problems: []layout.Problem{}, Gauges: map[string]gauge{}}
	plan, values, problems := layout.Draft([]byte(text))
	if problems != nil {
		out.Problems, out.More = problems.List, problems.More
	}
	if plan == nil {
		return out
	}
	out.Values = plainValues(values)
	out.UnitMM = plan.Unit.Metres() * 1e3
	state := desk.PlanOf(plan, text)
	out.Plan = &state
	for i := range plan.Windings {
		k := &plan.Windings[i]
		if k.Turns > 0 && k.Wire > 0 && k.InnerX > 0 {
			out.Gauges[k.ID] = gauge{WireMM: k.Wire * 1e3, Ohms: k.Ohms20()}
		}
	}
	if problems != nil && !problems.OnlyUnbuildable() {
		return out
	}
	out.Usable = true
	if p, err := predict.Predict(plan, nil); err == nil {
		out.Predicted = figures(p)
	}
	if c, err := planning.Brief(plan); err == nil {
		out.Check = figures(c)
	}
	return out
}

// figures are the JSON of figures, or none where one of them is not finite.
func figures(v any) json.RawMessage {
	raw, err := json.Marshal(v)
	if err != nil {
		return nil
	}
	return raw
}

// plainValues are values as JSON can carry them.
func plainValues(v any) any {
	switch v := v.(type) {
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil
		}
	case time.Time:
		return v.String()
	case map[string]any:
		for k := range v {
			v[k] = plainValues(v[k])
		}
	case []any:
		for i := range v {
			v[i] = plainValues(v[i])
		}
	case []map[string]any:
		for i := range v {
			plainValues(v[i])
		}
	}
	return v
}
