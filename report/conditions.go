package report

import (
	"math"
	"strings"

	"fairpull/campaign"
	"fairpull/quantity"
)

// conditionBlocks lists the air and the set points of every pull.
func (g *Gain) conditionBlocks(o documentOptions) []block {
	blocks := []block{heading{Level: 2, Words: "Conditions of every pull", ID: "conditions"}, g.airTable(o.units)}
	if t, ok := g.setPointTable(o.units); ok {
		blocks = append(blocks, t)
	}
	return blocks
}

// airTable has the air that each pull was corrected with.
func (g *Gain) airTable(units quantity.System) table {
	pressure, temperature := units.Unit(quantity.Pressure), units.Unit(quantity.Temperature)
	t := table{
		Caption: "The air at the intake, as pulls.csv or the log gives it, and the factor that follows by " + g.standard() + ".",
		Heads: []string{"Pull", "Station pressure, " + pressure.Name, "Temperature, " + temperature.Name,
			"Relative humidity, %", "Vapour pressure, " + pressure.Name, "Factor"},
		Numeric: []bool{false, true, true, true, true, true},
	}
	if g.uncorrected() {
		t.Caption = "The air at the intake, as pulls.csv or the log gives it. The figures are not corrected for it."
	}
	for i := range g.Pulls {
		p := &g.Pulls[i]
		row := []string{clean(p.Pull) + ", " + clean(p.Configuration), "–", "–", "–", "–", fixed(p.CorrectionFactor, 4)}
		if a := p.Air; a != nil {
			row[1] = fixed(pressure.From(float64(a.Pressure)), 2)
			row[2] = fixed(temperature.From(float64(a.Temperature)), 1)
			row[4] = fixed(pressure.From(float64(a.Vapour)), 2)
			if humidity, err := a.RelativeHumidity(); err == nil {
				row[3] = fixed(100*humidity, 0)
			}
		}
		t.Rows = append(t.Rows, row)
		t.Marks = append(t.Marks, unusedMark(p))
	}
	return t
}

func unusedMark(p *PullRow) string {
	if p.Used {
		return ""
	}
	return "unused"
}

// setPointTable has what was measured of every set point; false without any.
func (g *Gain) setPointTable(units quantity.System) (table, bool) {
	t := table{
		Caption: "What was measured of the procedure's set points. A value outside its tolerance is marked, and the word outside stands with it.",
		Heads:   []string{"Pull"}, Numeric: []bool{false},
	}
	for _, s := range g.Campaign.Procedure {
		t.Heads, t.Numeric = append(t.Heads, capitalised(setPointWords(s, units))), append(t.Numeric, true)
	}
	for i := range g.Pulls {
		p := &g.Pulls[i]
		said, known := g.Campaign.Pull(p.Pull)
		if !known {
			continue
		}
		row, mark := []string{clean(p.Pull) + ", " + clean(p.Configuration)}, unusedMark(p)
		for _, s := range g.Campaign.Procedure {
			cell, outside := setPointCell(s, said.Measured, units)
			if outside && p.Used {
				mark = "differs"
			}
			row = append(row, cell)
		}
		t.Rows, t.Marks = append(t.Rows, row), append(t.Marks, mark)
	}
	return t, len(t.Heads) > 1 && len(t.Rows) > 0
}

// setPointCell words what a pull has of a set point, and says whether that lies
// outside the tolerance.
func setPointCell(s campaign.SetPoint, measured map[string]float64, units quantity.System) (cell string, outside bool) {
	v, given := measured[s.Key]
	if !given {
		return "–", false
	}
	outside = math.Abs(v-s.Target) > s.Tolerance
	if unit, err := quantity.Lookup(s.Unit()); err == nil {
		shown := units.Unit(unit.Dimension)
		if unit.Dimension == quantity.Pressure && strings.Contains(s.Key, "tyre") {
			shown = units.TyrePressure()
		}
		v = shown.From(unit.SI(v))
	}
	cell = shortNumber(v)
	if outside {
		cell += " (outside)"
	}
	return cell, outside
}
