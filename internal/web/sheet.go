package web

import (
	"bytes"
	"fmt"
	"net/http"
	"strings"

	"fairpull/internal/lab"
	"fairpull/report"
)

// planSheet shows the pull sheet of a planned campaign.
func (s *Server) planSheet(w http.ResponseWriter, r *http.Request) error {
	sheet, err := s.sheet(r, false)
	if err != nil {
		return err
	}
	c := &sheet.Campaign
	view := sheetView{frame: s.frame(r, "Pull sheet"), ID: c.ID, Blind: c.Plan.Blind, Frozen: !c.Plan.Frozen.IsZero()}
	view.Section, view.Wide = "plan", true
	if view.Lead, view.Sections, err = sheet.Parts(view.Units); err != nil {
		return err
	}
	view.Title = view.Lead.Title
	return s.page(w, r, http.StatusOK, "sheet", view)
}

// sheetView is the page of a pull sheet.
type sheetView struct {
	frame
	ID            string
	Blind, Frozen bool
	Lead          report.Lead
	Sections      []report.Section
}

// sheet returns the pull sheet of the campaign of the address.
func (s *Server) sheet(r *http.Request, key bool) (*report.PullSheet, error) {
	c, err := s.desk.PlannedCampaign(r.Context(), r.PathValue("id"))
	if err != nil {
		return nil, err
	}
	if key && !c.Plan.Blind {
		return nil, &requestError{http.StatusNotFound, "A key belongs to a blind plan, and this one is not: its sheet says what to fit."}
	}
	tyre, err := lab.SheetTyre(&c, 0)
	if err != nil {
		return nil, err
	}
	return &report.PullSheet{Campaign: c, Tyre: tyre, Key: key, Version: s.o.Version}, nil
}

// sheetFile writes a pull sheet, or the key of a blind one, to take along.
func (s *Server) sheetFile(w http.ResponseWriter, r *http.Request) error {
	kind, ending, _ := strings.Cut(r.PathValue("file"), ".")
	if kind != "pull-sheet" && kind != "key" || ending != "html" && ending != "pdf" {
		return &requestError{http.StatusNotFound, "A plan has no document of that name."}
	}
	if kind == "key" {
		if who, ok := accountOf(r); ok && !who.May(lab.Engineer) {
			return &requestError{http.StatusForbidden, "The key of a blind plan is for who fits the parts: it needs the role engineer."}
		}
	}
	sheet, err := s.sheet(r, kind == "key")
	if err != nil {
		return err
	}
	return attach(w, fmt.Sprintf("%s-%s.%s", sheet.Campaign.ID, kind, ending), ending, func(b *bytes.Buffer) error {
		if ending == "pdf" {
			return sheet.PDF(b, unitsOf(r))
		}
		return sheet.HTML(b, unitsOf(r))
	})
}

// attach writes a document to take along: within a browser it may do nothing.
func attach(w http.ResponseWriter, name, ending string, write func(b *bytes.Buffer) error) error {
	var b bytes.Buffer
	if err := write(&b); err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", map[string]string{"html": "text/html; charset=utf-8", "pdf": "application/pdf"}[ending])
	h.Set("Content-Disposition", `attachment; filename="`+name+`"`)
	h.Set("Content-Security-Policy", "sandbox; default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'")
	h.Set("Cache-Control", "private, no-cache")
	_, _ = w.Write(b.Bytes()) // a browser that went away needs no answer
	return nil
}
