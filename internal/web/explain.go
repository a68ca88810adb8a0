package web

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"fairpull/internal/lab"
	"fairpull/report"
)

// explainView is the page that says how a figure came about.
type explainView struct {
	frame
	ID, Figure  string
	Exploratory bool
	Lead        report.Lead
	Sections    []report.Section
	Others      []explainLink // other figures

	Comparison int        // from 1
	Sides      []sideView // the comparisons, where there are several
	OfPull     bool
	Pull       string
	Pulls      []string
	RPM        string // of the node that is explained; empty: it is no curve
	Kept       url.Values
}

// sideView is a comparison to choose.
type sideView struct {
	Number int
	Name   string
}

// explainLink leads to an explanation.
type explainLink struct{ Name, Address string }

// explain shows how a figure of a campaign came about.
func (s *Server) explain(w http.ResponseWriter, r *http.Request) error {
	params, id := r.URL.Query(), r.PathValue("id")
	e, look, q, err := s.explanation(r)
	if err != nil {
		return err
	}
	view := explainView{frame: s.frame(r, e.Title), ID: id, Figure: q.Figure, Exploratory: len(look.Exploratory) > 0, Comparison: q.Comparison + 1, Pull: q.Pull, Kept: keptLook(params)}
	view.Section, view.Live, view.Changed = "campaign", "campaign "+id, look.Changed
	if view.Lead, view.Sections, err = e.Parts(chartsAt("/campaigns/"+url.PathEscape(id)+"/explain/"+q.Figure, kept(params, explainParameters...))); err != nil {
		return err
	}
	for _, figure := range report.Figures {
		if figure.Key == q.Figure {
			view.OfPull = figure.OfPull
			continue
		}
		view.Others = append(view.Others, explainLink{figure.Name, explainAddress(id, figure.Key, q, params)})
	}
	if e.RPM > 0 {
		view.RPM = strconv.FormatFloat(e.RPM, 'f', -1, 64)
	}
	for _, p := range look.Campaign.Pulls {
		view.Pulls = append(view.Pulls, p.Name)
	}
	if sides := look.View(s.o.Version, view.Units).Against(); len(sides) > 1 {
		for i, name := range sides {
			view.Sides = append(view.Sides, sideView{i + 1, name})
		}
	}
	return s.page(w, r, http.StatusOK, "explain", view)
}

// explainParameters are the parameters of an address that an explanation follows.
var explainParameters = append([]string{"units", "comparison", "pull", "rpm"}, lookParameters...)

// explanation explains what the address asks for.
func (s *Server) explanation(r *http.Request) (*report.Explanation, *lab.Look, report.Question, error) {
	params := r.URL.Query()
	as, err := lookOf(params)
	if err != nil {
		return nil, nil, report.Question{}, err
	}
	q, err := questionOf(r.PathValue("figure"), params)
	if err != nil {
		return nil, nil, q, err
	}
	e, look, err := s.desk.Explain(r.Context(), r.PathValue("id"), q, as, unitsOf(r))
	if err != nil && look != nil && errors.Is(err, look.Problem) {
		err = &requestError{http.StatusConflict, "The campaign cannot be analysed as it stands, so there is nothing to explain: " + err.Error()}
	}
	return e, look, q, err
}

// explainCharts are those of an explanation.
func (s *Server) explainCharts(r *http.Request) (*report.Charts, string, error) {
	e, look, q, err := s.explanation(r)
	if err != nil {
		return nil, "", err
	}
	stem := look.Campaign.ID + "-" + q.Figure
	if q.Comparison > 0 {
		stem += "-" + strconv.Itoa(q.Comparison+1)
	}
	if q.Pull != "" {
		stem += "-pull-" + q.Pull
	}
	return e.Charts(), stem, nil
}

// questionOf reads which figure is asked for.
func questionOf(figure string, params url.Values) (report.Question, error) {
	q := report.Question{Figure: figure, Pull: params.Get("pull")}
	if !slices.ContainsFunc(report.Figures, func(f struct {
		Key, Name string
		OfPull    bool
	}) bool {
		return f.Key == figure
	}) {
		return q, &requestError{http.StatusNotFound, "There is no figure of that name."}
	}
	if text := params.Get("comparison"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > 10_000 {
			return q, &requestError{http.StatusBadRequest, "A comparison is a whole number from 1 on."}
		}
		q.Comparison = n - 1
	}
	if text := params.Get("rpm"); text != "" {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || !(v > 0) || !(v <= 100_000) {
			return q, &requestError{http.StatusBadRequest, "An engine speed is a number in rpm, as in 4500."}
		}
		q.RPM = v
	}
	return q, nil
}

// keptLook returns the parameters of the address that change the look.
func keptLook(params url.Values) url.Values {
	return kept(params, append([]string{"units"}, lookParameters...)...)
}

// kept returns the named parameters of an address, where they say something.
func kept(params url.Values, names ...string) url.Values {
	kept := url.Values{}
	for _, name := range names {
		if v := params.Get(name); v != "" {
			kept.Set(name, v)
		}
	}
	return kept
}

// explainAddress leads to another figure of the same comparison or pull.
func explainAddress(id, figure string, q report.Question, params url.Values) string {
	kept := keptLook(params)
	if q.Comparison > 0 {
		kept.Set("comparison", strconv.Itoa(q.Comparison+1))
	}
	if q.Pull != "" {
		kept.Set("pull", q.Pull)
	}
	address := "/campaigns/" + url.PathEscape(id) + "/explain/" + figure
	if len(kept) > 0 {
		address += "?" + kept.Encode()
	}
	return address
}

// explanations are the links from each comparison's section to its explanations, by
// the section's id.
func explanations(id string, comparisons int, params url.Values) map[string][]explainLink {
	out := map[string][]explainLink{}
	for i := range comparisons {
		for _, figure := range report.Figures {
			if !figure.OfPull {
				section := "comparison-" + strconv.Itoa(i+1)
				out[section] = append(out[section], explainLink{figure.Name, explainAddress(id, figure.Key, report.Question{Comparison: i}, params)})
			}
		}
	}
	return out
}
