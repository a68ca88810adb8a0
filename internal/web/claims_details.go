package web

import (
	"net/http"
	"net/url"

	"fairpull/internal/lab"
	"fairpull/report"
)

// detailsView is the form of what test reports say beside what was measured.
type detailsView struct {
	frame
	Number string // of the claim; empty: of the lab
	Fields []restField
	F      url.Values
	Lab    url.Values // what stands there where the claim says nothing of its own
	Wrong  map[string]string
	Fixed  bool
	AskWho bool
}

// labDetails are stated once for all reports; reportDetails of each.
var (
	labDetails = []restField{
		{"laboratory", "Laboratory"}, {"address", "Its address"}, {"location", "Where the pulls are made, if elsewhere"},
		{"sampling", "How specimens are picked, and by whom"}, {"external", "Results that others provide; or: none"},
	}
	reportDetails = append([]restField{
		{"number", "Number of the report"}, {"customer", "Customer"}, {"customer_contact", "How to reach them"},
		{"condition", "Condition of the items when they came"}, {"received", "When they came, as in 2031-05-14"}, {"opinion", "Opinion, which stands apart"},
	}, labDetails...)
)

// detailsPage shows the form, of the lab or of a claim.
func (s *Server) detailsPage(w http.ResponseWriter, r *http.Request) error {
	return s.showDetails(w, r, http.StatusOK, nil)
}

func (s *Server) showDetails(w http.ResponseWriter, r *http.Request, status int, f *fields) error {
	number := r.PathValue("claim")
	view := detailsView{frame: s.frame(r, "What every test report says"), Number: number, Fields: labDetails, Wrong: map[string]string{}, AskWho: !s.o.Accounts}
	view.Section = "claims"
	lab, err := s.desk.Details(r.Context(), "")
	if err != nil {
		return err
	}
	d := lab
	if number != "" {
		view.Lab = detailsValues(lab)
		view.Title, view.Fields = "What the test report of "+number+" says", reportDetails
		if d, view.Fixed, err = s.desk.ReportDetails(r.Context(), number); err == nil && !view.Fixed {
			d, err = s.desk.Details(r.Context(), number)
		}
	}
	if err != nil {
		return err
	}
	view.F = detailsValues(d)
	view.F.Set("by", s.by(r))
	if f != nil {
		view.F, view.Wrong, view.Here = f.v, f.wrong, r.URL.Path
	}
	return s.page(w, r, status, "details", view)
}

// detailOf returns the detail that a field of the form is.
func detailOf(d *report.ReportDetails, name string) *string {
	return map[string]*string{
		"number": &d.Number, "laboratory": &d.Laboratory, "address": &d.Address, "location": &d.Location, "customer": &d.Customer,
		"customer_contact": &d.CustomerContact, "condition": &d.Condition, "received": &d.Received, "sampling": &d.Sampling,
		"external": &d.External, "opinion": &d.Opinion,
	}[name]
}

func detailsValues(d report.ReportDetails) url.Values {
	v := url.Values{}
	for _, field := range reportDetails {
		v.Set(field.Name, *detailOf(&d, field.Name))
	}
	return v
}

// keepDetails keeps what the form says.
func (s *Server) keepDetails(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	f, number := newFields(r.PostForm), r.PathValue("claim")
	stated := labDetails
	if number != "" {
		stated = reportDetails
	}
	var d report.ReportDetails
	for _, field := range stated {
		*detailOf(&d, field.Name) = f.text(field.Name)
	}
	changed, err := s.desk.SetDetails(r.Context(), number, d, lab.Author{Who: s.who(r, f)})
	if err != nil {
		if f.take(err, func(string) string { return "" }) {
			return s.showDetails(w, r, http.StatusUnprocessableEntity, f)
		}
		return err
	}
	done := "details"
	if !changed {
		done = "details-same"
	}
	to := "/claims/details"
	if number != "" {
		to = claimPath(number)
	}
	http.Redirect(w, r, to+"?done="+done, http.StatusSeeOther)
	return nil
}
