package web

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"fairpull/campaign"
	"fairpull/internal/lab"
	"fairpull/report"
)

// recipeUpload is the route that takes a log whose columns are to be taught.
const recipeUpload = "POST /dynos/{dyno}/recipes/file"

// maxTaughtColumns bounds the columns that the form asks for.
const maxTaughtColumns = 200

// recipeView is the page that teaches a kind of log.
type recipeView struct {
	frame
	Dyno     string
	FileMiB  int
	File     string // word by which the log is found again; empty: none was handed in
	Name     string // of the log
	Columns  []columnForm
	Channels []string
	Applied  []string
	F        url.Values
	Wrong    map[string]string
	Line     int
	Split    string
	Proven   bool
	Proof    []report.Section
}

// columnForm is one column of the log, as the form asks for it.
type columnForm struct {
	N           int
	Name        string
	First       []string
	Channel     string // that was chosen, or proposed
	Unit        string
	DecimalMark string
	Wrong       string
}

// teach shows the form that teaches a kind of log, with the proof where it is filled in.
func (s *Server) teach(w http.ResponseWriter, r *http.Request) error {
	if err := s.desk.KnowsDyno(r.Context(), r.PathValue("dyno")); err != nil {
		return err
	}
	f := newFields(r.URL.Query())
	if f.v.Get("file") == "" {
		return s.showTeaching(w, r, http.StatusOK, f, nil, nil)
	}
	held, table, err := s.heldLog(r, f)
	if err != nil {
		return err
	}
	if f.v.Get("form") == "" {
		propose(f.v, held.name, table)
		return s.showTeaching(w, r, http.StatusOK, f, table, nil)
	}
	_, proof, err := s.taught(r, f, held, table)
	if err != nil {
		return err
	}
	status := http.StatusOK
	if len(f.wrong) > 0 {
		status = http.StatusUnprocessableEntity
	}
	return s.showTeaching(w, r, status, f, table, proof)
}

// takeSample takes a log whose columns are to be taught.
func (s *Server) takeSample(w http.ResponseWriter, r *http.Request) error {
	dyno := r.PathValue("dyno")
	if err := s.desk.KnowsDyno(r.Context(), dyno); err != nil {
		return err
	}
	u, err := s.readUpload(w, r)
	if err != nil {
		return err
	}
	f := newFields(url.Values{})
	if u.name == "" || len(u.data) == 0 {
		f.blame("", "No file was chosen, or it is empty.")
	} else if _, err := lab.LogTableOf(u.name, u.data); err != nil && !f.take(err, func(string) string { return "" }) {
		return err
	}
	if len(f.wrong) > 0 {
		return s.showTeaching(w, r, http.StatusUnprocessableEntity, f, nil, nil)
	}
	token := s.held.hold(u.name, u.data, s.by(r), time.Now())
	http.Redirect(w, r, "/dynos/"+url.PathEscape(dyno)+"/recipes/new?file="+token, http.StatusSeeOther)
	return nil
}

// keepRecipe keeps what was taught, once it is proven.
func (s *Server) keepRecipe(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	dyno := r.PathValue("dyno")
	if err := s.desk.KnowsDyno(r.Context(), dyno); err != nil {
		return err
	}
	f := newFields(r.PostForm)
	held, table, err := s.heldLog(r, f)
	if err != nil {
		return err
	}
	recipe, proof, err := s.taught(r, f, held, table)
	if err != nil {
		return err
	}
	if len(f.wrong) == 0 {
		isNew, err := s.desk.KeepRecipe(r.Context(), dyno, recipe, lab.Author{Who: s.by(r), Why: f.text("why")})
		if err == nil {
			http.Redirect(w, r, "/dynos/"+url.PathEscape(dyno)+"?done="+map[bool]string{true: "taught", false: "taught-same"}[isNew]+"#recipes", http.StatusSeeOther)
			return nil
		}
		if !f.take(err, func(string) string { return "" }) {
			return err
		}
		f.blame("why", "To put this one in the place of the other, say why; to keep both, choose another name.")
	}
	return s.showTeaching(w, r, http.StatusUnprocessableEntity, f, table, proof)
}

// retireRecipe ends a recipe of a dyno.
func (s *Server) retireRecipe(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	dyno := r.PathValue("dyno")
	by := s.author(r)
	if by.Why == "" {
		return s.showDyno(w, r, http.StatusUnprocessableEntity, &dynoForms{recipe: "No reason is given. It stays in the audit trail."})
	}
	if err := s.desk.RetireRecipe(r.Context(), dyno, r.PostFormValue("recipe"), by); err != nil {
		return err
	}
	http.Redirect(w, r, "/dynos/"+url.PathEscape(dyno)+"?done=retired#recipes", http.StatusSeeOther)
	return nil
}

// heldLog finds the log that the form is about.
func (s *Server) heldLog(r *http.Request, f *fields) (heldFile, *lab.LogTable, error) {
	held, found := s.held.find(f.v.Get("file"), s.by(r), time.Now())
	if !found {
		return held, nil, &requestError{http.StatusNotFound, "The log that was handed in is no longer held: it is for an hour. Hand it in again."}
	}
	table, err := lab.LogTableOf(held.name, held.data)
	return held, table, err
}

// propose fills the form with what the columns most likely are. A person decides.
func propose(v url.Values, name string, t *lab.LogTable) {
	v.Set("name", lab.RecipeName(name))
	for _, channel := range lab.LogChannels() {
		if at, is := t.Propose(channel); is && at < maxTaughtColumns && v.Get("ch"+strconv.Itoa(at)) == "" {
			v.Set("ch"+strconv.Itoa(at), channel)
		}
	}
	for i, c := range t.Columns[:min(len(t.Columns), maxTaughtColumns)] {
		v.Set("u"+strconv.Itoa(i), c.Unit)
	}
}

// taught reads the recipe that the form makes, and proves it on the log.
func (s *Server) taught(r *http.Request, f *fields, held heldFile, t *lab.LogTable) (campaign.Recipe, *report.Reductions, error) {
	channels := campaign.ChannelMap{}
	for i, c := range t.Columns[:min(len(t.Columns), maxTaughtColumns)] {
		n := strconv.Itoa(i)
		channel, unit, mark := f.text("ch"+n), f.text("u"+n), f.text("d"+n)
		if channel == "" {
			continue
		}
		if _, twice := channels[channel]; twice {
			f.blame("ch"+n, "Two columns are said to be "+channel+".")
			continue
		}
		if err := lab.CheckUnit(channel, unit); err != nil {
			f.blame("ch"+n, upper(err.Error())+".")
			continue
		}
		source := campaign.ChannelSource{Column: c.Name, Unit: unit}
		if mark == "," || mark == "." {
			source.DecimalMark = mark[0]
		}
		channels[channel] = source
	}
	if len(channels) == 0 && len(f.wrong) == 0 {
		f.blame("", "No column is said to be anything yet.")
	}
	recipe := lab.RecipeOf(f.text("name"), f.text("files"), t, channels)
	if applied := f.text("applied"); applied != "" && (applied == "none" || slices.Contains(lab.Corrections(), applied)) {
		recipe.CorrectionApplied = applied
	}
	if len(f.wrong) > 0 {
		return recipe, nil, nil
	}
	proof, err := s.desk.ProveRecipe(r.Context(), r.PathValue("dyno"), recipe, held.name, held.data)
	if err != nil {
		if f.take(err, func(string) string { return "" }) {
			return recipe, nil, nil
		}
		return recipe, nil, err
	}
	return recipe, proof, nil
}

// stated leaves of the form what makes the proof what it is.
func stated(v url.Values) url.Values {
	out := url.Values{}
	for name := range v {
		if value := v.Get(name); value != "" && name != "why" {
			out.Set(name, value)
		}
	}
	return out
}

// teachCharts are those of the proof.
func (s *Server) teachCharts(r *http.Request) (*report.Charts, string, error) {
	dyno, f := r.PathValue("dyno"), newFields(r.URL.Query())
	if err := s.desk.KnowsDyno(r.Context(), dyno); err != nil {
		return nil, "", err
	}
	held, table, err := s.heldLog(r, f)
	if err != nil {
		return nil, "", err
	}
	_, proof, err := s.taught(r, f, held, table)
	if err != nil {
		return nil, "", err
	}
	if proof == nil {
		return nil, "", &requestError{http.StatusUnprocessableEntity, "The columns are not said so that a curve comes out."}
	}
	charts := proof.Charts(unitsOf(r))
	charts.From = "dyno " + dyno
	return charts, dyno + "-" + held.name, nil
}

func (s *Server) showTeaching(w http.ResponseWriter, r *http.Request, status int, f *fields, t *lab.LogTable, proof *report.Reductions) error {
	dyno := r.PathValue("dyno")
	view := recipeView{frame: s.frame(r, "Teach dyno "+dyno+" a kind of log"), Dyno: dyno, FileMiB: maxFileBytes >> 20, F: f.v, Wrong: f.wrong,
		File: f.v.Get("file"), Channels: lab.LogChannels(), Applied: lab.Corrections()}
	view.Section, view.Wide = "dynos", true
	if r.Method != http.MethodGet {
		view.Here = "/dynos/" + url.PathEscape(dyno)
	}
	if t != nil {
		view.Line, view.Split = t.Line, map[byte]string{',': "commas", ';': "semicolons", '\t': "tabs"}[t.Delimiter]
		for i, c := range t.Columns[:min(len(t.Columns), maxTaughtColumns)] {
			n := strconv.Itoa(i)
			view.Columns = append(view.Columns, columnForm{i, c.Name, c.First, f.v.Get("ch" + n), f.v.Get("u" + n), f.v.Get("d" + n), f.wrong["ch"+n]})
		}
	}
	if proof != nil {
		var err error
		if view.Proof, err = proof.Parts(view.Units, chartsAt("/dynos/"+url.PathEscape(dyno)+"/recipes/new", stated(f.v))); err != nil {
			return err
		}
		view.Proven = len(f.wrong) == 0
	}
	return s.page(w, r, status, "recipe", view)
}
