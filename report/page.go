package report

import (
	"bytes"
	_ "embed"
	"html/template"
	"io"
	"strings"
	"sync"

	"fairpull/quantity"
	"fairpull/report/draw"
)

//go:embed page.html
var pageSource string

//go:embed page.css
var pageStyle string

var pageTemplate = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("page").Parse(pageSource))
})

// pageView is what the template shows. Every string is escaped there but Style
// and SVG, which this package writes itself.
type pageView struct {
	Title, Description, Footer string
	Style                      template.CSS
	Blocks                     []pageBlock
}

// pageBlock is one block as the template reads it; Kind says which fields count.
type pageBlock struct {
	Kind, ID, Name, Words, Mark, Status string
	Level                               int
	Small, Shown                        bool
	Items                               []string
	Links                               []heading
	SVG                                 template.HTML
	Data, TableID                       string // of a chart
	Files                               []chartLink
	Numbers                             []pageBlock
	Heads                               []pageCell
	Rows                                []pageRow
}

type pageRow struct {
	Mark  string
	Cells []pageCell
}

type pageCell struct {
	Words, Hint  string
	Head, Number bool
	Class        string
}

// HTML writes one page that stands alone: no script, nothing fetched, charts
// within it and their numbers in tables, light or dark as the reader's system
// is, fit to print. It is the accessible form of the report.
func (g *Gain) HTML(w io.Writer, units quantity.System) error {
	blocks := g.document(onScreen, documentOptions{units: units})
	view := pageView{Title: "Fairpull report: " + g.title(), Style: template.CSS(pageStyle), Footer: g.provenance()}
	if len(g.Comparisons) > 0 {
		view.Description = g.Sentence(&g.Comparisons[0])
	}
	for i, b := range blocks {
		converted, err := pageBlockOf(b)
		if err != nil {
			return err
		}
		view.Blocks = append(view.Blocks, converted)
		if _, next := nextHeading(blocks, i); next {
			view.Blocks = append(view.Blocks, contents(blocks))
		}
	}
	var page bytes.Buffer
	if err := pageTemplate().Execute(&page, view); err != nil {
		return err
	}
	_, err := w.Write(page.Bytes())
	return err
}

// nextHeading reports true at the block before the first section: the place of
// the contents.
func nextHeading(blocks []block, i int) (heading, bool) {
	if i+1 >= len(blocks) {
		return heading{}, false
	}
	h, ok := blocks[i+1].(heading)
	return h, ok && h.ID == "comparison-1"
}

// contents links to the sections.
func contents(blocks []block) pageBlock {
	out := pageBlock{Kind: "contents"}
	for _, b := range blocks {
		if h, ok := b.(heading); ok && h.ID != "" {
			out.Links = append(out.Links, h)
		}
	}
	return out
}

func pageBlockOf(b block) (pageBlock, error) {
	switch b := b.(type) {
	case heading:
		return pageBlock{Kind: "heading", Level: b.Level, Words: b.Words, ID: b.ID}, nil
	case verdict:
		return pageBlock{Kind: "verdict", Name: b.Name, Shown: b.Shown, Words: unbroken(b.Sentence)}, nil
	case paragraph:
		return pageBlock{Kind: "paragraph", Words: unbroken(b.Words), Small: b.Small}, nil
	case bullets:
		return pageBlock{Kind: "bullets", Items: b.Items}, nil
	case openCheck:
		return pageBlock{Kind: "flag", Mark: b.Mark, Status: b.Status, Name: b.Name, Words: unbroken(b.Message)}, nil
	case figure:
		return figureView(b)
	case table:
		return tableView(b), nil
	case formula:
		return pageBlock{Kind: "formula", SVG: b.MathML, Words: unbroken(b.Words)}, nil
	case form:
		return formView(b), nil
	case together:
		return pageBlock{Kind: map[bool]string{false: "together", true: "apart"}[b.End]}, nil
	}
	panic("report: a kind of block that the page does not know")
}

// figureView shows a chart; where it has an address, with what leads to it and its
// numbers in a table, unless another one has them.
func figureView(f figure) (pageBlock, error) {
	var svg bytes.Buffer
	err := draw.SVG(&svg, f.Picture, true)
	out := pageBlock{Kind: "figure", ID: f.Picture.ID, SVG: template.HTML(svg.String()), Words: unbroken(f.Caption), Name: "Chart: " + f.Picture.Title,
		Data: f.data(), Files: f.links()}
	if out.Files == nil {
		return out, err
	}
	out.TableID = f.TableID
	if n := f.numbers(); n != nil && !f.Beside {
		out.Numbers = []pageBlock{tableView(n.table(f.Picture.Title))}
	}
	return out, err
}

func tableView(t table) pageBlock {
	out := pageBlock{Kind: "table", Words: unbroken(t.Caption), Name: "Table: " + t.Heads[0] + " and more", Small: t.Long}
	for i, h := range t.Heads {
		out.Heads = append(out.Heads, pageCell{Words: h, Number: t.Numeric[i]})
	}
	for i, row := range t.Rows {
		view := pageRow{}
		if t.Marks != nil {
			view.Mark = t.Marks[i]
		}
		for j, cell := range row {
			c := pageCell{Words: unbroken(cell), Head: j == 0, Number: t.Numeric[j]}
			if c.Number {
				c.Class = "n"
			}
			if j == 1 && (view.Mark == "fail" || view.Mark == "warn" || view.Mark == "pass") {
				c.Class = "is-" + view.Mark
			}
			view.Cells = append(view.Cells, c)
		}
		out.Rows = append(out.Rows, view)
	}
	return out
}

// unbroken binds a number to its unit with a no-break space, so that a line
// never ends between them.
func unbroken(s string) string {
	return bindings().Replace(s)
}

var bindings = sync.OnceValue(func() *strings.Replacer {
	var pairs []string
	units := []string{"%", "rpm", "1/min", "tr/min", "N·m", "kW", "lbf·ft", "hp", "km/h", "mph", "kPa", "inHg", "°C", "°F", "±"}
	for digit := '0'; digit <= '9'; digit++ {
		for _, unit := range units {
			pairs = append(pairs, string(digit)+" "+unit, string(digit)+"\u00a0"+unit)
		}
	}
	return strings.NewReplacer(append(pairs, "± ", "±\u00a0")...)
})
