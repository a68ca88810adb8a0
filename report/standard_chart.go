package report

import (
	"math"
	"strconv"

	"fairpull/report/draw"
)

// chart draws the checks in the order in which they were made: the level about its
// centre, the EWMA with its limits, and the two sums with theirs, one below the other.
func (s *CheckStandard) chart(l look) draw.Picture {
	em := l.size
	p := draw.Picture{
		Width: l.width, ID: "check-standard", Title: "Control chart of the check standard",
		Description: "Three panels over the checks in order: the level in per cent about its centre, the EWMA and the two sums in standard deviations with their limits dashed. A square is a check that signals. " + s.summary(),
	}
	ends := s.ends()
	panel := func(title string, lo, hi float64, height float64) *frame {
		f := &frame{picture: &p, x: ends, y: newScale(lo, hi, 4),
			left: 4.2 * em, top: p.Height + 2.4*em, width: l.width - 5.4*em, height: height, size: em}
		p.Add(draw.Text{At: draw.Point{Y: p.Height + 1.1*em}, Words: title, Size: em, Face: draw.Bold, Paint: paintInk})
		f.ground([2]float64{}, "", false)
		p.Height = f.top + f.height + 0.8*em
		return f
	}
	level, ewma, sums := s.ranges()
	f := panel(levelTitle, level.lo, level.hi, 0.16*l.width)
	f.rule(0, true)
	s.draw(f, s.away, paintBaseline, false)
	f = panel(ewmaTitle, -ewma, ewma, 0.16*l.width)
	f.rule(0, true)
	f.rule(s.Rules.Limit, false)
	f.rule(-s.Rules.Limit, false)
	s.draw(f, func(c StandardEntry) float64 { return c.EWMA }, paintBaseline, false)
	f = panel(sumsTitle, 0, sums, 0.12*l.width)
	f.rule(s.Rules.Decision, false)
	s.draw(f, func(c StandardEntry) float64 { return c.Up }, paintBaseline, false)
	s.draw(f, func(c StandardEntry) float64 { return c.Down }, paintCandidate, true)
	s.dates(f)
	p.Height += 1.2 * em
	return p
}

// The titles of the panels.
const (
	levelTitle = "Mean torque about the centre, %"
	ewmaTitle  = "EWMA, standard deviations"
	sumsTitle  = "Sums up (line) and down (dashed), standard deviations"
)

// ends is the axis of checks, numbered from 1.
func (s *CheckStandard) ends() scale { return scale{Lo: 0.4, Hi: float64(len(s.Checks)) + 0.6} }

// ranges is how far the panels reach: the level, the EWMA either way, the sums.
func (s *CheckStandard) ranges() (level extent, ewma, sums float64) {
	level = newExtent()
	level.add(-0.5, 0.5)
	ewma, sums = s.Rules.Limit*1.4, s.Rules.Decision*1.3
	for _, c := range s.Checks {
		level.add(1.15 * s.away(c))
		ewma = maxOf(ewma, 1.1*math.Abs(c.EWMA))
		sums = maxOf(sums, 1.1*c.Up, 1.1*c.Down)
	}
	return level, ewma, sums
}

// maxOf returns the greatest of the numbers, those that are none left out.
func maxOf(first float64, others ...float64) float64 {
	for _, v := range others {
		if v > first {
			first = v
		}
	}
	return first
}

// rule draws a line across at v: whole, or dashed as a limit.
func (f *frame) rule(v float64, whole bool) {
	dash := []float64{0.55 * f.size, 0.3 * f.size}
	if whole {
		dash = nil
	}
	f.picture.Add(draw.Stroke{Points: []draw.Point{f.at(f.x.Lo, v), f.at(f.x.Hi, v)}, Width: 1.1, Dash: dash, Paint: paintFrame})
}

// draw joins the checks by a line and marks each: a square where it signals.
func (s *CheckStandard) draw(f *frame, of func(StandardEntry) float64, paint draw.Paint, dashed bool) {
	places, values := make([]float64, len(s.Checks)), make([]float64, len(s.Checks))
	for i, c := range s.Checks {
		places[i], values[i] = float64(i+1), of(c)
	}
	var dash []float64
	if dashed {
		dash = dashBaseline
	}
	f.line(places, values, 1.2, dash, paint)
	for i, c := range s.Checks {
		switch {
		case !f.inside(values[i]) || dashed:
		case len(c.Signals) > 0:
			f.square(f.at(places[i], values[i]), paintCandidate)
		default:
			f.disc(f.at(places[i], values[i]), paint)
		}
	}
}

// dates writes the number and the day of the first and the last check below a panel.
func (s *CheckStandard) dates(f *frame) {
	bottom := f.top + f.height + 1.5*f.size
	first, last := s.Checks[0], s.Checks[len(s.Checks)-1]
	f.picture.Add(draw.Text{At: draw.Point{X: f.left, Y: bottom}, Words: "check 1, " + day(first.Started), Size: f.size, Paint: paintMuted})
	if n := len(s.Checks); n > 1 {
		f.picture.Add(draw.Text{At: draw.Point{X: f.left + f.width, Y: bottom}, Words: "check " + strconv.Itoa(n) + ", " + day(last.Started), Size: f.size, Anchor: draw.End, Paint: paintMuted})
	}
}
