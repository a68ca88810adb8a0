package report

import (
	"math"
	"strconv"
	"strings"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
)

// Plan is what can be planned for the question of a campaign, and what was chosen.
type Plan struct {
	Campaign campaign.Campaign // with its Plan where one was chosen

	Designs     []compare.PlannedDesign // in order of time on the rig
	Recommended int                     // index of a design; −1: none reaches Wanted
	Chosen      *compare.PlannedDesign  // nil: none
	Wanted      float64                 // chance of showing the smallest gain of interest

	Rig     compare.Rig
	Scatter PlanScatter
	Tyre    PlanTyre
	Weather float64  // difference of the correction factor between the sides, a fraction
	Notes   []string // whole sentences on what was chosen
	Version string   // of the program; empty: not stated
}

// PlanScatter is the scatter that a plan reckons with, and whose it is.
type PlanScatter struct {
	Setup, Block, Pull Spread // an SD of 0: not known; degrees of freedom of 0: by judgement
	DriftPerHour       float64

	History *History          // of the workspace; nil: not used
	Own     *campaign.History // the campaign's own; nil: not used
	Judged  []string          // the levels that were entered by judgement
}

// PlanTyre says how fast the plan runs the tyre. NaN: not known.
type PlanTyre struct {
	Symbol    string
	Limit     float64 // m/s
	TopRPM    float64 // engine speed that pulls go to; 0: not stated
	Speed     float64 // of the drum's surface there, m/s
	MostRPM   float64 // engine speed at which the limit is met
	Unchecked string  // why the speed is not known; empty: it is
}

func (p *Plan) title() string {
	if t := clean(p.Campaign.Title); t != "" {
		return t
	}
	return clean(p.Campaign.ID)
}

// chosen returns the design that a reader looks at first: the chosen one, else the
// recommended one; nil without either.
func (p *Plan) chosen() *compare.PlannedDesign {
	switch {
	case p.Chosen != nil:
		return p.Chosen
	case p.Recommended >= 0 && p.Recommended < len(p.Designs):
		return &p.Designs[p.Recommended]
	}
	return nil
}

// question words what is asked: figure, band, smallest gain, confidence.
func questionLine(o campaign.Objective) string {
	s := "To show a gain in " + metricRows[primaryMetric(o.Primary)].name
	if o.BandRPM != [2]float64{} {
		s += ", " + span(o.BandRPM)
	}
	if o.SmallestGain > 0 {
		s += ", of " + plain(100*o.SmallestGain) + " % or more"
	}
	return s + ", at " + confidence(o.Confidence) + " one-sided confidence."
}

// scatterLine says what scatter the plan reckons with, and whose it is.
func (p *Plan) scatterLine() string {
	s := p.Scatter
	var parts []string
	for _, row := range []struct {
		name string
		Spread
	}{{"setup to setup", s.Setup}, {"change-over within a setup", s.Block}, {"pull to pull", s.Pull}} {
		switch {
		case row.SD == 0 && row.DF == 0:
			parts = append(parts, row.name+" not known")
		case row.DF == 0:
			parts = append(parts, row.name+" "+fixed(100*row.SD, 2)+" %")
		default:
			parts = append(parts, row.name+" "+row.words())
		}
	}
	words := "Scatter reckoned with: " + strings.Join(parts, ", ") + "; drift " + fixed(100*s.DriftPerHour, 2) + " % an hour."
	if len(s.Judged) > 0 {
		words += " By judgement, not measured: " + list(s.Judged) + "."
	}
	return words
}

// sourceLine says where the scatter comes from; empty where all is by judgement.
func (p *Plan) sourceLine() string {
	switch h, own := p.Scatter.History, p.Scatter.Own; {
	case h != nil:
		return h.line()
	case own != nil && own.Assumed:
		return "It is the campaign's own [history], which was assumed by judgement."
	case own != nil:
		return "It is the campaign's own [history]."
	}
	return ""
}

// rigLine says what time on the rig is reckoned with.
func (p *Plan) rigLine() string {
	r := p.Rig
	s := "Time reckoned with, in minutes: " + plain(r.PullMinutes) + " from pull to pull, " + plain(r.ChangeMinutes) + " for a change of parts, " +
		plain(r.StrapMinutes) + " to strap down, " + plain(r.WarmUpMinutes) + " to warm up"
	if r.SettlingPulls > 0 {
		s += "; " + plural(r.SettlingPulls, "settling pull") + " after a change"
	}
	return s + "."
}

// tyreLine says whether the plan keeps the tyre within its rating.
func (p *Plan) tyreLine(units quantity.System) string { return tyreWords(p.Tyre, units) }

func tyreWords(t PlanTyre, units quantity.System) string {
	speed := units.Unit(quantity.Speed)
	if t.Unchecked != "" {
		s := "The speed of the tyre was not checked: " + cleanTo(t.Unchecked, 200) + "."
		if !math.IsNaN(t.Limit) {
			s += " The tyre may run " + fixed(speed.From(t.Limit), 0) + " " + speed.Name + " (speed symbol " + clean(t.Symbol) + ")."
		}
		return s
	}
	return "At " + plain(t.TopRPM) + " rpm the drum surface runs " + fixed(speed.From(t.Speed), 0) + " " + speed.Name + "; the tyre may run " +
		fixed(speed.From(t.Limit), 0) + " " + speed.Name + " (speed symbol " + clean(t.Symbol) + "), which is " + fixed(math.Floor(t.MostRPM), 0) + " rpm."
}

// minutesWords is a time on the rig: "2 h 35".
func minutesWords(minutes float64) string {
	whole := int(math.Round(minutes))
	if whole < 60 {
		return strconv.Itoa(whole) + "\u00a0min"
	}
	return strconv.Itoa(whole/60) + "\u00a0h\u00a0" + twoDigits(whole%60)
}

func twoDigits(n int) string {
	if n < 10 {
		return "0" + strconv.Itoa(n)
	}
	return strconv.Itoa(n)
}

// chanceWords is a chance in whole per cent, rounded down: a plan promises no more
// than it keeps.
func chanceWords(chance float64) string {
	if math.IsNaN(chance) {
		return "–"
	}
	return fixed(math.Floor(100*chance), 0) + " %"
}

// gainWanted is a gain in per cent, rounded up to a tenth.
func gainWanted(gain float64) string {
	if math.IsNaN(gain) {
		return "–"
	}
	return fixed(math.Ceil(1000*gain-1e-9)/10, 1) + " %"
}

func setupsWords(d *compare.PlannedDesign) string {
	if d.OneSetup {
		return "one"
	}
	return "anew"
}

func designPulls(d *compare.PlannedDesign) int {
	n := 0
	for _, b := range d.Plan.Blocks {
		n += b.Pulls
	}
	return n
}

// hardest returns the expectation whose standard error is largest: that of the
// candidate that is hardest to show.
func hardest(d *compare.PlannedDesign) *compare.Expectation {
	worst := &d.Expected[0]
	for i := range d.Expected {
		if d.Expected[i].SE > worst.SE {
			worst = &d.Expected[i]
		}
	}
	return worst
}

// withheldWords says why a design could carry no verdict; empty where it could.
func withheldWords(d *compare.PlannedDesign) string {
	for i := range d.Expected {
		if reasons := d.Expected[i].Withheld; len(reasons) > 0 {
			names := make([]string, len(reasons))
			for j, r := range reasons {
				names[j] = string(r)
			}
			return strings.Join(names, ", ")
		}
	}
	return ""
}

// designName is a design in words: "A-B-A, 3 pulls a block, strapped down anew for
// every block".
func designName(d *compare.PlannedDesign) string {
	s := d.Order + ", " + plural(d.Pulls, "pull") + " a block, "
	if d.OneSetup {
		return s + "all in one setup"
	}
	return s + "strapped down anew for every block"
}

// adviceLine says which design is recommended, or why none is.
func (p *Plan) adviceLine() string {
	gain := plain(100*p.Campaign.Objective.SmallestGain) + " %"
	if p.Recommended < 0 || p.Recommended >= len(p.Designs) {
		return "None of these designs shows a gain of " + gain + " with a chance of " + chanceWords(p.Wanted) +
			" and brackets the candidate. Take more blocks (--design A-B-A-B-A-B-A-B), or a question that is easier to answer; more pulls a block hardly help where setups scatter."
	}
	d := &p.Designs[p.Recommended]
	return "Recommended, the least time that shows a gain of " + gain + " with a chance of " + chanceWords(p.Wanted) + " or more: number " +
		strconv.Itoa(p.Recommended+1) + ", " + designName(d) + "; " + minutesWords(d.Minutes) + " on the rig."
}

// promiseLine says what a design promises.
func (p *Plan) promiseLine(d *compare.PlannedDesign) string {
	if why := withheldWords(d); why != "" {
		return "It could carry no verdict: " + why + "."
	}
	gain := p.Campaign.Objective.SmallestGain
	return "It shows a gain of " + plain(100*gain) + " % with a chance of " + chanceWords(d.Chance(gain)) + ", a gain of " + gainWanted(d.Detectable(p.Wanted)) +
		" with a chance of " + chanceWords(p.Wanted) + "; the " + confidence(p.Campaign.Objective.Confidence) + " interval will reach about " +
		fixed(percent(hardest(d).HalfWidth), 1) + " % either way. Chances come out up to four points high where degrees of freedom are few."
}
