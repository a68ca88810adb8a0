package report

import (
	"bytes"
	"html/template"
	"slices"
	"strconv"

	"fairpull/quantity"
)

// Section is one part of the report as HTML, for a page that has [Style]. It is
// written by the same hand as the page of its own, so that words and figures are
// the same.
type Section struct {
	ID    string // for links within a page: comparison-1, checks, pulls
	Title string // in plain text
	HTML  template.HTML
}

// Style returns the style sheet that [Section] and [Gain.HTML] are made for.
func Style() string { return pageStyle }

// Title returns the campaign's title, or its id.
func (g *Gain) Title() string { return g.title() }

// Purpose returns what the campaign is for; empty where that is not stated.
func (g *Gain) Purpose() string { return cleanTo(g.Campaign.Purpose, 400) }

// Byline says what was measured where, and when.
func (g *Gain) Byline() string { return unbroken(g.byline()) }

// Sections returns the parts of the report in the order in which a person reads:
// each comparison with verdict, gain, torque and power, then the checks, the
// timeline, the pulls, the conditions, what was compared, how it was measured,
// what is claimed, the cautions and the charts in numbers. HTML holds no title:
// the page gives it one.
//
// Charts have links to what at says, and a plot is drawn anew from there.
func (g *Gain) Sections(units quantity.System, at ChartsAt) ([]Section, error) {
	l, o := onScreen, documentOptions{units: units}
	var blocks []block
	for i := range g.Comparisons {
		blocks = slices.Concat(blocks, g.answerBlocks(i), g.curveBlocks(i, l, o), g.figureBlocks(i, o), g.restBlocks(i, o), g.timelineBlocks(i, l))
	}
	for _, more := range [][]block{
		g.waysBlocks(units), g.checkBlocks(), g.pullBlocks(l, o), g.conditionBlocks(o), g.configurationBlocks(),
		g.procedureBlocks(o), g.claimBlocks(), cautionBlocks(), g.numberBlocks(o),
	} {
		blocks = append(blocks, more...)
	}
	return sections(at.link(blocks))
}

// sections cuts blocks at the headings of level 2.
func sections(blocks []block) ([]Section, error) {
	var out []Section
	var body []pageBlock
	flush := func() error {
		if len(out) == 0 {
			return nil
		}
		var b bytes.Buffer
		if err := pageTemplate().ExecuteTemplate(&b, "blocks", body); err != nil {
			return err
		}
		out[len(out)-1].HTML, body = template.HTML(b.String()), nil
		return nil
	}
	for _, b := range blocks {
		if h, ok := b.(heading); ok && h.Level == 2 {
			if err := flush(); err != nil {
				return nil, err
			}
			id := h.ID
			if id == "" {
				id = "section-" + strconv.Itoa(len(out)+1)
			}
			out = append(out, Section{ID: id, Title: unbroken(h.Words)})
			continue
		}
		converted, err := pageBlockOf(b)
		if err != nil {
			return nil, err
		}
		body = append(body, converted)
	}
	return out, flush()
}
