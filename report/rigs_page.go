package report

import (
	"bufio"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/report/draw"
)

// HTML writes the comparison of rigs as one page that stands alone.
func (r *Rigs) HTML(w io.Writer, units quantity.System) error {
	return writePage(w, r.title(), r.subtitle(), r.foot(), r.blocks(onScreen, units))
}

// PDF writes the same on A4, or on Letter for who reads US customary units.
func (r *Rigs) PDF(w io.Writer, units quantity.System) error {
	return writePaper(w, r.title(), r.subtitle(), r.foot(), r.Version, r.blocks(onPaper, units), units)
}

// SVG writes the biases over engine speed alone: they are in per cent in any units.
func (r *Rigs) SVG(w io.Writer, _ quantity.System) error { return draw.SVG(w, r.picture(), false) }

// PNG writes the same picture in pixels.
func (r *Rigs) PNG(w io.Writer, _ quantity.System) error {
	return draw.PNG(w, r.picture(), pixelsPerPoint)
}

func (r *Rigs) foot() string { return "Made by Fairpull" + labelled(" ", clean(r.Version)) }

func (r *Rigs) picture() draw.Picture {
	const margin = 30.0
	p := draw.Picture{Width: onScreen.width + 2*margin, ID: "rigs", Title: r.title(), Description: r.subtitle()}
	c := column{picture: &p, left: margin, width: onScreen.width, y: margin}
	c.words(r.title(), 18, draw.Bold, paintInk)
	c.words(unbroken(r.subtitle()), 10.5, draw.Regular, paintMuted)
	for _, s := range r.Sentences() {
		c.words(unbroken(s), 11.5, draw.Regular, paintInk)
	}
	c.y += 8
	for i := range r.Biases {
		c.place(r.biasChart(i, onScreen))
		c.y += 8
	}
	c.words(r.foot(), 9.5, draw.Regular, paintMuted)
	p.Height = c.y + margin
	return p
}

// biasSeries is the bias over engine speed as a chart of a gain has it.
func (r *Rigs) biasSeries(i int) (*compare.Comparison, gainSeries) {
	b := &r.Biases[i]
	c := &compare.Comparison{Confidence: b.Confidence, BandRPM: b.BandRPM}
	for _, n := range b.Curve {
		c.Curve = append(c.Curve, compare.Node{
			RPM: n.RPM, Gain: n.Bias, Interval: b.Interval, Lo: n.Lo, Hi: n.Hi, BandLo: n.BandLo, BandHi: n.BandHi,
		})
	}
	return c, newGainSeries(c)
}

func (r *Rigs) biasName(i int) string {
	return "Bias of " + clean(r.Rigs[i+1].Dyno) + " against " + clean(r.Rigs[0].Dyno) + " in torque"
}

// biasChart draws the bias of a rig over engine speed.
func (r *Rigs) biasChart(i int, l look) draw.Picture {
	c, s := r.biasSeries(i)
	em := l.size
	f := frame{x: rpmScale(c), y: s.Range, left: 4.2 * em, top: 5.2 * em, width: l.width - 15.6*em, height: 0.3 * l.width, size: em}
	p := draw.Picture{
		Width: l.width, Height: f.top + f.height + 3.4*em, ID: "bias-" + strconv.Itoa(i+1),
		Title: r.biasName(i) + ", per cent over engine speed", Description: r.biasSentence(i),
	}
	f.picture = &p
	p.Add(draw.Text{At: draw.Point{Y: 1.1 * em}, Words: r.biasName(i) + ", %", Size: em, Face: draw.Bold, Paint: paintInk})
	f.gainKey(c, s, gainKeyWords{"bias", "no limits: the scatter of a rig is not known", "whole band"})
	name := ""
	if r.BandRPM != [2]float64{} {
		name = "riding band " + span(r.BandRPM)
	}
	f.ground(r.BandRPM, name, true)
	f.ribbon(s.RPM, s.BandLo, s.BandHi, paintGain.Faded(0.24))
	f.line(s.RPM, s.Lo, 1.1, dashLimits, paintGain)
	f.line(s.RPM, s.Hi, 1.1, dashLimits, paintGain)
	zero := f.at(f.x.Lo, 0)
	p.Add(draw.Stroke{Points: []draw.Point{zero, {X: f.left + f.width, Y: zero.Y}}, Width: 1.2, Paint: paintInk})
	f.line(s.RPM, s.Gain, 2.4, nil, paintGain)
	tags := []tag{{y: f.at(0, 0).Y, words: clean(r.Rigs[0].Dyno), paint: paintInk, width: 1.2}}
	if last := s.Gain[len(s.Gain)-1]; f.inside(last) {
		tags = append(tags, tag{y: f.at(0, last).Y, words: clean(r.Rigs[i+1].Dyno), paint: paintGain, width: 2.4})
	}
	f.tags(tags, l.width-f.left-f.width)
	return p
}

func (r *Rigs) blocks(l look, units quantity.System) []block {
	out := []block{heading{Level: 1, Words: r.title()}, paragraph{Words: r.subtitle(), Small: true}}
	for _, s := range r.Sentences() {
		out = append(out, paragraph{Words: s})
	}
	for i := range r.Biases {
		out = append(out, figure{Picture: r.biasChart(i, l), Caption: "How much more " + clean(r.Rigs[i+1].Dyno) + " reads than " + clean(r.Rigs[0].Dyno) + " at the same engine speed.", Beside: true, TableID: "speeds"})
	}
	out = append(out, r.rigsTable(units), bullets{Items: r.notes()}, r.speedsTable())
	if len(r.Evaluations) > 0 {
		out = append(out, heading{Level: 2, Words: "All rigs together", ID: "together"})
		for i := range r.Evaluations {
			out = append(out, paragraph{Words: r.Evaluations[i].sentence(r)})
		}
		out = append(out, r.togetherTable())
	}
	return append(out, heading{Level: 2, Words: "How to read it", ID: "limits"}, bullets{Items: r.cautions()})
}

// notes say what there is to know of each rig's figures.
func (r *Rigs) notes() []string {
	var out []string
	for i := range r.Rigs {
		if note := r.Rigs[i].note(); note != "" {
			out = append(out, clean(r.Rigs[i].Dyno)+": "+note)
		}
	}
	return out
}

// rigsTable has a row for each rig.
func (r *Rigs) rigsTable(units quantity.System) table {
	pressure, temperature := units.Unit(quantity.Pressure), units.Unit(quantity.Temperature)
	t := table{
		Caption: "What each rig read, as an uncertainty of its own level: of its setups and pulls, and of its calibration.",
		Heads:   []string{"Rig", "Campaign", "Setups", "Pulls", "Level", "Scatter (SE), %", "Calibration (u), %", "Air", "Correction"},
		Numeric: []bool{false, false, true, true, true, true, true, false, false},
	}
	for i := range r.Rigs {
		x := &r.Rigs[i]
		scatter, calibration, air := "–", "not stated", "not known"
		if s := x.Level.Scatter; x.Level.Known && s.DF > 0 {
			scatter = fixed(100*math.Sqrt(s.Setup+s.Block+s.Pull), 2) + " (" + degrees(s.DF) + " df)"
		}
		if x.CalibrationU > 0 {
			calibration = fixed(100*x.CalibrationU, 2)
		}
		if !math.IsNaN(x.Pressure) {
			air = fixed(pressure.From(x.Pressure), 2) + " " + pressure.Name + ", " + fixed(temperature.From(x.Temperature), 1) + " " + temperature.Name
		}
		t.Rows = append(t.Rows, []string{
			clean(x.Dyno), clean(x.Campaign), strconv.Itoa(x.Level.Setups), strconv.Itoa(x.Level.Pulls), level(x.Level.Band, x.Level.Band*x.Level.BandHalf, quantity.Torque, units),
			scatter, calibration, air, clean(x.Standard) + ", " + fixed(x.Factor, 4),
		})
	}
	return t
}

// speedsTable has the biases at each 500 1/min, and at the ends.
func (r *Rigs) speedsTable() table {
	t := table{Caption: "Bias by engine speed, %, with limits that hold for the whole riding band at once; outside it those of each speed alone.", Heads: []string{"Engine speed, rpm"}, Numeric: []bool{false}, Long: true}
	for i := range r.Biases {
		name := clean(r.Rigs[i+1].Dyno)
		t.Heads, t.Numeric = append(t.Heads, name, "Limits", "With calibrations"), append(t.Numeric, true, true, true)
	}
	for _, k := range r.shownNodes() {
		row := []string{plain(r.Biases[0].Curve[k].RPM)}
		for i := range r.Biases {
			b := &r.Biases[i]
			n := &b.Curve[k]
			lo, hi := n.BandLo, n.BandHi
			if math.IsNaN(lo) {
				lo, hi = n.Lo, n.Hi
			}
			g, with := gainWords(n.Bias, lo, hi, math.NaN(), b.Interval), "–"
			if b.Stated && b.Interval {
				with = gainWords(n.Bias, b.WithNodes[k][0], b.WithNodes[k][1], math.NaN(), true).Interval
			}
			row = append(row, g.Value, g.Interval, with)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// shownNodes are the nodes of a table: about every 500 1/min and the last.
func (r *Rigs) shownNodes() []int {
	var out []int
	next := 0.0
	curve := r.Biases[0].Curve
	for k := range curve {
		if curve[k].RPM >= next || k == len(curve)-1 {
			out = append(out, k)
			next = curve[k].RPM + 500
		}
	}
	return out
}

// togetherTable has Mandel's statistics of each rig.
func (r *Rigs) togetherTable() table {
	t := table{Caption: "Mandel's h and k (ISO 5725-2): how far a rig's mean lies from the others' in their SD, and its scatter over that of all. A mark: beyond the 5 % limit; two: beyond 1 %.", Heads: []string{"Rig"}, Numeric: []bool{false}}
	for _, e := range r.Evaluations {
		at := "band"
		if e.RPM > 0 {
			at = plain(e.RPM) + " rpm"
		}
		t.Heads, t.Numeric = append(t.Heads, at+": h", "k"), append(t.Numeric, true, true)
	}
	for i := range r.Rigs {
		row := []string{clean(r.Rigs[i].Dyno)}
		for _, e := range r.Evaluations {
			if e.Result == nil {
				row = append(row, "–", "–")
				continue
			}
			row = append(row, signed(e.Result.H[i], 2)+e.mark("Mandel h", i), fixed(e.Result.K[i], 2)+e.mark("Mandel k", i))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// mark is what stands beside a statistic beyond its limits.
func (e *RigsEvaluation) mark(test string, rig int) string {
	for _, f := range e.Result.Flags {
		if f.Test == test && slices.Contains(f.Rigs, rig) {
			if f.Outlier {
				return " **"
			}
			return " *"
		}
	}
	return ""
}

// Text writes it for a terminal: the answer, the bias in characters, what it rests on.
func (r *Rigs) Text(w io.Writer, o TextOptions) error {
	out := bufio.NewWriter(w)
	t := &terminal{out: out, o: o, width: max(80, min(o.Width, 160))}
	t.title(r.title())
	t.words("", r.subtitle())
	t.line("")
	for _, s := range r.Sentences() {
		t.words("", s)
	}
	for i := range r.Biases {
		t.line("")
		r.biasPlot(t, i)
	}
	t.line("")
	for i := range r.Rigs {
		r.rigText(t, &r.Rigs[i])
	}
	if len(r.Evaluations) > 1 {
		t.line("")
		for i := range r.Evaluations[1:] {
			t.words("", r.Evaluations[i+1].sentence(r))
		}
	}
	t.line("")
	for _, s := range r.cautions() {
		t.words("", s)
	}
	return out.Flush()
}

// rigText says in two lines what a rig brought.
func (r *Rigs) rigText(t *terminal, x *RigRow) {
	s := clean(x.Dyno) + ": " + clean(x.Campaign) + ", " + level(x.Level.Band, x.Level.Band*x.Level.BandHalf, quantity.Torque, t.o.Units) + " from " +
		plural(x.Level.Setups, "setup") + " and " + plural(x.Level.Pulls, "pull") + ", " + clean(x.Standard) + ", factor " + fixed(x.Factor, 4)
	t.words("  ", s)
	if note := x.note(); note != "" {
		t.words("    ", note)
	}
}

// biasPlot draws a bias in characters.
func (r *Rigs) biasPlot(t *terminal, i int) {
	c, s := r.biasSeries(i)
	if len(c.Curve) < 2 {
		return
	}
	p := newTextPlot(t, rpmScale(c), s.Range, 10)
	shade, zero, solid, dotted := '░', '─', "⠒⠒⠒", "⠒ ⠒"
	if t.o.ASCII {
		shade, zero, solid, dotted = ':', '-', "***", ". ."
	}
	p.ribbon(s.RPM, s.BandLo, s.BandHi, shade, styleGain)
	p.level(0, zero)
	p.curve(s.RPM, beside(s.Lo, s.BandLo), true, '.', styleGain)
	p.curve(s.RPM, beside(s.Hi, s.BandHi), true, '.', styleGain)
	p.curve(s.RPM, s.Gain, false, '*', styleGain)
	t.line(t.styled(styleBold, r.biasName(i)+", %"))
	key := solid + " bias   no limits: the scatter of a rig is not known"
	if s.Intervals {
		key = solid + " bias   " + strings.Repeat(string(shade), 3) + " " + confidence(r.Confidence) + " limits, whole band at once   " + dotted + " outside it"
	}
	t.words("  ", key)
	name := ""
	if r.BandRPM != [2]float64{} {
		name = "riding band " + span(r.BandRPM)
	}
	p.write(t, r.BandRPM, name)
}
