package web

import (
	"cmp"
	"errors"
	"net/http"
	"net/url"
	"strings"

	"fairpull/campaign"
	"fairpull/internal/lab"
	"fairpull/report"
)

// coversView asks which claims cover a combination of parts and settings.
type coversView struct {
	frame
	Parts, Settings, Vehicle string // as they were entered
	Asked                    bool
	Wrong                    string
	Lead                     report.Lead
	Sections                 []report.Section
	Query                    string // of the same question as JSON
	Neutral                  []report.NeutralRow
	AskWho                   bool
	Who                      string
	NeutralWrong             string
}

func (s *Server) covers(w http.ResponseWriter, r *http.Request) error {
	return s.showCovers(w, r, http.StatusOK, "")
}

func (s *Server) showCovers(w http.ResponseWriter, r *http.Request, status int, neutralWrong string) error {
	q := r.URL.Query()
	view := coversView{frame: s.frame(r, "Does it cover this bike?"), Parts: q.Get("parts"), Settings: q.Get("settings"), Vehicle: strings.TrimSpace(q.Get("vehicle")), AskWho: !s.o.Accounts, Who: s.by(r), NeutralWrong: neutralWrong}
	view.Section = "covers"
	if like := q.Get("like"); like != "" {
		c, err := s.desk.Claim(r.Context(), like)
		if err != nil {
			return err
		}
		view.Parts, view.Settings = combinationOf(c.Tested)
	}
	neutral, err := s.desk.Neutrals(r.Context())
	if err != nil {
		return err
	}
	view.Neutral = neutral.Rows
	if q.Get("ask") != "" {
		if err := s.answerCovers(r, &view); err != nil {
			return err
		}
		if view.Wrong != "" {
			status = http.StatusUnprocessableEntity
		}
	}
	if neutralWrong != "" {
		view.Here = "/covers"
	}
	return s.page(w, r, status, "covers", view)
}

// answerCovers answers what the address asks, or says what is wrong with it.
func (s *Server) answerCovers(r *http.Request, view *coversView) error {
	q := r.URL.Query()
	c, err := combination(q)
	var answer *report.Covers
	if err == nil {
		answer, err = s.desk.Covers(r.Context(), c)
	}
	f := newFields(nil)
	var wrong *requestError
	switch {
	case errors.As(err, &wrong):
		view.Wrong = wrong.text
		return nil
	case err != nil && f.take(err, func(string) string { return "" }):
		view.Wrong = f.wrong[""]
		return nil
	case err != nil:
		return err
	}
	view.Asked, view.Query = true, "?"+kept(q, "parts", "settings", "vehicle").Encode()
	view.Lead, view.Sections, err = answer.Parts()
	return err
}

// combinationOf writes what a claim tested as the form takes it.
func combinationOf(side campaign.ClaimSide) (parts, settings string) {
	for _, p := range side.Components {
		parts += p.Function + " = " + p.Part + "\n"
	}
	for _, p := range side.Settings {
		settings += p.Key + " = " + p.Value + "\n"
	}
	return parts, settings
}

// combination reads what is asked about: a line each, as in exhaust = X-650-2.
func combination(q url.Values) (lab.Combination, error) {
	c := lab.Combination{Vehicle: strings.TrimSpace(q.Get("vehicle"))}
	f := newFields(q)
	for _, line := range f.lines("parts") {
		function, part, found := strings.Cut(line, "=")
		if !found || strings.TrimSpace(function) == "" || strings.TrimSpace(part) == "" {
			return c, &requestError{http.StatusUnprocessableEntity, "“" + report.Shorten(line, 60) + "” is no part: write exhaust = X-650-2, a line each."}
		}
		c.Components = append(c.Components, campaign.Component{Function: strings.TrimSpace(function), Part: strings.TrimSpace(part)})
	}
	for _, line := range f.lines("settings") {
		key, value, found := strings.Cut(line, "=")
		if !found || strings.TrimSpace(key) == "" {
			return c, &requestError{http.StatusUnprocessableEntity, "“" + report.Shorten(line, 60) + "” is no setting: write fuel = E10 98, a line each."}
		}
		c.Settings = append(c.Settings, campaign.Setting{Key: strings.TrimSpace(key), Value: strings.TrimSpace(value)})
	}
	return c, nil
}

// coversJSON answers the same question for programs.
func (s *Server) coversJSON(w http.ResponseWriter, r *http.Request) error {
	c, err := combination(r.URL.Query())
	if err != nil {
		return err
	}
	answer, err := s.desk.Covers(r.Context(), c)
	if err != nil {
		return err
	}
	data, err := answer.JSON()
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "private, no-cache")
	_, _ = w.Write(data) // a browser that went away needs no answer
	return nil
}

// setNeutral declares a part neutral, or takes that back.
func (s *Server) setNeutral(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	f := newFields(r.PostForm)
	neutral := !f.ticked("end")
	changed, err := s.desk.SetNeutral(r.Context(), f.text("function"), neutral, lab.Author{Who: s.who(r, f), Why: f.text("why")})
	if err != nil {
		if f.take(err, func(string) string { return "" }) {
			return s.showCovers(w, r, http.StatusUnprocessableEntity, f.wrong[""])
		}
		return err
	}
	done := map[bool]string{true: "neutral", false: "not-neutral"}[neutral]
	http.Redirect(w, r, "/covers?done="+cmp.Or(map[bool]string{false: "neutral-same"}[changed], done)+"#neutral", http.StatusSeeOther)
	return nil
}
