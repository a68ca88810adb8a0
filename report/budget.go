package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"

	"fairpull/compare"
	"fairpull/quantity"
)

// Budget is how uncertain the figures of a campaign are and of what: each level of
// either side, and each gain, to first order and by drawing.
type Budget struct {
	Gain    *Gain // the analysis
	Figures []BudgetFigure
	// NotStated names what has a part in the levels and of which nobody has stated
	// how uncertain it is: the levels are less certain than the budget says.
	NotStated []string
	Sources   []BudgetSource
	Draws     int
	Version   string
}

// BudgetSource says what was taken of a source, and from where.
type BudgetSource struct {
	What string `json:"what"`
	Is   string `json:"is"`
	From string `json:"from"`
}

// BudgetFigure is one figure of one comparison. Missing says why there is none, or
// no gain; empty: there is.
type BudgetFigure struct {
	Comparison *compare.Comparison
	Metric     compare.Metric
	Missing    string
	Rows       []BudgetRow
	Baseline   BudgetResult // level, N·m or W
	Candidate  BudgetResult
	Gain       BudgetResult // ln(candidate/baseline)
}

// BudgetRow is one source: standard uncertainties as fractions of the level of
// either side, and of the gain.
type BudgetRow struct {
	Key   string  `json:"source"`
	Name  string  `json:"name"`
	How   string  `json:"how"`
	Shape string  `json:"distribution"`
	DF    float64 `json:"-"`
	// PartOf is the key of the row that this one is a part of; empty: it counts by
	// itself.
	PartOf    string  `json:"part_of,omitempty"`
	Baseline  float64 `json:"baseline"`
	Candidate float64 `json:"candidate"`
	Gain      float64 `json:"gain"`
	// GainShare is the part of the gain's variance.
	GainShare float64 `json:"gain_share"`
	// OnlyGain: it is a matter of the two sides against one another.
	OnlyGain bool `json:"only_gain,omitempty"`
}

// Drops is the part of both sides' variance that the gain does not have; NaN where
// the levels have none.
func (r *BudgetRow) Drops() float64 {
	both := r.Baseline*r.Baseline + r.Candidate*r.Candidate
	if !(both > 0) || r.OnlyGain {
		return math.NaN()
	}
	return 1 - r.Gain*r.Gain/both
}

// BudgetResult is a figure to first order and drawn, side by side. Known is false
// where its scatter is not.
type BudgetResult struct {
	Known  bool
	Value  float64
	U, DF  float64
	Factor float64 // coverage factor
	Lo, Hi float64

	Drawn                  float64 // mean of the draws
	DrawnU                 float64 // NaN: the distribution has none
	DrawnTo                float64 // how well the draws fix these figures: twice their standard error
	DrawnLo, DrawnHi       float64 // with equal chances outside
	ShortestLo, ShortestHi float64

	// LowOff and HighOff are how far the ends are apart, Tolerance how far they may
	// be for first order to stand to two significant digits of U (JCGM 101, clause
	// 8); Digits is to how many it does stand: 2, 1 or 0.
	LowOff, HighOff, Tolerance float64
	Digits                     int
}

// budgetParts name the parts of the variance of a gain by origin: one list for the
// verb budget and for the test report.
var budgetParts = []struct{ part, name, how string }{
	{compare.PartSetup, "setup to setup", "scatter of strapping-down, type A"},
	{compare.PartBlock, "change-over within a setup", "scatter of blocks, type A"},
	{compare.PartPull, "pull to pull", "scatter within blocks, type A"},
	{compare.PartDrift, "drift of the rig", "allowance for a drift that is not straight, or its rate from earlier work"},
	{compare.PartWeather, "correction for the air", "doubt of the correction's exponent over the weather between the sides, type B"},
	{compare.PartLoss, "where the correction is applied", "wheel alone or wheel plus loss, rectangular, type B"},
}

// BudgetPart returns how a part of a gain's variance is called and how it is found;
// empty for none of the Part constants.
func BudgetPart(part string) (name, how string) {
	for _, p := range budgetParts {
		if p.part == part {
			return p.name, p.how
		}
	}
	return "", ""
}

func (b *Budget) title() string { return "Uncertainty: " + b.Gain.title() }

func (b *Budget) subtitle() string {
	return "What every level and every gain is uncertain of: to first order (JCGM 100) and by drawing the distributions (JCGM 101), " + fmt.Sprintf("%d draws.", b.Draws)
}

func (b *Budget) foot() string {
	return joined(" · ", "Made by Fairpull"+labelled(" ", clean(b.Version)), "campaign "+clean(b.Gain.Campaign.ID))
}

// name words which figure a budget is of.
func (f *BudgetFigure) name(g *Gain) string {
	return capitalised(metricRows[f.Metric].name) + ", " + g.side(f.Comparison.Candidate) + " against " + g.side(f.Comparison.Baseline)
}

// uncertaintyPercent writes a standard uncertainty in per cent.
func uncertaintyPercent(fraction float64) string {
	if fraction == 0 {
		return "0"
	}
	if 100*fraction < 0.0005 {
		return "< 0.001"
	}
	return fixed(100*fraction, 3)
}

// dropsWords says what of a row is left in the gain.
func (r *BudgetRow) dropsWords() string {
	d := r.Drops()
	switch {
	case r.PartOf != "" || math.IsNaN(d):
		return "–"
	case d > 0.9995:
		return "drops out"
	case d < 0.0005:
		return "stays"
	}
	return fixed(100*d, 1) + " % drops out"
}

// cells are a row of the table.
func (r *BudgetRow) cells() []string {
	name := r.Name
	if r.PartOf != "" {
		name = "of which " + name
	}
	level := func(v float64) string {
		if r.OnlyGain {
			return "–"
		}
		return uncertaintyPercent(v)
	}
	df := degrees(math.Round(10*r.DF) / 10)
	if math.IsInf(r.DF, 1) {
		df = "∞"
	}
	share := "–"
	if r.PartOf == "" {
		share = fixed(100*r.GainShare, 1)
	}
	return []string{name, r.How, r.Shape, df, level(r.Baseline), level(r.Candidate), uncertaintyPercent(r.Gain), r.dropsWords(), share}
}

// budgetHeads are the heads of that table.
var budgetHeads = []string{"Source", "How it was found", "Distribution", "Degrees of freedom", "Baseline, %", "Candidate, %", "Gain, %", "In the gain", "Share of its variance, %"}

// combined is the last row: the sums.
func (f *BudgetFigure) combined() []string {
	u := func(r *BudgetResult, by float64) string {
		if !r.Known {
			return "–"
		}
		return uncertaintyPercent(r.U / by)
	}
	df := "–"
	if f.Gain.Known {
		df = degrees(math.Round(10*f.Gain.DF) / 10)
	}
	return []string{"combined", "root of the sum of squares", "", df, u(&f.Baseline, f.Baseline.Value), u(&f.Candidate, f.Candidate.Value), u(&f.Gain, 1), "", "100"}
}

// resultWords are the lines of a result: name, first order, drawn, verdict.
type resultWords struct{ name, linear, drawn, agrees string }

// results words the two levels and the gain.
func (b *Budget) results(f *BudgetFigure, units quantity.System) []resultWords {
	row, g, c := metricRows[f.Metric], b.Gain, f.Comparison
	level := func(name string, r *BudgetResult) resultWords {
		if !r.Known {
			return resultWords{name, "its scatter is not known, so there is no interval", "–", "–"}
		}
		unit := units.Unit(row.dimension)
		half := (r.Hi - r.Lo) / 2
		value, doubt := levelNumbers(r.Value, half, row.dimension, units)
		digits := places(unit.From(half), 3)
		say := func(v float64) string { return fixed(unit.From(v), digits) }
		return resultWords{
			name, value + " ± " + doubt + " " + unit.Name + b.factorWords(r, c),
			say(r.DrawnLo) + " to " + say(r.DrawnHi) + " " + unit.Name + drawnWords(r, say(r.ShortestLo)+" to "+say(r.ShortestHi)),
			agreement(r, func(v float64) string { return twoFigures(unit.FromDifference(v)) + " " + unit.Name }),
		}
	}
	out := []resultWords{level(g.side(c.Baseline), &f.Baseline), level(g.side(c.Candidate), &f.Candidate)}
	r := &f.Gain
	if !r.Known {
		return append(out, resultWords{"Gain", "no interval: the scatter is not known", "–", "–"})
	}
	pct := func(v float64) float64 { return 100 * math.Expm1(v) }
	n := places((pct(r.Hi)-pct(r.Lo))/2, 3)
	say := func(v float64) string { return signed(pct(v), n) }
	return append(out, resultWords{
		"Gain", say(r.Value) + " % (" + say(r.Lo) + " to " + say(r.Hi) + " %)" + b.factorWords(r, c),
		say(r.DrawnLo) + " to " + say(r.DrawnHi) + " %" + drawnWords(r, say(r.ShortestLo)+" to "+say(r.ShortestHi)),
		agreement(r, func(v float64) string { return twoFigures(100*v) + " %" }),
	})
}

// factorWords says with which factor an interval was made.
func (b *Budget) factorWords(r *BudgetResult, c *compare.Comparison) string {
	df := degrees(math.Round(10*r.DF) / 10)
	if r.DF > 1000 {
		df = "many"
	}
	return ", factor " + fixed(r.Factor, 2) + " (" + confidence(c.Confidence) + ", " + df + " degrees of freedom)"
}

// drawnWords adds the shortest interval where it is another one.
func drawnWords(r *BudgetResult, shortest string) string {
	off := math.Max(math.Abs(r.DrawnLo-r.ShortestLo), math.Abs(r.DrawnHi-r.ShortestHi))
	if off <= r.Tolerance {
		return ""
	}
	return "; the shortest " + shortest
}

// twoFigures writes a number with two significant digits.
func twoFigures(v float64) string {
	if v == 0 {
		return "0"
	}
	return fixed(v, max(0, 1-int(math.Floor(math.Log10(math.Abs(v))))))
}

// agreement says whether first order can stand.
func agreement(r *BudgetResult, write func(float64) string) string {
	s := "ends differ by " + write(r.LowOff) + " and " + write(r.HighOff) + " (drawn to within " + write(r.DrawnTo) + ")"
	switch r.Digits {
	case 2:
		return "first order holds to two digits of the uncertainty: " + s + ", " + write(r.Tolerance) + " are allowed"
	case 1:
		return "first order holds to one digit of the uncertainty: " + s + "; two would allow " + write(r.Tolerance)
	}
	return "first order does not hold, the drawn interval counts: " + s
}

// notes say how to read a budget.
func (b *Budget) notes() []string {
	out := []string{
		"Standard uncertainties, in per cent of the level or of the gain. What bears alike on both sides drops out of their ratio: a drum whose inertia is stated 1 % too high gives levels 1 % too high and the same gain.",
		"The columns of the two sides are absolute: what another rig would have to be compared with.",
		"Differences from one specimen of a part, or one vehicle, to the next are in no column.",
	}
	if len(b.NotStated) > 0 {
		out = append(out, "Of these nobody has stated how uncertain they are, and they are not in it: "+strings.Join(cleanAll(b.NotStated), "; ")+". The levels are less certain than the table says. To state one: fairpull budget --known FILE (docs/budget.md), or a calibration of the rig.")
	}
	return out
}

// Text writes the budget for a terminal.
func (b *Budget) Text(w io.Writer, o TextOptions) error {
	out := bufio.NewWriter(w)
	para := func(indent int, text string) { writeWrapped(out, text, indent, o.Width) }
	para(0, b.title())
	para(0, b.subtitle())
	for i := range b.Figures {
		f := &b.Figures[i]
		out.WriteString("\n")
		para(0, f.name(b.Gain))
		if f.Missing != "" {
			para(2, capitalised(f.Missing)+".")
			continue
		}
		fmt.Fprintf(out, "  %-34s %10s %10s %8s  %s\n", "standard uncertainty, %", "baseline", "candidate", "gain", "in the gain")
		for j := range f.Rows {
			cells := f.Rows[j].cells()
			fmt.Fprintf(out, "  %-34s %10s %10s %8s  %s\n", cells[0], cells[4], cells[5], cells[6], cells[7])
		}
		cells := f.combined()
		fmt.Fprintf(out, "  %-34s %10s %10s %8s\n", cells[0], cells[4], cells[5], cells[6])
		for _, r := range b.results(f, o.Units) {
			para(2, r.name+": "+r.linear+".")
			if r.drawn != "–" {
				para(4, "drawn: "+r.drawn+"; "+r.agrees+".")
			}
		}
	}
	out.WriteString("\n")
	for _, s := range b.Sources {
		para(2, "- "+clean(s.What)+": "+cleanTo(s.Is, 300)+"; "+cleanTo(s.From, 300))
	}
	for _, n := range b.notes() {
		para(0, n)
	}
	return out.Flush()
}
