package report

import (
	"math"
	"slices"
	"strconv"

	"fairpull/report/draw"
)

// mixtureSeries is a curve as a chart wants it: in per cent off the target where targeted,
// else lambda.
type mixtureSeries struct {
	rpm, value, lo, hi, allLo, allHi []float64
}

// Where some engine speeds have limits, those without stand in the table alone.
func newMixtureSeries(nodes []MixtureNode, targeted bool) mixtureSeries {
	var s mixtureSeries
	limited := slices.ContainsFunc(nodes, func(n MixtureNode) bool { return !math.IsNaN(n.AllLo) })
	for i := range nodes {
		n := &nodes[i]
		if limited && math.IsNaN(n.AllLo) {
			continue
		}
		of := func(lambda float64) float64 {
			if targeted {
				return 100 * (lambda/n.Target - 1)
			}
			return lambda
		}
		s.rpm = append(s.rpm, n.RPM)
		s.value, s.lo, s.hi = append(s.value, of(n.Lambda)), append(s.lo, of(n.Lo)), append(s.hi, of(n.Hi))
		s.allLo, s.allHi = append(s.allLo, of(n.AllLo)), append(s.allHi, of(n.AllHi))
	}
	return s
}

// errorCurve says whether the curves are drawn as departures from a target: where one is
// declared for some of their engine speeds.
func (m *Mixture) errorCurve() bool {
	for i := range m.Curves {
		for k := range m.Curves[i].Nodes {
			if !math.IsNaN(m.Curves[i].Nodes[k].Target) {
				return true
			}
		}
	}
	return false
}

// curveTitle names the chart's axis.
func (m *Mixture) curveTitle() string {
	if m.errorCurve() {
		return "Mixture error at " + m.CurveLoad + ", % of lambda: above zero lean, below rich"
	}
	return "Lambda at " + m.CurveLoad
}

// axes covers the curves and what their limits reach to, but not limits that would dwarf
// the curves: a ribbon is cut at the axis.
func (m *Mixture) axes(series []mixtureSeries) (x, y scale) {
	across, up, limits := newExtent(), newExtent(), newExtent()
	for _, s := range series {
		across.add(s.rpm...)
		up.add(s.value...)
		limits.add(s.allLo...)
		limits.add(s.allHi...)
	}
	least := 0.05
	if m.errorCurve() {
		up.add(0)
		least = 2
	}
	if across.empty() || up.empty() {
		return newScale(0, 1, 1), newScale(0, 1, 1)
	}
	room := math.Max(1.5*(up.hi-up.lo), least)
	if short := least - (up.hi - up.lo); short > 0 { // a flat curve shall look flat
		up.add(up.lo-short/2, up.hi+short/2)
	}
	if !limits.empty() {
		up.add(math.Max(limits.lo, up.lo-room), math.Min(limits.hi, up.hi+room))
	}
	lo, hi := padded(up.lo, up.hi, 0.06)
	return newScale(across.lo, across.hi, 7), newScale(lo, hi, 6)
}

// curveChart draws the curves with their limits.
func (m *Mixture) curveChart(l look) draw.Picture {
	em := l.size
	series := make([]mixtureSeries, len(m.Curves))
	for i := range m.Curves {
		series[i] = newMixtureSeries(m.Curves[i].Nodes, m.errorCurve())
	}
	x, y := m.axes(series)
	f := frame{x: x, y: y, left: 4.2 * em, top: 4.6 * em, width: l.width - 15.6*em, height: 0.36 * l.width, size: em}
	p := draw.Picture{Width: l.width, Height: f.top + f.height + 3.4*em, ID: "mixture", Title: m.curveTitle(), Description: m.Sentence() + " The numbers stand in a table of this page."}
	f.picture = &p
	p.Add(draw.Text{At: draw.Point{Y: 1.1 * em}, Words: m.curveTitle(), Size: em, Face: draw.Bold, Paint: paintInk})
	at := f.left
	p.Add(draw.Area{Points: draw.Box(at, 1.9*em, 1.8*em, em), Paint: paintMuted.Faded(0.3)})
	at = f.keyWords(at+2.3*em, 2.75*em, confidence(m.Confidence)+" limits for all engine speeds at once, over visits")
	p.Add(draw.Stroke{Points: []draw.Point{{X: at, Y: 2.4 * em}, {X: at + 1.8*em, Y: 2.4 * em}}, Width: 1.1, Dash: f.dash(dashLimits), Paint: paintMuted})
	f.keyWords(at+2.3*em, 2.75*em, "at each speed alone")
	f.ground([2]float64{}, "", true)
	if m.errorCurve() && f.inside(0) {
		p.Add(draw.Stroke{Points: []draw.Point{f.at(f.x.Lo, 0), f.at(f.x.Hi, 0)}, Width: 1.2, Paint: paintInk})
	}
	var tags []tag
	for i, s := range series {
		paint, dash := m.curvePaint(i)
		f.ribbon(s.rpm, s.allLo, s.allHi, paint.Faded(0.2))
		f.line(s.rpm, s.lo, 1.1, dashLimits, paint)
		f.line(s.rpm, s.hi, 1.1, dashLimits, paint)
		f.line(s.rpm, s.value, 2.2, dash, paint)
		for k := range s.rpm {
			if f.inside(s.value[k]) {
				f.marks(m.Curves[i].Candidate, f.at(s.rpm[k], s.value[k]), paint)
			}
		}
		if n := len(s.value); n > 0 && f.inside(s.value[n-1]) {
			tags = append(tags, tag{y: f.at(0, s.value[n-1]).Y, words: cleanTo(m.Curves[i].Name, maxShortName), paint: paint, dash: dash, width: 2.2})
		}
	}
	if m.errorCurve() && f.inside(0) {
		tags = append(tags, tag{y: f.at(0, 0).Y, words: "on target", paint: paintInk, width: 1.2})
	}
	f.tags(tags, l.width-f.left-f.width)
	return p
}

func (f *frame) marks(candidate bool, at draw.Point, paint draw.Paint) {
	if candidate {
		f.disc(at, paint)
	} else {
		f.square(at, paint)
	}
}

// curvePaint is the colour and the dash of a curve: baseline dashed, candidate solid; a
// curve of logs is solid.
func (m *Mixture) curvePaint(i int) (draw.Paint, []float64) {
	switch {
	case len(m.Sides) == 0 && len(m.Curves) == 1:
		return paintGain, nil
	case m.Curves[i].Candidate && i > 1:
		return paintGain, nil
	case m.Curves[i].Candidate:
		return paintCandidate, nil
	}
	return paintBaseline, dashBaseline
}

// sideChart draws the difference of lambda between the sides with its limits.
func (m *Mixture) sideChart(i int, l look) draw.Picture {
	s := &m.Sides[i]
	em := l.size
	var rpm, d, lo, hi []float64
	up := newExtent()
	up.add(-1.3*s.Limit, 1.3*s.Limit)
	for _, n := range s.Nodes {
		rpm, d, lo, hi = append(rpm, n.RPM), append(d, n.Difference), append(lo, n.AllLo), append(hi, n.AllHi)
	}
	up.add(d...)
	room := math.Max(up.hi-up.lo, 0.04)
	limits := newExtent()
	limits.add(lo...)
	limits.add(hi...)
	if !limits.empty() {
		up.add(math.Max(limits.lo, up.lo-room), math.Min(limits.hi, up.hi+room))
	}
	x := newScale(0, 1, 1)
	if len(rpm) > 1 {
		x = newScale(rpm[0], rpm[len(rpm)-1], 7)
	}
	low, high := padded(up.lo, up.hi, 0.06)
	f := frame{x: x, y: newScale(low, high, 5), left: 4.2 * em, top: 2.6 * em, width: l.width - 15.6*em, height: 0.24 * l.width, size: em}
	p := draw.Picture{
		Width: l.width, Height: f.top + f.height + 3.4*em, ID: "fuelled-alike-" + strconv.Itoa(i+1),
		Title:       "Lambda of " + clean(s.Names[1]) + " minus that of " + clean(s.Names[0]) + " over engine speed",
		Description: s.sentence(m.Confidence) + " The numbers stand in a table of this page.",
	}
	f.picture = &p
	p.Add(draw.Text{At: draw.Point{Y: 1.1 * em}, Words: "Difference of lambda, candidate minus baseline; dashed: the limit", Size: em, Face: draw.Bold, Paint: paintInk})
	f.ground([2]float64{}, "", true)
	f.ribbon(rpm, lo, hi, paintCandidate.Faded(0.2))
	f.rule(0, true)
	f.rule(s.Limit, false)
	f.rule(-s.Limit, false)
	f.line(rpm, d, 2.2, nil, paintCandidate)
	f.tags([]tag{{y: f.end(d), words: "difference", paint: paintCandidate, width: 2.2}, {y: f.at(0, 0).Y, words: "alike", paint: paintInk, width: 1.2}}, l.width-f.left-f.width)
	return p
}
