package web

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"fairpull/internal/lab"
	"fairpull/report"
)

// historyView is the page of a rig's scatter.
type historyView struct {
	frame
	Dyno, Vehicle, Class string
	Dynos, Classes       []string
	Lead                 report.Lead
	Sections             []report.Section
	In                   []string // campaigns that can be left out
	Out                  []report.ScatterLeftOut
	Waiting              []string // campaigns that have to be judged first
}

// mostWaiting bounds the campaigns that the page names as not judged.
const mostWaiting = 20

// history shows what the workspace knows of a rig's scatter.
func (s *Server) history(w http.ResponseWriter, r *http.Request) error {
	changed, err := s.desk.LastChange(r.Context())
	if err != nil {
		return err
	}
	view := historyView{frame: s.frame(r, "History"), Vehicle: vehicleOf(r), Class: classOf(r)}
	view.Section, view.Live, view.Changed = "history", "*", changed
	if view.Dyno, view.Dynos, err = s.chosenDyno(r); err != nil {
		return err
	}
	if view.Dyno == "" {
		return s.page(w, r, http.StatusOK, "history", view)
	}
	if view.Classes, err = s.desk.VehicleClasses(r.Context()); err != nil {
		return err
	}
	found, err := s.scatter(r, view.Dyno)
	if err != nil {
		return err
	}
	if view.Lead, view.Sections, err = found.Parts(chartsAt("/history", ofDyno(r, view.Dyno))); err != nil {
		return err
	}
	view.Title, view.Class = view.Lead.Title, found.Class
	for _, c := range slices.Backward(found.Campaigns) {
		view.In = append(view.In, c.Campaign)
	}
	view.Out, view.Waiting = found.LeftOut, found.Waiting[:min(mostWaiting, len(found.Waiting))]
	return s.page(w, r, http.StatusOK, "history", view)
}

// scatter is what the workspace knows of a rig's scatter, of the vehicle or the class
// of vehicles that the address may name.
func (s *Server) scatter(r *http.Request, dyno string) (*report.Scatter, error) {
	return s.desk.Scatter(r.Context(), lab.ScatterQuery{Dyno: dyno, Vehicle: vehicleOf(r), Class: classOf(r), Version: s.o.Version})
}

func vehicleOf(r *http.Request) string { return strings.TrimSpace(r.URL.Query().Get("vehicle")) }

func classOf(r *http.Request) string {
	return strings.Join(strings.Fields(r.URL.Query().Get("class")), " ")
}

// historyCharts are those of the history's page.
func (s *Server) historyCharts(r *http.Request) (*report.Charts, string, error) {
	dyno, _, err := s.chosenDyno(r)
	if err != nil {
		return nil, "", err
	}
	found, err := s.scatter(r, dyno)
	if err != nil {
		return nil, "", err
	}
	stem := "history-" + dyno
	if vehicle := vehicleOf(r); vehicle != "" {
		stem += "-" + vehicle
	}
	if found.Class != "" {
		stem += "-of-class"
	}
	return found.Charts(), stem, nil
}

// chosenDyno returns the dyno that the address names, or the first, with all that
// there are; none where no campaign names its dyno.
func (s *Server) chosenDyno(r *http.Request) (string, []string, error) {
	dynos, err := s.desk.DynoIDs(r.Context())
	if err != nil {
		return "", nil, err
	}
	dyno := r.URL.Query().Get("dyno")
	switch {
	case dyno == "" && len(dynos) > 0:
		dyno = dynos[0]
	case dyno != "" && !slices.Contains(dynos, dyno):
		return "", nil, &requestError{http.StatusNotFound, "No campaign was measured on a dyno of that name."}
	}
	return dyno, dynos, nil
}

// ofDyno are the parameters of a dyno's page.
func ofDyno(r *http.Request, dyno string) url.Values {
	q := kept(r.URL.Query(), "vehicle", "class", "units")
	q.Set("dyno", dyno)
	return q
}

// leaveOut keeps a campaign out of the history for the reason that the form gives.
func (s *Server) leaveOut(w http.ResponseWriter, r *http.Request) error {
	return s.changeHistory(w, r, "left-out", s.desk.LeaveOut)
}

// takeBack puts a campaign into the history again.
func (s *Server) takeBack(w http.ResponseWriter, r *http.Request) error {
	return s.changeHistory(w, r, "taken-back", s.desk.TakeBack)
}

func (s *Server) changeHistory(w http.ResponseWriter, r *http.Request, done string, change historyChange) error {
	if err := r.ParseForm(); err != nil {
		return &requestError{http.StatusBadRequest, "The form cannot be read."}
	}
	why := strings.Join(strings.Fields(r.PostFormValue("why")), " ")
	if why == "" {
		return &requestError{http.StatusUnprocessableEntity, "No reason is given. It stays beside the campaign, so that a later reader knows why."}
	}
	if _, err := change(r.Context(), r.PostFormValue("campaign"), lab.Author{Who: s.by(r), Why: why}); err != nil {
		return err
	}
	back := url.Values{"done": {done}}
	for _, name := range []string{"dyno", "vehicle", "class"} {
		if v := r.PostFormValue(name); v != "" {
			back.Set(name, v)
		}
	}
	http.Redirect(w, r, "/history?"+back.Encode(), http.StatusSeeOther)
	return nil
}

// historyChange puts a campaign into the history or out of it, and reports whether
// that was new.
type historyChange func(ctx context.Context, id string, by lab.Author) (bool, error)
