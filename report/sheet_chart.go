package report

import (
	"io"

	"fairpull/quantity"
	"fairpull/report/draw"
)

// SVG writes the chart of the sheet, to stand in a page of the maker's own: the
// figure, the curves, the claim's number and how far it has come.
func (s *Sheet) SVG(w io.Writer, units quantity.System) error {
	return draw.SVG(w, s.picture(units), false)
}

// PNG writes the same picture in pixels.
func (s *Sheet) PNG(w io.Writer, units quantity.System) error {
	return draw.PNG(w, s.picture(units), pixelsPerPoint)
}

func (s *Sheet) picture(units quantity.System) draw.Picture {
	const margin = 30.0
	v := s.view(units)
	p := draw.Picture{Width: onScreen.width + 2*margin, ID: "sheet", Title: v.Lead, Description: joined(". ", v.Lead, v.Typical, v.Scope, v.About)}
	c := column{picture: &p, left: margin, width: onScreen.width, y: margin - 8}
	if !s.valid() {
		c.words(v.State, 13, draw.Bold, paintFail)
	}
	c.words(v.Lead, 21, draw.Bold, paintInk)
	c.words(unbroken(joined(", ", v.Typical, v.Scope)), 11.5, draw.Regular, paintInk)
	c.words(v.About, 11.5, draw.Regular, paintMuted)
	for _, note := range v.Notes {
		c.words(note, 10, draw.Regular, paintInk)
	}
	c.y += 8
	c.place(s.chart(look{onScreen.width, 11}, units))
	c.y += 4
	c.words(joined(" · ", s.o.Look.Name, v.Foot[0], v.State), 9.5, draw.Regular, paintMuted)
	p.Height = c.y + margin - 10
	return p
}

// chart draws torque and power of both sides beside each other, with a key.
func (s *Sheet) chart(l look, units quantity.System) draw.Picture {
	em, g, c := l.size, s.claim.Gain, s.comparison
	p := draw.Picture{Width: l.width, ID: "sheet-chart", Title: s.lead(), Description: s.l.say("chart.description", s.lead(), s.typical())}
	gap := 2.5 * em
	width := (l.width - gap) / 2
	top := s.key(&p, em)
	height := 0.24 * l.width
	band, stated := g.ridingBand(c)
	for i, d := range []quantity.Dimension{quantity.Torque, quantity.Power} {
		series := newLevelSeries(c, d, units)
		left := float64(i) * (width + gap)
		f := frame{
			picture: &p, x: rpmScale(c), y: series.Range, left: left + 3.6*em, top: top + 3.4*em, width: width - 4.4*em, height: height, size: em,
			axis: s.l.say("chart.speed"), write: s.l.number,
		}
		f.x.Step = newScale(f.x.Lo, f.x.Hi, 5).Step
		name, shaded := "", [2]float64{}
		if stated {
			name, shaded = s.l.say("chart.band"), band
		}
		title := s.l.say([]string{"chart.torque", "chart.power"}[i], series.Unit)
		p.Add(draw.Text{At: draw.Point{X: left, Y: top + 1.1*em}, Words: title, Size: em, Face: draw.Bold, Paint: paintInk})
		f.ground(shaded, name, true)
		f.levelsIn(series, paintMuted, s.o.Look.accent)
	}
	p.Height = top + 3.4*em + height + 3.4*em
	return p
}

// key explains the two lines and their ribbons above the panels, and returns where
// those begin.
func (s *Sheet) key(p *draw.Picture, em float64) float64 {
	f := frame{picture: p, size: em}
	x, y := 0.0, 1.0*em
	for _, side := range []struct {
		words string
		paint draw.Paint
		dash  []float64
	}{{s.l.say("table.before"), paintMuted, dashBaseline}, {s.l.say("table.after"), s.o.Look.accent, nil}} {
		p.Add(draw.Stroke{Points: []draw.Point{{X: x, Y: y - 0.35*em}, {X: x + 2*em, Y: y - 0.35*em}}, Width: 2, Dash: f.dash(side.dash), Paint: side.paint})
		x = f.keyWords(x+2.5*em, y, side.words)
	}
	f.keyWords(x, y, s.l.say("chart.ribbon", s.l.percent(plain(100*s.comparison.Confidence))))
	return y + 0.9*em
}
