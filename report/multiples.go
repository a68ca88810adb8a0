package report

import (
	"math"
	"slices"

	"fairpull/campaign"
	"fairpull/quantity"
	"fairpull/report/draw"
)

// maxMultiples bounds the small charts of pulls: as many as stand on one page.
const maxMultiples = 40

// smallMultiples draws each pull's torque small; false where no pull has a
// curve. Beyond forty pulls the rest is left to the table, and it says so.
func (g *Gain) smallMultiples(l look, units quantity.System) (draw.Picture, bool) {
	unit := units.Unit(quantity.Torque)
	x, y := newExtent(), newExtent()
	var shown []*PullRow
	for i := range g.Pulls {
		p := &g.Pulls[i]
		if p.Curve.Len() < 2 {
			continue
		}
		shown = append(shown, p)
		x.add(p.Curve.SpeedRPM...)
		for _, t := range p.Curve.Torque {
			y.add(unit.From(t))
		}
	}
	if x.empty() || y.empty() {
		return draw.Picture{}, false
	}
	left := max(0, len(shown)-maxMultiples)
	shown = shown[:len(shown)-left]
	const columns = 5
	em := l.size * 0.86
	margin, gap := 2.6*em, 1.2*em
	width := (l.width - margin - (columns-1)*gap) / columns
	height := 0.62 * width
	step := height + 2.6*em
	rows := (len(shown) + columns - 1) / columns
	picture := draw.Picture{
		Width: l.width, Height: float64(rows)*step + 1.6*em, ID: "pulls-small",
		Title:       "Corrected torque of each pull over engine speed, " + unit.Name,
		Description: "One small chart a pull, all to one scale; the pulls are listed in the table.",
	}
	lo, hi := padded(y.lo, y.hi, 0.08)
	all := newEnvelope(g.Pulls, unit)
	for i, p := range shown {
		f := frame{picture: &picture, x: newScale(x.lo, x.hi, 2), y: newScale(lo, hi, 2), size: em,
			left: margin + float64(i%columns)*(width+gap), top: 1.9*em + float64(i/columns)*step, width: width, height: height}
		f.small(g, p, all, unit)
		if i%columns == 0 {
			f.sideTicks()
		}
		if i+columns >= len(shown) {
			f.footTicks()
		}
	}
	if left > 0 {
		picture.Add(draw.Text{At: draw.Point{X: l.width, Y: 0.9 * em}, Words: "and " + plural(left, "pull") + " more, in the table only", Size: em, Anchor: draw.End, Paint: paintMuted})
	}
	return picture, true
}

// multiplesNumbers are the torque of each pull that is drawn, by engine speed.
func (g *Gain) multiplesNumbers(units quantity.System) numbers {
	unit := units.Unit(quantity.Torque)
	var shown []*PullRow
	var rpm []float64
	for i := range g.Pulls {
		if p := &g.Pulls[i]; p.Curve.Len() > 1 && len(shown) < maxMultiples {
			shown, rpm = append(shown, p), append(rpm, p.Curve.SpeedRPM...)
		}
	}
	slices.Sort(rpm)
	rpm = slices.Compact(rpm)
	x := numberColumn{Name: "engine_speed", Unit: "rpm", Values: rpm, Head: "rpm"}
	for _, v := range rpm {
		x.Shown = append(x.Shown, plain(v))
	}
	out := numbers{x}
	for _, p := range shown {
		one := numberColumn{Name: "torque_pull_" + columnName(p.Pull), Unit: unit.Name, Head: "Pull " + clean(p.Pull) + ", " + unit.Name,
			Values: slices.Repeat([]float64{math.NaN()}, len(rpm)), Shown: slices.Repeat([]string{"–"}, len(rpm))}
		for j, t := range p.Curve.Torque {
			if k, found := slices.BinarySearch(rpm, p.Curve.SpeedRPM[j]); found {
				one.Values[k] = unit.From(t)
				one.Shown[k] = fixed(one.Values[k], 1)
			}
		}
		out = append(out, one)
	}
	return out
}

// small draws one pull before the range of all.
func (f *frame) small(g *Gain, p *PullRow, all envelope, unit quantity.Unit) {
	name := "pull " + clean(p.Pull) + ", " + clean(p.Configuration)
	if !p.Used {
		name += ", not used"
	}
	f.picture.Add(
		draw.Text{At: draw.Point{X: f.left, Y: f.top - 0.5*f.size}, Words: draw.Fit(name, f.size, draw.Regular, f.width), Size: f.size, Paint: paintInk},
		draw.Stroke{Points: append(draw.Box(f.left, f.top, f.width, f.height), draw.Point{X: f.left, Y: f.top}), Width: 0.6, Paint: paintGrid},
	)
	f.ribbon(all.rpm, all.lo, all.hi, paintGrid)
	paint, dash := paintCandidate, []float64(nil)
	if g.configuration(p.Configuration).Role == campaign.Baseline {
		paint, dash = paintBaseline, dashBaseline
	}
	if !p.Used {
		dash = dashLimits
	}
	f.line(p.Curve.SpeedRPM, shownIn(p.Curve.Torque, unit), 1.3, dash, paint)
}

// envelope is the range of the torque of all used pulls, by engine speed.
type envelope struct{ rpm, lo, hi []float64 }

func newEnvelope(pulls []PullRow, unit quantity.Unit) envelope {
	seen := map[float64]*extent{}
	var e envelope
	for i := range pulls {
		if !pulls[i].Used {
			continue
		}
		for j, rpm := range pulls[i].Curve.SpeedRPM {
			if seen[rpm] == nil {
				fresh := newExtent()
				seen[rpm] = &fresh
				e.rpm = append(e.rpm, rpm)
			}
			seen[rpm].add(unit.From(pulls[i].Curve.Torque[j]))
		}
	}
	slices.Sort(e.rpm)
	for _, rpm := range e.rpm {
		lo, hi := seen[rpm].lo, seen[rpm].hi
		if seen[rpm].empty() {
			lo, hi = math.NaN(), math.NaN()
		}
		e.lo, e.hi = append(e.lo, lo), append(e.hi, hi)
	}
	return e
}

func (f *frame) sideTicks() {
	for _, v := range f.y.Ticks() {
		f.picture.Add(draw.Text{At: draw.Point{X: f.left - 0.4*f.size, Y: f.at(0, v).Y + 0.36*f.size}, Words: fixed(v, f.y.Places), Size: f.size, Anchor: draw.End, Paint: paintMuted})
	}
}

func (f *frame) footTicks() {
	for _, v := range f.x.Ticks() {
		f.picture.Add(draw.Text{At: draw.Point{X: f.at(v, 0).X, Y: f.top + f.height + 1.3*f.size}, Words: plain(v), Size: f.size, Anchor: draw.Middle, Paint: paintMuted})
	}
}

func shownIn(values []float64, unit quantity.Unit) []float64 {
	out := make([]float64, len(values))
	for i, v := range values {
		out[i] = unit.From(v)
		if math.IsInf(out[i], 0) {
			out[i] = math.NaN()
		}
	}
	return out
}
