package report

import (
	"math"
	"strconv"

	"fairpull/compare"
	"fairpull/quantity"
)

// numbersID is the place of the charts in numbers within a page.
const numbersID = "numbers"

// numberBlocks holds the numbers of the charts as tables.
func (g *Gain) numberBlocks(o documentOptions) []block {
	blocks := []block{heading{Level: 2, Words: "The charts in numbers", ID: numbersID}}
	for i := range g.Comparisons {
		blocks = append(blocks, g.curveTable(i, o.units))
	}
	return blocks
}

// curveTable holds every node of both charts of comparison i.
func (g *Gain) curveTable(i int, units quantity.System) table {
	c := &g.Comparisons[i]
	torque, power := units.Unit(quantity.Torque), units.Unit(quantity.Power)
	a, b := clean(c.Baseline), clean(c.Candidate)
	t := table{
		Long: true,
		Caption: "Table " + strconv.Itoa(i+1) + ": " + g.side(c.Candidate) + " over " + g.side(c.Baseline) +
			". At this speed: limits for that engine speed alone. Whole band: limits that hold for the riding band at once. Levels ± half of their interval. All at " + confidence(c.Confidence) + ".",
		Heads: []string{"rpm", "Gain, %", "At this speed, %", "Whole band, %", "Torque " + a + ", " + torque.Name, "Torque " + b + ", " + torque.Name,
			"Power " + a + ", " + power.Name, "Power " + b + ", " + power.Name},
		Numeric: []bool{true, true, true, true, true, true, true, true},
	}
	s, p := newLevelSeries(c, quantity.Torque, units), newLevelSeries(c, quantity.Power, units)
	for j := range c.Curve {
		n := &c.Curve[j]
		gain, at, whole := nodeCells(n)
		t.Rows = append(t.Rows, []string{plain(n.RPM), gain, at, whole,
			plusMinus(s.Baseline[j], s.BaselineHalf[j]), plusMinus(s.Candidate[j], s.CandidateHalf[j]),
			plusMinus(p.Baseline[j], p.BaselineHalf[j]), plusMinus(p.Candidate[j], p.CandidateHalf[j])})
	}
	return t
}

// nodeCells words the gain at one node and both kinds of limits.
func nodeCells(n *compare.Node) (gain, at, whole string) {
	t := gainWords(n.Gain, n.Lo, n.Hi, n.AtLeast, n.Interval)
	if !n.Interval {
		return t.Value, "–", "–"
	}
	at, whole = t.Lo+" to "+t.Hi, "–"
	if !math.IsNaN(n.BandLo) && !math.IsNaN(n.BandHi) {
		w := gainWords(n.Gain, n.BandLo, n.BandHi, n.BandLo, true)
		whole = w.Lo + " to " + w.Hi
	}
	return t.Value, at, whole
}

// plusMinus words a level that is already in the person's unit.
func plusMinus(v, half float64) string {
	n := places(half, 2)
	if !(half > 0) || math.IsInf(half, 0) {
		return fixed(v, n)
	}
	return fixed(v, n) + " ± " + fixed(half, n)
}
