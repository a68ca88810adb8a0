package lab

import (
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"fairpull/compare"
	"fairpull/curve"
	"fairpull/quantity"
	"fairpull/report"
)

// View fills the view that package report words and draws, with the checks
// worded in the given units. Version is the program's own. The gain result in
// JSON is made from the view in SI.
func (a *Analysis) View(version string, units quantity.System) *report.Gain {
	if units != a.units {
		other := *a
		other.units = units
		other.Checks = other.check()
		a = &other
	}
	view := &report.Gain{
		Campaign:    *a.Campaign,
		Standard:    report.Standard{Name: a.Standard.Name, Form: a.Standard.Title, Note: a.Standard.Note},
		Comparisons: a.Comparisons,
		Checks:      a.Checks,
		CoastShares: map[string]report.CoastShare{},
		WithAll:     a.WithAll,
		Compensated: a.compensated(),
		History:     a.borrowed, Calibrations: a.calibrated,
		AtCrank: usedPulls(a.Pulls)[0].AtCrank,
		Version: version,
		Steady:  a.allSteady, Ways: a.Ways,
	}
	if a.Held != nil {
		view.Held = a.Held.View(version, units)
	}
	view.Campaign.History = a.ownHistory()
	for i := range a.Comparisons {
		c := &a.Comparisons[i]
		if s, ok := a.coastShare(c); ok {
			view.CoastShares[c.Candidate] = report.CoastShare{Value: s.Value, Lo: s.Lo, Hi: s.Hi}
		}
	}
	blocks := a.blocks()
	for i := range a.Pulls {
		view.Pulls = append(view.Pulls, a.row(&a.Pulls[i], blocks))
	}
	for i := range a.other {
		view.Pulls = append(view.Pulls, a.otherRow(&a.other[i]))
	}
	slices.SortStableFunc(view.Pulls, func(x, y report.PullRow) int { return x.Started.Compare(y.Started) })
	return view
}

// row fills the view of one pull.
func (a *Analysis) row(p *Pull, blocks []compare.Block) report.PullRow {
	row := report.PullRow{
		Pull: p.Name, Configuration: p.Configuration, Setup: p.Setup,
		Used: p.Used, Reason: p.Excluded, Started: p.Started,
		CorrectionFactor: math.NaN(), PeakTorqueNm: math.NaN(), PeakPowerW: math.NaN(), BandTorqueNm: math.NaN(),
		CoastLossNm: math.NaN(), CoastSpeedMPS: math.NaN(), Ratio: math.NaN(),
	}
	for i, b := range blocks {
		for _, name := range b.Pulls {
			if name == p.Name {
				row.Block = i + 1
			}
		}
	}
	if note := strings.TrimSpace(p.Values["note"]); note != "" {
		row.Notes = append(row.Notes, note)
	}
	if p.answer() != "" {
		row.Notes = append(row.Notes, "answered: "+p.answer())
	}
	if p.Result == nil {
		row.Notes = append(row.Notes, "not reduced: "+firstLine(p.Err))
		return row
	}
	row.CorrectionFactor, row.Curve, row.Ratio = p.Factor, p.Corrected, p.Result.Ratio
	row.Air, row.BandTorqueNm = p.Air, a.bandTorque(p)
	for i := range p.Corrected.Torque {
		if !(p.Corrected.Torque[i] <= row.PeakTorqueNm) {
			row.PeakTorqueNm = p.Corrected.Torque[i]
		}
		if power := p.Corrected.Power(i); !(power <= row.PeakPowerW) {
			row.PeakPowerW = power
		}
	}
	if coast := p.Result.Coast; coast != nil {
		row.CoastLossNm = coast.MeanTorque
		row.CoastSpeedMPS = coast.MeanOmega * float64(a.Campaign.Dyno.DrumRadius)
	}
	return row
}

// bandTorque returns the mean of ln torque over the nodes of the riding band that
// all pulls share, as a torque in N·m; NaN where the pull lacks one of them.
func (a *Analysis) bandTorque(p *Pull) float64 {
	sum, n := 0.0, 0.0
	for _, rpm := range a.SpeedRPM {
		if !inBand(rpm, a.Campaign.Objective.BandRPM) {
			continue
		}
		at, found := slices.BinarySearch(p.Corrected.SpeedRPM, rpm)
		if !found {
			return math.NaN()
		}
		sum, n = sum+math.Log(p.Corrected.Torque[at]), n+1
	}
	return math.Exp(sum / n)
}

func firstLine(err error) string {
	if err == nil {
		return ""
	}
	text, _, _ := strings.Cut(err.Error(), "\n")
	return text
}

// compensated gives, for each comparison, either side's peak power at the wheel
// and, at the same engine speed, with the loss added that the coast-downs found.
func (a *Analysis) compensated() []report.Compensated {
	var out []report.Compensated
	for i := range a.Comparisons {
		c := &a.Comparisons[i]
		for _, side := range []struct {
			configuration string
			rpm, level    float64
			half          func(compare.Node) float64
		}{
			{c.Baseline, c.PeakPower.BaselineRPM, c.PeakPower.BaselineLevel, func(n compare.Node) float64 { return n.BaselineHalf }},
			{c.Candidate, c.PeakPower.CandidateRPM, c.PeakPower.CandidateLevel, func(n compare.Node) float64 { return n.CandidateHalf }},
		} {
			row := report.Compensated{
				Candidate: c.Candidate, Configuration: side.configuration,
				AtRPM: side.rpm, WheelW: side.level, WheelHalfW: math.NaN(),
			}
			for _, n := range c.Curve {
				if n.RPM == side.rpm {
					row.WheelHalfW = side.level * side.half(n)
				}
			}
			if losses := a.lossPowers(side.configuration, side.rpm); len(losses) > 0 {
				row.CompensatedW = side.level + meanOf(losses)
				row.HalfWidthW = math.Hypot(row.WheelHalfW, halfWidthOfMean(losses, c.Confidence))
				out = append(out, row)
			}
		}
	}
	return out
}

// lossPowers returns, for the used pulls of a configuration, the power in W that
// tyre and driveline take at the given engine speed; NaN for a coast-down that
// does not reach it, none without coast-downs. The loss is the rig's: no
// correction for the air is applied to it.
func (a *Analysis) lossPowers(configuration string, rpm float64) []float64 {
	var powers []float64
	for _, p := range usedPulls(a.Pulls) {
		at, found := slices.BinarySearch(p.Result.Curve.SpeedRPM, rpm)
		if p.Configuration != configuration || p.Result.Compensated == nil || !found {
			continue
		}
		loss := p.Result.Compensated[at] - p.Result.Curve.Torque[at]
		powers = append(powers, loss*rpm*curve.RadPerSecondPerRPM)
	}
	return powers
}

// halfWidthOfMean is the half-width of Student's interval of a mean; NaN for
// fewer than two values.
func halfWidthOfMean(values []float64, confidence float64) float64 {
	n := float64(len(values))
	if n < 2 {
		return math.NaN()
	}
	m, ss := meanOf(values), 0.0
	for _, v := range values {
		ss += (v - m) * (v - m)
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 1}.Quantile(0.5 + confidence/2)
	return t * math.Sqrt(ss/(n-1)/n)
}
