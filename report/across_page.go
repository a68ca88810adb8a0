package report

import (
	"bufio"
	"io"
	"math"
	"strings"

	"fairpull/quantity"
	"fairpull/report/draw"
)

// HTML writes the comparison across vehicles as one page that stands alone.
func (a *Across) HTML(w io.Writer, units quantity.System) error {
	return writePage(w, a.title(), a.subtitle(), a.foot(), a.blocks(onScreen))
}

// PDF writes the same on A4, or on Letter for who reads US customary units.
func (a *Across) PDF(w io.Writer, units quantity.System) error {
	return writePaper(w, a.title(), a.subtitle(), a.foot(), a.Version, a.blocks(onPaper), units)
}

// SVG writes the forest alone: gains are in per cent in any units.
func (a *Across) SVG(w io.Writer, _ quantity.System) error { return draw.SVG(w, a.picture(), false) }

// PNG writes the same picture in pixels.
func (a *Across) PNG(w io.Writer, _ quantity.System) error {
	return draw.PNG(w, a.picture(), pixelsPerPoint)
}

func (a *Across) foot() string { return "Made by Fairpull" + labelled(" ", clean(a.Version)) }

func (a *Across) picture() draw.Picture {
	const margin = 30.0
	p := draw.Picture{Width: onScreen.width + 2*margin, ID: "across", Title: a.title(), Description: a.subtitle()}
	c := column{picture: &p, left: margin, width: onScreen.width, y: margin}
	c.words(a.title(), 18, draw.Bold, paintInk)
	for _, s := range a.Sentences() {
		c.words(unbroken(s), 11.5, draw.Regular, paintInk)
	}
	c.y += 8
	c.place(a.forest(onScreen))
	p.Height = c.y + margin
	return p
}

func (a *Across) blocks(l look) []block {
	blocks := []block{heading{Level: 1, Words: a.title()}, paragraph{Words: a.subtitle(), Small: true}}
	for _, s := range a.Sentences() {
		blocks = append(blocks, paragraph{Words: s})
	}
	t := table{
		Heads:   []string{"Vehicle", "Campaign", "Gain, %", confidence(a.Confidence) + " interval", "Standard error, %", "Degrees of freedom", "Verdict", "Note"},
		Numeric: []bool{false, false, true, true, true, true, false, false}, Caption: "Each vehicle by itself.",
	}
	for i := range a.Rows {
		r := &a.Rows[i]
		g, se, df := r.words(), "–", "–"
		if r.Figure.Interval {
			se, df = fixed(100*r.Figure.SE, 2), degrees(r.Figure.DF)
		}
		t.Rows = append(t.Rows, []string{clean(r.Vehicle), clean(r.Campaign), g.Value, g.Interval, se, df, r.Verdict, r.note()})
	}
	blocks = append(blocks, figure{Picture: a.forest(l), Caption: "Gain of each vehicle with its interval; below, the mean with its interval, and in dashes where one more vehicle is to be expected. A hollow mark is not used."}, t)
	for _, s := range a.cautions() {
		blocks = append(blocks, paragraph{Words: s, Small: true})
	}
	return blocks
}

// span returns the range of gains, in per cent, that a picture shows: zero, every gain
// and every interval that is not absurdly wide.
func (a *Across) span() (lo, hi float64) {
	e := newExtent()
	e.add(0)
	widest := 0.0
	for _, r := range a.Rows {
		e.add(percent(r.Figure.Gain))
		if r.Figure.Interval {
			e.add(percent(r.Figure.Lo), percent(r.Figure.Hi))
			widest = max(widest, percent(r.Figure.Hi)-percent(r.Figure.Lo))
		}
	}
	most := 3 * max(widest, e.hi-e.lo) // two vehicles' mean may be known to tens of per cent
	for _, v := range []float64{a.Result.Lo, a.Result.Hi, a.Result.PredictionLo, a.Result.PredictionHi} {
		if a.Result.Vehicles > 1 && math.Abs(percent(v)-percent(a.Result.Mean)) < most {
			e.add(percent(v))
		}
	}
	if a.Result.Vehicles > 1 {
		e.add(percent(a.Result.Mean))
	}
	return padded(e.lo, e.hi, 0.06)
}

// forest draws one row a vehicle, then the mean and the prediction.
func (a *Across) forest(l look) draw.Picture {
	em := l.size
	rows := len(a.Rows)
	if a.Result.Vehicles > 1 {
		rows++
	}
	if a.Result.Predicted {
		rows++
	}
	lo, hi := a.span()
	p := draw.Picture{Width: l.width, ID: "forest", Title: a.title(), Description: "One line a vehicle: its gain with its interval. " + strings.Join(a.Sentences(), " ")}
	names := 0.3 * l.width
	f := frame{picture: &p, x: newScale(lo, hi, 6), y: scale{Lo: 0, Hi: float64(rows)},
		left: names, top: 2.2 * em, width: l.width - names - 0.5*em, height: 2 * em * float64(rows), size: em}
	p.Height = f.top + f.height + 3.2*em
	p.Add(draw.Text{At: draw.Point{Y: 1.1 * em}, Words: "Gain in " + acrossNames[a.Metric] + ", %", Size: em, Face: draw.Bold, Paint: paintInk})
	for _, v := range f.x.Ticks() {
		at := f.at(v, 0)
		p.Add(draw.Stroke{Points: []draw.Point{{X: at.X, Y: f.top}, at}, Width: 0.6, Paint: paintGrid},
			draw.Text{At: draw.Point{X: at.X, Y: at.Y + 1.4*em}, Words: signed(v, f.x.Places), Size: em, Anchor: draw.Middle, Paint: paintMuted})
	}
	p.Add(draw.Stroke{Points: []draw.Point{f.at(0, 0), f.at(0, float64(rows))}, Width: 1.2, Paint: paintFrame})
	at := float64(rows) - 0.5
	row := func(name string, face draw.Face, gain, low, high float64, dash []float64, paint draw.Paint, mark func(draw.Point, draw.Paint)) {
		p.Add(draw.Text{At: draw.Point{Y: f.at(0, at).Y + 0.36*em}, Words: draw.Fit(name, em, face, names-0.6*em), Size: em, Face: face, Paint: paintInk})
		if low < high {
			ends := []draw.Point{f.at(f.across(percent(low)), at), f.at(f.across(percent(high)), at)}
			p.Add(draw.Stroke{Points: ends, Width: 1.6, Dash: f.dash(dash), Paint: paint})
		}
		if mark != nil && !math.IsNaN(gain) {
			mark(f.at(f.across(percent(gain)), at), paint)
		}
		at--
	}
	for i := range a.Rows {
		r := &a.Rows[i]
		low, high := math.NaN(), math.NaN()
		if r.Figure.Interval {
			low, high = r.Figure.Lo, r.Figure.Hi
		}
		mark := f.disc
		if !r.Used {
			mark = f.hollow
		}
		row(clean(r.Vehicle), draw.Regular, r.Figure.Gain, low, high, nil, paintBaseline, mark)
	}
	if r := a.Result; r.Vehicles > 1 {
		row("mean of "+plural(r.Vehicles, "vehicle"), draw.Bold, r.Mean, r.Lo, r.Hi, nil, paintGain, f.square)
		if r.Predicted {
			row("one more vehicle", draw.Bold, math.NaN(), r.PredictionLo, r.PredictionHi, dashBaseline, paintGain, nil)
		}
	}
	return p
}

// across keeps a value on the horizontal axis.
func (f *frame) across(v float64) float64 { return math.Max(f.x.Lo, math.Min(f.x.Hi, v)) }

// hollow is a ring.
func (f *frame) hollow(at draw.Point, paint draw.Paint) {
	const corners = 24
	points := make([]draw.Point, corners+1)
	for i := range points {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / corners)
		points[i] = draw.Point{X: at.X + 0.36*f.size*cos, Y: at.Y + 0.36*f.size*sin}
	}
	f.picture.Add(draw.Area{Points: points, Paint: paintPaper}, draw.Stroke{Points: points, Width: 1.2, Paint: paint})
}

// Text writes it for a terminal: the answer, the forest in characters, what the
// figures rest on.
func (a *Across) Text(w io.Writer, o TextOptions) error {
	out := bufio.NewWriter(w)
	t := &terminal{out: out, o: o, width: max(80, min(o.Width, 160))}
	t.title(a.title())
	t.words("", a.subtitle())
	t.line("")
	for _, s := range a.Sentences() {
		t.words("", s)
	}
	t.line("")
	a.forestText(t)
	for i := range a.Rows {
		if note := a.Rows[i].note(); note != "" {
			t.words("  ", clean(a.Rows[i].Campaign)+": "+note)
		}
	}
	t.line("")
	for _, s := range a.cautions() {
		t.words("", s)
	}
	return out.Flush()
}

// forestASCII has a character of its own for each mark of a forest.
var forestASCII = strings.NewReplacer("│", "|", "─", "-", "●", "o", "○", ".", "━", "=", "■", "#", "┄", ".")

// forestText draws the forest in characters.
func (a *Across) forestText(t *terminal) {
	const name, words = 18, 28
	lo, hi := a.span()
	width := t.width - name - words - 4
	place := func(v float64) int {
		return min(max(int(math.Round((percent(v)-lo)/(hi-lo)*float64(width-1))), 0), width-1)
	}
	row := func(label string, gain, low, high float64, mark, bar rune, text string) {
		cells := []rune(strings.Repeat(" ", width))
		cells[place(0)] = '│'
		if low < high {
			for c := place(low); c <= place(high); c++ {
				cells[c] = bar
			}
		}
		if !math.IsNaN(gain) {
			cells[place(gain)] = mark
		}
		drawn := string(cells)
		if t.o.ASCII {
			drawn = forestASCII.Replace(drawn)
		}
		t.line("  " + padRight(cut(label, name-1), name) + drawn + "  " + text)
	}
	for i := range a.Rows {
		r := &a.Rows[i]
		g, mark := r.words(), '●'
		if !r.Used {
			mark = '○'
		}
		low, high := math.NaN(), math.NaN()
		if r.Figure.Interval {
			low, high = r.Figure.Lo, r.Figure.Hi
		}
		row(clean(r.Vehicle), r.Figure.Gain, low, high, mark, '─', g.Value+" % ("+g.Interval+")")
	}
	r := a.Result
	if r.Vehicles < 2 {
		return
	}
	g := gainWords(r.Mean, r.Lo, r.Hi, r.AtLeast, true)
	row("mean", r.Mean, r.Lo, r.Hi, '■', '━', g.Value+" % ("+g.Interval+")")
	if r.Predicted {
		next := gainWords(r.Mean, r.PredictionLo, r.PredictionHi, math.NaN(), true)
		row("one more vehicle", math.NaN(), r.PredictionLo, r.PredictionHi, ' ', '┄', next.Interval)
	}
}
