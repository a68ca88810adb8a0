package web

import (
	"net/http"
	"net/url"
	"strconv"
	"time"

	"fairpull/campaign"
	"fairpull/internal/lab"
	"fairpull/quantity"
)

// dynosView is the page of the dynos.
type dynosView struct {
	frame
	Rows   []lab.DynoRecord
	F      url.Values
	Wrong  map[string]string
	Fields []restField
}

// dynoFields are what is stated of a dyno in numbers, SI.
var dynoFields = []restField{
	{"inertia", "Drum inertia, kg·m²"}, {"inertia_u", "its standard uncertainty, kg·m²"}, {"radius", "Drum radius, m"},
	{"arm", "Brake arm, m"}, {"pulses", "Pulses a drum turn"}, {"engine_pulses", "Pulses an engine turn"}, {"elevation", "Site elevation, m"},
	{"p0", "Bare drum torque c0, N·m"}, {"p1", "c1, N·m a rad/s"}, {"p2", "c2, N·m a (rad/s)²"},
}

func (s *Server) dynos(w http.ResponseWriter, r *http.Request) error {
	return s.showDynos(w, r, http.StatusOK, nil)
}

func (s *Server) showDynos(w http.ResponseWriter, r *http.Request, status int, f *fields) error {
	list, err := s.desk.DynoRecords(r.Context())
	if err != nil {
		return err
	}
	view := dynosView{frame: s.frame(r, "Dynos"), Rows: list, Fields: dynoFields, F: url.Values{}, Wrong: map[string]string{}}
	view.Section = "dynos"
	if f != nil {
		view.F, view.Wrong, view.Here = f.v, f.wrong, "/dynos"
	}
	return s.page(w, r, status, "dynos", view)
}

// dynoOf reads what a form states of a dyno.
func dynoOf(f *fields, id string) campaign.Dyno {
	d := campaign.Dyno{
		ID: id, DrumInertia: quantity.KilogramSquareMetre(f.number("inertia")), DrumInertiaU: quantity.KilogramSquareMetre(f.number("inertia_u")),
		DrumRadius: quantity.Metre(f.number("radius")), BrakeArm: quantity.Metre(f.number("arm")), PulsesPerRev: f.whole("pulses", 0, 100_000),
		EnginePulsesPerRev: f.number("engine_pulses"), Parasitic: [3]float64{f.number("p0"), f.number("p1"), f.number("p2")},
	}
	if f.text("elevation") != "" {
		elevation := quantity.Metre(f.number("elevation"))
		d.SiteElevation = &elevation
	}
	return d
}

func dynoValues(d campaign.Dyno) url.Values {
	v := url.Values{
		"inertia": {exact(float64(d.DrumInertia))}, "inertia_u": {exact(float64(d.DrumInertiaU))}, "radius": {exact(float64(d.DrumRadius))},
		"arm": {exact(float64(d.BrakeArm))}, "pulses": {exact(float64(d.PulsesPerRev))}, "engine_pulses": {exact(d.EnginePulsesPerRev)},
		"p0": {exact(d.Parasitic[0])}, "p1": {exact(d.Parasitic[1])}, "p2": {exact(d.Parasitic[2])},
	}
	if d.SiteElevation != nil {
		v.Set("elevation", strconv.FormatFloat(float64(*d.SiteElevation), 'g', -1, 64))
	}
	return v
}

// dynoField returns the field of the form that a key of campaign.toml is.
func dynoField(key string) string {
	return map[string]string{
		"dyno.id": "id", "dyno.drum_inertia_kgm2": "inertia", "dyno.drum_inertia_u_kgm2": "inertia_u", "dyno.drum_radius_m": "radius",
		"dyno.brake_arm_m": "arm", "dyno.pulses_per_rev": "pulses", "dyno.engine_pulses_per_rev": "engine_pulses",
		"dyno.parasitic_torque_nm": "p0", "dyno.site_elevation_m": "elevation",
	}[key]
}

// addDyno keeps what the form states of a dyno that the workspace may not know yet.
func (s *Server) addDyno(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	f := newFields(r.PostForm)
	if done, err := s.keepDyno(w, r, f, f.text("id")); done {
		return err
	}
	return s.showDynos(w, r, http.StatusUnprocessableEntity, f)
}

// saveDyno keeps another statement about a dyno.
func (s *Server) saveDyno(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	f := newFields(r.PostForm)
	if err := s.desk.KnowsDyno(r.Context(), r.PathValue("dyno")); err != nil {
		return err
	}
	if done, err := s.keepDyno(w, r, f, r.PathValue("dyno")); done {
		return err
	}
	return s.showDyno(w, r, http.StatusUnprocessableEntity, &dynoForms{statement: f})
}

// keepDyno reports whether the request is answered; else the form says what is wrong.
func (s *Server) keepDyno(w http.ResponseWriter, r *http.Request, f *fields, id string) (bool, error) {
	d := dynoOf(f, id)
	if len(f.wrong) > 0 {
		return false, nil
	}
	isNew, err := s.desk.SaveDyno(r.Context(), d, lab.Author{Who: s.by(r), Why: f.text("why")})
	if err != nil {
		return !f.take(err, dynoField), err
	}
	http.Redirect(w, r, "/dynos/"+url.PathEscape(id)+"?done="+savedWord(isNew), http.StatusSeeOther)
	return true, nil
}

// dynoView is the page of one dyno.
type dynoView struct {
	frame
	ID           string
	Version      int64
	Campaigns    []string
	Statement    url.Values
	Fields       []restField
	Wrong        map[string]string // of the statement
	Calibrations []calibrationRow
	CF           url.Values // the form of a calibration
	CFields      []restField
	CWrong       map[string]string
	Zone         string // of the server's clock
	Recipes      []recipeRow
	RecipeWrong  string
}

type calibrationRow struct {
	From     string
	Lines    [][2]string
	Pulls    string
	Affected []string
}

type recipeRow struct {
	Name, Files string
	Lines       []string
}

// dynoForms are the forms of the page that something is wrong with.
type dynoForms struct {
	statement, calibration *fields
	recipe                 string
}

func (s *Server) dyno(w http.ResponseWriter, r *http.Request) error {
	return s.showDyno(w, r, http.StatusOK, &dynoForms{})
}

func (s *Server) showDyno(w http.ResponseWriter, r *http.Request, status int, forms *dynoForms) error {
	id := r.PathValue("dyno")
	known, err := s.desk.DynoRecord(r.Context(), id)
	if err != nil {
		return err
	}
	view := dynoView{frame: s.frame(r, "Dyno "+id), ID: id, Version: known.Version, Campaigns: known.Campaigns, Statement: dynoValues(known.Dyno), Fields: dynoFields,
		Wrong: map[string]string{}, CF: url.Values{}, CFields: calibrationFields, CWrong: map[string]string{}, RecipeWrong: forms.recipe}
	view.Section, view.Here = "dynos", "/dynos/"+url.PathEscape(id)
	view.Zone = time.Now().Format("MST, UTC-07:00")
	if f := forms.statement; f != nil {
		view.Statement, view.Wrong = f.v, f.wrong
	}
	if f := forms.calibration; f != nil {
		view.CF, view.CWrong = f.v, f.wrong
	}
	calibrations, err := s.desk.Calibrations(r.Context(), id)
	if err != nil {
		return err
	}
	for i := range calibrations.Rows {
		c := &calibrations.Rows[i]
		view.Calibrations = append(view.Calibrations, calibrationRow{c.From.Local().Format("2006-01-02 15:04 MST"), c.Lines(), pulls(c.Pulls), c.Affected})
	}
	recipes, err := s.desk.Recipes(r.Context(), id)
	if err != nil {
		return err
	}
	for _, recipe := range recipes {
		view.Recipes = append(view.Recipes, recipeRow{recipe.Name, recipe.Files, lab.RecipeWords(recipe)})
	}
	return s.page(w, r, status, "dyno", view)
}
