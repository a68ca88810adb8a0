package report

import (
	"math"
	"slices"

	"fairpull/drum"
	"fairpull/quantity"
	"fairpull/report/draw"
)

// coastBlocks shows the loss that each coast-down of the block found: where this
// pull's differs from the others', tyre, straps or heat did.
func (p *PullPage) coastBlocks(units quantity.System) []block {
	blocks := []block{heading{Level: 2, Words: "Coast-down", ID: "coast-down"}}
	own := p.Result.Coast
	if own == nil {
		return append(blocks, paragraph{Words: "The log has no usable coast-down, so nothing witnesses the loss in tyre and driveline."})
	}
	unit := units.Unit(quantity.Torque)
	t := table{
		Heads:   []string{"Pull", "Mean loss, " + unit.Name, "± one SE", "At drum surface", "At this pull's speed, " + unit.Name},
		Numeric: []bool{false, true, true, true, true},
		Caption: "Torque at the drum that slows drum and wheel with the clutch lever pulled, the bare drum's own taken off; of the pulls of this block.",
	}
	for _, c := range p.Coasts {
		loss, doubt := numbersOrBlank(c.MeanTorque, c.MeanStandardError, unit)
		name := clean(c.Pull)
		if c.This {
			name += " (this one)"
		}
		there := "–"
		if c.Covers(own.MeanOmega) {
			there = amountIn2(c.Losses.Coefficients, own.MeanOmega, unit)
		}
		t.Rows = append(t.Rows, []string{name, loss, doubt, p.surface(c.MeanOmega, units), there})
	}
	if len(own.Omega) > 1 {
		blocks = append(blocks, figure{Picture: p.coastChart(onScreen, units), Caption: "This pull's loss is the solid line, with the points that it was fitted to; those of the block's other pulls are dashed.", Plot: p.coastPlot(units)})
	}
	blocks = append(blocks, t)
	if own.WheelInertia == 0 {
		blocks = append(blocks, paragraph{Words: "The driven wheel's inertia is not given: the drum's alone was used, so the loss is too small by the wheel's share.", Small: true})
	}
	return blocks
}

// amountIn2 is the fitted loss at a drum speed, with two decimal places.
func amountIn2(k [3]float64, omega float64, unit quantity.Unit) string {
	return fixed(unit.From(drum.Polynomial(k, omega)), 2)
}

// coastAxis is the axis of the losses: drum surface speed, or the drum's own where its
// radius is not stated. per times a drum speed in rad/s is what the unit shows.
func (p *PullPage) coastAxis(units quantity.System) (unit quantity.Unit, per float64, name string) {
	if p.Radius == 0 {
		return quantity.Unit{Name: "rad/s", Scale: 1}, 1, "drum speed"
	}
	return units.Unit(quantity.Speed), p.Radius, "drum surface"
}

// coastTitle stands above the losses.
const coastTitle = "Loss at the drum, "

// course is the loss that was fitted to one coast-down, in the units shown.
type course struct {
	pull string
	this bool
	x, y []float64
}

func (p *PullPage) courses(units quantity.System) []course {
	unit := units.Unit(quantity.Torque)
	speed, per, _ := p.coastAxis(units)
	var out []course
	for _, c := range p.Coasts {
		one := course{pull: clean(c.Pull), this: c.This}
		for _, omega := range c.Omega {
			one.x, one.y = append(one.x, speed.From(omega*per)), append(one.y, unit.From(drum.Polynomial(c.Coefficients, omega)))
		}
		out = append(out, one)
	}
	return out
}

// coastScales are the axes that hold every course and this pull's points.
func (p *PullPage) coastScales(courses []course, units quantity.System) (scale, scale) {
	x, y := newExtent(), newExtent()
	for _, c := range courses {
		x.add(c.x...)
		y.add(c.y...)
	}
	y.add(shownIn(p.Result.Coast.Torque, units.Unit(quantity.Torque))...)
	lo, hi := padded(y.lo, y.hi, 0.08)
	return newScale(x.lo, x.hi, 7), newScale(lo, hi, 4)
}

// coastPlot is the losses in numbers, at the drum speeds of this pull's points and,
// beyond them, of the other coast-downs: the points, and the loss fitted to each
// coast-down within its own speeds.
func (p *PullPage) coastPlot(units quantity.System) *plot {
	own, unit := p.Result.Coast, units.Unit(quantity.Torque)
	speed, per, name := p.coastAxis(units)
	var omegas []float64
	for _, c := range p.Coasts {
		for _, omega := range c.Omega {
			if c.This || omega < own.Omega[0] || omega > own.Omega[len(own.Omega)-1] {
				omegas = append(omegas, omega)
			}
		}
	}
	slices.Sort(omegas)
	omegas = slices.Compact(omegas)
	x, y := p.coastScales(p.courses(units), units)
	axis := plotAxis{Name: name, Unit: speed.Name, Ends: []amount{amount(x.Lo), amount(x.Hi)}, column: columnName(name)}
	for _, omega := range omegas {
		v := speed.From(omega * per)
		axis.Values, axis.Words = append(axis.Values, amount(v)), append(axis.Words, fixed(v, 1)+" "+speed.Name)
	}
	panel := plotPanel{Title: coastTitle + unit.Name, Unit: unit.Name, Low: amount(y.Lo), High: amount(y.Hi), Key: []plotKey{{"line", "candidate", "this pull"}, {"disc", "baseline", "its points"}}}
	points := plotSeries{Name: "point", Paint: "baseline", NoLine: true, column: "point"}
	for _, omega := range omegas {
		v, mark := math.NaN(), ""
		if i := slices.Index(own.Omega, omega); i >= 0 {
			v, mark = unit.From(own.Torque[i]), "disc"
		}
		points.Values, points.Marks, points.Read = append(points.Values, amount(v)), append(points.Marks, mark), append(points.Read, inUnit(v, unit))
	}
	panel.Series = []plotSeries{points}
	for _, c := range p.Coasts {
		one := plotSeries{Name: "pull " + clean(c.Pull), Paint: "candidate", column: "pull_" + columnName(c.Pull)}
		if !c.This {
			one.Paint, one.Dashed = "frame", true
		}
		for _, omega := range omegas {
			v := math.NaN()
			if n := len(c.Omega); n > 0 && omega >= c.Omega[0] && omega <= c.Omega[n-1] {
				v = unit.From(drum.Polynomial(c.Coefficients, omega))
			}
			one.Values, one.Read = append(one.Values, amount(v)), append(one.Read, inUnit(v, unit))
		}
		panel.Series = append(panel.Series, one)
	}
	if len(p.Coasts) > 1 {
		panel.Key = append(panel.Key, plotKey{"dashed", "frame", "other pulls of the block"})
	}
	return &plot{Format: chartFormat, X: axis, Band: []amount{}, Panels: []plotPanel{panel}}
}

// inUnit words a loss with two decimal places; empty where there is none.
func inUnit(v float64, unit quantity.Unit) string {
	if math.IsNaN(v) {
		return ""
	}
	return fixed(v, 2) + " " + unit.Name
}

// coastChart draws the losses over drum surface speed.
func (p *PullPage) coastChart(l look, units quantity.System) draw.Picture {
	em := l.size
	unit := units.Unit(quantity.Torque)
	speed, per, axis := p.coastAxis(units)
	picture := draw.Picture{Width: l.width, ID: "pull-coast", Title: "Loss of the coast-downs of this block",
		Description: "Loss torque at the drum over drum surface speed: this pull's as a solid line with its points, the other pulls' dashed. The mean losses stand in the table below."}
	own, courses := p.Result.Coast, p.courses(units)
	x, y := p.coastScales(courses, units)
	f := frame{picture: &picture, x: x, y: y, left: 4.2 * em, top: 2.6 * em, width: l.width - 5.4*em, height: 0.24 * l.width, size: em}
	picture.Height = f.top + f.height + 3.4*em
	picture.Add(draw.Text{At: draw.Point{Y: 1.2 * em}, Words: coastTitle + unit.Name, Size: em, Face: draw.Bold, Paint: paintInk})
	f.ground([2]float64{}, "", false)
	f.footTicks()
	picture.Add(draw.Text{At: draw.Point{X: f.left + f.width, Y: f.top + f.height + 2.75*em}, Words: axis + ", " + speed.Name, Size: em, Anchor: draw.End, Paint: paintMuted})
	for i := range own.Omega {
		f.disc(f.at(speed.From(own.Omega[i]*per), unit.From(own.Torque[i])), paintBaseline.Faded(0.55))
	}
	for _, c := range courses {
		if !c.this {
			f.line(c.x, c.y, 1.2, dashBaseline, paintFrame)
		}
	}
	for _, c := range courses {
		if c.this {
			f.line(c.x, c.y, 2.2, nil, paintCandidate)
		}
	}
	return picture
}

// rigBlocks says what encoder, gear, slip and window have to say.
func (p *PullPage) rigBlocks(units quantity.System) []block {
	r := p.Result
	t := table{Heads: []string{"What", "Found", "What it means"}, Numeric: make([]bool, 3), Caption: "What the log says of the rig itself."}
	row := func(what, found, means string) { t.Rows = append(t.Rows, []string{what, found, means}) }
	if p.Steady {
		return []block{heading{Level: 2, Words: "Encoder, slip and gear", ID: "rig"}, paragraph{Words: "Speeds were held on the brake, at " + fixed(r.Ratio, 4) + " engine turns a drum turn: how each was held is what fairpull steady shows."}}
	}
	if p.HalfWidthRPM == 0 {
		return []block{heading{Level: 2, Words: "Encoder, slip and gear", ID: "rig"}, paragraph{Words: "A curve that was reduced elsewhere says nothing of the rig."}}
	}
	encoder := "none found"
	if r.EncoderError > 0 {
		encoder = fixed(100*r.EncoderError, 3) + " % of speed"
	}
	row("Encoder", encoder, "error that returns with every turn of the drum; what is found is removed before the fit")
	row("Gear", fixed(r.Ratio, 4), "engine turns a drum turn, median over the pull")
	slip := "not to be told"
	if !math.IsNaN(r.SlipMax) {
		slip = fixed(100*r.SlipMax, 2) + " % at " + fixed(r.SlipAt, 2) + " s"
	}
	row("Slip", slip, "largest departure of the gear from a smooth course; a jump is clutch or tyre slip, above "+fixed(100*p.SlipLimit, 2)+" % a check warns")
	row("Tyre creep", creep(r.RatioRise), "change of the gear from low to high torque: a tyre creeps with load, and that is no fault")
	row("Window", "± "+fixed(p.HalfWidthRPM, 0)+" rpm", "half-width of the fit; features narrower than about "+fixed(widest(r.Resolution), 0)+" rpm are not resolved")
	if p.Radius > 0 && r.MaxSurfaceSpeed > 0 {
		row("Fastest", amountIn(r.MaxSurfaceSpeed, quantity.Speed, units, 0), "greatest surface speed of the drum in the whole log")
	}
	if !math.IsNaN(r.Lambda) {
		row("Lambda", fixed(r.Lambda, 3), "mean over the pull")
	}
	return []block{heading{Level: 2, Words: "Encoder, slip and gear", ID: "rig"}, t}
}

func creep(v float64) string {
	if math.IsNaN(v) {
		return "not to be told"
	}
	return signed(100*v, 2) + " %"
}

// foundBlocks lists the defects of the log.
func (p *PullPage) foundBlocks() []block {
	if len(p.Result.Findings) == 0 && len(p.LeftOut) == 0 {
		return nil
	}
	blocks := []block{heading{Level: 2, Words: "Found in the log", ID: "found"}}
	if len(p.Result.Findings) > 0 {
		t := table{Heads: []string{"What", "Channel", "Times", "Worst at, s", "Data row", "And"}, Numeric: []bool{false, false, true, true, true, false}, Caption: "Defects of the log, and whether the figures rest on them."}
		for _, f := range p.Result.Findings {
			state := "outside what the figures rest on"
			switch {
			case f.Repaired:
				state = "repaired without loss"
			case f.InPull:
				state = "under the figures"
			}
			t.Rows = append(t.Rows, []string{clean(f.Kind), clean(f.Channel), plain(float64(f.Count)), fixed(f.Time, 3), plain(float64(f.Row + 1)), state})
		}
		blocks = append(blocks, t)
	}
	if len(p.LeftOut) > 0 {
		var items []string
		for _, c := range p.LeftOut {
			items = append(items, "Column not read: "+clean(c))
		}
		blocks = append(blocks, bullets{Items: items})
	}
	return blocks
}
