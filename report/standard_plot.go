package report

import (
	"strconv"

	"fairpull/quantity"
)

// plot is the control chart in numbers.
func (s *CheckStandard) plot(units quantity.System) *plot {
	ends, unit := s.ends(), units.Unit(quantity.Torque)
	x := plotAxis{Name: "check", Ends: []amount{amount(ends.Lo), amount(ends.Hi)}, column: "check"}
	campaign, setup, begun, signal := numberColumn{Name: "campaign"}, numberColumn{Name: "setup"}, numberColumn{Name: "begun"}, numberColumn{Name: "signal"}
	mean, q := numberColumn{Name: "mean_torque", Unit: unit.Name}, numberColumn{Name: "q"}
	for i, c := range s.Checks {
		number := strconv.Itoa(i + 1)
		x.Values, x.Ticks = append(x.Values, amount(i+1)), append(x.Ticks, number)
		x.Words = append(x.Words, "check "+number+" of "+day(c.Started)+", campaign "+clean(c.Campaign)+", setup "+clean(c.Setup)+": "+s.signalWords(c))
		campaign.Words, setup.Words = append(campaign.Words, clean(c.Campaign)), append(setup.Words, clean(c.Setup))
		begun.Words, signal.Words = append(begun.Words, moment(c.Started)), append(signal.Words, s.signalWords(c))
		mean.Values, q.Values = append(mean.Values, unit.From(c.MeanNm)), append(q.Values, c.Q)
	}
	x.texts = numbers{campaign, setup, begun, signal, mean, q}
	level, ewma, sums := s.ranges()
	limit, decision := s.Rules.Limit, s.Rules.Decision
	marks := []plotKey{{"disc", "baseline", "a check"}, {"square", "candidate", "a check that signals"}}
	limits := plotKey{"dashed", "frame", "limits"}
	down := s.series("sum down", "candidate", "sum_down", "", func(c StandardEntry) float64 { return c.Down })
	down.Dashed, down.Marks = true, nil
	return &plot{Format: chartFormat, X: x, Band: []amount{}, Panels: []plotPanel{
		{Title: levelTitle, Unit: "%", Low: amount(level.lo), High: amount(level.hi), Lines: []plotLine{{At: 0}}, Key: marks,
			Series: []plotSeries{s.series("mean torque", "baseline", "about_centre", " %", s.away)}},
		{Title: ewmaTitle, Unit: "", Low: amount(-ewma), High: amount(ewma), Lines: []plotLine{{At: 0}, {At: amount(limit), Dashed: true}, {At: amount(-limit), Dashed: true}}, Key: []plotKey{limits},
			Series: []plotSeries{s.series("EWMA", "baseline", "ewma", " (limits ±"+fixed(limit, 2)+")", func(c StandardEntry) float64 { return c.EWMA })}},
		{Title: sumsTitle, Unit: "", Low: 0, High: amount(sums), Lines: []plotLine{{At: amount(decision), Dashed: true}}, Key: []plotKey{limits},
			Series: []plotSeries{s.series("sum up", "baseline", "sum_up", "", func(c StandardEntry) float64 { return c.Up }), down}},
	}}
}

// series are the checks as one curve with a mark each, a square where it signals.
func (s *CheckStandard) series(name, paint, column, unit string, of func(StandardEntry) float64) plotSeries {
	one := plotSeries{Name: name, Paint: paint, column: column}
	for _, c := range s.Checks {
		v := of(c)
		mark := "disc"
		if len(c.Signals) > 0 {
			mark = "square"
		}
		one.Values, one.Marks, one.Read = append(one.Values, amount(v)), append(one.Marks, mark), append(one.Read, signed(v, 2)+unit)
	}
	return one
}
