package web

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"fairpull/internal/lab"
	"fairpull/quantity"
	"fairpull/report"
)

// campaignView is the page of one campaign.
type campaignView struct {
	frame
	ID, Byline, Purpose, State string
	Version                    int64
	States                     []stateChoice // that it can be given
	Planned                    bool          // there is a plan

	Exploratory string                   // what was changed to look at it; empty: nothing
	Problem     []string                 // why it cannot be analysed; empty: it can
	Sections    []report.Section         // of the report
	Explain     map[string][]explainLink // by the section that they belong to
	Pulls       []pullView
	Kept        *keptView
	Settings    settingsView
	Query       string // of the address, to keep the look; begins with ? or is empty
	Files       []fileView
}

// pullView is a pull as it is excluded or put back.
type pullView struct {
	Name, About, Cause string
	Used               bool
}

// keptView is what is said of the latest kept result.
type keptView struct {
	At, Program string
	Current     bool
}

// settingsView is the form that changes the look.
type settingsView struct {
	BandLow, BandHigh string
	Correction        string
	Confidence        string
	Corrections       []string
	Confidences       []string
}

// fileView is a document that can be taken along.
type fileView struct{ Name, What string }

var files = []fileView{
	{"report.html", "the whole report as one page"}, {"report.pdf", "the report for print"},
	{"picture.svg", "the charts, as a drawing"}, {"picture.png", "the charts, as a picture"},
	{"curves.csv", "every curve in numbers"}, {"gain.json", "the gain result for programs"},
}

func (s *Server) campaign(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	look, err := s.look(r)
	if err != nil {
		return err
	}
	c := &look.Campaign
	view := campaignView{frame: s.frame(r, c.ID), ID: c.ID, State: string(look.State), States: otherStates(look.State), Version: look.Version,
		Planned: c.Plan != nil, Query: lookQuery(q, "units"), Files: files, Settings: settingsOf(look, q)}
	view.Section, view.Live, view.Changed = "campaign", "campaign "+c.ID, look.Changed
	if title := strings.Join(strings.Fields(c.Title), " "); title != "" {
		view.Title = title
	}
	if look.Kept != nil {
		view.Kept = &keptView{look.Kept.At.Format("2006-01-02 15:04 MST"), look.Kept.Program, look.Kept.Current}
	}
	for _, p := range c.Pulls {
		view.Pulls = append(view.Pulls, pullView{Name: p.Name, Used: p.Used(), Cause: p.Excluded,
			About: p.Name + ": configuration " + p.Configuration + ", setup " + p.Setup + ", " + p.Started.Format("2006-01-02 15:04")})
	}
	if look.Problem != nil {
		view.Problem = strings.Split(look.Problem.Error(), "\n")
	} else if err := view.fill(look.View(s.o.Version, view.Units), view.Units); err != nil {
		return err
	} else {
		view.Explain = explanations(c.ID, len(look.Analysis.Comparisons), q)
	}
	return s.page(w, r, http.StatusOK, "campaign", view)
}

// fill takes over what the report says.
func (v *campaignView) fill(g *report.Gain, units quantity.System) (err error) {
	v.Title, v.Byline, v.Purpose, v.Exploratory = g.Title(), g.Byline(), g.Purpose(), g.ExploratorySentence()
	v.Sections, err = g.Sections(units, report.ChartsAt{Path: "/campaigns/" + url.PathEscape(v.ID) + "/charts/", Query: v.Query})
	return err
}

// look opens the campaign of the address as the address says.
func (s *Server) look(r *http.Request) (*lab.Look, error) {
	as, err := lookOf(r.URL.Query())
	if err != nil {
		return nil, err
	}
	return s.desk.Look(r.Context(), r.PathValue("id"), as)
}

func settingsOf(look *lab.Look, q url.Values) settingsView {
	o := look.Campaign.Objective
	v := settingsView{Correction: look.Campaign.Correction, Confidence: strconv.FormatFloat(o.Confidence, 'g', -1, 64),
		Corrections: lab.Corrections(), Confidences: confidences}
	if o.BandRPM != [2]float64{} {
		v.BandLow, v.BandHigh = strconv.FormatFloat(o.BandRPM[0], 'f', -1, 64), strconv.FormatFloat(o.BandRPM[1], 'f', -1, 64)
	}
	if !slices.Contains(v.Confidences, v.Confidence) {
		v.Confidences = append([]string{v.Confidence}, v.Confidences...)
	}
	return v
}

// exclude takes a pull out of the analysis for the cause that the form gives.
func (s *Server) exclude(w http.ResponseWriter, r *http.Request) error {
	return s.changePull(w, r, "excluded", func(pull string, seen int64) error {
		return s.desk.Exclude(r.Context(), r.PathValue("id"), pull, r.PostFormValue("cause"), seen, s.by(r))
	})
}

// restore puts a pull back for the reason that the form gives.
func (s *Server) restore(w http.ResponseWriter, r *http.Request) error {
	return s.changePull(w, r, "restored", func(pull string, seen int64) error {
		return s.desk.Restore(r.Context(), r.PathValue("id"), pull, r.PostFormValue("why"), seen, s.by(r))
	})
}

func (s *Server) changePull(w http.ResponseWriter, r *http.Request, done string, change func(pull string, seen int64) error) error {
	if err := parsed(r); err != nil {
		return err
	}
	seen, err := strconv.ParseInt(r.PostFormValue("version"), 10, 64)
	if err != nil || seen < 1 {
		return &requestError{http.StatusBadRequest, "The form does not say which version of the campaign it was made for. Open the campaign again."}
	}
	if err := change(r.PostFormValue("pull"), seen); err != nil {
		return err
	}
	http.Redirect(w, r, "/campaigns/"+url.PathEscape(r.PathValue("id"))+"?done="+done+"#pulls", http.StatusSeeOther)
	return nil
}

// keep judges the campaign with its own settings and keeps the result.
func (s *Server) keep(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	judged, err := s.desk.Judge(r.Context(), id, lab.JudgeOptions{By: lab.Author{Who: s.by(r)}, Program: s.o.Version, Keep: true})
	if err != nil {
		return err
	}
	done := "same"
	if judged.Changed {
		done = "kept"
	}
	http.Redirect(w, r, "/campaigns/"+url.PathEscape(id)+"?done="+done+"#take", http.StatusSeeOther)
	return nil
}

func pulls(n int) string {
	if n == 1 {
		return "1 pull"
	}
	return strconv.Itoa(n) + " pulls"
}
