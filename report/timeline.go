package report

import (
	"math"
	"strconv"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/report/draw"
)

// timelineBlocks shows the pulls of comparison i in the order of measuring, with
// the drift beneath them; nothing where no pull has a figure.
func (g *Gain) timelineBlocks(i int, l look) []block {
	picture, ok := g.timeline(i, l)
	if !ok {
		return nil
	}
	return []block{
		heading{Level: 3, Words: "Blocks and pulls as they were measured"},
		figure{Picture: picture, Caption: "Mean torque of each pull over the riding band, in per cent above or below the mean of the baseline's pulls. " + g.driftWords(&g.Comparisons[i]), Numbers: g.timelineNumbers(&g.Comparisons[i])},
	}
}

// driftWords says what the line below the pulls is.
func (g *Gain) driftWords(c *compare.Comparison) string {
	if !c.Drift.Known {
		return "Drift is not known in this campaign."
	}
	return "The thin line is the drift of the rig as it was estimated, " + driftChange(c) + " over the session."
}

// timelinePull is one pull of a timeline.
type timelinePull struct {
	*PullRow
	level float64 // per cent about the mean of the baseline
	hours float64 // since the first pull
	side  campaign.Role
}

// timelinePulls returns the pulls of a comparison that have a figure, in order.
func (g *Gain) timelinePulls(c *compare.Comparison) []timelinePull {
	var pulls []timelinePull
	sum, n := 0.0, 0.0
	for i := range g.Pulls {
		p := &g.Pulls[i]
		if !(p.BandTorqueNm > 0) || math.IsInf(p.BandTorqueNm, 0) || p.Configuration != c.Baseline && p.Configuration != c.Candidate {
			continue
		}
		side := campaign.Candidate
		if p.Configuration == c.Baseline {
			side = campaign.Baseline
			if p.Used {
				sum, n = sum+math.Log(p.BandTorqueNm), n+1
			}
		}
		pulls = append(pulls, timelinePull{PullRow: p, side: side})
	}
	if n == 0 {
		return nil
	}
	for i := range pulls {
		pulls[i].level = percent(math.Log(pulls[i].BandTorqueNm) - sum/n)
		pulls[i].hours = pulls[i].Started.Sub(pulls[0].Started).Hours()
	}
	return pulls
}

// timeline draws the pulls of comparison i side by side in the order of
// measuring.
func (g *Gain) timeline(i int, l look) (draw.Picture, bool) {
	c := &g.Comparisons[i]
	pulls := g.timelinePulls(c)
	if len(pulls) < 2 {
		return draw.Picture{}, false
	}
	y, em := newExtent(), l.size
	for _, p := range pulls {
		y.add(p.level)
	}
	drift := driftLine(c, pulls)
	y.add(drift...)
	lo, hi := padded(y.lo, y.hi, 0.12)
	p := draw.Picture{
		Width: l.width, ID: "timeline-" + strconv.Itoa(i+1),
		Title: "Pulls of " + g.side(c.Baseline) + " and " + g.side(c.Candidate) + " in the order of measuring",
		Description: "One mark a pull: a square for " + g.side(c.Baseline) + ", a disc for " + g.side(c.Candidate) +
			", an open mark for a pull that is not used. The pulls are listed in a table of this report.",
	}
	f := frame{picture: &p, x: scale{Lo: -0.7, Hi: float64(len(pulls)) - 0.3}, y: newScale(lo, hi, 5),
		left: 4.2 * em, top: 4.4 * em, width: l.width - 5.4*em, height: 0.2 * l.width, size: em}
	p.Height = f.top + f.height + 3.6*em
	p.Add(draw.Text{At: draw.Point{Y: 1.1 * em}, Words: "Torque over the riding band, pull by pull, % about the baseline's mean", Size: em, Face: draw.Bold, Paint: paintInk})
	f.ground([2]float64{}, "", false)
	f.line(positions(len(pulls)), drift, 1.1, nil, paintInk)
	f.timelineBlocks(pulls)
	for j, pull := range pulls {
		f.timelineMark(f.at(float64(j), pull.level), pull)
	}
	return p, true
}

// timelineNumbers are the timeline in numbers.
func (g *Gain) timelineNumbers(c *compare.Comparison) numbers {
	pulls := g.timelinePulls(c)
	drift := driftLine(c, pulls)
	words := func(name, head string, of func(p timelinePull) string) numberColumn {
		out := numberColumn{Name: name, Head: head, Words: []string{}}
		for _, p := range pulls {
			out.Words = append(out.Words, of(p))
		}
		return out
	}
	level, line := numberColumn{Name: "level", Unit: "%", Head: "Level, %"}, numberColumn{Name: "drift", Unit: "%", Head: "Drift, %"}
	for i, p := range pulls {
		level.Values, level.Shown = append(level.Values, p.level), append(level.Shown, signed(p.level, 2))
		line.Values, line.Shown = append(line.Values, drift[i]), append(line.Shown, signed(drift[i], 2))
	}
	return numbers{
		words("pull", "Pull", func(p timelinePull) string { return clean(p.Pull) }),
		words("started", "Started", func(p timelinePull) string {
			if p.Started.IsZero() {
				return "–"
			}
			return p.Started.Format("2006-01-02 15:04")
		}),
		words("configuration", "Configuration", func(p timelinePull) string { return clean(p.Configuration) }),
		words("setup", "Setup", func(p timelinePull) string { return clean(p.Setup) }),
		words("used", "Used", func(p timelinePull) string { return map[bool]string{true: "yes", false: "no"}[p.Used] }),
		level, line,
	}
}

func positions(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = float64(i)
	}
	return out
}

// driftLine is the estimated drift at each pull, per cent, through zero at the
// mean time of the baseline's used pulls; NaN where it is not known.
func driftLine(c *compare.Comparison, pulls []timelinePull) []float64 {
	line := make([]float64, len(pulls))
	mean, n := 0.0, 0.0
	for _, p := range pulls {
		if p.Used && p.side == campaign.Baseline {
			mean, n = mean+p.hours, n+1
		}
	}
	for i, p := range pulls {
		line[i] = math.NaN()
		if c.Drift.Known {
			line[i] = percent(c.Drift.PerHour * (p.hours - mean/n))
		}
	}
	return line
}

// timelineBlocks writes setups and configurations above the panel, times and
// names of pulls below it.
func (f *frame) timelineBlocks(pulls []timelinePull) {
	for start := 0; start < len(pulls); {
		end := start + 1
		for end < len(pulls) && pulls[end].Setup == pulls[start].Setup && pulls[end].Configuration == pulls[start].Configuration {
			end++
		}
		a, b := f.at(float64(start)-0.42, 0).X, f.at(float64(end)-0.58, 0).X
		top, width := f.top-0.5*f.size, b-a
		f.picture.Add(
			draw.Stroke{Points: []draw.Point{{X: a, Y: top}, {X: b, Y: top}}, Width: 1.4, Paint: paintOf(pulls[start].side)},
			draw.Text{At: draw.Point{X: (a + b) / 2, Y: top - 1.5*f.size}, Words: draw.Fit(clean(pulls[start].Configuration), f.size, draw.Bold, width), Size: f.size, Face: draw.Bold, Anchor: draw.Middle, Paint: paintInk},
			draw.Text{At: draw.Point{X: (a + b) / 2, Y: top - 0.4*f.size}, Words: draw.Fit(clean(pulls[start].Setup), 0.86*f.size, draw.Regular, width), Size: 0.86 * f.size, Anchor: draw.Middle, Paint: paintMuted},
			draw.Text{At: draw.Point{X: a, Y: f.top + f.height + 2.9*f.size}, Words: draw.Fit(startOf(pulls, start), 0.86*f.size, draw.Regular, width+2*f.size), Size: 0.86 * f.size, Paint: paintMuted},
		)
		start = end
	}
	room := f.width / float64(len(pulls))
	for i, p := range pulls {
		f.picture.Add(draw.Text{At: draw.Point{X: f.at(float64(i), 0).X, Y: f.top + f.height + 1.5*f.size},
			Words: draw.Fit(clean(p.Pull), 0.86*f.size, draw.Regular, room), Size: 0.86 * f.size, Anchor: draw.Middle, Paint: paintMuted})
	}
}

// startOf is the time of a pull, with its day where that is a new one.
func startOf(pulls []timelinePull, i int) string {
	at := pulls[i].Started
	if at.IsZero() {
		return ""
	}
	if i > 0 && pulls[i-1].Started.Format("2006-01-02") == at.Format("2006-01-02") {
		return at.Format("15:04")
	}
	return at.Format("2 Jan 15:04")
}

func paintOf(side campaign.Role) draw.Paint {
	if side == campaign.Baseline {
		return paintBaseline
	}
	return paintCandidate
}

// timelineMark is a square or a disc; it is open where the pull is not used.
func (f *frame) timelineMark(at draw.Point, p timelinePull) {
	paint := paintOf(p.side)
	if !p.Used {
		h := 0.34 * f.size
		box := draw.Box(at.X-h, at.Y-h, 2*h, 2*h)
		f.picture.Add(draw.Area{Points: box, Paint: paintPaper}, draw.Stroke{Points: append(box, box[0]), Width: 1.2, Paint: paint})
		return
	}
	if p.side == campaign.Baseline {
		f.square(at, paint)
		return
	}
	f.disc(at, paint)
}
