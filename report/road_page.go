package report

import (
	"io"
	"math"
	"strconv"
	"strings"

	"fairpull/quantity"
	"fairpull/report/draw"
)

// HTML writes the answers as one page that stands alone.
func (r *Road) HTML(w io.Writer, units quantity.System) error {
	return writePage(w, r.title(), r.subtitle(), r.foot(), r.blocks(onScreen, units))
}

// PDF writes the same on A4, or on Letter for who reads US customary units.
func (r *Road) PDF(w io.Writer, units quantity.System) error {
	return writePaper(w, r.title(), r.subtitle(), r.foot(), r.Version, r.blocks(onPaper, units), units)
}

// SVG writes the picture alone.
func (r *Road) SVG(w io.Writer, units quantity.System) error {
	return draw.SVG(w, r.picture(units), false)
}

// PNG writes the same picture in pixels.
func (r *Road) PNG(w io.Writer, units quantity.System) error {
	return draw.PNG(w, r.picture(units), pixelsPerPoint)
}

func (r *Road) picture(units quantity.System) draw.Picture {
	const margin = 30.0
	p := draw.Picture{Width: onScreen.width + 2*margin, ID: "road", Title: r.title(), Description: r.subtitle()}
	c := column{picture: &p, left: margin, width: onScreen.width, y: margin}
	c.words(r.title(), 18, draw.Bold, paintInk)
	c.words(unbroken(r.subtitle()), 10.5, draw.Regular, paintMuted)
	for _, s := range r.Sentences(units) {
		c.words(unbroken(s), 11.5, draw.Regular, paintInk)
	}
	c.y += 8
	c.place(r.powerChart(onScreen, units))
	c.words(r.foot(), 9.5, draw.Regular, paintMuted)
	p.Height = c.y + margin
	return p
}

func (r *Road) blocks(l look, units quantity.System) []block {
	c := r.comparison()
	out := []block{
		heading{Level: 1, Words: r.title()}, paragraph{Words: r.subtitle(), Small: true},
		verdict{Name: Verdict(c), Shown: r.shown(), Sentence: r.Standing()},
		heading{Level: 2, Words: "With and without the part", ID: "answers"}, r.table(units),
		heading{Level: 2, Words: "Power at the wheel and what the road takes", ID: "power"},
		figure{Picture: r.powerChart(l, units), Caption: "Power at the wheel at full throttle over road speed, one pair of curves a gear, with the intervals of either side's own level; the line of crosses is what a level road takes. What lies between accelerates the vehicle."},
	}
	if r.Weighted != nil {
		out = append(out, heading{Level: 2, Words: "Where the rider spends time", ID: "ride"}, paragraph{Words: r.weightedSentence()}, r.rideTable())
	}
	inputs := table{Caption: "What went in, and where it comes from.", Heads: []string{"Figure", "Value", "Source"}, Numeric: []bool{false, false, false}}
	for _, in := range r.Inputs {
		inputs.Rows = append(inputs.Rows, []string{clean(in.What), cleanTo(in.Is, 300), cleanTo(in.From, 300)})
	}
	return append(out,
		heading{Level: 2, Words: "What went in", ID: "inputs"}, inputs,
		heading{Level: 2, Words: "How to read it", ID: "limits"}, bullets{Items: r.cautions()})
}

// table has every answer with its interval.
func (r *Road) table(units quantity.System) table {
	t := table{
		Caption: "Each side with the half-width of its own interval; the change from draws that both sides share.",
		Heads:   []string{"Asked", "Without the part", "With it", "Change", "Interval of the change", "At least", "Note"}, Numeric: []bool{false, true, true, true, true, true, false},
	}
	for i := range r.Answers {
		a := &r.Answers[i]
		w := a.words(units, r.shown())
		t.Rows = append(t.Rows, []string{capitalised(a.question(units)), w.Without, w.With, w.Change, w.Interval, w.AtLeast, w.Note})
	}
	return t
}

// maxBins bounds how many rows the table of a ride has; it is drawn together beyond.
const maxBins = 40

// rideTable says where the time was spent.
func (r *Road) rideTable() table {
	t := table{Caption: "Where the time was spent.", Heads: []string{"Engine speed, rpm", "Share of the time, %"}, Numeric: []bool{false, true}}
	bins := r.Weighted.Bins
	together := (len(bins) + maxBins - 1) / maxBins
	for i := 0; i < len(bins); i += together {
		end, share := min(i+together, len(bins)), 0.0
		for _, b := range bins[i:end] {
			share += b.Share
		}
		t.Rows = append(t.Rows, []string{plain(bins[i].FromRPM) + " to " + plain(bins[end-1].ToRPM), fixed(100*share, 1)})
	}
	return t
}

// powerChart draws the power at the wheel over road speed and what the road takes.
func (r *Road) powerChart(l look, units quantity.System) draw.Picture {
	em := l.size
	speed, power := units.Unit(quantity.Speed), units.Unit(quantity.Power)
	side := r.comparison()
	p := draw.Picture{
		Width: l.width, ID: "road-power", Title: "Power at the wheel and what the road takes, over road speed",
		Description: "Curves over road speed, one pair a gear: dashed without the part, solid with it; a line of crosses is what a level road takes. " + strings.Join(r.Sentences(units), " "),
	}
	across, up := newExtent(), newExtent()
	across.add(0)
	up.add(0)
	scaled := func(u quantity.Unit, si []float64) []float64 {
		out := make([]float64, len(si))
		for i, v := range si {
			out[i] = u.From(v)
		}
		return out
	}
	var series []levelSeries
	for _, g := range r.Power.Gears {
		s := levelSeries{
			RPM: scaled(speed, g.Speed), Baseline: scaled(power, g.Without), Candidate: scaled(power, g.With),
			BaselineHalf: scaled(power, g.WithoutHalf), CandidateHalf: scaled(power, g.WithHalf),
		}
		across.add(s.RPM...)
		for i := range s.RPM {
			up.add(s.Baseline[i]+s.BaselineHalf[i], s.Candidate[i]+s.CandidateHalf[i], s.Baseline[i], s.Candidate[i])
		}
		series = append(series, s)
	}
	_, top := padded(0, up.hi, 0.07)
	f := frame{
		picture: &p, x: newScale(0, across.hi, 7), y: newScale(0, top, 5), left: 4.2 * em, top: 2.6 * em, width: l.width - 15.6*em, height: 0.42 * l.width, size: em,
		axis: "road speed, " + speed.Name,
	}
	p.Height = f.top + f.height + 3.4*em
	p.Add(draw.Text{At: draw.Point{Y: 1.1 * em}, Words: "Power at the wheel at full throttle, " + power.Name, Size: em, Face: draw.Bold, Paint: paintInk})
	f.ground([2]float64{}, "", true)
	for i, s := range series {
		f.levels(s)
		f.gearName(r.Power.Gears[i].Gear, s)
	}
	f.roadLoad(scaled(speed, r.Power.Speed), scaled(power, r.Power.Load))
	tags := []tag{{y: f.end(scaled(power, r.Power.Load)), words: "level road (×)", paint: paintInk, width: 1.2}}
	if n := len(series); n > 0 {
		last := series[n-1]
		tags = append(tags, tag{y: f.end(last.Baseline), words: r.Gain.shortSide(side.Baseline), paint: paintBaseline, dash: dashBaseline, width: 2},
			tag{y: f.end(last.Candidate), words: r.Gain.shortSide(side.Candidate), paint: paintCandidate, width: 2})
	}
	f.tags(tags, l.width-f.left-f.width)
	return p
}

// gearName numbers a pair of curves at its highest point.
func (f *frame) gearName(gear int, s levelSeries) {
	if gear == 0 || len(s.RPM) == 0 {
		return
	}
	best := 0
	for i, v := range s.Candidate {
		if v > s.Candidate[best] {
			best = i
		}
	}
	at := f.at(s.RPM[best], f.cut(s.Candidate[best]))
	f.picture.Add(draw.Text{At: draw.Point{X: at.X, Y: math.Max(f.top+f.size, at.Y-0.9*f.size)}, Words: strconv.Itoa(gear), Size: f.size, Anchor: draw.Middle, Face: draw.Bold, Paint: paintInk})
}

// roadLoad draws what the road takes: a line with crosses on it.
func (f *frame) roadLoad(speed, load []float64) {
	f.line(speed, load, 1.2, nil, paintInk)
	for i := 5; i < len(speed); i += 6 {
		if !f.inside(load[i]) {
			continue
		}
		at, d := f.at(speed[i], load[i]), 0.28*f.size
		f.picture.Add(
			draw.Stroke{Points: []draw.Point{{X: at.X - d, Y: at.Y - d}, {X: at.X + d, Y: at.Y + d}}, Width: 1.2, Paint: paintInk},
			draw.Stroke{Points: []draw.Point{{X: at.X - d, Y: at.Y + d}, {X: at.X + d, Y: at.Y - d}}, Width: 1.2, Paint: paintInk})
	}
}
