package report

import (
	"math"
	"strconv"

	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/report/draw"
)

// blocks are the steps as a document.
func (s *Steps) blocks(l look, units quantity.System) []block {
	out := []block{heading{Level: 1, Words: s.title()}, paragraph{Words: s.question(), Small: true}}
	out = append(out, figure{Picture: s.ladderChart(l), Numbers: s.numbers(), Beside: true, TableID: "figures", Caption: "Each step over the one before it, each candidate over the baseline, and what single parts and pairs do; with intervals. A hollow mark carries no verdict."})
	for i := range s.Ladder {
		step := &s.Ladder[i]
		out = append(out,
			heading{Level: 2, Words: "Step " + strconv.Itoa(i+1) + ": " + s.Gain.shortSide(step.ID), ID: "step-" + strconv.Itoa(i+1)},
			paragraph{Words: "Changed against " + s.Gain.shortSide(step.Over.Baseline) + ": " + cleanedList(step.Changed) + ".", Small: true},
			verdict{Name: Verdict(&step.Over), Shown: step.Over.Verdict != compare.NotEnoughEvidence && step.Over.Verdict != "", Sentence: s.Sentence(i)},
			figure{Picture: s.byStep().gainChart(i, l), Caption: s.byStep().gainCaption(&step.Over), Plot: s.byStep().gainChartPlot(i), Beside: true, TableID: numbersID})
	}
	out = append(out, heading{Level: 2, Words: "Figures", ID: "figures"}, s.table())
	if len(s.Effects) > 0 {
		var items []string
		for i := range s.Effects {
			items = append(items, s.Effects[i].words())
		}
		out = append(out, heading{Level: 2, Words: "What each part does", ID: "effects"}, bullets{Items: items})
	}
	out = append(out, heading{Level: 2, Words: "How to read it", ID: "limits"}, bullets{Items: s.cautions()})
	if len(s.Ladder) > 0 {
		out = append(out, s.byStep().numberBlocks(documentOptions{units: units})...)
	}
	return out
}

// table has every contrast with its interval.
func (s *Steps) table() table {
	t := table{
		Caption: "Gains of the primary figure.",
		Heads:   []string{"Contrast", "Gain, %", "Interval", "At least, %", "Standard error, %", "Degrees of freedom", "Verdict"}, Numeric: []bool{false, true, true, true, true, true, false},
	}
	for _, row := range s.rows() {
		f := row.c.Figure(row.c.Primary)
		cells := []string{row.name, "none", "–", "–", "–", "–", row.says}
		if f.Missing == "" {
			g := gainTextOf(f)
			cells[1], cells[2] = g.Value, g.Interval
			if f.Interval {
				cells[4], cells[5] = fixed(100*f.SE, 2), degrees(math.Round(10*f.DF)/10)
			}
			if g.AtLeast != "" && len(row.c.Reasons) == 0 {
				cells[3] = g.AtLeast
			}
		}
		t.Rows = append(t.Rows, cells)
	}
	return t
}

// numbers are the contrasts unrounded, in per cent.
func (s *Steps) numbers() numbers {
	names := numberColumn{Name: "contrast"}
	cols := []numberColumn{{Name: "gain"}, {Name: "low"}, {Name: "high"}, {Name: "at_least"}, {Name: "standard_error"}}
	none := math.NaN()
	for _, row := range s.rows() {
		f := row.c.Figure(row.c.Primary)
		values := []float64{none, none, none, none, none}
		if f.Missing == "" {
			values[0] = percent(f.Gain)
		}
		if f.Missing == "" && f.Interval {
			values = []float64{percent(f.Gain), percent(f.Lo), percent(f.Hi), percent(f.AtLeast), 100 * f.SE}
		}
		names.Words = append(names.Words, row.name)
		for k := range cols {
			cols[k].Unit, cols[k].Values = "%", append(cols[k].Values, values[k])
		}
	}
	return append(numbers{names}, cols...)
}

// stepsRow is one contrast in table and picture.
type stepsRow struct {
	name, says string
	bold       bool
	c          *compare.Comparison
}

// rows are the steps over the ones before them, all candidates over the baseline, and
// the effects.
func (s *Steps) rows() []stepsRow {
	var out []stepsRow
	for i := range s.Ladder {
		c := &s.Ladder[i].Over
		out = append(out, stepsRow{s.Gain.shortSide(c.Candidate) + " over " + s.Gain.shortSide(c.Baseline), Verdict(c), true, c})
	}
	for i := range s.Gain.Comparisons {
		c := &s.Gain.Comparisons[i]
		if len(s.Ladder) > 0 && s.Ladder[0].ID == c.Candidate {
			continue // the first step stands above
		}
		out = append(out, stepsRow{s.Gain.shortSide(c.Candidate) + " over " + s.Gain.shortSide(c.Baseline), Verdict(c), false, c})
	}
	for i := range s.Effects {
		e := &s.Effects[i]
		name := cleanedList(e.Parts)
		if len(e.Parts) == 2 {
			name += ", beyond both"
		}
		out = append(out, stepsRow{name, capitalised(e.answer()), false, &e.Effect.Comparison})
	}
	return out
}

// ladderChart draws one row a contrast.
func (s *Steps) ladderChart(l look) draw.Picture {
	em, rows := l.size, s.rows()
	e := newExtent()
	e.add(0)
	for _, r := range rows {
		if f := r.c.Figure(r.c.Primary); f.Missing == "" {
			e.add(percent(f.Gain))
			if f.Interval && f.Hi-f.Lo < 1 {
				e.add(percent(f.Lo), percent(f.Hi))
			}
		}
	}
	lo, hi := padded(e.lo, e.hi, 0.06)
	if hi-lo < 1 {
		lo, hi = lo-0.5, hi+0.5
	}
	names := 0.42 * l.width
	p := draw.Picture{Width: l.width, ID: "steps", Title: s.title(), Description: s.question()}
	f := frame{picture: &p, x: newScale(lo, hi, 6), y: scale{Lo: 0, Hi: float64(len(rows))}, left: names, top: 2.2 * em, width: l.width - names - em, height: 2 * em * float64(len(rows)), size: em}
	p.Height = f.top + f.height + 3.2*em
	p.Add(draw.Text{At: draw.Point{Y: 1.1 * em}, Words: "Gain of the primary figure, %", Size: em, Face: draw.Bold, Paint: paintInk})
	for _, v := range f.x.Ticks() {
		at := f.at(v, 0)
		p.Add(draw.Stroke{Points: []draw.Point{{X: at.X, Y: f.top}, at}, Width: 0.6, Paint: paintGrid},
			draw.Text{At: draw.Point{X: at.X, Y: at.Y + 1.4*em}, Words: signed(v, f.x.Places), Size: em, Anchor: draw.Middle, Paint: paintMuted})
	}
	p.Add(draw.Stroke{Points: []draw.Point{f.at(0, 0), f.at(0, float64(len(rows)))}, Width: 1.2, Paint: paintFrame})
	for i, r := range rows {
		f.contrast(r, float64(len(rows)-i)-0.5, names)
	}
	return p
}

// contrast draws one row: its name, its interval and its gain.
func (f *frame) contrast(r stepsRow, at, names float64) {
	em, face, paint := f.size, draw.Regular, paintBaseline
	if r.bold {
		face, paint = draw.Bold, paintGain
	}
	f.picture.Add(draw.Text{At: draw.Point{Y: f.at(0, at).Y + 0.36*em}, Words: draw.Fit(r.name, em, face, names-0.8*em), Size: em, Face: face, Paint: paintInk})
	figure := r.c.Figure(r.c.Primary)
	if figure.Missing != "" {
		return
	}
	if figure.Interval {
		ends := []draw.Point{f.at(f.across(percent(figure.Lo)), at), f.at(f.across(percent(figure.Hi)), at)}
		f.picture.Add(draw.Stroke{Points: ends, Width: 1.6, Paint: paint})
	}
	mark := f.disc
	if len(r.c.Reasons) > 0 {
		mark = f.hollow
	}
	mark(f.at(f.across(percent(figure.Gain)), at), paint)
}

func (s *Steps) picture() draw.Picture {
	const margin = 30.0
	p := draw.Picture{Width: onScreen.width + 2*margin, ID: "picture", Title: s.title(), Description: s.question()}
	c := column{picture: &p, left: margin, width: onScreen.width, y: margin}
	c.words(s.title(), 18, draw.Bold, paintInk)
	c.words(unbroken(s.question()), 11.5, draw.Regular, paintInk)
	c.y += 8
	c.place(s.ladderChart(onScreen))
	c.words(s.foot(), 9.5, draw.Regular, paintMuted)
	p.Height = c.y + margin - 10
	return p
}
