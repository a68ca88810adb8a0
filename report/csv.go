package report

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"

	"fairpull/quantity"
)

// CSV writes every node of every comparison, unrounded, one row each: the gain in
// per cent with both kinds of limits, and torque and power of both sides with
// the half-widths of their intervals, in the given units, which the names of the
// columns carry. A number that there is none of is an empty cell.
func (g *Gain) CSV(w io.Writer, units quantity.System) error {
	torque, power := units.Unit(quantity.Torque).Name, units.Unit(quantity.Power).Name
	rows := [][]string{{"baseline", "candidate", "engine_speed [rpm]", "gain [%]", "low [%]", "high [%]", "whole_band_low [%]", "whole_band_high [%]",
		"baseline_torque [" + torque + "]", "baseline_torque_half_width [" + torque + "]", "candidate_torque [" + torque + "]", "candidate_torque_half_width [" + torque + "]",
		"baseline_power [" + power + "]", "baseline_power_half_width [" + power + "]", "candidate_power [" + power + "]", "candidate_power_half_width [" + power + "]"}}
	for i := range g.Comparisons {
		c := &g.Comparisons[i]
		s, t, p := newGainSeries(c), newLevelSeries(c, quantity.Torque, units), newLevelSeries(c, quantity.Power, units)
		for j := range s.RPM {
			row := []string{clean(c.Baseline), clean(c.Candidate)}
			for _, v := range []float64{s.RPM[j], s.Gain[j], s.Lo[j], s.Hi[j], s.BandLo[j], s.BandHi[j],
				t.Baseline[j], t.BaselineHalf[j], t.Candidate[j], t.CandidateHalf[j],
				p.Baseline[j], p.BaselineHalf[j], p.Candidate[j], p.CandidateHalf[j]} {
				row = append(row, bareNumber(v))
			}
			rows = append(rows, row)
		}
	}
	out := csv.NewWriter(w)
	if err := out.WriteAll(rows); err != nil {
		return err
	}
	return out.Error()
}

func bareNumber(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}
