package report

import (
	"io"
	"math"

	"fairpull/quantity"
	"fairpull/report/draw"
)

// HTML writes the budget as one page that stands alone.
func (b *Budget) HTML(w io.Writer, units quantity.System) error {
	return writePage(w, b.title(), b.subtitle(), b.foot(), b.blocks(onScreen, units))
}

// PDF writes the budget on paper.
func (b *Budget) PDF(w io.Writer, units quantity.System) error {
	return writePaper(w, b.title(), b.subtitle(), b.foot(), b.Version, b.blocks(onPaper, units), units)
}

// SVG writes the bars of the primary figure as one picture.
func (b *Budget) SVG(w io.Writer, _ quantity.System) error { return draw.SVG(w, b.picture(), false) }

// PNG writes the same picture in pixels.
func (b *Budget) PNG(w io.Writer, _ quantity.System) error {
	return draw.PNG(w, b.picture(), pixelsPerPoint)
}

// picture is the bars of the first comparison's primary figure, or of its first that
// there is.
func (b *Budget) picture() draw.Picture {
	const margin = 30.0
	p := draw.Picture{Width: onScreen.width + 2*margin, ID: "budget", Title: b.title(), Description: b.subtitle()}
	c := column{picture: &p, left: margin, width: onScreen.width, y: margin}
	c.words(b.title(), 18, draw.Bold, paintInk)
	c.words(unbroken(b.subtitle()), 10.5, draw.Regular, paintMuted)
	if f := b.first(); f != nil {
		c.words(f.name(b.Gain), 11.5, draw.Regular, paintInk)
		c.y += 8
		c.place(f.bars(onScreen))
	}
	c.words(b.foot(), 9.5, draw.Regular, paintMuted)
	p.Height = c.y + margin
	return p
}

func (b *Budget) first() *BudgetFigure {
	var found *BudgetFigure
	for i := range b.Figures {
		f := &b.Figures[i]
		if f.Missing != "" {
			continue
		}
		if f.Metric == f.Comparison.Primary {
			return f
		}
		if found == nil {
			found = f
		}
	}
	return found
}

// blocks are the budget in its order.
func (b *Budget) blocks(l look, units quantity.System) []block {
	out := []block{heading{Level: 1, Words: b.title()}, paragraph{Words: b.subtitle(), Small: true}}
	for i := range b.Figures {
		f := &b.Figures[i]
		out = append(out, heading{Level: 2, Words: f.name(b.Gain)})
		if f.Missing != "" {
			out = append(out, paragraph{Words: capitalised(f.Missing) + "."})
			continue
		}
		results := table{Caption: "To first order, and drawn.", Heads: []string{"Figure", "First order", "Drawn interval", "JCGM 101, clause 8"}, Numeric: []bool{false, false, false, false}}
		for _, r := range b.results(f, units) {
			results.Rows = append(results.Rows, []string{r.name, r.linear, r.drawn, r.agrees})
		}
		rows := table{Caption: "Standard uncertainties by source. Squares add up.", Heads: budgetHeads, Numeric: []bool{false, false, false, true, true, true, true, false, true}}
		for j := range f.Rows {
			rows.Rows = append(rows.Rows, f.Rows[j].cells())
		}
		rows.Rows = append(rows.Rows, f.combined())
		out = append(out, results,
			figure{Picture: f.bars(l), Caption: "Standard uncertainty by source: hatched in the levels, the larger of the two sides, full in the gain. What has no full bar drops out of the gain.", Beside: true},
			rows)
	}
	sources := table{Caption: "What went in, and where it comes from.", Heads: []string{"Source", "Value", "From"}, Numeric: []bool{false, false, false}}
	for _, s := range b.Sources {
		sources.Rows = append(sources.Rows, []string{clean(s.What), cleanTo(s.Is, 300), cleanTo(s.From, 300)})
	}
	return append(out,
		heading{Level: 2, Words: "What went in", ID: "sources"}, sources,
		heading{Level: 2, Words: "How to read it", ID: "reading"}, bullets{Items: b.notes()})
}

// bars draws a pair of bars a source: its part in the levels and in the gain.
func (f *BudgetFigure) bars(l look) draw.Picture {
	em := l.size
	most, names := 0.0, 0.0
	var rows []*BudgetRow
	for i := range f.Rows {
		r := &f.Rows[i]
		if r.PartOf != "" || r.level()+r.Gain == 0 {
			continue
		}
		rows = append(rows, r)
		most = math.Max(most, math.Max(r.level(), r.Gain))
		names = math.Max(names, draw.Width(r.Name, em, draw.Regular))
	}
	p := draw.Picture{Width: l.width, ID: "budget-bars", Title: "Standard uncertainty by source", Description: "Two bars a source: above, outlined, its part in a level; below, full, its part in the gain. The numbers stand in the table."}
	p.Height = 1.2*em + 2.6*em*float64(len(rows)) + 2.2*em
	if most == 0 {
		return p
	}
	left := names + em
	width := l.width - left - 5*em
	y := 1.2 * em
	for _, r := range rows {
		p.Add(draw.Text{At: draw.Point{X: names, Y: y + 1.4*em}, Words: r.Name, Size: em, Anchor: draw.End, Paint: paintInk})
		bar := func(v, top float64, full bool) {
			long := width * v / most
			box := draw.Box(left, top, math.Max(long, 0.5), 0.8*em)
			if full {
				p.Add(draw.Area{Points: box, Paint: paintGain})
			} else {
				p.Add(draw.Stroke{Points: append(box, box[0]), Width: 1, Paint: paintBaseline})
				for x := 0.4 * em; x < long; x += 0.4 * em {
					p.Add(draw.Stroke{Points: []draw.Point{{X: left + x, Y: top}, {X: left + x, Y: top + 0.8*em}}, Width: 0.5, Paint: paintBaseline})
				}
			}
			p.Add(draw.Text{At: draw.Point{X: left + long + 0.4*em, Y: top + 0.72*em}, Words: uncertaintyPercent(v) + " %", Size: 0.8 * em, Paint: paintMuted})
		}
		if !r.OnlyGain {
			bar(r.level(), y, false)
		}
		bar(r.Gain, y+0.95*em, true)
		y += 2.6 * em
	}
	p.Add(draw.Text{At: draw.Point{X: left, Y: y + em}, Words: "hatched: in a level; full: in the gain", Size: 0.8 * em, Paint: paintMuted})
	return p
}

// level is a row's part in the levels: the larger of the two sides'.
func (r *BudgetRow) level() float64 { return math.Max(r.Baseline, r.Candidate) }
