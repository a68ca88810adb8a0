package web

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"fairpull/internal/lab"
	"fairpull/report"
)

// standardView is the page of a dyno's check standard.
type standardView struct {
	frame
	Dyno     string
	Dynos    []string
	Vehicles []string // that were measured on the dyno
	Named    bool     // the dyno has a check standard
	Lead     report.Lead
	Sections []report.Section
}

// checkStandard shows the chart of a dyno's check standard.
func (s *Server) checkStandard(w http.ResponseWriter, r *http.Request) error {
	changed, err := s.desk.LastChange(r.Context())
	if err != nil {
		return err
	}
	view := standardView{frame: s.frame(r, "Check standard")}
	view.Section, view.Live, view.Changed = "standard", "*", changed
	if view.Dyno, view.Dynos, err = s.chosenDyno(r); err != nil {
		return err
	}
	if view.Dyno == "" {
		return s.page(w, r, http.StatusOK, "standard", view)
	}
	if view.Vehicles, err = s.desk.VehiclesOn(r.Context(), view.Dyno); err != nil {
		return err
	}
	if view.Named, err = s.desk.HasStandard(r.Context(), view.Dyno); err != nil {
		return err
	}
	if view.Named {
		chart, err := s.standard(r, view.Dyno)
		if err != nil {
			return err
		}
		if view.Lead, view.Sections, err = chart.Parts(view.Units, chartsAt("/check-standards", ofDyno(r, view.Dyno))); err != nil {
			return err
		}
		view.Title = view.Lead.Title
	}
	return s.page(w, r, http.StatusOK, "standard", view)
}

func (s *Server) standard(r *http.Request, dyno string) (*report.CheckStandard, error) {
	return s.desk.Standard(r.Context(), lab.StandardQuery{Dyno: dyno, Version: s.o.Version})
}

// standardCharts is the chart of a dyno's check standard.
func (s *Server) standardCharts(r *http.Request) (*report.Charts, string, error) {
	dyno, _, err := s.chosenDyno(r)
	if err != nil {
		return nil, "", err
	}
	named, err := s.desk.HasStandard(r.Context(), dyno)
	if err != nil {
		return nil, "", err
	}
	if !named {
		return nil, "", &requestError{http.StatusNotFound, "The dyno has no check standard, so there is no chart of one."}
	}
	chart, err := s.standard(r, dyno)
	if err != nil {
		return nil, "", err
	}
	return chart.Charts(unitsOf(r)), dyno, nil
}

// setStandard names a vehicle as a dyno's check standard.
func (s *Server) setStandard(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return &requestError{http.StatusBadRequest, "The form cannot be read."}
	}
	choice := lab.StandardChoice{Dyno: r.PostFormValue("dyno"), Vehicle: strings.TrimSpace(r.PostFormValue("vehicle")), Like: strings.TrimSpace(r.PostFormValue("like"))}
	if choice.Vehicle == "" {
		return &requestError{http.StatusUnprocessableEntity, "No vehicle is named. Choose the one that is kept unchanged."}
	}
	if day := r.PostFormValue("from"); day != "" {
		from, err := time.Parse(time.DateOnly, day)
		if err != nil {
			return &requestError{http.StatusBadRequest, "A day is written as in 2026-03-02."}
		}
		choice.From = from
	}
	low, high := strings.TrimSpace(r.PostFormValue("band_low")), strings.TrimSpace(r.PostFormValue("band_high"))
	if low != "" || high != "" {
		a, errA := strconv.ParseFloat(low, 64)
		b, errB := strconv.ParseFloat(high, 64)
		if errA != nil || errB != nil || !(a > 0) || !(b > a) || !(b <= 100_000) {
			return &requestError{http.StatusUnprocessableEntity, "The engine speeds to watch are two numbers in rpm, the lower one first, as in 2500 and 6000."}
		}
		choice.BandRPM = [2]float64{a, b}
	}
	isNew, err := s.desk.SetStandard(r.Context(), choice, s.author(r))
	if err != nil {
		return err
	}
	backToStandard(w, r, choice.Dyno, map[bool]string{true: "standard-set", false: "standard-same"}[isNew])
	return nil
}

// retireStandard ends a dyno's check standard.
func (s *Server) retireStandard(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return &requestError{http.StatusBadRequest, "The form cannot be read."}
	}
	by := s.author(r)
	if by.Why == "" {
		return &requestError{http.StatusUnprocessableEntity, "No reason is given. It stays in the audit trail, so that a later reader knows why the vehicle no longer watches the rig."}
	}
	dyno := r.PostFormValue("dyno")
	if err := s.desk.RetireStandard(r.Context(), dyno, by); err != nil {
		return err
	}
	backToStandard(w, r, dyno, "standard-ended")
	return nil
}

// author returns who writes, with the reason that the form gives.
func (s *Server) author(r *http.Request) lab.Author {
	return lab.Author{Who: s.by(r), Why: strings.Join(strings.Fields(r.PostFormValue("why")), " ")}
}

func backToStandard(w http.ResponseWriter, r *http.Request, dyno, done string) {
	http.Redirect(w, r, "/check-standards?"+url.Values{"dyno": {dyno}, "done": {done}}.Encode(), http.StatusSeeOther)
}
