package web

import (
	"bytes"
	"io"
	"net/http"

	"fairpull/internal/lab"
	"fairpull/quantity"
	"fairpull/report"
)

// claimFile is a document of a claim: its media type and what writes it.
type claimFile struct {
	media string
	write func(s *Server, r *http.Request, number string, b *bytes.Buffer) error
}

// claimFiles are the documents of a claim by the names that they have in an address.
var claimFiles = map[string]claimFile{
	"sheet.html":       {"text/html; charset=utf-8", sheetAs((*report.Sheet).HTML)},
	"sheet.pdf":        {"application/pdf", sheetAs((*report.Sheet).PDF)},
	"sheet.svg":        {"image/svg+xml", sheetAs((*report.Sheet).SVG)},
	"sheet.png":        {"image/png", sheetAs((*report.Sheet).PNG)},
	"test-report.html": {"text/html; charset=utf-8", testReportAs((*report.TestReport).HTML)},
	"test-report.pdf":  {"application/pdf", testReportAs((*report.TestReport).PDF)},
	"claim.json":       {"application/json", claimAsJSON},
	"dossier.zip":      {"application/zip", dossierAsZip},
}

func sheetAs(write func(*report.Sheet, io.Writer, quantity.System) error) func(*Server, *http.Request, string, *bytes.Buffer) error {
	return func(s *Server, r *http.Request, number string, b *bytes.Buffer) error {
		q := r.URL.Query()
		o := report.SheetOptions{Language: q.Get("language"), Paper: q.Get("paper")}
		if _, err := report.ParseLanguage(o.Language); o.Language != "" && err != nil {
			return &requestError{http.StatusBadRequest, "A sheet is not written in that language."}
		}
		if o.Paper != "" && o.Paper != "a4" && o.Paper != "letter" {
			return &requestError{http.StatusBadRequest, "A sheet is written on a4 or letter."}
		}
		sheet, err := s.desk.Sheet(r.Context(), lab.SheetQuery{Number: number, Program: s.o.Version, Options: o})
		if err != nil {
			return err
		}
		return write(sheet, b, unitsOf(r))
	}
}

func testReportAs(write func(*report.TestReport, io.Writer, quantity.System) error) func(*Server, *http.Request, string, *bytes.Buffer) error {
	return func(s *Server, r *http.Request, number string, b *bytes.Buffer) error {
		t, err := s.desk.TestReport(r.Context(), number, report.ReportDetails{}, s.o.Version)
		if err != nil {
			return err
		}
		return write(t, b, unitsOf(r))
	}
}

func claimAsJSON(s *Server, r *http.Request, number string, b *bytes.Buffer) error {
	c, err := s.desk.Claim(r.Context(), number)
	if err != nil {
		return err
	}
	data, err := c.JSON()
	b.Write(data)
	return err
}

func dossierAsZip(s *Server, r *http.Request, number string, b *bytes.Buffer) error {
	data, _, err := s.desk.DossierZip(r.Context(), number)
	b.Write(data)
	return err
}

// claimFile writes a document of a claim to be taken along.
func (s *Server) claimFile(w http.ResponseWriter, r *http.Request) error {
	number, name := r.PathValue("claim"), r.PathValue("file")
	file, known := claimFiles[name]
	if !known {
		return &requestError{http.StatusNotFound, "A claim has no document of that name."}
	}
	if _, err := s.desk.Claim(r.Context(), number); err != nil {
		return err
	}
	var b bytes.Buffer
	if err := file.write(s, r, number, &b); err != nil {
		return err
	}
	as := "claim-" + number + "-" + name
	switch name {
	case "dossier.zip":
		as = "claim-" + number + ".zip" // the name that the bag within has
	case "claim.json":
		as = "claim-" + number + ".json"
	}
	h := w.Header()
	h.Set("Content-Type", file.media)
	h.Set("Content-Disposition", `attachment; filename="`+as+`"`)
	h.Set("Content-Security-Policy", "sandbox; default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'")
	h.Set("Cache-Control", "private, no-cache")
	_, _ = w.Write(b.Bytes()) // a browser that went away needs no answer
	return nil
}
