package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
)

// documentOptions are what a person chose for a document.
type documentOptions struct {
	units quantity.System
}

// gainCaption says what the gain chart shows and what may be read off it.
func (g *Gain) gainCaption(c *compare.Comparison) string {
	s := "Gain of " + g.side(c.Candidate) + " over " + g.side(c.Baseline) + " at each engine speed. "
	switch {
	case len(c.Reasons) > 0:
		s += "No claim may be read off, because the verdict is withheld: " + reasonNames(c) + "."
	case g.coastSentence(c) != "":
		s += "No claim may be read off for the engine alone: a part of it is the rig's, as the sentence says."
	default:
		s += "Where the ribbon lies wholly above the line of no change, a gain may be read off at any speed, however it was picked."
	}
	return s + " Numbers stand in the tables at the end."
}

// flagsTouching returns the checks of c that did not pass and touch one of the
// figures; each once.
func (g *Gain) flagsTouching(c *compare.Comparison, figures ...string) []block {
	var out []block
	for _, k := range notPassed(g.checksFor(c.Candidate)) {
		if slices.ContainsFunc(figures, func(f string) bool { return slices.Contains(k.Touches, f) }) {
			out = append(out, flagOf(k))
		}
	}
	return atMost(out, maxFlags)
}

// maxFlags bounds how many checks stand beside one figure; the table of checks
// has them all.
const maxFlags = 5

// atMost keeps the first n blocks and says how many there are more.
func atMost(flags []block, n int) []block {
	if len(flags) <= n {
		return flags
	}
	more := plural(len(flags)-n, "check") + " more did not pass: see the table of checks."
	return append(flags[:n:n], paragraph{Words: more, Small: true})
}

// flagNames lists the checks of c that did not pass and touch figure, for the
// figure's own row: "! setups"; empty without any.
func (g *Gain) flagNames(c *compare.Comparison, figure string) string {
	var names []string
	for _, k := range notPassed(g.checksFor(c.Candidate)) {
		if slices.Contains(k.Touches, figure) {
			names = append(names, statusMark(k.Status)+" "+clean(k.ID))
		}
	}
	return strings.Join(few(names), ", ")
}

// few keeps the first names and says how many there are more.
func few(names []string) []string {
	if len(names) <= maxFlags {
		return names
	}
	return append(names[:maxFlags:maxFlags], strconv.Itoa(len(names)-maxFlags)+" more")
}

// metricRow is one of the three figures in its table.
type metricRow struct {
	metric    compare.Metric
	name, key string
	dimension quantity.Dimension
}

var metricRows = []metricRow{
	{compare.Band, "torque over the riding band", "band", quantity.Torque},
	{compare.PeakTorque, "peak torque", "peak_torque", quantity.Torque},
	{compare.PeakPower, "peak power", "peak_power", quantity.Power},
}

// figuresTable has the three figures with their levels, gains and intervals.
func (g *Gain) figuresTable(c *compare.Comparison, units quantity.System) table {
	t := table{
		Caption: "The verdict stands on the primary figure; the others are secondary. Levels are " + g.figureKind() + ", ± half of their interval.",
		Heads:   []string{"Figure", g.shortSide(c.Baseline), g.shortSide(c.Candidate), "Gain", confidence(c.Confidence) + " interval", "At least"},
		Numeric: []bool{false, true, true, true, true, true},
	}
	flagged := false
	for _, row := range metricRows {
		f := c.Figure(row.metric)
		cells := g.figureCells(c, row, f, units)
		if names := g.flagNames(c, row.key); names != "" {
			flagged = true
			cells[0] += " (" + names + ")"
		}
		t.Rows = append(t.Rows, cells)
		t.Marks = append(t.Marks, map[bool]string{true: "primary"}[row.metric == c.Primary])
	}
	if flagged {
		t.Caption += " A check named in a row did not pass and touches that figure; its message stands below."
	}
	return t
}

// figureCells words one figure. At least is one-sided, rounded down to 0.1 %; it
// is a claim, and so not there while the verdict is withheld.
func (g *Gain) figureCells(c *compare.Comparison, row metricRow, f *compare.Figure, units quantity.System) []string {
	name := row.name
	if row.metric == compare.Band {
		if _, stated := g.ridingBand(c); !stated {
			name = "torque over the shared range"
		}
		name += ", " + span(c.BandRPM)
	}
	if row.metric == c.Primary {
		name += " – primary"
	}
	cells := []string{capitalised(name), "–", "–", "none", "–", "–"}
	if f.BaselineLevel > 0 {
		cells[1] = g.levelCell(c, row, f.BaselineLevel, f.BaselineRPM, campaign.Baseline, units)
		cells[2] = g.levelCell(c, row, f.CandidateLevel, f.CandidateRPM, campaign.Candidate, units)
	}
	if f.Missing != "" {
		cells[4] = because(f.Missing)
		return cells
	}
	text := gainTextOf(f)
	cells[3], cells[4] = text.Value+" %", strings.ReplaceAll(text.Interval, " ", "\u00a0")
	if text.AtLeast != "" && len(c.Reasons) == 0 {
		cells[5] = text.AtLeast + " %"
	}
	return cells
}

func (g *Gain) levelCell(c *compare.Comparison, row metricRow, value, rpm float64, side campaign.Role, units quantity.System) string {
	if !(value > 0) {
		return "–"
	}
	s := level(value, value*halfOfLevel(c, row.metric, side), row.dimension, units)
	if row.metric != compare.Band {
		s += " at\u00a0" + plain(rpm) + "\u00a0rpm"
	}
	return s
}

// capitalised returns a text with its first letter as a capital one.
func capitalised(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	if size == 0 {
		return s
	}
	return string(unicode.ToUpper(first)) + s[size:]
}

// everywhereSentence says what holds at every engine speed of the riding band;
// empty while the verdict is withheld, and where a part of the gain is the rig's.
func (g *Gain) everywhereSentence(c *compare.Comparison) string {
	if len(c.Reasons) > 0 || g.coastSentence(c) != "" || math.IsNaN(c.AtLeastEverywhere) || len(c.Curve) == 0 || c.Band.Missing != "" || !c.Band.Interval {
		return ""
	}
	return "At every engine speed from " + span(c.BandRPM) + " the gain is at least " + roundedDown(percent(c.AtLeastEverywhere)) +
		" % (" + confidence(c.Confidence) + " one-sided confidence; one bound that holds at all of them, where the ribbon lets any one be picked)."
}

// withAllSentence gives the primary figure with the excluded pulls put back.
func (g *Gain) withAllSentence(i int) string {
	if i >= len(g.WithAll) || g.WithAll[i].Candidate != g.Comparisons[i].Candidate {
		return ""
	}
	c, all := &g.Comparisons[i], &g.WithAll[i]
	s := "With every excluded pull put back (" + plural(pullCount(all), "pull") + " instead of " + strconv.Itoa(pullCount(c)) + "), the gain in " +
		g.quantityName(c.Primary) + " would be "
	f := all.Figure(c.Primary)
	if f.Missing != "" {
		return s + "missing: " + because(f.Missing) + "."
	}
	t := gainTextOf(f)
	return s + t.Value + " % " + withInterval(all, t) + "."
}

func pullCount(c *compare.Comparison) int {
	n := 0
	for _, b := range c.Blocks {
		n += len(b.Pulls)
	}
	return n
}

// outOfReach says why a loss-compensated figure is missing.
const outOfReach = " Where it is missing, the coast-downs do not reach the drum speed of peak power."

// compensatedTable has peak power at the wheel, as the comparison gives it, beside
// that with the loss added at the same engine speed.
func (g *Gain) compensatedTable(c *compare.Comparison, units quantity.System) (table, bool) {
	unit := units.Unit(quantity.Power)
	t := table{
		Caption: "Peak power with the tyre and driveline loss that the coast-downs found added to the wheel figure. The ± at the wheel is that of the figures above; the ± of the loss-compensated figure adds the scatter of the losses to it. Gains are stated on wheel figures.",
		Heads:   []string{"Side", "At the wheel, " + unit.Name, "Loss-compensated, " + unit.Name, "At"}, Numeric: []bool{false, true, true, true},
	}
	for _, id := range []string{c.Baseline, c.Candidate} {
		row, ok := g.compensated(c.Candidate, id)
		if !ok {
			continue
		}
		if !(row.CompensatedW > 0) {
			t.Caption = strings.TrimSuffix(t.Caption, outOfReach) + outOfReach
		}
		t.Rows = append(t.Rows, []string{g.shortSide(id), bareLevel(row.WheelW, row.WheelHalfW, units),
			bareLevel(row.CompensatedW, row.HalfWidthW, units), plain(row.AtRPM) + " rpm"})
	}
	return t, len(t.Rows) > 0
}

// compensated returns the loss-compensated figure of a configuration in the
// comparison of candidate: its own, else one that holds for all comparisons.
func (g *Gain) compensated(candidate, configuration string) (Compensated, bool) {
	for _, of := range []string{candidate, ""} {
		for _, row := range g.Compensated {
			if row.Candidate == of && row.Configuration == configuration && row.WheelW > 0 {
				return row, true
			}
		}
	}
	return Compensated{}, false
}

// bareLevel returns a power with its half-width where that is known, without its
// unit.
func bareLevel(watts, half float64, units quantity.System) string {
	number, doubt := levelNumbers(watts, half, quantity.Power, units)
	if doubt == "" || !(watts > 0) {
		return number
	}
	return number + " ± " + doubt
}

// sourceWords says where the setup scatter came from.
var sourceWords = map[compare.Source]string{
	compare.FromCampaign: "from this campaign",
	compare.FromHistory:  "from the lab's earlier work",
	compare.FromBoth:     "from this campaign and the lab's earlier work",
	compare.Cancelled:    "not needed: all blocks share one setup, whose offset drops out of the ratio",
	compare.FromNone:     "not known: the interval covers pull-to-pull scatter only",
}

// scatterTable says what noise the interval covers.
func (g *Gain) scatterTable(c *compare.Comparison) table {
	s := &c.Scatter
	assumed := ""
	if h := g.Campaign.History; h != nil && h.Assumed {
		assumed = ", assumed by judgement, not measured"
	}
	t := table{Heads: []string{"Noise", "Standard deviation", "Degrees of freedom", "Where from"}, Numeric: []bool{false, true, true, false}}
	t.Caption = "Torque scatters by this much, in per cent of its level."
	add := func(name string, sd, df float64, from string) {
		cells := []string{name, "not known", "–", from}
		if !math.IsNaN(sd) && df > 0 {
			cells[1], cells[2] = fixed(100*sd, 2)+" %", degrees(df)
		}
		t.Rows = append(t.Rows, cells)
	}
	pullFrom := "pulls of this campaign"
	if h := g.Campaign.History; h != nil && h.PullDF > 0 || g.History.pullDF() > 0 {
		pullFrom += " and the lab's earlier work" + assumed
	}
	add("Pull to pull within a block", s.PullSD, s.PullDF, pullFrom)
	from := sourceWords[s.Source]
	if s.Source == compare.FromHistory || s.Source == compare.FromBoth {
		from += assumed
	}
	add("Setup to setup", s.SetupSD, s.SetupDF, from)
	if s.BlockDF > 0 {
		add("Change-over to change-over within a setup", s.BlockSD, s.BlockDF, "blocks that share a setup"+assumed)
	}
	t.Rows = append(t.Rows, g.driftRow(c), []string{"Share of the variance", partsText(c), "", "primary figure"})
	if !math.IsNaN(c.WholeBandFactor) && c.WholeBandFactor > 0 {
		t.Rows = append(t.Rows, []string{"Limits for the whole band", fixed(c.WholeBandFactor, 2) + " standard errors", degrees(c.WholeBandDF), "simulated with a seed taken from the data"})
	}
	return t
}

// degrees writes degrees of freedom: whole where they are, else to a tenth.
func degrees(df float64) string {
	if df == math.Trunc(df) {
		return fixed(df, 0)
	}
	return fixed(df, 1)
}

func (g *Gain) driftRow(c *compare.Comparison) []string {
	order := "candidate not between two baseline blocks"
	if c.Bracketed {
		order = "baseline measured before and after the candidate"
	}
	if g.Campaign.Objective.DriftLinear {
		order += "; declared linear beforehand"
	}
	d := &c.Drift
	if !d.Known {
		return []string{"Drift over the session", "not known", "–", order}
	}
	answer := string(d.Answer)
	if answer == "" {
		answer = map[bool]string{true: "drift shown", false: "no drift shown"}[d.Detected]
	}
	return []string{"Drift over the session (" + answer + ")", driftChange(c), "–", order}
}

// partsText lists where the variance of the primary figure comes from, largest
// first: "setup 72 %, pull 13 %".
func partsText(c *compare.Comparison) string {
	type part struct {
		name  string
		share float64
	}
	var parts []part
	total := 0.0
	for name, v := range c.Parts {
		if v > 0 && !math.IsInf(v, 0) {
			parts = append(parts, part{name, v})
			total += v
		}
	}
	if total == 0 {
		return "–"
	}
	slices.SortFunc(parts, func(a, b part) int {
		if a.share != b.share {
			return map[bool]int{true: -1, false: 1}[a.share > b.share]
		}
		return strings.Compare(a.name, b.name)
	})
	var words []string
	for _, p := range parts {
		share := 100 * p.share / total
		if share < 0.5 {
			continue
		}
		words = append(words, fmt.Sprintf("%s %.0f %%", p.name, share))
	}
	return strings.Join(words, ", ")
}

// blocksTable lists the blocks in the order in which they were measured.
func (g *Gain) blocksTable(c *compare.Comparison) table {
	t := table{
		Caption: "Blocks in the order in which they were measured. The gain is the weighted sum of their means, on the logarithmic scale.",
		Heads:   []string{"Block", "Configuration", "Setup", "Pulls", "Weight", "Scatter within"},
		Numeric: []bool{false, false, false, false, true, true},
	}
	for i, b := range c.Blocks {
		within := "one pull"
		if !math.IsNaN(b.PullSD) {
			within = fixed(100*b.PullSD, 2) + " %"
		}
		t.Rows = append(t.Rows, []string{strconv.Itoa(i + 1), g.shortSide(b.Configuration), clean(b.Setup), strings.TrimPrefix(pullNames(b.Pulls), "pulls "), signed(b.Weight, 2), within})
	}
	return t
}
