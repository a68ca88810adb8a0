package web

import (
	"bytes"
	"net/http"

	"fairpull/quantity"
	"fairpull/report"
)

// documents are the forms in which a campaign can be taken along.
var documents = map[string]struct {
	media string
	write func(*report.Gain, *bytes.Buffer, quantity.System) error
}{
	"report.html": {"text/html; charset=utf-8", func(g *report.Gain, b *bytes.Buffer, u quantity.System) error { return g.HTML(b, u) }},
	"report.pdf":  {"application/pdf", func(g *report.Gain, b *bytes.Buffer, u quantity.System) error { return g.PDF(b, u) }},
	"picture.svg": {"image/svg+xml", func(g *report.Gain, b *bytes.Buffer, u quantity.System) error { return g.SVG(b, u) }},
	"picture.png": {"image/png", func(g *report.Gain, b *bytes.Buffer, u quantity.System) error { return g.PNG(b, u) }},
	"curves.csv":  {"text/csv; charset=utf-8", func(g *report.Gain, b *bytes.Buffer, u quantity.System) error { return g.CSV(b, u) }},
	"gain.json": {"application/json", func(g *report.Gain, b *bytes.Buffer, _ quantity.System) error {
		data, err := g.JSON()
		b.Write(data)
		return err
	}},
}

// download writes a document of the campaign as it is looked at.
func (s *Server) download(w http.ResponseWriter, r *http.Request) error {
	name := r.PathValue("file")
	document, known := documents[name]
	if !known {
		return &requestError{http.StatusNotFound, "A campaign has no document of that name."}
	}
	look, err := s.look(r)
	if err != nil {
		return err
	}
	units := unitsOf(r)
	if name == "gain.json" { // its format has its own units
		units = quantity.SI
	}
	view := look.View(s.o.Version, units)
	if view == nil {
		return &requestError{http.StatusConflict, "The campaign cannot be analysed as it stands, so there is no report of it: " + look.Problem.Error()}
	}
	var b bytes.Buffer
	if err := document.write(view, &b, units); err != nil {
		return err
	}
	kind := ""
	if len(look.Exploratory) > 0 {
		kind = "-exploratory"
	}
	h := w.Header()
	h.Set("Content-Type", document.media)
	h.Set("Content-Disposition", `attachment; filename="`+look.Campaign.ID+kind+"-"+name+`"`)
	h.Set("Content-Security-Policy", "sandbox; default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'")
	h.Set("Cache-Control", "private, no-cache")
	_, _ = w.Write(b.Bytes()) // a browser that went away needs no answer
	return nil
}
