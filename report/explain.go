package report

import (
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"

	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/report/draw"
)

// ErrNoFigure says that there is no figure of that name to explain.
var ErrNoFigure = errors.New("there is no such figure to explain")

// Question names a figure of a campaign.
type Question struct {
	Figure     string  // one of Figures
	Comparison int     // place among the comparisons, from 0
	RPM        float64 // of a curve; 0: a speed in the middle
	Pull       string  // of a figure of one pull; empty: the first that is used
}

// The figures that can be explained: of a comparison, and of one pull.
const (
	ExplainBand       = "band"
	ExplainPeakTorque = "peak-torque"
	ExplainPeakPower  = "peak-power"
	ExplainCurve      = "curve"
	ExplainDrift      = "drift"
	ExplainScatter    = "scatter"
	ExplainCoast      = "coast-down"
	ExplainBoth       = "torque-and-power"
	ExplainPull       = "pull"
	ExplainCorrection = "correction"
)

// Figures are the figures that can be explained, with their names, in the order in
// which a person asks.
var Figures = []struct {
	Key, Name string
	OfPull    bool
}{
	{ExplainBand, "Gain over the riding band", false}, {ExplainPeakTorque, "Gain in peak torque", false}, {ExplainPeakPower, "Gain in peak power", false},
	{ExplainCurve, "Gain at one engine speed", false}, {ExplainScatter, "Scatter", false}, {ExplainDrift, "Drift", false},
	{ExplainCoast, "Coast-down share", false}, {ExplainBoth, "Torque and power", false},
	{ExplainPull, "Torque and power of a pull", true}, {ExplainCorrection, "Correction factor of a pull", true},
}

// Explanation is how a figure came about, as a page shows it.
type Explanation struct {
	Title  string
	RPM    float64 // of a curve: the node that is explained; else 0
	blocks []block
	charts Charts // what is said of its charts
}

// Parts returns the explanation as HTML for a page that has [Style].
func (e *Explanation) Parts(at ChartsAt) (Lead, []Section, error) {
	return parts(e.Title, at.link(e.blocks))
}

func (e *Explanation) add(blocks ...block) { e.blocks = append(e.blocks, blocks...) }

func (e *Explanation) section(id, words string, blocks ...block) {
	e.add(heading{Level: 2, Words: words, ID: id})
	e.add(blocks...)
}

func (e *Explanation) source(lines ...string) {
	e.section("source", "Where it comes from", bullets{Items: lines})
}

// Explain says how a figure of the campaign came about: formula, inputs,
// uncertainty by origin, source. A figure of one pull takes the pull's page too. A
// figure that is not there is [ErrNoFigure].
func (g *Gain) Explain(q Question, units quantity.System) (*Explanation, error) {
	if q.Comparison < 0 || q.Comparison >= len(g.Comparisons) {
		return nil, ErrNoFigure
	}
	c := &g.Comparisons[q.Comparison]
	e := &Explanation{charts: Charts{About: g.against(c), Exploratory: g.ExploratorySentence(), From: labelled("campaign ", clean(g.Campaign.ID)), Version: g.Version}}
	switch q.Figure {
	case ExplainBand:
		g.explainScalar(e, c, compare.Band, units)
	case ExplainPeakTorque:
		g.explainScalar(e, c, compare.PeakTorque, units)
	case ExplainPeakPower:
		g.explainScalar(e, c, compare.PeakPower, units)
	case ExplainCurve:
		if !g.explainNode(e, c, q.RPM, units) {
			return nil, ErrNoFigure
		}
	case ExplainDrift:
		g.explainDrift(e, c)
	case ExplainScatter:
		g.explainScatter(e, c)
	case ExplainCoast:
		g.explainCoast(e, c, units)
	case ExplainBoth:
		g.explainBoth(e, c)
	case ExplainCorrection:
		if !g.explainCorrection(e, q.Pull, units) {
			return nil, ErrNoFigure
		}
	default:
		return nil, ErrNoFigure
	}
	return e, nil
}

// Against names each comparison of the campaign.
func (g *Gain) Against() []string {
	var names []string
	for i := range g.Comparisons {
		names = append(names, g.against(&g.Comparisons[i]))
	}
	return names
}

// against names a comparison: "“cam” (B) against “stock” (A)".
func (g *Gain) against(c *compare.Comparison) string {
	return g.side(c.Candidate) + " against " + g.side(c.Baseline)
}

var figureNames = map[compare.Metric]string{compare.Band: "mean torque over the riding band", compare.PeakTorque: "peak torque", compare.PeakPower: "peak power"}

// explainScalar explains one of the three figures.
func (g *Gain) explainScalar(e *Explanation, c *compare.Comparison, m compare.Metric, units quantity.System) {
	f := c.Figure(m)
	e.Title = "How the gain in " + figureNames[m] + " came about"
	e.add(paragraph{Words: g.against(c) + "."})
	if f.Missing != "" {
		e.add(paragraph{Words: "There is no such gain: " + clean(f.Missing) + "."})
		e.source(methodScalars)
		return
	}
	t := gainTextOf(f)
	e.add(verdict{Name: t.Value + " %", Sentence: intervalSentence(c, t.Interval)})
	e.section("formula", "The formula", gainFormula(), paragraph{Words: whatIsCompared(c, m)})
	e.section("inputs", "What went in", g.weightsTable(c, m, f), g.levelsTable(c, m, f, units))
	e.section("uncertainty", "How sure it is", g.doubtBlocks(c, m, f)...)
	e.source(methodGain, methodVariance, methodScalars, sourceRounding)
}

// The sections of the method that explanations name.
const (
	methodGain     = "The gain as a contrast of block means: docs/method.md, section 2."
	methodVariance = "Variance and degrees of freedom: docs/method.md, section 3 (Satterthwaite 1946 for degrees of freedom of a sum)."
	methodScalars  = "Band mean and peaks: docs/method.md, section 5."
	methodCurve    = "Limits at each speed and for the whole band: docs/method.md, section 4."
	methodDrift    = "Drift, its allowance and its gate: docs/method.md, section 6."
	sourceRounding = "Digits: two of the uncertainty, the figure to match (JCGM 100:2008, 7.2.6)."
)

// gainFormula is the contrast, and its interval.
func gainFormula() formula {
	theta := symbol("θ")
	return mathOf("m is the mean of ln torque over the pulls of a block, w the block's weight: the weights follow from the order of the blocks alone, not from what was found. SE is the standard error of θ, ν its degrees of freedom, t Student's quantile.",
		theta, sign("="), sumOver("b", group(below(symbol("w"), symbol("b")), below(symbol("m"), symbol("b")))), sign(","), upright("  "),
		upright("gain"), sign("="), figureOf("100"), inBrackets(above(symbol("e"), theta), sign("−"), figureOf("1")), upright(" %,   interval "),
		theta, sign("±"), below(symbol("t"), symbol("ν")), sign("·"), symbol("SE"))
}

func whatIsCompared(c *compare.Comparison, m compare.Metric) string {
	switch m {
	case compare.PeakTorque, compare.PeakPower:
		return "Each side's peak is where its mean curve, smoothed, is highest. Every pull is read at that engine speed, so no pull can win by its own noise; the bias of choosing the speed from noisy curves is taken off."
	}
	return "Each pull gives one number: ln of its mean torque from " + span(c.BandRPM) + ", every engine speed of the grid counting alike."
}

// weightsTable lists the blocks with their weights and what each adds.
func (g *Gain) weightsTable(c *compare.Comparison, m compare.Metric, f *compare.Figure) table {
	t := table{Heads: []string{"Block", "Configuration", "Setup", "Pulls", "Weight w", "Mean m (ln)", "w · m"}, Numeric: []bool{true, false, false, true, true, true, true},
		Caption: "The blocks in the order in which they were measured. The weights of the baseline are negative."}
	sum := 0.0
	for i, b := range c.Blocks {
		mean, product := "–", "–"
		if m == compare.Band && !math.IsNaN(b.BandMean) {
			mean, product = fixed(b.BandMean, 5), signed(b.Weight*b.BandMean, 5)
			sum += b.Weight * b.BandMean
		}
		t.Rows = append(t.Rows, []string{strconv.Itoa(i + 1), g.shortSide(b.Configuration), clean(b.Setup), strconv.Itoa(len(b.Pulls)), signed(b.Weight, 4), mean, product})
	}
	if m == compare.Band {
		t.Rows = append(t.Rows, []string{"all", "together", "", "", "", "θ", signed(sum, 5)})
		t.Caption += " θ = " + signed(sum, 5) + " is a gain of " + signed(percent(sum), 3) + " %."
	} else {
		t.Caption += " θ = " + signed(f.Gain, 5) + " at the peaks."
	}
	return t
}

// levelsTable gives the level of either side.
func (g *Gain) levelsTable(c *compare.Comparison, m compare.Metric, f *compare.Figure, units quantity.System) table {
	d := quantity.Torque
	if m == compare.PeakPower {
		d = quantity.Power
	}
	t := table{Heads: []string{"Side", "Level", "At"}, Numeric: []bool{false, true, true}, Caption: "Level of either side with the interval of its own level, which is wider than that of the gain: what both sides share drops out of a ratio."}
	for _, side := range []struct {
		id         string
		value, rpm float64
		half       float64
	}{{c.Baseline, f.BaselineLevel, f.BaselineRPM, halfOfLevel(c, m, "baseline")}, {c.Candidate, f.CandidateLevel, f.CandidateRPM, halfOfLevel(c, m, "candidate")}} {
		at := span(c.BandRPM)
		if m != compare.Band {
			at = fixed(side.rpm, 0) + " rpm"
		}
		t.Rows = append(t.Rows, []string{g.side(side.id), level(side.value, side.value*side.half, d, units), at})
	}
	return t
}

// doubtBlocks say how the interval follows from the standard error, and where that
// comes from.
func (g *Gain) doubtBlocks(c *compare.Comparison, m compare.Metric, f *compare.Figure) []block {
	if !f.Interval {
		return []block{paragraph{Words: "There is no interval: no block repeats a pull, or nothing is known of the scatter. A figure without an interval claims nothing."}}
	}
	blocks := []block{intervalTable(c.Confidence, f.Gain, f.SE, f.DF, f.Lo, f.Hi, f.AtLeast)}
	if m != c.Primary {
		return append(blocks, paragraph{Words: "By origin the variance is told for the figure that the campaign declared beforehand, the gain in " + figureNames[c.Primary] + ". This one is secondary."})
	}
	return append(blocks, partsBlocks(c)...)
}

// intervalTable goes from the standard error to the interval, step by step.
func intervalTable(conf, gain, se, df, lo, hi, atLeast float64) table {
	factor := math.NaN()
	if se > 0 {
		factor = (hi - gain) / se
	}
	return table{Heads: []string{"Step", "Value", "In per cent"}, Numeric: []bool{false, true, true},
		Caption: "From the standard error to the interval, on the log scale and in per cent.",
		Rows: [][]string{
			{"Gain θ", signed(gain, 5), signed(percent(gain), 2)},
			{"Standard error SE", fixed(se, 5), fixed(100*se, 2)},
			{"Degrees of freedom ν", degrees(df), ""},
			{"Student's t at " + confidence(conf) + ", two-sided", fixed(factor, 3), ""},
			{"Lower end, θ − t·SE", signed(lo, 5), signed(percent(lo), 2)},
			{"Upper end, θ + t·SE", signed(hi, 5), signed(percent(hi), 2)},
			{"At least (one-sided)", signed(atLeast, 5), roundedDown(percent(atLeast))},
		}}
}

// originNames say what an origin of variance is.
var originNames = map[string]string{
	compare.PartSetup: "Setup to setup: strapping the vehicle down anew", compare.PartBlock: "Change-over within a setup",
	compare.PartPull: "Pull to pull within a block", compare.PartDrift: "Allowance for a drift that is not a straight line",
	compare.PartWeather: "What the correction leaves of the weather", compare.PartLoss: "Where the correction is applied: wheel, or wheel plus loss",
}

// bar is one origin of an uncertainty.
type bar struct {
	name     string
	u        float64 // standard uncertainty, as shown
	variance float64
}

// partsBlocks show where the variance of the primary figure comes from.
func partsBlocks(c *compare.Comparison) []block {
	var bars []bar
	for key, v := range c.Parts {
		if v > 0 && !math.IsInf(v, 0) {
			name := originNames[key]
			if name == "" {
				name = capitalised(clean(key))
			}
			bars = append(bars, bar{name, 100 * math.Sqrt(v), v})
		}
	}
	return budgetBlocks(bars, "parts", "%", "What the interval of the gain comes from", "The standard error is the root of the sum of squares of these.")
}

// budgetBlocks are a table and a bar chart of the origins of an uncertainty, the
// largest first.
func budgetBlocks(bars []bar, id, unit, title, caption string) []block {
	total := 0.0
	for _, b := range bars {
		total += b.variance
	}
	if total == 0 {
		return nil
	}
	slices.SortFunc(bars, func(a, b bar) int {
		switch {
		case a.variance > b.variance:
			return -1
		case a.variance < b.variance:
			return 1
		}
		return strings.Compare(a.name, b.name)
	})
	t := table{Heads: []string{"Origin", "Standard uncertainty, " + unit, "Share of the variance"}, Numeric: []bool{false, true, true}, Caption: caption}
	sum := 0.0
	for _, b := range bars {
		sum += b.u * b.u
		t.Rows = append(t.Rows, []string{b.name, significant(b.u), fixed(100*b.variance/total, 1) + " %"})
	}
	t.Rows = append(t.Rows, []string{"Together", significant(math.Sqrt(sum)), "100 %"})
	return []block{figure{Picture: barChart(onScreen, bars, total, id, title), Caption: "Share of the variance by origin, in per cent.", Numbers: barNumbers(bars, total, unit), Beside: true}, t}
}

// barNumbers are the bars in numbers.
func barNumbers(bars []bar, total float64, unit string) numbers {
	origin, u, share := numberColumn{Name: "origin", Head: "Origin"}, numberColumn{Name: "standard_uncertainty", Unit: unit}, numberColumn{Name: "share_of_variance", Unit: "%"}
	for _, b := range bars {
		origin.Words = append(origin.Words, b.name)
		u.Values, share.Values = append(u.Values, b.u), append(share.Values, 100*b.variance/total)
	}
	return numbers{origin, u, share}
}

// significant writes an uncertainty with two significant digits.
func significant(u float64) string {
	n, ok := quantity.Places(u)
	if !ok {
		return fixed(u, 2)
	}
	return fixed(u, max(n, 0))
}

// barChart draws the share of each origin as a bar, with its name above it.
func barChart(l look, bars []bar, total float64, id, title string) draw.Picture {
	em := l.size
	p := draw.Picture{Width: l.width, ID: id, Title: title, Description: "One bar for each origin of the uncertainty, as long as its share of the variance. The numbers stand in the table below."}
	y, most := 0.4*em, l.width-6*em
	for _, b := range bars {
		share := b.variance / total
		p.Add(
			draw.Text{At: draw.Point{Y: y + em}, Words: draw.Fit(b.name, em, draw.Regular, l.width), Size: em, Paint: paintInk},
			draw.Area{Points: draw.Box(0, y+1.45*em, math.Max(share*most, 1), 1.1*em), Paint: paintBaseline},
			draw.Text{At: draw.Point{X: share*most + 0.5*em, Y: y + 2.4*em}, Words: fixed(100*share, 1) + " %", Size: em, Paint: paintInk},
		)
		y += 3.6 * em
	}
	p.Height = y
	return p
}
