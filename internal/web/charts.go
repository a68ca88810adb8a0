package web

import (
	"bytes"
	"errors"
	"io"
	"net/http"
	"net/url"
	"strings"

	"fairpull/report"
)

// charted returns the charts of the page that an address below it belongs to, and how
// the names of their files begin.
type charted func(*http.Request) (*report.Charts, string, error)

// chartForms are the forms of a chart by the ending of its address.
var chartForms = map[string]struct {
	media string
	write func(*report.Charts, io.Writer, string) error
}{
	"svg":  {"image/svg+xml", (*report.Charts).SVG},
	"png":  {"image/png", (*report.Charts).PNG},
	"csv":  {"text/csv; charset=utf-8", (*report.Charts).CSV},
	"json": {"application/json", (*report.Charts).JSON},
}

// chart writes one chart of a page, as in gain-1.svg: a file to take along, or its
// data for the page's own script.
func (s *Server) chart(of charted) handler {
	return func(w http.ResponseWriter, r *http.Request) error {
		none := &requestError{http.StatusNotFound, "This page has no such chart, or it is not kept in that form."}
		name, ending, _ := strings.Cut(r.PathValue("chart"), ".")
		form, known := chartForms[ending]
		if !known {
			return none
		}
		charts, stem, err := of(r)
		if err != nil {
			return err
		}
		charts.Version = s.o.Version
		var b bytes.Buffer
		if err := form.write(charts, &b, name); err != nil {
			if errors.Is(err, report.ErrNoChart) {
				return none
			}
			return err
		}
		if charts.Exploratory != "" {
			stem += "-exploratory"
		}
		h := w.Header()
		h.Set("Content-Type", form.media)
		h.Set("Cache-Control", "private, no-cache")
		if ending != "json" {
			h.Set("Content-Disposition", `attachment; filename="`+fileName(stem+"-"+name+"."+ending)+`"`)
			h.Set("Content-Security-Policy", "sandbox; default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'")
		}
		_, _ = w.Write(b.Bytes()) // a browser that went away needs no answer
		return nil
	}
}

// chartsAt says where the charts of a page are, given its path and the parameters
// that make it what it is.
func chartsAt(path string, query url.Values) report.ChartsAt {
	at := report.ChartsAt{Path: path + "/charts/"}
	if len(query) > 0 {
		at.Query = "?" + query.Encode()
	}
	return at
}

// campaignCharts are those of a campaign's page.
func (s *Server) campaignCharts(r *http.Request) (*report.Charts, string, error) {
	look, err := s.look(r)
	if err != nil {
		return nil, "", err
	}
	units := unitsOf(r)
	view := look.View(s.o.Version, units)
	if view == nil {
		return nil, "", &requestError{http.StatusConflict, "The campaign cannot be analysed as it stands, so it has no charts: " + look.Problem.Error()}
	}
	return view.Charts(units), look.Campaign.ID, nil
}

// pullCharts are those of a pull's page.
func (s *Server) pullCharts(r *http.Request) (*report.Charts, string, error) {
	as, err := lookOf(r.URL.Query())
	if err != nil {
		return nil, "", err
	}
	id, name := r.PathValue("id"), r.PathValue("pull")
	page, _, err := s.desk.PullPage(r.Context(), id, name, as)
	if err != nil {
		return nil, "", err
	}
	return page.Charts(unitsOf(r)), id + "-pull-" + name, nil
}
