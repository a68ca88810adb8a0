package report

import (
	"bytes"
	"html/template"
	"io"
	"math"
	"strconv"
	"time"

	"fairpull/report/draw"
)

// HTML writes the scatter as one page that stands alone, in the manner of
// [Gain.HTML].
func (s *Scatter) HTML(w io.Writer) error {
	view := pageView{
		Title: "Fairpull: " + s.title(), Description: s.subtitle(), Style: template.CSS(pageStyle),
		Footer: joined(" · ", "Made by Fairpull"+labelled(" ", clean(s.Version)), labelled("dyno ", clean(s.Dyno))),
	}
	for _, b := range s.blocks(onScreen) {
		converted, err := pageBlockOf(b)
		if err != nil {
			return err
		}
		view.Blocks = append(view.Blocks, converted)
	}
	var page bytes.Buffer
	if err := pageTemplate().Execute(&page, view); err != nil {
		return err
	}
	_, err := w.Write(page.Bytes())
	return err
}

// SVG writes the charts of all levels, one below the other.
func (s *Scatter) SVG(w io.Writer) error {
	const margin = 30.0
	p := draw.Picture{Width: onScreen.width + 2*margin, ID: "scatter", Title: s.title(), Description: s.subtitle()}
	c := column{picture: &p, left: margin, width: onScreen.width, y: margin}
	c.words(s.title(), 18, draw.Bold, paintInk)
	c.words(s.subtitle(), 10.5, draw.Regular, paintMuted)
	for i := range s.Levels {
		if l := &s.Levels[i]; len(l.Points) > 0 {
			c.y += 12
			c.place(l.chart(onScreen))
			c.words(l.trend(), 10.5, draw.Regular, paintInk)
		}
	}
	p.Height = c.y + margin
	return draw.SVG(w, p, false)
}

// blocks lists what a page says, in the order in which a person reads.
func (s *Scatter) blocks(l look) []block {
	blocks := []block{heading{Level: 1, Words: s.title()}, paragraph{Words: s.subtitle()}}
	if len(s.Campaigns) > 0 {
		blocks = append(blocks, s.table())
		if s.DriftRate.DF > 0 {
			blocks = append(blocks, paragraph{Words: s.driftNote()})
		}
	}
	for i := range s.Levels {
		level := &s.Levels[i]
		blocks = append(blocks, heading{Level: 2, Words: capitalised(level.Name), ID: level.Key}, paragraph{Words: capitalised(level.alike())})
		if len(level.Points) > 0 {
			blocks = append(blocks, paragraph{Words: level.trend()}, figure{Picture: level.chart(l), Caption: level.caption(), Plot: level.plot()})
		}
	}
	return append(blocks, s.campaignBlocks()...)
}

func (s *Scatter) table() table {
	t := table{
		Heads:   []string{"Standard deviation of torque", capitalised(scalarNames[0]), capitalised(scalarNames[1]), capitalised(scalarNames[2]), "Degrees of freedom"},
		Numeric: []bool{false, true, true, true, true}, Caption: limitNote,
	}
	for _, r := range s.rows() {
		t.Rows = append(t.Rows, []string{capitalised(r.name), sdWords(r.sd[0]), sdWords(r.sd[1]), sdWords(r.sd[2]), r.df})
	}
	return t
}

func (l *ScatterLevel) caption() string {
	return "Standard deviation of " + l.rowName() + " of each campaign, with its 95 % limits by chi-square; the dashed line is all campaigns together. Numbers stand in the table at the end."
}

// campaignBlocks says where the scatter comes from, and what is not in it.
func (s *Scatter) campaignBlocks() []block {
	var blocks []block
	if len(s.Campaigns) > 0 {
		t := table{
			Heads:   []string{"Campaign", "First pull", "Vehicle", "Setup to setup", "Change-over", "Pull to pull", "From"},
			Numeric: []bool{false, false, false, true, true, true, false}, Long: true,
			Caption: "SD of a row with its 95 % limits and degrees of freedom, of each campaign.",
		}
		for i := range s.Campaigns {
			c := &s.Campaigns[len(s.Campaigns)-1-i]
			cells := []string{clean(c.Campaign), day(c.Started), clean(c.Vehicle)}
			for j := range s.Levels {
				cells = append(cells, s.Levels[j].pointWords(c.Campaign))
			}
			t.Rows = append(t.Rows, append(cells, map[bool]string{true: "curves reduced elsewhere", false: "logs"}[c.Curves]))
		}
		blocks = append(blocks, heading{Level: 2, Words: "Where it comes from", ID: "campaigns"}, t)
	}
	if len(s.LeftOut) > 0 {
		t := table{Heads: []string{"Campaign", "Since", "By", "Why"}, Numeric: make([]bool, 4), Caption: "These campaigns were left out by hand."}
		for _, l := range s.LeftOut {
			t.Rows = append(t.Rows, []string{clean(l.Campaign), l.At.Format(time.DateOnly), clean(l.Who), cleanTo(l.Why, 400)})
		}
		blocks = append(blocks, heading{Level: 2, Words: "Left out", ID: "left-out"}, t)
	}
	if len(s.Waiting)+len(s.Unusable)+len(s.Repeated) > 0 {
		blocks = append(blocks, heading{Level: 2, Words: "Not in it", ID: "waiting"})
	}
	if len(s.Unusable) > 0 {
		t := table{Heads: []string{"Campaign", "Why"}, Numeric: make([]bool, 2), Caption: "The measurement was at fault, so that its scatter is not the rig's."}
		for _, u := range s.Unusable {
			t.Rows = append(t.Rows, []string{clean(u.Campaign), cleanTo(u.Why, 400)})
		}
		blocks = append(blocks, t)
	}
	if len(s.Repeated) > 0 {
		t := table{Heads: []string{"Campaign", "Why"}, Numeric: make([]bool, 2), Caption: "These hold pulls that count in another campaign."}
		for _, r := range s.Repeated {
			t.Rows = append(t.Rows, []string{clean(r.Campaign), repeatedWords(r)})
		}
		blocks = append(blocks, t)
	}
	if n := len(s.Waiting); n > 0 {
		blocks = append(blocks, paragraph{Words: strconv.Itoa(n) + " more have no result that rests on what they say today; to judge them: fairpull judge --all."})
	}
	return blocks
}

func (l *ScatterLevel) pointWords(campaign string) string {
	for _, p := range l.Points {
		if p.Campaign == campaign {
			return sdWords(p.SD) + " (" + fixed(100*p.Lo, 2) + " to " + fixed(100*p.Hi, 2) + "; " + degrees(p.DF) + ")"
		}
	}
	return "–"
}

// chart draws the SD of each campaign over time.
func (l *ScatterLevel) chart(look look) draw.Picture {
	em := look.size
	p := draw.Picture{
		Width: look.width, ID: "scatter-" + l.Key, Title: capitalised(l.Name) + " over time",
		Description: "One disc a campaign at its standard deviation in per cent, with a line over its 95 % limits. " + l.trend(),
	}
	first, last := l.Points[0].At, l.Points[len(l.Points)-1].At
	x, days := l.days()
	top := 100 * l.top()
	f := frame{picture: &p, x: x, y: newScale(0, top, 4),
		left: 4.2 * em, top: 2.4 * em, width: look.width - 5.4*em, height: 0.2 * look.width, size: em}
	p.Height = f.top + f.height + 2.6*em
	p.Add(draw.Text{At: draw.Point{Y: 1.1 * em}, Words: l.chartTitle(), Size: em, Face: draw.Bold, Paint: paintInk})
	f.ground([2]float64{}, "", false)
	if row := 100 * l.RowSD[0]; row > 0 && row <= top {
		p.Add(draw.Stroke{Points: []draw.Point{f.at(f.x.Lo, row), f.at(f.x.Hi, row)}, Width: 1.1, Dash: []float64{0.55 * em, 0.3 * em}, Paint: paintFrame})
	}
	for _, point := range l.Points {
		x := point.At.Sub(first).Hours() / 24
		p.Add(draw.Stroke{Points: []draw.Point{f.at(x, math.Min(100*point.Lo, top)), f.at(x, math.Min(100*point.Hi, top))}, Width: 1.2, Paint: paintBaseline})
		f.disc(f.at(x, math.Min(100*point.SD, top)), paintBaseline)
	}
	bottom := f.top + f.height + 1.5*em
	p.Add(
		draw.Text{At: draw.Point{X: f.at(0, 0).X, Y: bottom}, Words: day(first), Size: em, Paint: paintMuted},
		draw.Text{At: draw.Point{X: f.at(days, 0).X, Y: bottom}, Words: day(last), Size: em, Anchor: draw.End, Paint: paintMuted},
	)
	return p
}
