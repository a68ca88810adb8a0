package report

import (
	"math"
	"strconv"

	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/report/draw"
)

// look is the size of a chart: its width and its font, in points.
type look struct{ width, size float64 }

// Looks of charts on screen and on paper.
var (
	onScreen = look{720, 11.5}
	onPaper  = look{499, 8.2}
)

// rpmScale is the axis of engine speed that all charts of c share.
func rpmScale(c *compare.Comparison) scale {
	if len(c.Curve) < 2 {
		return newScale(0, 1, 1)
	}
	return newScale(c.Curve[0].RPM, c.Curve[len(c.Curve)-1].RPM, 7)
}

// bandLabel names the riding band for the charts.
func (g *Gain) bandLabel(c *compare.Comparison) ([2]float64, string) {
	band, stated := g.ridingBand(c)
	if !stated {
		return band, ""
	}
	return band, "riding band " + span(band)
}

// gainChart draws the gain of comparison i over engine speed.
func (g *Gain) gainChart(i int, l look) draw.Picture {
	c := &g.Comparisons[i]
	s := newGainSeries(c)
	em := l.size
	f := frame{x: rpmScale(c), y: s.Range, left: 4.2 * em, top: 5.2 * em, width: l.width - 15.6*em, height: 0.33 * l.width, size: em}
	p := draw.Picture{
		Width: l.width, Height: f.top + f.height + 3.4*em, ID: "gain-" + strconv.Itoa(i+1),
		Title:       "Gain of " + g.side(c.Candidate) + " over " + g.side(c.Baseline) + ", per cent over engine speed",
		Description: g.describeGain(c),
	}
	f.picture = &p
	p.Add(draw.Text{At: draw.Point{Y: 1.1 * em}, Words: "Gain in torque (and so in power) at the same engine speed, %", Size: em, Face: draw.Bold, Paint: paintInk})
	f.gainKey(c, s, gainKeyWords{"gain", "no limits: no block repeats a pull", "whole riding band"})
	band, name := g.bandLabel(c)
	f.ground(band, name, true)
	f.ribbon(s.RPM, s.BandLo, s.BandHi, paintGain.Faded(0.24))
	f.line(s.RPM, s.Lo, 1.1, dashLimits, paintGain)
	f.line(s.RPM, s.Hi, 1.1, dashLimits, paintGain)
	zero := f.at(f.x.Lo, 0)
	p.Add(draw.Stroke{Points: []draw.Point{zero, {X: f.left + f.width, Y: zero.Y}}, Width: 1.2, Paint: paintInk})
	f.line(s.RPM, s.Gain, 2.4, nil, paintGain)
	f.gainTags(c, s, l)
	return p
}

// gainKeyWords name what a panel draws: the line, why there are no limits, and over
// what the ribbon holds.
type gainKeyWords struct{ line, none, band string }

// gainKey explains the ribbon and the dotted lines in a row above the panel.
func (f *frame) gainKey(c *compare.Comparison, s gainSeries, k gainKeyWords) {
	em, y, x := f.size, 2.75*f.size, f.left
	p := f.picture
	p.Add(draw.Stroke{Points: []draw.Point{{X: x, Y: y - 0.35*em}, {X: x + 1.8*em, Y: y - 0.35*em}}, Width: 2.4, Paint: paintGain})
	x = f.keyWords(x+2.3*em, y, k.line)
	if !s.Intervals {
		f.keyWords(x, y, k.none)
		return
	}
	p.Add(draw.Area{Points: draw.Box(x, y-0.85*em, 1.8*em, em), Paint: paintGain.Faded(0.24)})
	words := confidence(c.Confidence) + " limits for the " + k.band + " at once"
	if s.Clipped {
		words += ", partly cut"
	}
	x = f.keyWords(x+2.3*em, y, words)
	p.Add(draw.Stroke{Points: []draw.Point{{X: x, Y: y - 0.35*em}, {X: x + 1.8*em, Y: y - 0.35*em}}, Width: 1.1, Dash: f.dash(dashLimits), Paint: paintGain})
	f.keyWords(x+2.3*em, y, "at each speed alone")
}

// keyWords writes words of a key and returns where the next entry begins.
func (f *frame) keyWords(x, y float64, words string) float64 {
	f.picture.Add(draw.Text{At: draw.Point{X: x, Y: y}, Words: words, Size: f.size, Paint: paintMuted})
	return x + draw.Width(words, f.size, draw.Regular) + 1.6*f.size
}

// gainTags labels the zero line and the curve at the right end.
func (f *frame) gainTags(c *compare.Comparison, s gainSeries, l look) {
	if len(s.Gain) == 0 {
		return
	}
	tags := []tag{{y: f.at(0, 0).Y, words: "no change", paint: paintInk, width: 1.2}}
	if last := s.Gain[len(s.Gain)-1]; f.inside(last) {
		tags = append(tags, tag{y: f.at(0, last).Y, words: "gain", paint: paintGain, width: 2.4})
	}
	f.tags(tags, l.width-f.left-f.width)
}

// describeGain says in words what the gain chart shows, each figure with limits
// that hold for a speed picked after looking.
func (g *Gain) describeGain(c *compare.Comparison) string {
	if len(c.Curve) == 0 {
		return "There is no curve."
	}
	first, last := c.Curve[0].RPM, c.Curve[len(c.Curve)-1].RPM
	s := "A line over " + plain(first) + " to " + plain(last) + " rpm with its limits and a line at zero."
	low, high := extremes(c)
	if low == nil {
		return s + " There are no limits for the whole riding band."
	}
	s += " Within the riding band the gain is least at " + plain(low.RPM) + " rpm, " + nodeWords(c, low) +
		", and greatest at " + plain(high.RPM) + " rpm, " + nodeWords(c, high) + "."
	return s + " The numbers stand in a table of this report."
}

// nodeWords is the gain at one node with its whole-band limits.
func nodeWords(c *compare.Comparison, n *compare.Node) string {
	t := gainWords(n.Gain, n.BandLo, n.BandHi, n.BandLo, true)
	return t.Value + " % (whole-band " + confidence(c.Confidence) + " limits: " + t.Interval + ")"
}

// extremes returns the nodes of least and greatest gain among those with
// whole-band limits; nil without any.
func extremes(c *compare.Comparison) (low, high *compare.Node) {
	for i := range c.Curve {
		n := &c.Curve[i]
		if !n.Interval || math.IsNaN(n.BandLo) || math.IsNaN(n.BandHi) {
			continue
		}
		if low == nil || n.Gain < low.Gain {
			low = n
		}
		if high == nil || n.Gain > high.Gain {
			high = n
		}
	}
	return low, high
}

// levelsChart draws torque and power of both sides of comparison i as two
// panels, one above the other, over one axis of engine speed.
func (g *Gain) levelsChart(i int, l look, units quantity.System) draw.Picture {
	c := &g.Comparisons[i]
	em := l.size
	height := 0.26 * l.width
	p := draw.Picture{
		Width: l.width, ID: "levels-" + strconv.Itoa(i+1),
		Title: "Torque and power of " + g.side(c.Baseline) + " and " + g.side(c.Candidate) + " over engine speed",
		Description: "Two panels over one axis of engine speed: torque above, power below. " + g.side(c.Baseline) +
			" is dashed with a square at its peak, " + g.side(c.Candidate) +
			" is solid with a disc at its peak; the ribbons are intervals of each side's own level. The numbers stand in a table of this report.",
	}
	band, name := g.bandLabel(c)
	top := 3.6 * em
	for panel, d := range []quantity.Dimension{quantity.Torque, quantity.Power} {
		s := newLevelSeries(c, d, units)
		f := frame{picture: &p, x: rpmScale(c), y: s.Range, left: 4.2 * em, top: top, width: l.width - 15.6*em, height: height, size: em}
		p.Add(draw.Text{At: draw.Point{Y: top - 2.5*em}, Words: g.levelTitle(s), Size: em, Face: draw.Bold, Paint: paintInk})
		if panel == 1 {
			name = ""
		}
		f.ground(band, name, panel == 1)
		f.levels(s)
		f.tags([]tag{
			{y: f.end(s.Baseline), words: g.shortSide(c.Baseline), paint: paintBaseline, dash: dashBaseline, width: 2},
			{y: f.end(s.Candidate), words: g.shortSide(c.Candidate), paint: paintCandidate, width: 2},
		}, l.width-f.left-f.width)
		top += height + 4.6*em
	}
	p.Height = top - 4.6*em + 3.4*em
	return p
}

// levelTitle names a panel: "Torque at the wheel, N·m, corrected, full throttle".
func (g *Gain) levelTitle(s levelSeries) string {
	where := " at the wheel"
	if g.AtCrank {
		where = " at the crank"
	}
	corrected := ", corrected"
	if g.uncorrected() {
		corrected = ", not corrected"
	}
	return s.Name + where + ", " + s.Unit + corrected + ", full throttle"
}

// maxShortName bounds a name beside a curve or over a column.
const maxShortName = 40

// shortSide is a side's name as it fits beside a curve or over a column.
func (g *Gain) shortSide(id string) string {
	name, short := cleanTo(g.configuration(id).Name, maxShortName), cleanTo(id, maxShortName)
	if name == "" || name == short {
		return short
	}
	return short + " " + name
}

// levels draws both sides with their ribbons and the markers of their peaks.
func (f *frame) levels(s levelSeries) { f.levelsIn(s, paintBaseline, paintCandidate) }

// levelsIn is levels in colours of one's own.
func (f *frame) levelsIn(s levelSeries, baseline, candidate draw.Paint) {
	for _, side := range []struct {
		values, half []float64
		dash         []float64
		paint        draw.Paint
	}{{s.Baseline, s.BaselineHalf, dashBaseline, baseline}, {s.Candidate, s.CandidateHalf, nil, candidate}} {
		lo, hi := make([]float64, len(s.RPM)), make([]float64, len(s.RPM))
		for i, v := range side.values {
			lo[i], hi[i] = v-side.half[i], v+side.half[i]
		}
		f.ribbon(s.RPM, lo, hi, side.paint.Faded(0.17))
	}
	f.line(s.RPM, s.Baseline, 2, dashBaseline, baseline)
	f.line(s.RPM, s.Candidate, 2, nil, candidate)
	if s.Peaks[0].RPM > 0 && f.inside(s.Peaks[0].Level) {
		f.square(f.at(s.Peaks[0].RPM, s.Peaks[0].Level), baseline)
	}
	if s.Peaks[1].RPM > 0 && f.inside(s.Peaks[1].Level) {
		f.disc(f.at(s.Peaks[1].RPM, s.Peaks[1].Level), candidate)
	}
}

// end is the page height of the last value of a curve.
func (f *frame) end(values []float64) float64 {
	if len(values) == 0 {
		return f.top
	}
	return f.at(0, f.cut(values[len(values)-1])).Y
}
