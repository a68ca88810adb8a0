package report

import (
	"encoding/json"
	"errors"
	"io"
	"net/url"
	"slices"
	"strings"

	"fairpull/quantity"
	"fairpull/report/draw"
)

// ErrNoChart says that a page has no chart of that name, or none in that form.
var ErrNoChart = errors.New("there is no such chart")

// ChartsAt says at which addresses the charts of a page can be taken along one by
// one: Path, the chart's name, a dot and the form, and Query. The zero value: they
// cannot.
type ChartsAt struct {
	Path  string // ends with a slash
	Query string // begins with a question mark, or is empty
}

// file is the address of a chart in a form: svg, png, csv or json.
func (at ChartsAt) file(name, form string) string {
	return at.Path + url.PathEscape(name) + "." + form + at.Query
}

// link gives the figures among blocks their addresses.
func (at ChartsAt) link(blocks []block) []block {
	out := slices.Clone(blocks)
	for i, b := range out {
		if f, ok := b.(figure); ok {
			f.At = at
			out[i] = f
		}
	}
	return out
}

// Charts are the charts of one page, each to be taken along by its name.
type Charts struct {
	About       string // what the page is about
	Exploratory string // what was changed to look at it so; empty: nothing
	From        string // "campaign x", "dyno y"
	Version     string // of the program
	figures     []figure
}

// add gathers the figures among blocks.
func (c *Charts) add(blocks []block) {
	for _, b := range blocks {
		if f, ok := b.(figure); ok {
			c.figures = append(c.figures, f)
		}
	}
}

// Names lists the charts in the order of their page.
func (c *Charts) Names() []string {
	var names []string
	for i := range c.figures {
		names = append(names, c.figures[i].Picture.ID)
	}
	return names
}

func (c *Charts) figure(name string) (*figure, error) {
	for i := range c.figures {
		if c.figures[i].Picture.ID == name {
			return &c.figures[i], nil
		}
	}
	return nil, ErrNoChart
}

// SVG writes a chart as a drawing that says of itself what it shows and where it is
// from. A name that the page has no chart of is [ErrNoChart], here and below.
func (c *Charts) SVG(w io.Writer, name string) error {
	f, err := c.figure(name)
	if err != nil {
		return err
	}
	return draw.SVG(w, c.picture(f), false)
}

// PNG writes the same drawing in pixels.
func (c *Charts) PNG(w io.Writer, name string) error {
	f, err := c.figure(name)
	if err != nil {
		return err
	}
	return draw.PNG(w, c.picture(f), pixelsPerPoint)
}

// CSV writes a chart's numbers unrounded, in the units shown, which the names of the
// columns carry. A number that there is none of is an empty cell.
func (c *Charts) CSV(w io.Writer, name string) error {
	f, err := c.figure(name)
	if err != nil {
		return err
	}
	n := f.numbers()
	if n == nil {
		return ErrNoChart
	}
	return n.csv(w)
}

// JSON writes a chart's data for a page that draws it anew, fairpull.chart/1.
func (c *Charts) JSON(w io.Writer, name string) error {
	f, err := c.figure(name)
	if err != nil {
		return err
	}
	if f.Plot == nil {
		return ErrNoChart
	}
	data, err := json.Marshal(f.Plot)
	if err != nil {
		return err
	}
	_, err = w.Write(data)
	return err
}

// picture puts a chart between what it is and where it is from.
func (c *Charts) picture(f *figure) draw.Picture {
	const margin = 30.0
	p := draw.Picture{Width: f.Picture.Width + 2*margin, ID: f.Picture.ID, Title: f.Picture.Title, Description: alone(f.Picture.Description)}
	col := column{picture: &p, left: margin, width: f.Picture.Width, y: margin - 8}
	col.words(f.Picture.Title, 14, draw.Bold, paintInk)
	col.words(c.About, 10.5, draw.Regular, paintMuted)
	if c.Exploratory != "" {
		col.words("Exploratory. "+c.Exploratory, 10.5, draw.Bold, paintInk)
	}
	col.y += 10
	col.place(f.Picture)
	col.y += 4
	col.words(alone(f.Caption), 10.5, draw.Regular, paintMuted)
	col.words(joined(" · ", "Made by Fairpull"+labelled(" ", clean(c.Version)), c.From), 9.5, draw.Regular, paintMuted)
	p.Height = col.y + margin - 8
	return p
}

// alone leaves out of words the sentences that lead to a table of the chart's page.
func alone(words string) string {
	var kept []string
	for sentence := range strings.SplitSeq(words, ". ") {
		if !strings.Contains(sentence, " in the table") && !strings.Contains(sentence, " in a table") {
			kept = append(kept, strings.TrimSuffix(sentence, "."))
		}
	}
	if len(kept) == 0 {
		return ""
	}
	return strings.Join(kept, ". ") + "."
}

// chartLink leads to a chart in one form.
type chartLink struct{ Form, Address, Title string }

// links lead to a figure's forms; none where it has no address.
func (f *figure) links() []chartLink {
	if f.At.Path == "" {
		return nil
	}
	var out []chartLink
	for _, form := range []struct{ name, ending string }{{"SVG", "svg"}, {"PNG", "png"}, {"CSV", "csv"}} {
		if form.ending == "csv" && f.numbers() == nil {
			continue
		}
		out = append(out, chartLink{form.name, f.At.file(f.Picture.ID, form.ending), f.Picture.Title})
	}
	return out
}

// data is the address of a figure's data for a page that draws it anew; empty where
// it has none, and for a single node, which there is nothing to move along.
func (f *figure) data() string {
	if f.At.Path == "" || f.Plot == nil || len(f.Plot.X.Values) < 2 {
		return ""
	}
	return f.At.file(f.Picture.ID, "json")
}

// numbers are the figure's numbers; nil: it has none.
func (f *figure) numbers() numbers {
	if f.Numbers != nil {
		return f.Numbers
	}
	if f.Plot != nil {
		return f.Plot.numbers()
	}
	return nil
}

// Charts returns the charts of a campaign's page.
func (g *Gain) Charts(units quantity.System) *Charts {
	c := &Charts{About: g.title(), Exploratory: g.ExploratorySentence(), From: labelled("campaign ", clean(g.Campaign.ID)), Version: g.Version}
	l, o := onScreen, documentOptions{units: units}
	for i := range g.Comparisons {
		c.add(g.curveBlocks(i, l, o))
		c.add(g.timelineBlocks(i, l))
	}
	c.add(g.pullBlocks(l, o))
	return c
}

// Charts returns the charts of the scatter's page.
func (s *Scatter) Charts() *Charts {
	c := &Charts{About: s.title(), From: labelled("dyno ", clean(s.Dyno)), Version: s.Version}
	c.add(s.blocks(onScreen))
	return c
}

// Charts returns the chart of a check standard.
func (s *CheckStandard) Charts(units quantity.System) *Charts {
	c := &Charts{About: joined(". ", s.title(), s.summary()), From: labelled("dyno ", clean(s.Dyno)), Version: s.Version}
	c.add(s.blocks(onScreen, units))
	return c
}

// Charts returns the chart of a plan.
func (p *Plan) Charts(units quantity.System) *Charts {
	c := &Charts{About: "Plan: " + p.title(), From: labelled("campaign ", clean(p.Campaign.ID)), Version: p.Version}
	c.add(p.blocks(onScreen, units))
	return c
}

// Charts returns the charts of a pull's page.
func (p *PullPage) Charts(units quantity.System) *Charts {
	c := &Charts{About: joined(" · ", p.Title(), p.Byline()), Exploratory: exploratorySentence(p.Exploratory), From: labelled("campaign ", clean(p.Campaign))}
	c.add(p.blocks(units))
	return c
}

// Charts returns the charts of logs that stand for themselves, as [Reductions.Parts]
// shows them.
func (r *Reductions) Charts(units quantity.System) *Charts {
	var logs []string
	for i := range r.Pulls {
		logs = append(logs, clean(r.Pulls[i].Log))
	}
	c := &Charts{About: joined(" · ", logs...)}
	c.add(r.blocks(units))
	return c
}

// Charts returns the charts of an explanation.
func (e *Explanation) Charts() *Charts {
	c := e.charts
	c.add(e.blocks)
	return &c
}
