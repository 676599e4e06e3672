package web

import (
	"net/http"
	"strings"

	"github.com/go-chi/chi/v5"

	"polewise/assets"
	"polewise/layout"
	"polewise/server/desk"
)

// demos lists the plans that come with the program, with what a fault can name.
func (s *Site) demos(w http.ResponseWriter, r *http.Request) {
	type demo struct {
		ID      string   `json:"id"`
		Name    string   `json:"name"`
		Coils   []string `json:"coils"`
		Strings []string `json:"strings"`
		Groups  []string `json:"groups"`
	}
	list := []demo{}
	for _, d := range assets.DemoPlans() {
		one := demo{ID: d.ID, Name: d.Name, Coils: []string{}, Strings: []string{}, Groups: []string{}}
		if p, err := layout.Parse(d.ID+".toml", d.TOML); err == nil {
			for _, c := range p.Coils {
				one.Coils = append(one.Coils, c.ID)
			}
			for _, c := range p.Strings {
				one.Strings = append(one.Strings, c.ID)
			}
			for _, c := range p.Groups {
				one.Groups = append(one.Groups, c.ID)
			}
		}
		list = append(list, one)
	}
	writeJSON(w, http.StatusOK, list)
}

// hiddenIn reads what is to be hidden in a made-up pad: nil for anything, "none"
// for nothing, else faults parted by semicolons.
func hiddenIn(text string) ([]layout.Fault, error) {
	switch text {
	case "", "random":
		return nil, nil
	case "none":
		return []layout.Fault{}, nil
	}
	var out []layout.Fault
	for _, one := range strings.Split(text, ";") {
		f, err := layout.ParseFault(one)
		if err != nil {
			return nil, err
		}
		out = append(out, f)
	}
	return out, nil
}

// rehearsalOhms is the made-up ohmmeter: {"ohms":0.97,"celsius":20}, ohms null
// where it is open.
func (s *Site) rehearsalOhms(w http.ResponseWriter, r *http.Request) {
	re, ok := s.rehearsalOf(w, r)
	if !ok {
		return
	}
	ohms, err := re.Ohms(r.URL.Query().Get("across"))
	s.answer(w, map[string]any{"ohms": ohms, "celsius": 20}, err)
}

// rehearsalOf finds the rehearsal that a request names; on failure it has answered.
func (s *Site) rehearsalOf(w http.ResponseWriter, r *http.Request) (*desk.Rehearsal, bool) {
	re := s.Desk.RehearsalByID(chi.URLParam(r, "id"))
	if re == nil {
		problem(w, http.StatusNotFound, "no-rehearsal", "This rehearsal has ended.", "Begin another on the bench page.")
	}
	return re, re != nil
}
