package report

import (
	"fmt"
	"io"
	"strings"

	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/report/draw"
)

// pixelsPerPoint of a PNG: 720 points become 1,584 pixels.
const pixelsPerPoint = 2.2

// SVG writes the picture of the campaign: for every candidate the verdict, the
// gain chart, and torque and power of both sides below it.
func (g *Gain) SVG(w io.Writer, units quantity.System) error {
	return draw.SVG(w, g.picture(units), false)
}

// PNG writes the same picture as SVG, 1,584 pixels wide.
func (g *Gain) PNG(w io.Writer, units quantity.System) error {
	return draw.PNG(w, g.picture(units), pixelsPerPoint)
}

// picture puts title, verdicts and charts one below the other.
func (g *Gain) picture(units quantity.System) draw.Picture {
	const margin = 30.0
	l := onScreen
	p := draw.Picture{Width: l.width + 2*margin, ID: "picture", Title: g.title()}
	var said []string
	c := column{picture: &p, left: margin, width: l.width, y: margin}
	c.words(g.title(), 18, draw.Bold, paintInk)
	c.words(g.byline(), 10.5, draw.Regular, paintMuted)
	c.words(g.ExploratorySentence(), 10.5, draw.Bold, paintInk)
	for i := range g.Comparisons {
		sentence := g.Sentence(&g.Comparisons[i])
		said = append(said, sentence)
		c.y += 14
		c.words(Verdict(&g.Comparisons[i]), 14, draw.Bold, paintInk)
		c.words(sentence, 12.5, draw.Regular, paintInk)
		c.words(g.flagLine(&g.Comparisons[i]), 10.5, draw.Regular, paintMuted)
		c.y += 10
		c.place(g.gainChart(i, l))
		c.y += 18
		c.place(g.levelsChart(i, l, units))
	}
	c.y += 14
	c.words(g.provenance()+". One vehicle on one dyno: the report has the checks, the cautions, and what this does not claim.", 9.5, draw.Regular, paintMuted)
	p.Height = c.y + margin - 8
	p.Description = strings.Join(said, " ")
	return p
}

// column fills a picture from above.
type column struct {
	picture *draw.Picture
	left    float64
	width   float64
	y       float64
}

// words writes a paragraph; nothing where there are no words.
func (c *column) words(s string, size float64, face draw.Face, paint draw.Paint) {
	if s == "" {
		return
	}
	for _, line := range draw.Wrap(s, size, face, c.width) {
		c.y += 1.32 * size
		c.picture.Add(draw.Text{At: draw.Point{X: c.left, Y: c.y}, Words: line, Size: size, Face: face, Paint: paint})
	}
	c.y += 0.35 * size
}

// place puts a chart below what is there.
func (c *column) place(chart draw.Picture) {
	c.picture.Add(moved(chart.Marks, c.left, c.y)...)
	c.y += chart.Height
}

// moved returns marks shifted by dx and dy.
func moved(marks []draw.Mark, dx, dy float64) []draw.Mark {
	shift := func(points []draw.Point) []draw.Point {
		out := make([]draw.Point, len(points))
		for i, p := range points {
			out[i] = draw.Point{X: p.X + dx, Y: p.Y + dy}
		}
		return out
	}
	out := make([]draw.Mark, len(marks))
	for i, mark := range marks {
		switch m := mark.(type) {
		case draw.Stroke:
			m.Points = shift(m.Points)
			out[i] = m
		case draw.Area:
			m.Points = shift(m.Points)
			out[i] = m
		case draw.Text:
			m.At = draw.Point{X: m.At.X + dx, Y: m.At.Y + dy}
			out[i] = m
		case draw.Image:
			m.At = draw.Point{X: m.At.X + dx, Y: m.At.Y + dy}
			out[i] = m
		case draw.Heading:
			m.Y += dy
			out[i] = m
		}
	}
	return out
}

// title is the campaign's title, or its id.
func (g *Gain) title() string {
	if t := cleanTo(g.Campaign.Title, 200); t != "" {
		return t
	}
	return clean(g.Campaign.ID)
}

// figureKind says what every level in the report is.
func (g *Gain) figureKind() string {
	kind := "wheel figures"
	if g.AtCrank {
		kind = "crank figures as the logs give them"
	}
	if g.uncorrected() {
		return kind + " at full throttle, not corrected for the air"
	}
	return kind + " at full throttle, corrected by " + g.standard()
}

// standard names the correction in full.
func (g *Gain) standard() string {
	if s := cleanTo(g.Standard.Form, 200); s != "" {
		return s
	}
	return clean(g.Standard.Name)
}

// byline says what was measured where.
func (g *Gain) byline() string {
	vehicle := clean(g.Campaign.Vehicle.Description)
	if id := clean(g.Campaign.Vehicle.ID); id != "" {
		vehicle = strings.TrimSpace(vehicle + " (" + id + ")")
	}
	return joined("; ", vehicle, labelled("dyno ", clean(g.Campaign.Dyno.ID)), g.figureKind(), g.days())
}

// days gives the day or days of the pulls, by the clock of the place.
func (g *Gain) days() string {
	first, last := g.firstAndLastDay()
	if first == last {
		return first
	}
	return first + " to " + last
}

// firstAndLastDay returns two days as ISO 8601 writes them; empty without any.
func (g *Gain) firstAndLastDay() (first, last string) {
	for _, p := range g.Pulls {
		if p.Started.IsZero() {
			continue
		}
		day := p.Started.Format("2006-01-02")
		if first == "" || day < first {
			first = day
		}
		last = max(last, day)
	}
	return first, last
}

// provenance says which program and which campaign made a document.
func (g *Gain) provenance() string {
	return joined(" · ", "Made by Fairpull"+labelled(" ", clean(g.Version)), labelled("campaign ", clean(g.Campaign.ID)))
}

// flagLine counts the checks of c and names those that did not pass.
func (g *Gain) flagLine(c *compare.Comparison) string {
	checks := g.checksFor(c.Candidate)
	var open []string
	for _, k := range notPassed(checks) {
		open = append(open, string(k.Status)+": "+clean(k.ID))
	}
	if len(open) == 0 {
		return fmt.Sprintf("All %s passed.", plural(len(checks), "check"))
	}
	return fmt.Sprintf("%d of %s did not pass (%s).", len(open), plural(len(checks), "check"), strings.Join(few(open), "; "))
}

// joined joins the parts that are not empty.
func joined(separator string, parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, separator)
}

// labelled puts a label before words, if there are words.
func labelled(label, words string) string {
	if words == "" {
		return ""
	}
	return label + words
}
