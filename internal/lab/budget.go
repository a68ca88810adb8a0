package lab

import (
	"context"
	"fmt"
	"math"

	"fairpull/budget"
	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/report"
)

// BudgetQuery asks how uncertain the figures of a campaign are, and of what.
type BudgetQuery struct {
	What      string        // the id of a campaign of the workspace, or the path of a folder
	Candidate string        // empty: every one
	Known     []KnownSource // stated beside what campaign and calibrations say
	Draws     int           // 0: a million
	Units     quantity.System
	Version   string // of the program, for documents
}

// MostBudgetDraws is how many draws a figure may get at most.
const MostBudgetDraws = budget.MostDraws

// budgetDraws is how many draws a figure gets.
const budgetDraws = 1_000_000

// budgetSeed is the seed of all draws: the same campaign gives the same bytes.
const budgetSeed = 101

// Budget returns the uncertainty budget of every level and every gain of a campaign:
// to first order and by drawing, side by side. w may be nil where What is a folder.
func Budget(ctx context.Context, w *Workspace, q BudgetQuery) (*report.Budget, error) {
	a, err := analyseNamed(ctx, w, q.What)
	if err != nil {
		return nil, err
	}
	if q.Candidate != "" {
		if _, err := a.chosen(q.Candidate); err != nil {
			return nil, err
		}
	}
	return a.Budget(ctx, q)
}

// Budget is [Budget] of an analysis that is at hand.
func (a *Analysis) Budget(ctx context.Context, q BudgetQuery) (*report.Budget, error) {
	if q.Draws == 0 {
		q.Draws = budgetDraws
	}
	if q.Draws < 10_000 || q.Draws > budget.MostDraws {
		return nil, fmt.Errorf("%d draws: from 10000 to %d can be made", q.Draws, budget.MostDraws)
	}
	out := &report.Budget{Gain: a.View(q.Version, q.Units), Draws: q.Draws, Version: q.Version}
	b := budgeting{a: a, query: q, out: out, said: map[string]bool{}}
	for i := range a.Comparisons {
		c := &a.Comparisons[i]
		if q.Candidate != "" && q.Candidate != c.Candidate {
			continue
		}
		for _, m := range []compare.Metric{compare.Band, compare.PeakTorque, compare.PeakPower} {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			f, err := b.figure(c, m)
			if err != nil {
				return nil, fmt.Errorf("candidate %s: %w", c.Candidate, err)
			}
			out.Figures = append(out.Figures, *f)
		}
	}
	return out, nil
}

// budgeting is a budget on its way.
type budgeting struct {
	a     *Analysis
	query BudgetQuery
	out   *report.Budget
	said  map[string]bool // sources and things not stated that stand in out already
}

// took notes what was taken of a source.
func (b *budgeting) took(what, is, from string) {
	if !b.said[what] {
		b.said[what] = true
		b.out.Sources = append(b.out.Sources, report.BudgetSource{What: what, Is: is, From: from})
	}
}

// missing notes that something has a part and nobody said how uncertain it is.
func (b *budgeting) missing(what string) {
	if !b.said["–"+what] {
		b.said["–"+what] = true
		b.out.NotStated = append(b.out.NotStated, what)
	}
}

// figure works out one figure of a comparison.
func (b *budgeting) figure(c *compare.Comparison, m compare.Metric) (*report.BudgetFigure, error) {
	f := c.Figure(m)
	out := &report.BudgetFigure{Comparison: c, Metric: m, Missing: f.Missing}
	if f.Missing != "" {
		return out, nil
	}
	sides := [2]*budgetSide{b.a.budgetSide(c.Baseline, m, f.BaselineRPM, f.BaselineLevel), b.a.budgetSide(c.Candidate, m, f.CandidateRPM, f.CandidateLevel)}
	sources := b.sources(sides)
	rows, err := b.levels(out, f, sides, sources)
	if err != nil {
		return nil, err
	}
	if err := b.gain(out, c, f, sides, sources, rows); err != nil {
		return nil, err
	}
	out.Rows = rows.list()
	return out, nil
}

// result puts a first-order budget beside what is drawn.
func (b *budgeting) result(m *budget.Model, confidence float64) (report.BudgetResult, *budget.Linear, error) {
	l, err := m.Linear()
	if err != nil {
		return report.BudgetResult{}, nil, err
	}
	d, err := m.Draw(budget.Sampling{Confidence: min(confidence, budget.MostConfidence), Seed: budgetSeed, Draws: b.query.Draws})
	if err != nil {
		return report.BudgetResult{}, nil, err
	}
	own := l.Interval(confidence)
	agrees, digits := l.Agreement(d.Symmetric, confidence, 2), 0
	switch {
	case agrees.Agrees:
		digits = 2
	case l.Agreement(d.Symmetric, confidence, 1).Agrees:
		digits = 1
	}
	r := report.BudgetResult{
		Known: true, Value: l.Value, U: l.U, DF: l.DF, Factor: l.Factor(confidence), Lo: own.Lo, Hi: own.Hi,
		Drawn: d.Value, DrawnU: d.U, DrawnTo: d.Error, DrawnLo: d.Symmetric.Lo, DrawnHi: d.Symmetric.Hi, ShortestLo: d.Shortest.Lo, ShortestHi: d.Shortest.Hi,
		LowOff: agrees.LowOff, HighOff: agrees.HighOff, Tolerance: agrees.Tolerance, Digits: digits,
	}
	for _, in := range m.Inputs {
		if in.Shape == budget.Student && in.DF <= 2 && in.U > 0 {
			r.Drawn, r.DrawnU = l.Value, math.NaN() // t with two degrees of freedom has no standard deviation
		}
	}
	return r, l, nil
}

// levels works out the level of either side.
func (b *budgeting) levels(out *report.BudgetFigure, f *compare.Figure, sides [2]*budgetSide, sources []budgetSource) (*budgetRows, error) {
	rows := newBudgetRows(sources)
	for k, scatter := range []compare.LevelScatter{f.BaselineScatter, f.CandidateScatter} {
		variance := scatter.Setup + scatter.Block + scatter.Pull
		known := f.Interval && scatter.DF > 0
		m := b.levelModel(sides[k], sources, k, variance, scatter.DF)
		r, l, err := b.result(m, out.Comparison.Confidence)
		if err != nil {
			return nil, err
		}
		r.Known = known
		if k == 0 {
			out.Baseline = r
		} else {
			out.Candidate = r
		}
		for i := range sources {
			rows.set(sources[i].key, k, math.Abs(l.Terms[sources[i].input].Contribution)/l.Value)
		}
		rows.set("scatter", k, math.Sqrt(variance))
		for part, v := range map[string]float64{compare.PartSetup: scatter.Setup, compare.PartBlock: scatter.Block, compare.PartPull: scatter.Pull} {
			rows.set(part, k, math.Sqrt(v))
		}
	}
	return rows, nil
}

// levelModel is the model of one side's level.
func (b *budgeting) levelModel(s *budgetSide, sources []budgetSource, k int, variance, df float64) *budget.Model {
	m := &budget.Model{Inputs: b.constants(s), Of: b.of}
	for i := range sources {
		m.Inputs[sources[i].input] = sources[i].on(m.Inputs, k)
	}
	if variance > 0 && df > 0 {
		m.Inputs[inScatter] = budget.Input{Name: "scatter", U: math.Sqrt(variance), DF: df, Shape: budget.Student}
		if math.IsInf(df, 1) {
			m.Inputs[inScatter].Shape = budget.Normal
		}
	}
	return m
}

// gain works out the gain: what the sides share drops out of it.
func (b *budgeting) gain(out *report.BudgetFigure, c *compare.Comparison, f *compare.Figure, sides [2]*budgetSide, sources []budgetSource, rows *budgetRows) error {
	base, other := b.constants(sides[0]), b.constants(sides[1])
	other[atLnFactor].Value = base[atLnFactor].Value + b.a.weatherBetween(c)
	ratio := budget.Ratio{Of: b.of}
	for i := range base {
		ratio.Sides = append(ratio.Sides, budget.Side{Input: base[i], Other: other[i].Value})
	}
	for i := range sources {
		s := &sources[i]
		two := s.on(other, 1)
		ratio.Sides[s.input] = budget.Side{Input: s.on(base, 0), Other: two.Value, OtherU: two.U, Shared: s.shared}
	}
	if f.Interval {
		ratio.Sides[inScatter] = scatterOfGain(f)
		o := f.Origins
		rows.setGain(compare.PartSetup, math.Sqrt(o.Setup), 0, 0)
		rows.setGain(compare.PartBlock, math.Sqrt(o.Block), 0, 0)
		rows.setGain(compare.PartPull, math.Sqrt(o.Pull), 0, 0)
		rows.setGain(compare.PartDrift, math.Sqrt(o.Drift), 0, 0)
	} else if len(sources) == 0 {
		return nil
	}
	l, err := ratio.Linear()
	if err != nil {
		return err
	}
	model, _, err := ratio.Model()
	if err != nil {
		return err
	}
	if out.Gain, _, err = b.result(&model, c.Confidence); err != nil {
		return err
	}
	out.Gain.Known = f.Interval
	for i := range sources {
		t := l.Terms[sources[i].input]
		rows.setGain(sources[i].key, t.Ratio, t.Share, sources[i].df)
	}
	t := l.Terms[inScatter]
	rows.setGain("scatter", t.Ratio, t.Share, t.DF)
	return nil
}

// scatterOfGain is what scatter and drift leave open of a gain. With the terms for
// the air it brings the standard error that the figure has, and as many degrees of
// freedom, so that a budget's interval is the figure's own where nothing else adds to
// it.
func scatterOfGain(f *compare.Figure) budget.Side {
	scatter := f.Origins.Scatter()
	in := budget.Input{Name: "scatter and drift", DF: math.Inf(1), Shape: budget.Normal}
	left := square(f.SE*f.SE)/f.DF - (square(f.Origins.Weather)+square(f.Origins.Loss))/judgedDF
	if df := square(scatter) / left; left > 0 && df < 1e6 && df > 0 {
		in.DF, in.Shape = df, budget.Student
	}
	return budget.Side{Input: in, OtherU: math.Sqrt(scatter)}
}

// weatherBetween is the difference in ln(correction factor) between the sides, as the
// gain weighs its blocks.
func (a *Analysis) weatherBetween(c *compare.Comparison) float64 {
	factor := map[string]float64{}
	for _, p := range usedPulls(a.Pulls) {
		factor[p.Name] = math.Log(p.Factor)
	}
	sum := 0.0
	for _, block := range c.Blocks {
		for _, name := range block.Pulls {
			sum += block.Weight * factor[name] / float64(len(block.Pulls))
		}
	}
	return sum
}

func square(v float64) float64 { return v * v }
