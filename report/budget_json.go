package report

import "fairpull/compare"

type (
	budgetJSON struct {
		Format    string             `json:"format"`
		Campaign  string             `json:"campaign"`
		Figures   []budgetFigureJSON `json:"figures"`
		NotStated []string           `json:"not_stated"`
		Sources   []BudgetSource     `json:"sources"`
		Draws     int                `json:"draws"`
	}
	budgetFigureJSON struct {
		Baseline   string             `json:"baseline"`
		Candidate  string             `json:"candidate"`
		Figure     string             `json:"figure"`
		Unit       string             `json:"unit"`
		Confidence float64            `json:"confidence"`
		Missing    string             `json:"missing,omitempty"`
		Rows       []budgetRowJSON    `json:"rows"`
		Levels     []budgetResultJSON `json:"levels"`
		Gain       *budgetResultJSON  `json:"ln_gain"`
	}
	budgetRowJSON struct {
		BudgetRow
		DF    amount `json:"degrees_of_freedom"` // null: infinitely many
		Drops amount `json:"drops_out"`          // null: no part in the levels
	}
	budgetResultJSON struct {
		Side      string    `json:"side,omitempty"`
		Value     amount    `json:"value"`
		U         amount    `json:"standard_uncertainty"`
		DF        amount    `json:"degrees_of_freedom"`
		Factor    amount    `json:"coverage_factor"`
		Interval  [2]amount `json:"interval"`
		Drawn     amount    `json:"drawn_mean"`
		DrawnU    amount    `json:"drawn_standard_deviation"`
		DrawnTo   amount    `json:"drawn_to_within"`
		Symmetric [2]amount `json:"drawn_interval"`
		Shortest  [2]amount `json:"drawn_shortest_interval"`
		Off       [2]amount `json:"ends_apart"`
		Tolerance amount    `json:"tolerance"`
		Digits    int       `json:"first_order_holds_to_digits"`
	}
)

// JSON returns the budget, format fairpull.budget/1: SI, fractions, unrounded; the
// gain as ln(candidate/baseline); what is not known is null.
func (b *Budget) JSON() ([]byte, error) {
	out := budgetJSON{
		Format: "fairpull.budget/1", Campaign: b.Gain.Campaign.ID, Figures: []budgetFigureJSON{},
		NotStated: append([]string{}, b.NotStated...), Sources: append([]BudgetSource{}, b.Sources...), Draws: b.Draws,
	}
	for i := range b.Figures {
		f := &b.Figures[i]
		row := metricRows[f.Metric]
		j := budgetFigureJSON{
			Baseline: f.Comparison.Baseline, Candidate: f.Comparison.Candidate, Figure: row.key, Unit: map[bool]string{true: "W", false: "N·m"}[f.Metric == compare.PeakPower],
			Confidence: f.Comparison.Confidence, Missing: f.Missing, Rows: []budgetRowJSON{}, Levels: []budgetResultJSON{},
		}
		for _, r := range f.Rows {
			j.Rows = append(j.Rows, budgetRowJSON{r, amount(r.DF), amount(r.Drops())})
		}
		for k, r := range []*BudgetResult{&f.Baseline, &f.Candidate} {
			if r.Known {
				j.Levels = append(j.Levels, r.json([]string{"baseline", "candidate"}[k]))
			}
		}
		if f.Gain.Known {
			g := f.Gain.json("")
			j.Gain = &g
		}
		out.Figures = append(out.Figures, j)
	}
	return indented(out)
}

func (r *BudgetResult) json(side string) budgetResultJSON {
	return budgetResultJSON{
		Side: side, Value: amount(r.Value), U: amount(r.U), DF: amount(r.DF), Factor: amount(r.Factor), Interval: [2]amount{amount(r.Lo), amount(r.Hi)},
		Drawn: amount(r.Drawn), DrawnU: amount(r.DrawnU), DrawnTo: amount(r.DrawnTo), Symmetric: [2]amount{amount(r.DrawnLo), amount(r.DrawnHi)},
		Shortest: [2]amount{amount(r.ShortestLo), amount(r.ShortestHi)}, Off: [2]amount{amount(r.LowOff), amount(r.HighOff)}, Tolerance: amount(r.Tolerance), Digits: r.Digits,
	}
}
