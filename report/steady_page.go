package report

import (
	"io"
	"math"
	"strings"

	"fairpull/quantity"
	"fairpull/reduce"
	"fairpull/report/draw"
)

// maxSteadyCharts bounds the logs that are drawn in one document.
const maxSteadyCharts = 40

// maxCoursePoints bounds the points of a course in a picture.
const maxCoursePoints = 1500

func (s *SteadyLogs) title() string {
	if s.Campaign == "" {
		return "Steady points"
	}
	return "Steady points of " + clean(s.Campaign)
}

func (s *SteadyLogs) subtitle() string {
	points := 0
	for i := range s.Logs {
		if st := s.Logs[i].Steady; st != nil {
			points += len(st.Points)
		}
	}
	return plural(points, "held speed") + " in " + plural(len(s.Logs), "log") + ", each with its mean torque and how the brake kept it."
}

func (s *SteadyLogs) foot() string {
	return joined(" · ", "Made by Fairpull"+labelled(" ", clean(s.Version)), labelled("campaign ", clean(s.Campaign)))
}

// HTML writes one page that stands alone, in the manner of [Gain.HTML].
func (s *SteadyLogs) HTML(w io.Writer, units quantity.System) error {
	return writePage(w, s.title(), s.subtitle(), s.foot(), s.blocks(onScreen, units))
}

// PDF writes the same on A4, or on Letter for who reads US customary units.
func (s *SteadyLogs) PDF(w io.Writer, units quantity.System) error {
	return writePaper(w, s.title(), s.subtitle(), s.foot(), s.Version, s.blocks(onPaper, units), units)
}

// SVG writes the picture of the first log.
func (s *SteadyLogs) SVG(w io.Writer, units quantity.System) error {
	return draw.SVG(w, s.picture(units), false)
}

// PNG writes the same picture in pixels.
func (s *SteadyLogs) PNG(w io.Writer, units quantity.System) error {
	return draw.PNG(w, s.picture(units), pixelsPerPoint)
}

// picture is the chart of the first log that has one, with its title above.
func (s *SteadyLogs) picture(units quantity.System) draw.Picture {
	const margin = 30.0
	p := draw.Picture{Width: onScreen.width + 2*margin, ID: "steady", Title: s.title(), Description: s.subtitle()}
	c := column{picture: &p, left: margin, width: onScreen.width, y: margin}
	c.words(s.title(), 18, draw.Bold, paintInk)
	for i := range s.Logs {
		if log := &s.Logs[i]; log.Steady != nil {
			c.words(log.title(), 12, draw.Regular, paintInk)
			c.words(log.summary(), 10.5, draw.Regular, paintMuted)
			c.y += 8
			c.place(log.chart(onScreen, units))
			break
		}
	}
	p.Height = c.y + margin
	return p
}

// blocks lists what a page says, in the order in which a person reads.
func (s *SteadyLogs) blocks(l look, units quantity.System) []block {
	blocks := []block{heading{Level: 1, Words: s.title()}, paragraph{Words: s.subtitle()}}
	for _, line := range s.basis(units) {
		blocks = append(blocks, paragraph{Words: line, Small: true})
	}
	for i := range s.Logs {
		blocks = append(blocks, s.Logs[i].blocks(l, units, i < maxSteadyCharts)...)
	}
	return append(blocks, heading{Level: 2, Words: "Cautions", ID: "cautions"}, bullets{Items: append(append([]string{}, steadyCautions...), Cautions...)})
}

func (s *SteadyLog) blocks(l look, units quantity.System, drawn bool) []block {
	blocks := []block{heading{Level: 2, Words: s.title()}, paragraph{Words: s.summary()}}
	if s.Excluded != "" {
		blocks = append(blocks, paragraph{Words: "Excluded: " + cleanTo(s.Excluded, 400), Small: true})
	}
	if s.Steady == nil {
		return blocks
	}
	for i := range s.Steady.Points {
		p := &s.Steady.Points[i]
		if notes := pointNotes(p, units); len(notes) > 0 {
			blocks = append(blocks, openCheck{Mark: statusMark("warn"), Status: "warn", Name: fixed(p.EngineRPM, 0) + " rpm", Message: strings.Join(notes, "; ")})
		}
	}
	if drawn {
		blocks = append(blocks, figure{Picture: s.chart(l, units), Caption: "Engine speed and brake torque over the log; the points are shaded. Below, the torque of each point with its " + confidence(steadyInterval) + " interval from this log alone."})
	}
	if len(s.Steady.Points) > 0 {
		rows := s.rows(units)
		t := table{Caption: "Each point: mean engine speed, when it begins, how long it is, what was left out before it, torque with one standard error, what of it the drum's acceleration took, power, and the drift of the speed.",
			Heads: rows[0], Rows: rows[1:], Numeric: make([]bool, len(rows[0])), Long: len(rows) > 30}
		for i := range t.Numeric {
			t.Numeric[i] = true
		}
		blocks = append(blocks, t)
	}
	for _, lines := range [][]string{s.brakeWords(units), s.leftOutWords(), s.foundWords()} {
		if len(lines) > 0 {
			blocks = append(blocks, bullets{Items: capitals(lines)})
		}
	}
	return blocks
}

func capitals(lines []string) []string {
	out := make([]string, len(lines))
	for i, line := range lines {
		out[i] = capitalised(line)
	}
	return out
}

// chart draws engine speed and brake torque over time with the points shaded, and
// below the torque of the points over engine speed with their intervals.
func (s *SteadyLog) chart(l look, units quantity.System) draw.Picture {
	em := l.size
	p := draw.Picture{Width: l.width, ID: "steady", Title: "Held speeds and their torque", Description: s.summary() + " Two panels over time, engine speed and brake torque with the points shaded; a third with the torque of each point over engine speed and its interval."}
	c := &s.Steady.Course
	times, speed, brake := thinCourse(c)
	x := newScale(c.First-c.Step/2, c.First+c.Step*float64(len(c.EngineRPM)), 7)
	top := 2.6 * em
	torque := units.Unit(quantity.Torque)
	for i := range brake {
		brake[i] = torque.From(brake[i])
	}
	for i, panel := range []struct {
		title  string
		values []float64
	}{{"Engine speed, rpm", speed}, {"Brake torque at the drum, " + torque.Name, brake}} {
		seen := newExtent()
		seen.add(panel.values...)
		if seen.empty() {
			seen.add(0, 1)
		}
		lo, hi := padded(seen.lo, seen.hi, 0.06)
		f := frame{picture: &p, x: x, y: newScale(lo, hi, 4), left: 5 * em, top: top, width: l.width - 6*em, height: 0.17 * l.width, size: em, axis: "time, s"}
		p.Add(draw.Text{At: draw.Point{Y: top - 1.5*em}, Words: panel.title, Size: em, Face: draw.Bold, Paint: paintInk})
		s.shade(&f)
		f.ground([2]float64{}, "", i == 1)
		f.line(times, panel.values, 1.1, nil, paintBaseline)
		top += f.height + 3.4*em
	}
	top += 2.4 * em
	if len(s.Steady.Points) > 0 {
		top = s.torquePanel(&p, l, top, units)
	}
	p.Height = top
	return p
}

// shade marks the points behind a panel over time.
func (s *SteadyLog) shade(f *frame) {
	for i := range s.Steady.Points {
		a, b := f.at(s.Steady.Points[i].Start, 0).X, f.at(s.Steady.Points[i].End, 0).X
		f.picture.Add(draw.Area{Points: draw.Box(a, f.top, b-a, f.height), Paint: paintBand})
	}
}

// torquePanel draws the points' torque over engine speed, each a disc with its
// interval as a bar; a square is a point that is not at full throttle.
func (s *SteadyLog) torquePanel(p *draw.Picture, l look, top float64, units quantity.System) float64 {
	em, torque := l.size, units.Unit(quantity.Torque)
	xs, ys := newExtent(), newExtent()
	for i := range s.Steady.Points {
		q := &s.Steady.Points[i]
		lo, hi := q.Limits(steadyInterval)
		xs.add(q.EngineRPM)
		ys.add(torque.From(lo), torque.From(hi))
	}
	left, right := padded(xs.lo, xs.hi, 0.06)
	lo, hi := padded(ys.lo, ys.hi, 0.1)
	f := frame{picture: p, x: newScale(left, right, 7), y: newScale(lo, hi, 4), left: 5 * em, top: top, width: l.width - 6*em, height: 0.26 * l.width, size: em}
	p.Add(draw.Text{At: draw.Point{Y: top - 1.5*em}, Words: "Torque at the wheel, referred to the engine, " + torque.Name + ", not corrected for the air", Size: em, Face: draw.Bold, Paint: paintInk})
	f.ground([2]float64{}, "", true)
	for i := range s.Steady.Points {
		s.mark(&f, &s.Steady.Points[i], torque)
	}
	return top + f.height + 3.8*em
}

func (s *SteadyLog) mark(f *frame, q *reduce.SteadyPoint, torque quantity.Unit) {
	lo, hi := q.Limits(steadyInterval)
	f.picture.Add(draw.Stroke{Points: []draw.Point{f.at(q.EngineRPM, torque.From(lo)), f.at(q.EngineRPM, torque.From(hi))}, Width: 1.6, Paint: paintCandidate})
	at := f.at(q.EngineRPM, torque.From(q.Torque))
	if q.FullThrottle {
		f.disc(at, paintCandidate)
	} else {
		f.square(at, paintBaseline)
	}
}

// thinCourse returns the course with at most maxCoursePoints moments, each the mean
// of its stretch.
func thinCourse(c *reduce.Course) (times, speed, brake []float64) {
	stride := max(1, (len(c.EngineRPM)+maxCoursePoints-1)/maxCoursePoints)
	for k := 0; k < len(c.EngineRPM); k += stride {
		var n, rpm, torque float64
		end := min(k+stride, len(c.EngineRPM))
		for j := k; j < end; j++ {
			if !math.IsNaN(c.EngineRPM[j]) {
				n, rpm, torque = n+1, rpm+c.EngineRPM[j], torque+c.Brake[j]
			}
		}
		times = append(times, c.First+c.Step*float64(k+end-1)/2)
		speed, brake = append(speed, rpm/n), append(brake, torque/n)
	}
	return times, speed, brake
}
