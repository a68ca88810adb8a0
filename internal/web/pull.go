package web

import (
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"fairpull/internal/lab"
	"fairpull/report"
)

// pullPage is the page of one pull.
type pullPage struct {
	frame
	ID, Pull, Byline string
	Exploratory      bool
	Before, After    string // neighbours by time; empty: none
	Sections         []report.Section
	Data             string // address of the raw channels; empty: none can be drawn
	Rows, Lines      int
	Problem          string // why the log cannot be read as channels
	Query            string // of the address, to keep the look
}

// pull shows one pull as recorded and as reduced.
func (s *Server) pull(w http.ResponseWriter, r *http.Request) error {
	as, err := lookOf(r.URL.Query())
	if err != nil {
		return err
	}
	id, name := r.PathValue("id"), r.PathValue("pull")
	page, look, err := s.desk.PullPage(r.Context(), id, name, as)
	if err != nil {
		return err
	}
	raw, err := s.desk.RawLog(r.Context(), id, name)
	if err != nil {
		return err
	}
	view := pullPage{frame: s.frame(r, page.Title()), ID: id, Pull: name, Byline: page.Byline(), Exploratory: len(look.Exploratory) > 0,
		Rows: page.Raw.Rows, Lines: raw.LineCount(), Query: lookQuery(r.URL.Query(), "units")}
	view.Section, view.Live, view.Changed = "campaign", "campaign "+id, look.Changed
	if raw.Problem != nil {
		view.Problem = raw.Problem.Error()
	}
	if view.Rows > 1 {
		view.Data = pullPath(id, name) + "/raw.json" + view.Query
	}
	view.Before, view.After = look.Neighbours(name)
	if view.Sections, err = page.Sections(view.Units, report.ChartsAt{Path: pullPath(id, name) + "/charts/", Query: view.Query}); err != nil {
		return err
	}
	return s.page(w, r, http.StatusOK, "pull", view)
}

func pullPath(id, pull string) string {
	return "/campaigns/" + url.PathEscape(id) + "/pulls/" + url.PathEscape(pull)
}

// Bounds of the points of a channel that one answer holds.
const fewestPoints, usualPoints, mostPoints = 100, 2000, 4000

// rawChannels writes a stretch of a pull's channels.
func (s *Server) rawChannels(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	place := func(name string) (float64, error) {
		text := q.Get(name)
		if text == "" {
			return 0, nil
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return 0, &requestError{http.StatusBadRequest, "from and to are numbers on the log's axis, as in 1.5."}
		}
		return v, nil
	}
	from, err := place("from")
	if err != nil {
		return err
	}
	to, err := place("to")
	if err != nil {
		return err
	}
	points := usualPoints
	if text := q.Get("points"); text != "" {
		if points, err = strconv.Atoi(text); err != nil || points < fewestPoints || points > mostPoints {
			return &requestError{http.StatusBadRequest, "points is a whole number from 100 to 4000."}
		}
	}
	raw, err := s.desk.RawLog(r.Context(), r.PathValue("id"), r.PathValue("pull"))
	if err != nil {
		return err
	}
	data, err := raw.RawJSON(from, to, points, unitsOf(r))
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "private, no-cache")
	_, _ = w.Write(data) // a browser that went away needs no answer
	return nil
}

// logView is a page of a log's own text.
type logView struct {
	frame
	ID, Pull, Log  string
	Lines          []lab.LogLine
	First, Last    int
	Count          int
	Earlier, Later string // addresses; empty: none
}

// linesOfLog is how many lines one page of a log has.
const linesOfLog = 200

// logText shows the log's own text, some lines at a time.
func (s *Server) logText(w http.ResponseWriter, r *http.Request) error {
	id, name := r.PathValue("id"), r.PathValue("pull")
	raw, err := s.desk.RawLog(r.Context(), id, name)
	if err != nil {
		return err
	}
	first := 1
	if text := strings.TrimSpace(r.URL.Query().Get("line")); text != "" {
		if first, err = strconv.Atoi(text); err != nil || first < 1 {
			return &requestError{http.StatusBadRequest, "A line is a whole number from 1 on."}
		}
	}
	count := raw.LineCount()
	first = min(first, max(count, 1))
	view := logView{frame: s.frame(r, "Log of pull "+name), ID: id, Pull: name, Log: raw.Pull.Log, Count: count, Lines: raw.Lines(first, linesOfLog)}
	view.Section, view.First, view.Last = "campaign", first, first+len(view.Lines)-1
	address := pullPath(id, name) + "/log?line="
	if first > 1 {
		view.Earlier = address + strconv.Itoa(max(1, first-linesOfLog))
	}
	if view.Last < count {
		view.Later = address + strconv.Itoa(view.Last+1)
	}
	return s.page(w, r, http.StatusOK, "logtext", view)
}

// logFile hands the log out as it was recorded. A browser saves it and shows
// nothing of it.
func (s *Server) logFile(w http.ResponseWriter, r *http.Request) error {
	raw, err := s.desk.RawLog(r.Context(), r.PathValue("id"), r.PathValue("pull"))
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "application/octet-stream")
	h.Set("Content-Disposition", `attachment; filename="`+fileName(r.PathValue("id")+"-"+r.PathValue("pull")+"-"+raw.Pull.Log)+`"`)
	h.Set("Content-Security-Policy", "sandbox; default-src 'none'; frame-ancestors 'none'")
	h.Set("Cache-Control", "private, no-cache")
	_, _ = w.Write(raw.Text()) // a browser that went away needs no answer
	return nil
}

// fileName leaves of a text what any system takes as the name of a file.
func fileName(text string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '.' || r == '-' || r == '_' {
			return r
		}
		return '-'
	}, text)
}
