package report

import (
	"math"
	"strings"

	"fairpull/compare"
	"fairpull/curve"
	"fairpull/quantity"
	"fairpull/report/draw"
)

// intervalSentence is what stands below a gain.
func intervalSentence(c *compare.Comparison, interval string) string {
	if interval == "no interval" {
		return "No interval can be given, so nothing is claimed."
	}
	return "The " + confidence(c.Confidence) + " interval is " + interval + "."
}

// explainNode explains the gain at the node nearest to an engine speed; false where
// there is no curve.
func (g *Gain) explainNode(e *Explanation, c *compare.Comparison, rpm float64, units quantity.System) bool {
	if len(c.Curve) == 0 {
		return false
	}
	if rpm == 0 {
		rpm = c.Curve[len(c.Curve)/2].RPM
	}
	n := &c.Curve[0]
	for i := range c.Curve {
		if math.Abs(c.Curve[i].RPM-rpm) < math.Abs(n.RPM-rpm) {
			n = &c.Curve[i]
		}
	}
	e.RPM, e.Title = n.RPM, "How the gain at "+plain(n.RPM)+" rpm came about"
	t := gainWords(n.Gain, n.Lo, n.Hi, n.AtLeast, n.Interval)
	e.add(paragraph{Words: g.against(c) + ". At one engine speed the gain in torque is the gain in power."},
		verdict{Name: t.Value + " %", Sentence: intervalSentence(c, t.Interval)})
	e.section("formula", "The formula", gainFormula(), paragraph{Words: "The same weights as for the band, at this engine speed alone. Torque stands on a grid of engine speeds that all pulls share; each node is a fit over its window, so features narrower than that are not resolved."})
	levels := table{Heads: []string{"Side", "Torque", "Power"}, Numeric: []bool{false, true, true}, Caption: "Level of either side at " + plain(n.RPM) + " rpm with the interval of its own level."}
	for _, side := range []struct {
		id          string
		value, half float64
	}{{c.Baseline, n.Baseline, n.BaselineHalf}, {c.Candidate, n.Candidate, n.CandidateHalf}} {
		half, omega := math.NaN(), n.RPM*curve.RadPerSecondPerRPM
		if n.Interval {
			half = side.value * math.Expm1(side.half)
		}
		levels.Rows = append(levels.Rows, []string{g.side(side.id), level(side.value, half, quantity.Torque, units), level(side.value*omega, half*omega, quantity.Power, units)})
	}
	e.section("inputs", "What went in", levels)
	if !n.Interval {
		e.section("uncertainty", "How sure it is", paragraph{Words: "There is no interval: no block repeats a pull, or nothing is known of the scatter."})
	} else {
		e.section("uncertainty", "How sure it is", intervalTable(c.Confidence, n.Gain, n.SE, n.DF, n.Lo, n.Hi, n.AtLeast), g.wholeBand(c, n))
	}
	e.source(methodGain, methodVariance, methodCurve, sourceRounding)
	return true
}

// wholeBand says what holds for a speed that was picked after looking.
func (g *Gain) wholeBand(c *compare.Comparison, n *compare.Node) block {
	if math.IsNaN(n.BandLo) || math.IsNaN(n.BandHi) {
		return paragraph{Words: "This speed lies outside of the riding band, so there are no limits that hold for the whole band at once. Who picks a speed after looking must not read the interval above as if it had been chosen before."}
	}
	t := gainWords(n.Gain, n.BandLo, n.BandHi, n.BandLo, true)
	return paragraph{Words: "The interval holds for a speed that was chosen before looking. For one picked afterwards the limits of the whole riding band hold: " + t.Interval +
		". They are wider by the factor that the largest of all deviations over the band needs: " + fixed(c.WholeBandFactor, 2) + " standard errors on " + degrees(c.WholeBandDF) + " degrees of freedom, simulated with a seed taken from the data."}
}

// crossRPM is where a torque in lbf·ft and a power in hp are one number:
// 33 000 ft·lbf/min over 2π, about 5252.
const crossRPM = 33000 / (2 * math.Pi)

// explainBoth explains torque and power with the campaign's own curve.
func (g *Gain) explainBoth(e *Explanation, c *compare.Comparison) {
	e.Title = "Torque and power, with your own curve"
	e.add(paragraph{Words: "Torque is how hard the engine turns. Power is how much work that does in a second: torque times how fast it turns. One follows from the other, and neither can be had without the other."})
	e.section("formula", "The formula", mathOf("P is power, τ torque, ω engine speed in rad/s: 2π/60 of the speed in rpm. With torque in lbf·ft and power in hp of 550 ft·lbf/s the speed is divided by 33 000/2π = 5252.113.",
		symbol("P"), sign("="), symbol("τ"), sign("·"), symbol("ω"), sign(","), upright("  "), upright("hp"), sign("="), over(group(upright("lbf·ft"), sign("×"), upright("rpm")), figureOf("5252"))))
	cross := []block{paragraph{Words: "In those units both numbers are the same at 5252 rpm, whatever the engine. That the curves cross there says nothing of the engine: it is the units that meet. In N·m and kW they would cross at 9549 rpm, and on two axes they cross wherever the axes put them."}}
	if len(c.Curve) > 1 {
		cross = append(cross, figure{Picture: g.crossChart(c, onScreen), Caption: "Torque of " + g.side(c.Candidate) + " in lbf·ft (line) and its power in hp (dashed), on one scale of numbers. " + g.crossWords(c), Plot: g.crossPlot(c)})
	}
	e.section("cross", "Why they cross", cross...)
	e.section("felt", "What is felt on the road", bullets{Items: []string{
		"In one gear, what pushes you is torque: force at the tyre is torque times the gearing over the tyre's radius, so the push follows the torque curve as the engine turns up.",
		"At one road speed, what pushes you is power: force is power over speed. The gear that puts the engine where its power is highest pushes hardest, although torque there is past its peak.",
		"So a gain low in the band is felt when you open the throttle without changing down, and one near the top when you ride the engine out. A peak alone says neither.",
		"At the same engine speed the gain in torque and the gain in power are the same in per cent: the speed drops out of the ratio. Only the peaks differ, as they may lie at different speeds.",
	}})
	e.section("mean", "What the mean over the riding band is",
		mathOf("τ at each engine speed of the grid counts alike, K of them from one end of the band to the other.",
			upright("mean"), sign("="), over(figureOf("1"), symbol("K")), sumOver("r", below(symbol("τ"), symbol("r")))),
		paragraph{Words: "In one gear it is the push at the tyre, averaged over the road speeds from one end of the band (" + span(c.BandRPM) + ") to the other. It is not the time from one end to the other: that adds up 1/τ, so a weak stretch counts for more. It does not say where in the band the gain lies: the curve does. Nor does it know how often you are at which speed; a band that fits your riding is the one to look at."})
	e.source("1 hp = 550 ft·lbf/s and 33 000 ft·lbf/min: NIST Special Publication 811, appendix B.8 (from memory).", "The figure 5252 is rounded, and 5250 is seen: common practice.", "What a gain means on the road: docs/road.md.")
}

// crossWords says where this curve's two numbers meet.
func (g *Gain) crossWords(c *compare.Comparison) string {
	first, last := c.Curve[0].RPM, c.Curve[len(c.Curve)-1].RPM
	switch {
	case last < crossRPM:
		return "This curve ends at " + plain(last) + " rpm, before they meet: torque is the larger number throughout."
	case first > crossRPM:
		return "This curve begins at " + plain(first) + " rpm, after they met: power is the larger number throughout."
	}
	return "They meet at 5252 rpm."
}

// crossSeries are torque in lbf·ft and power in hp of the candidate, and the one axis
// that both have.
func crossSeries(c *compare.Comparison) (torque, power levelSeries, y scale) {
	torque, power = newLevelSeries(c, quantity.Torque, quantity.USCustomary), newLevelSeries(c, quantity.Power, quantity.USCustomary)
	seen := newExtent()
	for _, s := range []levelSeries{torque, power} {
		for i, v := range s.Candidate {
			seen.add(v, v-s.CandidateHalf[i], v+s.CandidateHalf[i])
		}
	}
	lo, hi := padded(seen.lo, seen.hi, 0.08)
	return torque, power, newScale(math.Max(lo, 0), hi, 5)
}

// crossPlot is the chart of torque and power on one scale in numbers.
func (g *Gain) crossPlot(c *compare.Comparison) *plot {
	torque, power, y := crossSeries(c)
	p := newPlot(torque.RPM)
	if crossRPM > torque.RPM[0] && crossRPM < torque.RPM[len(torque.RPM)-1] {
		p.Lines = []plotLine{{At: crossRPM, Dashed: true, Words: "5252 rpm"}}
	}
	panel := plotPanel{Title: "lbf·ft, and hp", Low: amount(y.Lo), High: amount(y.Hi),
		Key: []plotKey{{"line", "candidate", "torque, lbf·ft"}, {"dashed", "baseline", "power, hp"}}}
	for i, s := range []levelSeries{torque, power} {
		one := levelPlotSeries(strings.ToLower(s.Name), []string{"candidate", "baseline"}[i], s.Candidate, s.CandidateHalf, s.Unit)
		one.Dashed, one.column, one.unit = i == 1, strings.ToLower(s.Name), s.Unit
		panel.Series = append(panel.Series, one)
	}
	p.Panels = []plotPanel{panel}
	return p
}

// crossChart draws torque in lbf·ft and power in hp on one axis of numbers.
func (g *Gain) crossChart(c *compare.Comparison, l look) draw.Picture {
	em := l.size
	torque, power, y := crossSeries(c)
	rpm, a, b := torque.RPM, torque.Candidate, power.Candidate
	p := draw.Picture{Width: l.width, ID: "cross", Title: "Torque in lbf·ft and power in hp on one scale",
		Description: "Two curves of one engine over engine speed: torque in lbf·ft as a line, power in hp dashed. " + g.crossWords(c)}
	f := frame{picture: &p, x: rpmScale(c), y: y, left: 4.2 * em, top: 2.6 * em, width: l.width - 13*em, height: 0.36 * l.width, size: em}
	p.Height = f.top + f.height + 3.4*em
	p.Add(draw.Text{At: draw.Point{Y: 1.2 * em}, Words: "lbf·ft, and hp", Size: em, Face: draw.Bold, Paint: paintInk})
	f.ground([2]float64{}, "", true)
	if crossRPM > f.x.Lo && crossRPM < f.x.Hi {
		x := f.at(crossRPM, 0).X
		p.Add(draw.Stroke{Points: []draw.Point{{X: x, Y: f.top}, {X: x, Y: f.top + f.height}}, Width: 1.1, Dash: f.dash(dashLimits), Paint: paintInk},
			draw.Text{At: draw.Point{X: x, Y: f.top - 0.4*em}, Words: "5252 rpm", Size: em, Anchor: draw.Middle, Paint: paintMuted})
	}
	f.halo(torque, paintCandidate)
	f.halo(power, paintBaseline)
	f.line(rpm, a, 2, nil, paintCandidate)
	f.line(rpm, b, 2, dashBaseline, paintBaseline)
	f.tags([]tag{{y: f.end(a), words: "torque, lbf·ft", paint: paintCandidate, width: 2}, {y: f.end(b), words: "power, hp", paint: paintBaseline, dash: dashBaseline, width: 2}}, l.width-f.left-f.width)
	return p
}

// halo fills the interval about a candidate's own level.
func (f *frame) halo(s levelSeries, paint draw.Paint) {
	lo, hi := make([]float64, len(s.RPM)), make([]float64, len(s.RPM))
	for i, v := range s.Candidate {
		lo[i], hi[i] = v-s.CandidateHalf[i], v+s.CandidateHalf[i]
	}
	f.ribbon(s.RPM, lo, hi, paint.Faded(0.17))
}
