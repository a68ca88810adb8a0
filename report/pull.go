package report

import (
	"math"
	"strings"

	"fairpull/curve"
	"fairpull/drum"
	"fairpull/quantity"
	"fairpull/report/draw"
)

// PullPage is one pull as a person looks at it: as recorded and as reduced.
type PullPage struct {
	Reduction
	Setup, Started string
	Place          string // "pull 2 of the 3 of block 4"; empty: it is in none
	Raw            RawLog

	Factor    float64 // of the correction; NaN: there is no curve
	Standard  string  // of the correction
	Corrected curve.Curve
	AtCrank   bool

	Campaign    string
	Exploratory []string // what was changed to look at the campaign so; none: nothing

	SlipLimit float64     // fraction; of the check
	Coasts    []PullCoast // of the block, this pull's among them
}

// PullCoast is the coast-down of one pull of a block.
type PullCoast struct {
	Pull string
	This bool
	*drum.Losses
}

// Title names the pull.
func (p *PullPage) Title() string {
	return "Pull " + clean(p.Pull) + " of " + clean(p.Configuration)
}

// Byline says where and when it was made, and whether it counts.
func (p *PullPage) Byline() string {
	s := joined(" · ", clean(p.Started), labelled("setup ", clean(p.Setup)), p.Place, labelled("log ", clean(p.Log)))
	if p.Excluded != "" {
		s += " · not used: " + cleanTo(p.Excluded, 400)
	}
	return s
}

// Sections returns what is to be said of the pull: the channels as recorded with
// the phases marked, the curve with its standard errors, the coast-down beside the
// block's others, and what encoder, slip and log have to say of themselves.
func (p *PullPage) Sections(units quantity.System, at ChartsAt) ([]Section, error) {
	return sections(at.link(p.blocks(units)))
}

func (p *PullPage) blocks(units quantity.System) []block {
	blocks := p.rawBlocks(units)
	if p.Result == nil {
		why := p.Problem
		if why == "" {
			why = "the campaign cannot be analysed as it stands"
		}
		return append(blocks, heading{Level: 2, Words: "Reduced curve", ID: "curve"}, paragraph{Words: "There is no curve of this pull: " + cleanTo(why, 600)})
	}
	blocks = append(blocks, p.curveBlocks(units)...)
	blocks = append(blocks, p.coastBlocks(units)...)
	blocks = append(blocks, p.rigBlocks(units)...)
	return append(blocks, p.foundBlocks()...)
}

func (p *PullPage) rawBlocks(units quantity.System) []block {
	blocks := []block{heading{Level: 2, Words: "Channels as recorded", ID: "channels"}}
	if len(p.Raw.Channels) == 0 {
		return append(blocks, paragraph{Words: "The log holds no channel that can be drawn."})
	}
	caption := "As recorded: nothing is smoothed. "
	if len(p.Raw.Phases) > 0 {
		caption += "Between the dashed lines are the phases by their names; settling is left out of the figures."
	} else {
		caption += "No phases are marked: the log is a curve that was reduced elsewhere, or no pull was found in it."
	}
	if n := len(p.Raw.Channels) - maxRawPanels; n > 0 {
		caption += " Without script, " + plural(n, "more channel") + " stand in the table alone."
	}
	blocks = append(blocks, figure{Picture: p.Raw.chart(onScreen, units), Caption: caption, Numbers: p.Raw.numbers(units), Beside: true}, p.Raw.table(units))
	if p.Result != nil && p.Steady {
		blocks = append(blocks, paragraph{Words: "How the held speeds were found: " + clean400(p.Result.Phases.Rule), Small: true})
	}
	if p.Result != nil && p.HalfWidthRPM > 0 {
		blocks = append(blocks, paragraph{Words: "How the pull was found: " + strings.TrimRight(clean400(p.Result.Phases.Rule), ".") + ".", Small: true})
	}
	return blocks
}

func clean400(s string) string { return cleanTo(s, 400) }

// curveBlocks shows torque and power with the standard error from this log alone.
func (p *PullPage) curveBlocks(units quantity.System) []block {
	where, how := "wheel", "corrected by "+clean(p.Standard)+", factor "+fixed(p.Factor, 4)
	if p.AtCrank {
		where = "crank"
	}
	if p.Standard == "none" {
		how = "not corrected for the air"
	}
	torque, power := units.Unit(quantity.Torque), units.Unit(quantity.Power)
	t := table{
		Heads:   []string{"rpm", "Torque, " + torque.Name, "± one SE", "Power, " + power.Name, "± one SE", "Loss added, " + torque.Name, "Resolution, rpm"},
		Numeric: []bool{true, true, true, true, true, true, true}, Long: true,
		Caption: "Figures at the " + where + ", " + how + ". ± is one standard error from this log alone: what a second pull would add stands on the campaign's page. Loss added: what the coast-down found is put back, uncorrected, as it is the rig's.",
	}
	for i, rpm := range p.Corrected.SpeedRPM {
		se, omega := at(p.Corrected.StandardError, i), rpm*curve.RadPerSecondPerRPM
		a, ua := numbersOrBlank(p.Corrected.Torque[i], float64(se), torque)
		b, ub := numbersOrBlank(p.Corrected.Power(i), float64(se)*omega, power)
		with := "–"
		if i < len(p.Result.Compensated) {
			loss := p.Result.Compensated[i] - p.Result.Curve.Torque[i]
			with = fixed(torque.From(p.Corrected.Torque[i]+loss), 1)
		}
		t.Rows = append(t.Rows, []string{plain(rpm), a, ua, b, ub, with, fixed(float64(at(p.Result.Resolution, i)), 0)})
	}
	blocks := []block{heading{Level: 2, Words: "Reduced curve", ID: "curve"}}
	if p.Corrected.Len() > 1 {
		blocks = append(blocks, figure{Picture: p.chart(onScreen, units), Caption: "The ribbon is twice the standard error from this log alone.", Plot: p.plot(units), Beside: true})
	}
	return append(blocks, t)
}

// pullLevels is torque or power of a pull in the unit shown.
type pullLevels struct {
	name, unit string
	values     []float64
	se         []float64 // one standard error
	axis       scale
}

// levels returns torque and power.
func (p *PullPage) levels(units quantity.System) []pullLevels {
	rpm := p.Corrected.SpeedRPM
	var out []pullLevels
	for _, d := range []quantity.Dimension{quantity.Torque, quantity.Power} {
		unit := units.Unit(d)
		one := pullLevels{name: "Torque", unit: unit.Name}
		if d == quantity.Power {
			one.name = "Power"
		}
		seen := newExtent()
		for i := range rpm {
			per := 1.0
			if d == quantity.Power {
				per = rpm[i] * curve.RadPerSecondPerRPM
			}
			v, se := unit.From(p.Corrected.Torque[i]*per), unit.FromDifference(float64(at(p.Corrected.StandardError, i))*per)
			one.values, one.se = append(one.values, v), append(one.se, se)
			seen.add(v, v-2*se, v+2*se)
		}
		a, b := padded(seen.lo, seen.hi, 0.07)
		one.axis = newScale(math.Max(a, 0), b, 4)
		out = append(out, one)
	}
	return out
}

// ribbon returns the limits at twice the standard error.
func (l *pullLevels) ribbon() (lo, hi []float64) {
	for i, v := range l.values {
		lo, hi = append(lo, v-2*l.se[i]), append(hi, v+2*l.se[i])
	}
	return lo, hi
}

// plot is the pull's torque and power in numbers.
func (p *PullPage) plot(units quantity.System) *plot {
	out := newPlot(p.Corrected.SpeedRPM)
	for _, l := range p.levels(units) {
		lo, hi := l.ribbon()
		one := plotSeries{Name: strings.ToLower(l.name), Paint: "baseline", Values: amounts(l.values), Low: amounts(lo), High: amounts(hi), column: strings.ToLower(l.name)}
		for i, v := range l.values {
			words := plusMinus(v, l.se[i]) + " " + l.unit
			if l.se[i] > 0 {
				words += " (one SE)"
			}
			one.Read = append(one.Read, words)
		}
		out.Panels = append(out.Panels, plotPanel{Title: l.name + ", " + l.unit, Unit: l.unit, Low: amount(l.axis.Lo), High: amount(l.axis.Hi), Series: []plotSeries{one},
			Key: []plotKey{{"line", "baseline", strings.ToLower(l.name)}, {"ribbon", "baseline", "twice the standard error from this log alone"}}})
	}
	return out
}

// chart draws torque and power of the pull, one above the other.
func (p *PullPage) chart(l look, units quantity.System) draw.Picture {
	em := l.size
	rpm := p.Corrected.SpeedRPM
	picture := draw.Picture{Width: l.width, ID: "pull-curve", Title: "Torque and power of pull " + clean(p.Pull) + " over engine speed",
		Description: "Two panels over one axis of engine speed, torque above and power below, each with a ribbon of twice its standard error. The numbers stand in the table below."}
	top := 2.8 * em
	for panel, s := range p.levels(units) {
		f := frame{picture: &picture, x: newScale(rpm[0], rpm[len(rpm)-1], 7), y: s.axis, left: 4.2 * em, top: top, width: l.width - 5.4*em, height: 0.22 * l.width, size: em}
		picture.Add(draw.Text{At: draw.Point{Y: top - 1.3*em}, Words: s.name + ", " + s.unit, Size: em, Face: draw.Bold, Paint: paintInk})
		f.ground([2]float64{}, "", panel == 1)
		lo, hi := s.ribbon()
		f.ribbon(rpm, lo, hi, paintBaseline.Faded(0.2))
		f.line(rpm, s.values, 2, nil, paintBaseline)
		top += f.height + 3.4*em
	}
	picture.Height = top
	return picture
}
