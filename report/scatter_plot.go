package report

import "math"

// chartTitle stands above the chart of a level.
func (l *ScatterLevel) chartTitle() string {
	return capitalised(l.Name) + ": SD of " + l.rowName() + ", %"
}

// days is the axis of time: days since the first campaign's first pull, and how many
// there are to the last one's.
func (l *ScatterLevel) days() (scale, float64) {
	days := math.Max(l.Points[len(l.Points)-1].At.Sub(l.Points[0].At).Hours()/24, 1)
	return scale{Lo: -0.03 * days, Hi: 1.03 * days}, days
}

// plot is the chart of a level in numbers.
func (l *ScatterLevel) plot() *plot {
	axis, _ := l.days()
	x := plotAxis{Name: "first pull", Ends: []amount{amount(axis.Lo), amount(axis.Hi)}, column: "time"}
	campaign, begun, df := numberColumn{Name: "campaign"}, numberColumn{Name: "first_pull"}, numberColumn{Name: "degrees_of_freedom"}
	one := plotSeries{Name: "SD", Paint: "baseline", NoLine: true, Bars: true, column: "sd"}
	for _, p := range l.Points {
		x.Values = append(x.Values, amount(p.At.Sub(l.Points[0].At).Hours()/24))
		x.Ticks, x.Words = append(x.Ticks, day(p.At)), append(x.Words, day(p.At)+", campaign "+clean(p.Campaign))
		campaign.Words, begun.Words = append(campaign.Words, clean(p.Campaign)), append(begun.Words, moment(p.At))
		df.Values = append(df.Values, p.DF)
		one.Values, one.Low, one.High = append(one.Values, amount(100*p.SD)), append(one.Low, amount(100*p.Lo)), append(one.High, amount(100*p.Hi))
		one.Marks = append(one.Marks, "disc")
		one.Read = append(one.Read, sdWords(p.SD)+", 95 % limits "+fixed(100*p.Lo, 2)+" to "+fixed(100*p.Hi, 2)+" %, degrees of freedom "+degrees(p.DF))
	}
	x.texts = numbers{campaign, begun, df}
	panel := plotPanel{Title: l.chartTitle(), Unit: "%", Low: 0, High: amount(100 * l.top()), Series: []plotSeries{one},
		Key: []plotKey{{"disc", "baseline", "SD of a campaign"}, {"bar", "baseline", "its 95 % limits"}}}
	if row := 100 * l.RowSD[0]; row > 0 && row <= 100*l.top() {
		panel.Lines = []plotLine{{At: amount(row), Dashed: true}}
		panel.Key = append(panel.Key, plotKey{"dashed", "frame", "all campaigns together"})
	}
	return &plot{Format: chartFormat, X: x, Band: []amount{}, Panels: []plotPanel{panel}}
}
