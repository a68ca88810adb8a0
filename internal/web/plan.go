package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"fairpull/campaign"
	"fairpull/internal/lab"
	"fairpull/report"
)

// planView is the page that plans a campaign.
type planView struct {
	frame
	Choices  []planChoice // campaigns to plan like
	Like     string       // the one that was chosen; empty: none yet
	F        url.Values   // what stands in the form
	Wrong    map[string]string
	Configs  []configForm
	Vehicles []string
	Classes  map[string]string // of vehicles, by their ids
	Dynos    []string
	Designs  []report.DesignOption
	Chosen   string // value of the design that is ticked
	Lead     report.Lead
	Sections []report.Section
}

type planChoice struct{ ID, Words string }

// configForm are the fields of one configuration, by their numbers.
type configForm struct {
	N          int
	Parts      []int
	Settings   []int
	ID         string
	Additional bool // not there yet
}

// DesignValue is how the form names a design.
func (planView) DesignValue(d report.DesignOption) string { return designValue(d) }

// Own are the fields of a configuration that a part seldom changes, with labels.
func (planView) Own() map[string]string {
	return map[string]string{"wheel_inertia": "Driven wheel inertia, kg·m²", "wheel_radius": "Driven wheel radius, m", "revs": "Engine turns a drum turn"}
}

// restField is a field of what a plan rests on.
type restField struct{ Name, Label string }

// Rests are the fields of what a plan rests on, in order.
func (planView) Rests() []restField {
	return []restField{
		{"setup_sd", "Setup to setup SD, %"}, {"setup_df", "its degrees of freedom, where measured"},
		{"block_sd", "Change-over within a setup SD, %"}, {"block_df", "its degrees of freedom, where measured"},
		{"pull_sd", "Pull to pull SD, %"}, {"pull_df", "its degrees of freedom, where measured"},
		{"weather", "Weather: factor differs between the sides by, %"}, {"top_rpm", "Pulls go to, rpm; empty: the band's top"},
		{"pull_minutes", "Minutes from pull to pull"}, {"change_minutes", "Minutes for a change of parts"},
		{"strap_minutes", "Minutes to strap down"}, {"warm_up_minutes", "Minutes to warm up"}, {"settling", "Settling pulls after a change"},
	}
}

// Bounds of the form.
const (
	maxConfigs  = 8
	maxParts    = 24
	maxSettings = 24
	spareParts  = 2   // empty rows that a form ends with
	planChoices = 200 // campaigns that can be chosen
)

// planPage shows the form of a plan, and its designs where the form was filled in.
func (s *Server) planPage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	like := strings.TrimSpace(q.Get("like"))
	if like == "" {
		return s.showPlan(w, r, http.StatusOK, newFields(q), nil)
	}
	if q.Get("form") == "" {
		draft, err := s.desk.DraftLike(r.Context(), like)
		if err != nil {
			return err
		}
		if q.Get("again") != "" {
			draft.ID = draft.Like
		}
		return s.showPlan(w, r, http.StatusOK, newFields(planValues(draft)), nil)
	}
	f := newFields(q)
	planning, err := s.designs(r.Context(), f)
	if err != nil {
		return err
	}
	status := http.StatusOK
	if len(f.wrong) > 0 {
		status = http.StatusUnprocessableEntity
	}
	return s.showPlan(w, r, status, f, planning)
}

// keepPlan makes the chosen design the plan, and keeps the campaign.
func (s *Server) keepPlan(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	f := newFields(r.PostForm)
	planning, err := s.designs(r.Context(), f)
	if err != nil {
		return err
	}
	choice, known := designOf(f.v.Get("design"))
	if planning != nil && !known {
		f.blame("design", "Choose one of the designs.")
	}
	choice.Random, choice.Blind = f.ticked("random"), f.ticked("blind")
	if planning != nil && len(f.wrong) == 0 {
		if err := planning.Choose(choice); err != nil { // it reads and writes nothing
			text, _, _ := strings.Cut(err.Error(), "\n")
			f.blame("design", upper(text)+".")
		}
	}
	if planning != nil && len(f.wrong) == 0 {
		err := s.desk.KeepPlanned(r.Context(), planning.Campaign, lab.Author{Who: s.by(r), Why: f.text("why")})
		if err == nil {
			http.Redirect(w, r, "/campaigns/"+url.PathEscape(planning.Campaign.ID)+"/plan?done=planned", http.StatusSeeOther)
			return nil
		}
		if !f.take(err, planField) {
			return err
		}
	}
	return s.showPlan(w, r, http.StatusUnprocessableEntity, f, planning)
}

// planCharts is the chart of the designs that the address asks for.
func (s *Server) planCharts(r *http.Request) (*report.Charts, string, error) {
	f := newFields(r.URL.Query())
	planning, err := s.designs(r.Context(), f)
	if err != nil {
		return nil, "", err
	}
	if planning == nil {
		return nil, "", &requestError{http.StatusNotFound, "There is no chart of this plan: something in the form is to be put right."}
	}
	return planning.View.Charts(unitsOf(r)), planning.Campaign.ID + "-plan", nil
}

// filled leaves of a form what is filled in.
func filled(form url.Values) url.Values {
	out := url.Values{}
	for name, values := range form {
		if values = slices.DeleteFunc(slices.Clone(values), func(v string) bool { return v == "" }); len(values) > 0 {
			out[name] = values
		}
	}
	return out
}

// designs reads the form and works out the designs; nil where something is wrong
// with the form, which then says what.
func (s *Server) designs(ctx context.Context, f *fields) (*lab.Planning, error) {
	draft, options := draftOf(f), planOptionsOf(f)
	if len(f.wrong) > 0 {
		return nil, nil
	}
	source, err := s.desk.Draft(ctx, draft)
	if err == nil {
		var planning *lab.Planning
		if planning, err = s.desk.Designs(ctx, source, options); err == nil {
			return planning, nil
		}
	}
	if errors.Is(err, lab.ErrNoScatter) {
		f.blame("setup_sd", "Nothing is known of the lab's scatter, and a plan rests on it. State it here by judgement, or measure it: six setups of the baseline serve every campaign.")
		return nil, nil
	}
	if f.take(err, planField) {
		return nil, nil
	}
	return nil, err
}

// planField returns the field of the form that a key of campaign.toml is.
func planField(key string) string {
	switch name := key[strings.LastIndex(key, ".")+1:]; {
	case strings.HasPrefix(key, "configuration"):
		return "configurations"
	case name == "band_rpm":
		return "band_low"
	case slices.Contains([]string{"id", "title", "purpose", "primary"}, name):
		return name
	case name == "smallest_gain_of_interest_pct":
		return "smallest"
	case name == "confidence":
		return "confidence"
	}
	return ""
}

func (s *Server) showPlan(w http.ResponseWriter, r *http.Request, status int, f *fields, planning *lab.Planning) error {
	view := planView{frame: s.frame(r, "Plan a campaign"), Like: f.text("like"), F: f.v, Wrong: f.wrong}
	view.Section, view.Wide = "plan", true
	if r.Method != http.MethodGet {
		view.Here = "/plan"
	}
	if view.Like == "" {
		page, err := s.desk.Campaigns(r.Context(), lab.CampaignQuery{Limit: planChoices})
		if err != nil {
			return err
		}
		for _, c := range page.Campaigns {
			words := c.ID
			if title := strings.Join(strings.Fields(c.Title), " "); title != "" {
				words += ": " + title
			}
			view.Choices = append(view.Choices, planChoice{c.ID, words})
		}
		return s.page(w, r, status, "plan", view)
	}
	view.Configs = configForms(f.v)
	var err error
	if view.Vehicles, view.Dynos, err = s.desk.VehicleAndDynoIDs(r.Context()); err != nil {
		return err
	}
	if view.Classes, err = s.desk.ClassesByVehicle(r.Context()); err != nil {
		return err
	}
	if planning != nil {
		plan := &planning.View
		plan.Version, view.Designs = s.o.Version, plan.Options()
		if view.Lead, view.Sections, err = plan.Parts(view.Units, chartsAt("/plan", filled(f.v))); err != nil {
			return err
		}
		view.Chosen = f.v.Get("design")
		for _, d := range view.Designs {
			if view.Chosen == "" && d.Recommended {
				view.Chosen = designValue(d)
			}
		}
	}
	return s.page(w, r, status, "plan", view)
}

// designValue is how the form names a design.
func designValue(d report.DesignOption) string {
	strapped := "anew"
	if d.OneSetup {
		strapped = "one"
	}
	return d.Order + " " + strconv.Itoa(d.Pulls) + " " + strapped
}

// designOf reads what designValue wrote.
func designOf(value string) (lab.PlanChoice, bool) {
	words := strings.Fields(value)
	if len(words) != 3 {
		return lab.PlanChoice{}, false
	}
	pulls, err := strconv.Atoi(words[1])
	known := err == nil && pulls > 0 && pulls <= campaign.MaxPlannedPulls && len(words[0]) < 200 && !strings.ContainsAny(words[0], "0123456789")
	return lab.PlanChoice{Design: words[0], Pulls: pulls, OneSetup: words[2] == "one"}, known
}
