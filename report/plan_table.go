package report

import (
	"math"
	"strconv"

	"fairpull/compare"
)

// partNames are the origins of a standard error, in the order shown.
var partNames = []struct{ key, name string }{
	{compare.PartSetup, "setups"}, {compare.PartBlock, "change-over"}, {compare.PartPull, "pulls"},
	{compare.PartDrift, "drift"}, {compare.PartWeather, "weather"},
}

// designRow is a design in the words of its tables.
type designRow struct {
	Number, Order, Setups, Pulls, All, Time, Chance, Detectable, Half string
	SE                                                                string
	Parts                                                             []string // standard error from each origin, %
	Mark                                                              string   // recommended, chosen, or empty
}

func (p *Plan) designRow(i int, d *compare.PlannedDesign) designRow {
	e := hardest(d)
	r := designRow{
		Order: d.Order, Setups: setupsWords(d), Pulls: strconv.Itoa(d.Pulls), All: strconv.Itoa(designPulls(d)),
		Time: minutesWords(d.Minutes), Chance: chanceWords(d.Chance(p.Campaign.Objective.SmallestGain)), Detectable: gainWanted(d.Detectable(p.Wanted)),
		Half: halfWords(e.HalfWidth), SE: halfWords(e.SE),
	}
	if i >= 0 {
		r.Number = strconv.Itoa(i + 1)
	}
	for _, part := range partNames {
		r.Parts = append(r.Parts, halfWords(math.Sqrt(e.Parts[part.key])))
	}
	switch {
	case i < 0 || p.Chosen != nil && p.Chosen.Order == d.Order && p.Chosen.OneSetup == d.OneSetup && p.Chosen.Pulls == d.Pulls:
		r.Mark = "chosen"
	case i == p.Recommended:
		r.Mark = "recommended"
	}
	return r
}

// halfWords is a size on the log scale in per cent; NaN: a dash.
func halfWords(ln float64) string {
	if math.IsNaN(ln) {
		return "–"
	}
	return fixed(percent(ln), 2)
}

// designRows lists the designs, and behind them the chosen one where it is none of
// them.
func (p *Plan) designRows() []designRow {
	var rows []designRow
	chosen := false
	for i := range p.Designs {
		rows = append(rows, p.designRow(i, &p.Designs[i]))
		chosen = chosen || rows[i].Mark == "chosen"
	}
	if p.Chosen != nil && !chosen {
		rows = append(rows, p.designRow(-1, p.Chosen))
	}
	return rows
}

const designCaption = "Designs in order of time on the rig. A is the baseline. Setups: strapped down anew for every block, or one for all. " +
	"Chance: of showing the smallest gain of interest where the part has it. Detectable: the gain that is shown with the wanted chance. Half width: of the interval to be expected."

const partCaption = "Where the standard error of the gain comes from, in per cent: it is the root of the sum of their squares. " +
	"What setups and change-overs bring goes down with more blocks and not with more pulls."

// designsTable lists the designs.
func (p *Plan) designsTable() table {
	t := table{
		Caption: designCaption,
		Heads:   []string{"No.", "Order", "Setups", "Pulls a block", "Pulls", "Time", "Chance", "Detectable", "Half width, %", "Choice"},
		Numeric: []bool{false, false, false, true, true, true, true, true, true, false},
	}
	for _, r := range p.designRows() {
		t.Rows = append(t.Rows, []string{r.Number, r.Order, r.Setups, r.Pulls, r.All, r.Time, r.Chance, r.Detectable, r.Half, r.Mark})
		t.Marks = append(t.Marks, map[bool]string{true: "primary"}[r.Mark != ""])
	}
	return t
}

// partsTable says, design by design, where the standard error comes from.
func (p *Plan) partsTable() table {
	t := table{Caption: partCaption, Heads: []string{"No.", "Order", "Setups", "Pulls a block", "Standard error, %"}, Numeric: []bool{false, false, false, true, true}}
	for _, part := range partNames {
		t.Heads, t.Numeric = append(t.Heads, capitalised(part.name)), append(t.Numeric, true)
	}
	for _, r := range p.designRows() {
		t.Rows = append(t.Rows, append([]string{r.Number, r.Order, r.Setups, r.Pulls, r.SE}, r.Parts...))
		t.Marks = append(t.Marks, map[bool]string{true: "primary"}[r.Mark != ""])
	}
	return t
}
