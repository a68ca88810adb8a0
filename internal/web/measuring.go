package web

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairpull/internal/lab"
	"fairpull/report"
)

// measuringView is the page at the rig.
type measuringView struct {
	frame
	ID, Title2 string
	Open       bool // pulls are taken
	State      string
	Version    int64
	Block      int
	Step       report.RigStep
	CanEnd     bool // the block can be ended before it has its pulls
	Settles    bool
	Planned    bool
	Blind      bool
	Pull       *report.RigPull
	Figures    []report.RigFigure
	Points     []rigField
	Air        []rigField
	AirAge     string
	Fitted     []string // ids of configurations
	Folder     string
	Since      string
	Folders    []string
	Told       []toldView
	FileMiB    int
	// Wrong has a sentence for the form of that name; Teach is the dyno whose recipes
	// a file that was handed in needs. Typed is what stood in the form.
	Wrong map[string]string
	Teach string
	Typed url.Values
}

// rigField is a value to enter, with what was typed.
type rigField struct {
	report.RigField
	Typed string
}

// toldView is one thing that happened.
type toldView struct {
	At, Text string
	Problem  bool
}

// wrongForm is what is said beside a form that could not be carried out.
type wrongForm struct {
	form  string
	err   error
	typed url.Values
}

// measuring shows where a campaign stands, for whoever is at the rig.
func (s *Server) measuring(w http.ResponseWriter, r *http.Request) error {
	return s.showMeasuring(w, r, http.StatusOK, nil)
}

func (s *Server) showMeasuring(w http.ResponseWriter, r *http.Request, status int, wrong *wrongForm) error {
	id := r.PathValue("id")
	_, aside := s.watch.toldAfter(1<<63 - 1) // before the look: what comes meanwhile is news
	look, err := s.rig.Look(r.Context(), id)
	if err != nil {
		return err
	}
	c := &look.Campaign
	view := measuringView{
		frame: s.frame(r, "At the rig: "+c.ID), ID: c.ID, Title2: strings.Join(strings.Fields(c.Title), " "),
		Open: look.State == lab.CampaignStates[0], State: string(look.State), Version: look.Version,
		Step: look.Step(), Settles: look.Settles, Planned: c.Plan != nil, Blind: look.Blind(),
		Figures: look.Figures(), AirAge: look.AirAge, Folder: look.Folder, Folders: s.o.Watch, FileMiB: maxFileBytes >> 20,
		Wrong: map[string]string{}, Typed: url.Values{},
	}
	view.Section, view.Wide, view.Live, view.Changed = "measuring", true, "campaign "+c.ID, look.Changed
	view.Here, view.Aside = "/campaigns/"+url.PathEscape(id)+"/measuring", aside
	view.Pull = look.LastPull(view.Units)
	if n := look.Next; n != nil {
		view.Block, view.CanEnd = n.Block, n.Blocks > 0 && !n.Confirm && !n.Finished && n.Block < n.Blocks
	}
	if wrong != nil {
		view.blame(wrong)
	}
	points, air := look.Fields(look.Held, view.Units)
	view.Points, view.Air = view.fields(points), view.fields(air)
	for _, k := range c.Configurations {
		view.Fitted = append(view.Fitted, k.ID)
	}
	if view.Folder != "" {
		view.Since = look.Since.Format("15:04 MST")
	}
	for _, told := range slices.Backward(look.Told) {
		view.Told = append(view.Told, toldView{At: told.At.Format("15:04:05"), Text: told.Text(), Problem: told.Kind == report.CaptureProblem})
	}
	return s.page(w, r, status, "measuring", view)
}

// blame puts beside a form why it was not carried out.
func (v *measuringView) blame(wrong *wrongForm) {
	text, _, _ := strings.Cut(wrong.err.Error(), "\n")
	v.Wrong[wrong.form], v.Typed = text, wrong.typed
	var unknown *lab.UnknownLogError
	if errors.As(wrong.err, &unknown) {
		v.Teach = unknown.Dyno
	}
}

func (v *measuringView) fields(list []report.RigField) []rigField {
	var out []rigField
	for _, f := range list {
		out = append(out, rigField{f, v.Typed.Get("v_" + f.Key)})
	}
	return out
}

// done answers a form of the page at the rig: what was refused stands beside the
// form, with what was typed.
func (s *Server) atRig(w http.ResponseWriter, r *http.Request, form, done string, typed url.Values, err error) error {
	var request *requestError
	switch {
	case errors.As(err, &request):
		return s.showMeasuring(w, r, request.status, &wrongForm{form, err, typed})
	case errors.Is(err, lab.ErrRefused):
		return s.showMeasuring(w, r, http.StatusUnprocessableEntity, &wrongForm{form, err, typed})
	case err != nil:
		return err
	}
	http.Redirect(w, r, "/campaigns/"+url.PathEscape(r.PathValue("id"))+"/measuring?done="+done, http.StatusSeeOther)
	return nil
}

// parsed reads a form, or says that it cannot be read.
func parsed(r *http.Request) error {
	err := r.ParseForm()
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) || err == nil && areText(r.PostForm) {
		return err
	}
	return &requestError{http.StatusBadRequest, "The form cannot be read."}
}

// rigFitted notes what is on the rig.
func (s *Server) rigFitted(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	id, who, block := r.PathValue("id"), s.by(r), 0
	if text := r.PostFormValue("block"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil {
			return &requestError{http.StatusBadRequest, "The form does not say which block it was made for. Open the page again."}
		}
		block = n
	}
	form, err := "step", error(nil)
	switch r.PostFormValue("do") {
	case "fitted":
		err = s.rig.Fitted(r.Context(), id, who, block)
	case "settled":
		err = s.rig.Settled(r.Context(), id, who, block)
	case "end":
		form, err = "end", s.rig.EndBlock(r.Context(), id, who, block, r.PostFormValue("why"))
	case "other":
		form, err = "other", s.rig.Mounted(r.Context(), id, who, r.PostFormValue("configuration"), r.PostFormValue("setup"))
	default:
		return &requestError{http.StatusBadRequest, "The form does not say what was done. Open the page again."}
	}
	return s.atRig(w, r, form, "fitted", r.PostForm, err)
}

// rigValues enters set points and air.
func (s *Server) rigValues(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	cells := map[string]string{}
	units := unitsOf(r)
	for name := range r.PostForm {
		key, isValue := strings.CutPrefix(name, "v_")
		typed := strings.TrimSpace(r.PostForm.Get(name))
		if !isValue || typed == "" {
			continue
		}
		cell, ok := report.EnteredValue(key, typed, units)
		if !ok {
			return s.atRig(w, r, "values", "", r.PostForm, &requestError{http.StatusUnprocessableEntity, "“" + typed + "” is no number. Nothing was kept."})
		}
		cells[key] = cell
	}
	if note := strings.Join(strings.Fields(r.PostForm.Get("note")), " "); note != "" {
		cells["note"] = note
	}
	err := s.rig.Enter(r.Context(), r.PathValue("id"), s.by(r), cells, r.PostForm.Get("pull"), r.PostForm.Get("why"))
	return s.atRig(w, r, "values", "entered", r.PostForm, err)
}

// rigLast excludes the last pull, or counts it again.
func (s *Server) rigLast(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	seen, err := strconv.ParseInt(r.PostFormValue("version"), 10, 64)
	if err != nil || seen < 1 {
		return &requestError{http.StatusBadRequest, "The form does not say which version of the campaign it was made for. Open the page again."}
	}
	id, pull, why := r.PathValue("id"), r.PostFormValue("pull"), r.PostFormValue("why")
	if r.PostFormValue("do") == "restore" {
		return s.atRig(w, r, "last", "restored", r.PostForm, s.desk.Restore(r.Context(), id, pull, why, seen, s.by(r)))
	}
	return s.atRig(w, r, "last", "excluded", r.PostForm, s.desk.Exclude(r.Context(), id, pull, why, seen, s.by(r)))
}

// rigFolder begins to watch one of the folders that the server may watch, or ends it.
func (s *Server) rigFolder(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	id, folder := r.PathValue("id"), r.PostFormValue("folder")
	if r.PostFormValue("do") == "end" {
		return s.atRig(w, r, "folder", "unwatched", r.PostForm, s.rig.Unwatch(r.Context(), id, s.by(r)))
	}
	if !slices.Contains(s.o.Watch, folder) {
		return s.atRig(w, r, "folder", "", r.PostForm, &requestError{http.StatusUnprocessableEntity, "This server may not watch that folder. Which it may is said where it is started."})
	}
	err := s.rig.Watch(r.Context(), id, s.by(r), lab.RigWatch{Folder: folder, Existing: r.PostFormValue("existing") != "", Rewritten: r.PostFormValue("rewritten") != ""})
	return s.atRig(w, r, "folder", "watching", r.PostForm, err)
}

// rigLog takes a log that a person hands in.
func (s *Server) rigLog(w http.ResponseWriter, r *http.Request) error {
	u, err := s.readUpload(w, r)
	if err != nil {
		return s.atRig(w, r, "log", "", url.Values{}, err)
	}
	log := lab.RigLog{Name: u.name, Data: u.data, Rewritten: u.fields.Get("rewritten") != ""}
	if ago := strings.TrimSpace(u.fields.Get("ago")); ago != "" {
		cell, ok := report.EnteredValue("ago", ago, unitsOf(r))
		minutes, err := strconv.ParseFloat(cell, 64)
		if !ok || err != nil || !(minutes >= 0 && minutes <= 24*60) {
			return s.atRig(w, r, "log", "", u.fields, &requestError{http.StatusUnprocessableEntity, "How long ago the pull ended is a number of minutes, from 0 to 1440. Nothing was kept."})
		}
		log.Ago = time.Duration(minutes * float64(time.Minute))
	}
	_, err = s.rig.Take(r.Context(), r.PathValue("id"), s.by(r), log)
	return s.atRig(w, r, "log", "taken", u.fields, err)
}
