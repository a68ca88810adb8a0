package web

import (
	"net/http"
	"net/url"
	"strings"

	"fairpull/report"
)

// stepsView is a campaign read as a ladder.
type stepsView struct {
	frame
	ID       string
	Order    string // of the steps as it was asked for; empty: that of the parts
	Lead     report.Lead
	Sections []report.Section
}

func (s *Server) steps(w http.ResponseWriter, r *http.Request) error {
	changed, err := s.desk.LastChange(r.Context())
	if err != nil {
		return err
	}
	id := r.PathValue("id")
	view := stepsView{frame: s.frame(r, "Steps"), ID: id, Order: strings.Join(strings.Fields(r.URL.Query().Get("order")), " ")}
	view.Section, view.Live, view.Changed = "campaign", "campaign "+id, changed
	found, err := s.desk.Steps(r.Context(), id, orderOf(r), s.o.Version)
	if err != nil {
		return err
	}
	at := chartsAt("/campaigns/"+url.PathEscape(id)+"/steps", kept(r.URL.Query(), "order", "units"))
	if view.Lead, view.Sections, err = found.Parts(view.Units, at); err != nil {
		return err
	}
	view.Title = view.Lead.Title
	return s.page(w, r, http.StatusOK, "steps", view)
}

// orderOf returns the candidates that the address names, from first step to last.
func orderOf(r *http.Request) []string {
	return strings.FieldsFunc(r.URL.Query().Get("order"), func(c rune) bool { return c == ',' || c == ' ' || c == ';' })
}

// stepsCharts are those of the page of steps.
func (s *Server) stepsCharts(r *http.Request) (*report.Charts, string, error) {
	id := r.PathValue("id")
	found, err := s.desk.Steps(r.Context(), id, orderOf(r), s.o.Version)
	if err != nil {
		return nil, "", err
	}
	return found.Charts(unitsOf(r)), id + "-steps", nil
}
