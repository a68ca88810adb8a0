package web

import (
	"errors"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"fairpull/internal/lab"
	"fairpull/report"
)

// readingsUpload is the route that takes the readings of a calibration.
const readingsUpload = "POST /dynos/{dyno}/calibrate/{kind}/readings"

// Bounds of readings, and the name under which they lie beside their logs.
const (
	maxReadingsFiles = 120
	readingsFile     = "readings.toml"
)

var readingsTooLarge = &requestError{http.StatusRequestEntityTooLarge, fmt.Sprintf("The readings with their logs are more than %d files or larger than %d MiB together. Nothing was kept: cut the logs to the part around each spin.", maxReadingsFiles, maxFileBytes>>20)}

// calibrateView is the page that guides through a calibration, and the one that has the
// kinds to choose from.
type calibrateView struct {
	frame
	Dyno          string
	Kinds         []*report.CalibrationGuide // to choose from
	Guide         *report.CalibrationGuide   // nil: none is chosen yet
	Form, Example lab.ReadingsForm
	F             url.Values
	Wrong         map[string]string
	Files         []string // that were handed in
	FileMiB       int
	TextKiB       int
	Zone          string // of the server's clock
	Lead          report.Lead
	Result        []report.Section
	CanKeep       bool
	CannotKeep    string // why it cannot
}

// calibrateKinds shows the kinds of calibration.
func (s *Server) calibrateKinds(w http.ResponseWriter, r *http.Request) error {
	dyno := r.PathValue("dyno")
	if err := s.desk.KnowsDyno(r.Context(), dyno); err != nil {
		return err
	}
	view := calibrateView{frame: s.frame(r, "Calibrate dyno "+dyno), Dyno: dyno}
	view.Section = "dynos"
	for _, kind := range lab.CalibrationKinds() {
		guide, err := lab.CalibrationGuide(kind)
		if err != nil {
			return err
		}
		view.Kinds = append(view.Kinds, guide)
	}
	return s.page(w, r, http.StatusOK, "calibrate", view)
}

// calibrateGuide shows what to do for one kind of calibration, the form of its readings, and
// what readings that were handed in come to.
func (s *Server) calibrateGuide(w http.ResponseWriter, r *http.Request) error {
	guide, form, err := s.guideOf(r)
	if err != nil {
		return err
	}
	f := newFields(url.Values{"text": {form.Text}, "table": {form.Table}})
	if token := r.URL.Query().Get("readings"); token != "" {
		held, err := s.heldReadings(r, token)
		if err != nil {
			return err
		}
		return s.showReadings(w, r, guide, form, f, held)
	}
	return s.showCalibrating(w, r, http.StatusOK, guide, form, f, nil, nil)
}

// guideOf returns the guide and the form of the readings that the address names.
func (s *Server) guideOf(r *http.Request) (*report.CalibrationGuide, lab.ReadingsForm, error) {
	dyno, kind := r.PathValue("dyno"), r.PathValue("kind")
	if err := s.desk.KnowsDyno(r.Context(), dyno); err != nil {
		return nil, lab.ReadingsForm{}, err
	}
	guide, err := lab.CalibrationGuide(kind)
	if err != nil {
		return nil, lab.ReadingsForm{}, &requestError{http.StatusNotFound, upper(err.Error()) + "."}
	}
	form, err := lab.NewReadings(kind, dyno)
	return guide, form, err
}

// heldReadings finds readings that were handed in.
func (s *Server) heldReadings(r *http.Request, token string) (heldFile, error) {
	held, found := s.held.findReadings(token, s.by(r), time.Now())
	if !found {
		return held, &requestError{http.StatusNotFound, "The readings that were handed in are no longer held: they are for an hour. Hand them in again."}
	}
	return held, nil
}

// takeReadings takes the readings of a calibration with their logs, and works them out.
func (s *Server) takeReadings(w http.ResponseWriter, r *http.Request) error {
	guide, form, err := s.guideOf(r)
	if err != nil {
		return err
	}
	u, err := s.readFiles(w, r)
	if errors.Is(err, fileTooLarge) {
		err = readingsTooLarge
	}
	if err != nil {
		return err
	}
	f := newFields(u.fields)
	// What was held too long ago is missed by the readings, which say so.
	held, _ := s.held.findReadings(f.v.Get("readings"), s.by(r), time.Now())
	all := gathered(f, u.beside, held.beside, form)
	size := 0
	for _, data := range all {
		size += len(data)
	}
	if size > maxFileBytes || len(all) > maxReadingsFiles {
		return readingsTooLarge
	}
	token := s.held.holdReadings(held.token, all, s.by(r), time.Now())
	f.v.Set("readings", token)
	if found, err := s.workedOut(r, f, all); err != nil || found == nil {
		if err != nil {
			return err
		}
		return s.showCalibrating(w, r, http.StatusUnprocessableEntity, guide, form, f, all, nil)
	}
	http.Redirect(w, r, calibratePath(r)+"?readings="+token, http.StatusSeeOther)
	return nil
}

func calibratePath(r *http.Request) string {
	return "/dynos/" + url.PathEscape(r.PathValue("dyno")) + "/calibrate/" + url.PathEscape(r.PathValue("kind"))
}

// gathered puts what came with the form to what is held: a file of readings takes the place
// of what was typed, what was typed as a table lies beside it, and a log that came with
// typed readings is listed in them.
func gathered(f *fields, came, held map[string][]byte, form lab.ReadingsForm) map[string][]byte {
	all := maps.Clone(held)
	if all == nil {
		all = map[string][]byte{}
	}
	if typed := f.v.Get("table"); form.Table != "" && strings.TrimSpace(typed) != "" {
		all[lab.ReadingsTable] = []byte(typed)
	}
	text, file := f.v.Get("text"), ""
	var logs []string
	for _, name := range slices.Sorted(maps.Keys(came)) {
		data := came[name]
		switch {
		case !strings.EqualFold(path.Ext(name), ".toml"):
			all[name] = data
			logs = append(logs, name)
		case file != "":
			f.blame("", "Two files of readings were chosen, "+file+" and "+name+": one calibration has one.")
		case len(data) > maxFormBytes || !isText(string(data)):
			f.blame("", fmt.Sprintf("%s is no file of readings: that is text of at most %d KiB.", name, maxFormBytes>>10))
		default:
			text, file = string(data), name
		}
	}
	for _, name := range logs {
		if form.Logs && file == "" && !strings.Contains(text, strconv.Quote(name)) {
			text += lab.ReadingsLog(name)
		}
	}
	all[readingsFile] = []byte(text)
	fillReadings(f, all)
	return all
}

// fillReadings fills the form with the readings and the table that are held.
func fillReadings(f *fields, all map[string][]byte) {
	f.v.Set("text", string(all[readingsFile]))
	f.v.Del("table")
	if table, has := all[lab.ReadingsTable]; has && len(table) <= maxFormBytes && isText(string(table)) {
		f.v.Set("table", string(table))
	}
}

// workedOut works a calibration out of readings; nil: the form says why it cannot be.
func (s *Server) workedOut(r *http.Request, f *fields, all map[string][]byte) (*lab.FoundCalibration, error) {
	if len(f.wrong) > 0 {
		return nil, nil
	}
	page := r.PathValue("dyno")
	q := lab.CalibrateQuery{Kind: r.PathValue("kind"), File: readingsFile, Files: all, Version: s.o.Version}
	dyno, at, err := lab.DynoOfReadings(q)
	if err != nil {
		f.blame("", aboutReadings(err))
		return nil, nil
	}
	if dyno != page {
		f.blame("", "These are readings of dyno "+dyno+", and this is the page of dyno "+page+".")
		return nil, nil
	}
	if q.InUse, err = s.desk.CalibrationInUse(r.Context(), dyno, at); err != nil {
		return nil, err
	}
	found, err := lab.FindCalibration(q) // it looks at the readings alone
	if err != nil {
		f.blame("", aboutReadings(err))
		return nil, nil
	}
	return found, nil
}

// aboutReadings words on one line what is wrong with readings.
func aboutReadings(err error) string {
	text := strings.Join(strings.Fields(strings.TrimPrefix(err.Error(), readingsFile+": ")), " ")
	return upper(strings.TrimRight(text, ".")) + "."
}

// keepReadings keeps the calibration that readings come to.
func (s *Server) keepReadings(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	guide, form, err := s.guideOf(r)
	if err != nil {
		return err
	}
	f := newFields(r.PostForm)
	held, err := s.heldReadings(r, f.v.Get("readings"))
	if err != nil {
		return err
	}
	found, err := s.workedOut(r, f, held.beside)
	if err != nil {
		return err
	}
	fillReadings(f, held.beside)
	if found != nil {
		done, err := s.desk.KeepFound(r.Context(), found, s.author(r))
		if err == nil {
			http.Redirect(w, r, "/dynos/"+url.PathEscape(r.PathValue("dyno"))+"?done="+map[bool]string{true: "calibrated", false: "calibrated-same"}[done.Changed]+"#calibrations", http.StatusSeeOther)
			return nil
		}
		if !f.take(err, func(string) string { return "" }) {
			return err
		}
		if found.CannotKeep == nil {
			f.blame("why", "To put this one in its place, say why.")
		}
	}
	return s.showCalibrating(w, r, http.StatusUnprocessableEntity, guide, form, f, held.beside, found)
}

// showReadings shows what readings come to that were handed in before.
func (s *Server) showReadings(w http.ResponseWriter, r *http.Request, guide *report.CalibrationGuide, form lab.ReadingsForm, f *fields, held heldFile) error {
	f.v.Set("readings", held.token)
	fillReadings(f, held.beside)
	found, err := s.workedOut(r, f, held.beside)
	if err != nil {
		return err
	}
	status := http.StatusOK
	if found == nil {
		status = http.StatusUnprocessableEntity
	}
	return s.showCalibrating(w, r, status, guide, form, f, held.beside, found)
}

func (s *Server) showCalibrating(w http.ResponseWriter, r *http.Request, status int, guide *report.CalibrationGuide, form lab.ReadingsForm, f *fields, all map[string][]byte, found *lab.FoundCalibration) error {
	dyno := r.PathValue("dyno")
	view := calibrateView{frame: s.frame(r, guide.Title+": dyno "+dyno), Dyno: dyno, Guide: guide, Form: form, F: f.v, Wrong: f.wrong,
		FileMiB: maxFileBytes >> 20, TextKiB: maxFormBytes >> 10, Zone: time.Now().Format("MST, UTC-07:00")}
	view.Section = "dynos"
	if r.Method != http.MethodGet {
		view.Here = calibratePath(r)
	}
	for _, name := range slices.Sorted(maps.Keys(all)) {
		if name != readingsFile {
			view.Files = append(view.Files, name)
		}
	}
	var err error
	if view.Example, err = lab.ExampleReadings(guide.Kind); err != nil {
		return err
	}
	if found != nil {
		if view.Lead, view.Result, err = found.View.Parts(); err != nil {
			return err
		}
		if view.CanKeep = found.CannotKeep == nil; !view.CanKeep {
			view.CannotKeep = upper(found.CannotKeep.Error()) + "."
		}
	}
	return s.page(w, r, status, "calibrate", view)
}
