package report

import (
	"io"
	"time"

	"fairpull/quantity"
	"fairpull/report/draw"
)

// PDF writes the sheet on one page, with vector charts and its fonts within. Type
// and lists shrink until all of it fits; what a list leaves out stands in the claim.
// The same sheet gives the same bytes.
func (s *Sheet) PDF(w io.Writer, units quantity.System) error {
	size := a4
	if s.o.Paper == "letter" || s.o.Paper == "" && units == quantity.USCustomary {
		size = letter
	}
	v := s.view(units)
	page, _ := s.page(v, size, units)
	created := time.Unix(0, 0)
	if n := len(s.claim.States); n > 0 {
		created = s.claim.States[n-1].At
	}
	return draw.PDF(w, draw.Document{
		Title: joined(": ", v.Number, v.Title), Subject: v.Lead, Creator: "Fairpull" + labelled(" ", clean(s.claim.Version)),
		Language: s.l.Tag.String(), Created: created.UTC(), Pages: []draw.Picture{page},
	})
}

// Steps of shrinking: sizes of type as a share of the usual, and items of a list.
var (
	sheetScales = []float64{1.06, 1, 0.95, 0.9, 0.85, 0.8}
	sheetItems  = []int{12, 7, 4, 2, 1}
)

// small scales a size of type down to no less than six points.
func small(size, k float64) float64 { return max(size*k, 6) }

const (
	sheetMargin   = 40.0
	sheetSmallest = 0.72 // for what fits with nothing less
)

// page lays the sheet out as large as it fits, and says whether it does: with
// texts as long as they can be ([cleanTo] bounds them all) the last step still fits.
func (s *Sheet) page(v sheetView, size sheet, units quantity.System) (draw.Picture, bool) {
	for _, items := range sheetItems {
		for _, scale := range sheetScales {
			if page, fits := s.lay(v, size, scale, items, units); fits {
				return page, true
			}
		}
	}
	return s.lay(v, size, sheetSmallest, 1, units)
}

// lay sets the sheet with type of one scale and lists of so many items, and says
// whether it ends above the foot.
func (s *Sheet) lay(v sheetView, size sheet, k float64, items int, units quantity.System) (draw.Picture, bool) {
	p := draw.Picture{Width: size.width, Height: size.height}
	width := size.width - 2*sheetMargin
	p.Add(draw.Area{Points: draw.Box(0, 0, size.width, 7), Paint: s.o.Look.colour})
	c := &column{picture: &p, left: sheetMargin, width: width, y: 22}
	s.letterhead(c, v, k)
	p.Add(draw.Heading{Y: c.y, Words: v.Title})
	c.words(v.Title, 15*k, draw.Bold, s.o.Look.headings())
	c.words(unbroken(v.About), 9.2*k, draw.Regular, paintMuted)
	c.y += 5 * k
	s.leadBox(c, v, k)
	c.y += 5 * k
	s.figures(c, v.Table, k)
	c.y += 7 * k
	c.place(s.chart(look{width, small(7.6, k)}, units))
	c.y += 2 * k
	const gap = 22.0
	half := (width - gap) / 2
	top, bottom := c.y, c.y
	for i, sections := range [][]sheetSection{v.Left, v.Right} {
		side := &column{picture: &p, left: sheetMargin + float64(i)*(half+gap), width: half, y: top}
		for _, section := range sections {
			s.section(side, section, k, items)
		}
		bottom = max(bottom, side.y)
	}
	return p, s.foot(&p, v, size, width) >= bottom
}

// letterhead sets logo and maker at the left, and the claim's number and state at
// the right.
func (s *Sheet) letterhead(c *column, v sheetView, k float64) {
	const tall, wide = 34.0, 130.0
	top, left := c.y, c.left
	if l := s.o.Look; l.logo != nil {
		fit := min(wide/l.width, tall/l.height)
		c.picture.Add(draw.Image{At: draw.Point{X: left, Y: top}, Width: l.width * fit, Height: l.height * fit, PNG: l.logo, Words: l.Name})
		left += l.width*fit + 10
	}
	right := c.left + c.width
	line := func(y float64, words string, size float64, face draw.Face, paint draw.Paint) {
		c.picture.Add(draw.Text{At: draw.Point{X: right, Y: y}, Words: draw.Fit(words, size, face, 0.62*c.width), Size: size, Face: face, Anchor: draw.End, Paint: paint})
	}
	state := paintMuted
	if !s.valid() {
		state = paintFail
	}
	line(top+9, v.Kicker, small(7.8, k), draw.Regular, paintMuted)
	line(top+20, v.Number, 9.6*k, draw.Bold, paintInk)
	line(top+31, v.State, small(7.8, k), draw.Bold, state)
	room := right - 0.62*c.width - left
	if name := s.o.Look.Name; name != "" && room > 40 {
		for i, words := range twoLines(name, 11*k, room) {
			c.picture.Add(draw.Text{At: draw.Point{X: left, Y: top + 14 + 13*k*float64(i)}, Words: words, Size: 11 * k, Face: draw.Bold, Paint: s.o.Look.headings()})
		}
	}
	c.y = top + tall + 8
}

// leadBox sets the figure on a shaded ground.
func (s *Sheet) leadBox(c *column, v sheetView, k float64) {
	const pad = 9.0
	top := c.y
	ground := len(c.picture.Marks)
	c.picture.Add(draw.Area{}, draw.Area{})
	in := column{picture: c.picture, left: c.left + pad + 5, width: c.width - 2*pad - 5, y: top + 0.3*pad}
	in.words(v.Lead, 19*k, draw.Bold, paintInk)
	in.words(unbroken(v.Typical), 10.5*k, draw.Bold, paintInk)
	in.words(unbroken(v.Scope), 9.2*k, draw.Regular, paintInk)
	in.words(unbroken(v.Meaning), small(7.8, k), draw.Regular, paintMuted)
	for _, note := range v.Notes {
		in.words(unbroken(note), small(8.2, k), draw.Regular, paintInk)
	}
	c.y = in.y + 0.5*pad
	c.picture.Marks[ground] = draw.Area{Points: draw.Box(c.left, top, c.width, c.y-top), Paint: paintBand}
	c.picture.Marks[ground+1] = draw.Area{Points: draw.Box(c.left, top, 4, c.y-top), Paint: s.o.Look.colour}
}

// figures sets the table of before and after.
func (s *Sheet) figures(c *column, t table, k float64) {
	g := newGridIn(t, c.width, small(8, k))
	line := g.size * 1.3
	paper := &paper{size: sheet{}, left: c.left, width: c.width, bottom: 1e9, y: c.y, page: *c.picture}
	paper.tableHead(t, g, line)
	for i, cells := range g.rows {
		paper.tableRow(t, g, i, cells, line, 0)
	}
	*c.picture = paper.page
	c.y = paper.y + 2
	c.words(unbroken(t.Caption), small(7, k), draw.Regular, paintMuted)
}

// section sets a heading with its items and sentences.
func (s *Sheet) section(c *column, v sheetSection, k float64, items int) {
	c.y += 5 * k
	c.words(v.Head, 9.4*k, draw.Bold, s.o.Look.headings())
	shown := v.Items
	if len(shown) > items {
		shown = append(shown[:items:items], s.l.say("fitted.more", len(v.Items)-items))
	}
	for _, item := range shown {
		c.picture.Add(draw.Text{At: draw.Point{X: c.left, Y: c.y + 1.32*small(8, k)}, Words: "•", Size: small(8, k), Paint: paintMuted})
		in := column{picture: c.picture, left: c.left + 9*k, width: c.width - 9*k, y: c.y}
		in.words(unbroken(item), small(8, k), draw.Regular, paintInk)
		c.y = in.y - 1.2*k
	}
	for _, said := range v.Said {
		c.words(unbroken(said), small(8, k), draw.Regular, paintInk)
		c.y -= 1.2 * k
	}
}

// foot sets the foot of the page and returns where it begins.
func (s *Sheet) foot(p *draw.Picture, v sheetView, size sheet, width float64) float64 {
	y := size.height - 34
	p.Add(draw.Stroke{Points: []draw.Point{{X: sheetMargin, Y: y - 9}, {X: sheetMargin + width, Y: y - 9}}, Width: 0.5, Paint: paintGrid})
	for i, words := range v.Foot {
		p.Add(draw.Text{At: draw.Point{X: sheetMargin, Y: y + 9*float64(i)}, Words: draw.Fit(words, 6.6, draw.Regular, width), Size: 6.6, Paint: paintMuted})
	}
	return y - 11
}
