package report

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"sync"

	"fairpull/quantity"
	"fairpull/report/draw"
)

//go:embed sheet.html
var sheetSource string

//go:embed sheet.css
var sheetStyle string

var sheetTemplate = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("sheet").Parse(sheetSource))
})

// sheetPage is what the template shows. Every string is escaped there but Style,
// Chart and Logo, which this package writes itself.
type sheetPage struct {
	sheetView
	Lang, Maker, Figures, ChartName string
	Valid                           bool
	Style                           template.CSS
	Logo                            template.URL
	Chart                           template.HTML
	Table                           pageBlock
	Columns                         [2][]sheetSection
}

// HTML writes the sheet as one page that stands alone: no script, nothing fetched,
// readable on a phone, fit to print. It is the accessible form.
func (s *Sheet) HTML(w io.Writer, units quantity.System) error {
	v := s.view(units)
	for _, words := range []*string{&v.Typical, &v.Scope, &v.Meaning} {
		*words = unbroken(*words)
	}
	page := sheetPage{
		sheetView: v, Lang: s.l.Tag.String(), Maker: s.o.Look.Name, Figures: s.l.say("table.figure"), Valid: s.valid(),
		Style: template.CSS(fmt.Sprintf(":root { --maker: %s; --heading: %s; }\n", cssColour(s.o.Look.colour), cssColour(s.o.Look.headings())) + sheetStyle),
		Table: tableView(v.Table), Columns: [2][]sheetSection{v.Left, v.Right},
	}
	var chart bytes.Buffer
	picture := s.chart(look{onScreen.width, 11}, units)
	if err := draw.SVG(&chart, picture, true); err != nil {
		return err
	}
	page.Chart, page.ChartName = template.HTML(chart.String()), picture.Title
	if l := s.o.Look.logo; l != nil {
		page.Logo = template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(l))
	}
	var out bytes.Buffer
	if err := sheetTemplate().Execute(&out, page); err != nil {
		return err
	}
	_, err := w.Write(out.Bytes())
	return err
}

func cssColour(p draw.Paint) string { return fmt.Sprintf("#%02x%02x%02x", p.R, p.G, p.B) }
