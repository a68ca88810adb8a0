package report

import (
	"math"
	"slices"

	"fairpull/compare"
	"fairpull/report/draw"
)

// curveOf is a design in the picture of chances.
type curveOf struct {
	design *compare.PlannedDesign
	name   string
	dash   []float64
	paint  draw.Paint
	width  float64
}

// curves picks what the picture shows: the chosen or recommended design, and beside it
// the nearest of another order that takes less time and the nearest that takes more.
func (p *Plan) curves() []curveOf {
	middle := p.chosen()
	var shorter, longer *compare.PlannedDesign
	for i := range p.Designs {
		d := &p.Designs[i]
		switch {
		case withheldWords(d) != "" || middle != nil && d.Order == middle.Order:
		case middle == nil || d.Minutes < middle.Minutes:
			shorter = d
		case longer == nil:
			longer = d
		}
	}
	var out []curveOf
	add := func(d *compare.PlannedDesign, dash []float64, paint draw.Paint, width float64) {
		if d != nil && withheldWords(d) == "" {
			setups := "anew"
			if d.OneSetup {
				setups = "one setup"
			}
			out = append(out, curveOf{d, d.Order + ", " + setups + ", " + minutesWords(d.Minutes), dash, paint, width})
		}
	}
	add(shorter, dashBaseline, paintBaseline, 1.6)
	add(middle, nil, paintGain, 2.4)
	add(longer, dashLimits, paintCandidate, 1.8)
	return out
}

// chancePlaces is how many gains a curve of chances is drawn through.
const chancePlaces = 90

// chanceChart draws the chance of showing a gain over its size.
func (p *Plan) chanceChart(l look) draw.Picture {
	em := l.size
	curves, x := p.curves(), p.Campaign.Objective.SmallestGain
	gains, most := p.gains(curves)
	f := frame{
		x: newScale(0, 100*most, 8), y: newScale(0, 100, 5),
		left: 4.2 * em, top: 2.9 * em, width: l.width - 18.5*em, height: 0.33 * l.width, size: em,
	}
	picture := draw.Picture{
		Width: l.width, Height: f.top + f.height + 3.4*em, ID: "chance",
		Title: "Chance of showing a gain over the size of the gain, in per cent", Description: p.describeChances(curves),
	}
	f.picture = &picture
	picture.Add(draw.Text{At: draw.Point{Y: 1.1 * em}, Words: chanceTitle, Size: em, Face: draw.Bold, Paint: paintInk})
	f.ground([2]float64{}, "", false)
	for _, v := range f.x.Ticks() {
		picture.Add(draw.Text{At: draw.Point{X: f.at(v, 0).X, Y: f.top + f.height + 1.5*em}, Words: fixed(v, f.x.Places), Size: em, Anchor: draw.Middle, Paint: paintMuted})
	}
	picture.Add(draw.Text{At: draw.Point{X: f.left + f.width, Y: f.top + f.height + 2.75*em}, Words: "true gain, %", Size: em, Anchor: draw.End, Paint: paintMuted})
	cross := f.at(100*x, 100*p.Wanted)
	picture.Add(
		draw.Stroke{Points: []draw.Point{{X: cross.X, Y: f.top}, {X: cross.X, Y: f.top + f.height}}, Width: 1, Paint: paintInk},
		draw.Stroke{Points: []draw.Point{{X: f.left, Y: cross.Y}, {X: f.left + f.width, Y: cross.Y}}, Width: 1, Paint: paintInk},
		draw.Text{At: draw.Point{X: cross.X + 0.4*em, Y: f.top + f.height - 0.5*em}, Words: "smallest gain of interest", Size: em, Paint: paintInk},
	)
	tags := []tag{{y: cross.Y, words: "wanted", paint: paintInk, width: 1}}
	for _, c := range curves {
		chances := c.chances(gains)
		f.line(gains, chances, c.width, c.dash, c.paint)
		tags = append(tags, tag{y: f.at(0, chances[chancePlaces]).Y, words: c.name, paint: c.paint, dash: c.dash, width: c.width})
	}
	f.tags(tags, l.width-f.left-f.width)
	return picture
}

// chanceTitle stands above the picture of chances.
const chanceTitle = "Chance of showing a gain, %, where the part has it"

// gains are the true gains that chances are drawn at, in per cent, from next to none
// to what the axis ends at, which is returned as a fraction.
func (p *Plan) gains(curves []curveOf) ([]float64, float64) {
	most := 2.2 * p.Campaign.Objective.SmallestGain
	for _, c := range curves {
		if d := c.design.Detectable(0.95); d < 0.5 {
			most = max(most, d)
		}
	}
	gains := make([]float64, chancePlaces+1)
	for k := range gains {
		gains[k] = 100 * most * max(float64(k), 1e-6) / chancePlaces
	}
	return gains, most
}

// chances are a design's chances of showing the gains, in per cent.
func (c *curveOf) chances(gains []float64) []float64 {
	out := make([]float64, len(gains))
	for k, gain := range gains {
		out[k] = 100 * c.design.Chance(gain/100)
	}
	return out
}

// chancePlot is the picture of chances in numbers.
func (p *Plan) chancePlot() *plot {
	curves, x := p.curves(), p.Campaign.Objective.SmallestGain
	gains, most := p.gains(curves)
	axis := plotAxis{Name: "true gain", Unit: "%", Ends: []amount{0, amount(100 * most)}, Values: amounts(gains), column: "true_gain"}
	for _, gain := range gains {
		axis.Words = append(axis.Words, "true gain "+fixed(gain, 2)+" %")
	}
	panel := plotPanel{Title: chanceTitle, Unit: "%", Low: 0, High: 100, Lines: []plotLine{{At: amount(100 * p.Wanted), Words: "wanted"}}}
	for _, c := range curves {
		chances := c.chances(gains)
		one := plotSeries{Name: c.name, Paint: c.paint.Name, Values: amounts(chances), column: "chance_" + columnName(c.name)}
		kind := "line"
		switch {
		case slices.Equal(c.dash, dashBaseline):
			kind, one.Dashed = "dashed", true
		case slices.Equal(c.dash, dashLimits):
			kind, one.Dotted = "limits", true
		}
		for _, chance := range chances {
			one.Read = append(one.Read, chanceWords(chance/100))
		}
		panel.Key, panel.Series = append(panel.Key, plotKey{kind, one.Paint, c.name}), append(panel.Series, one)
	}
	return &plot{Format: chartFormat, X: axis, Band: []amount{}, Lines: []plotLine{{At: amount(100 * x), Words: "smallest gain of interest"}}, Panels: []plotPanel{panel}}
}

func (p *Plan) describeChances(curves []curveOf) string {
	if len(curves) == 0 {
		return "No design could carry a verdict."
	}
	s := "Lines that rise from the left to the right."
	for _, c := range curves {
		s += " " + capitalised(c.name) + ": a gain of " + plain(100*p.Campaign.Objective.SmallestGain) + " % is shown with a chance of " +
			chanceWords(c.design.Chance(p.Campaign.Objective.SmallestGain)) + "."
	}
	return s
}

// gainsOfTable are the gains of the table of chances, as shares of the smallest gain
// of interest.
var gainsOfTable = []float64{0.25, 0.5, 0.75, 1, 1.5, 2}

// chanceTable has the picture's numbers.
func (p *Plan) chanceTable() table {
	t := table{Caption: "The same in numbers: chance of showing a gain of this size.", Heads: []string{"Design"}, Numeric: []bool{false}}
	for _, share := range gainsOfTable {
		t.Heads, t.Numeric = append(t.Heads, plain(math.Round(1e4*share*p.Campaign.Objective.SmallestGain)/100)+" %"), append(t.Numeric, true)
	}
	for _, c := range p.curves() {
		row := []string{c.name}
		for _, share := range gainsOfTable {
			row = append(row, chanceWords(c.design.Chance(share*p.Campaign.Objective.SmallestGain)))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}
