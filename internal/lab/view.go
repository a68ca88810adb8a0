package lab

import (
	"math"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"fairpull/compare"
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
		AtCrank:     usedPulls(a.Pulls)[0].AtCrank,
		Version:     version,
	}
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
	return view
}

// row fills the view of one pull.
func (a *Analysis) row(p *Pull, blocks []compare.Block) report.PullRow {
	row := report.PullRow{
		Pull: p.Name, Configuration: p.Configuration, Setup: p.Setup,
		Used: p.Used, Reason: p.Excluded, Started: p.Started,
		CorrectionFactor: math.NaN(), PeakTorqueNm: math.NaN(), PeakPowerW: math.NaN(),
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

func firstLine(err error) string {
	if err == nil {
		return ""
	}
	text, _, _ := strings.Cut(err.Error(), "\n")
	return text
}

// compensated gives each configuration's peak power at the wheel and, at the
// same engine speed, with the loss added that the coast-downs found.
func (a *Analysis) compensated() []report.Compensated {
	var out []report.Compensated
	for i := range a.Campaign.Configurations {
		if c, ok := a.compensatedOf(a.Campaign.Configurations[i].ID); ok {
			out = append(out, c)
		}
	}
	return out
}

func (a *Analysis) compensatedOf(configuration string) (report.Compensated, bool) {
	wheel := make([]float64, len(a.SpeedRPM)) // W, mean over the pulls
	with := make([][]float64, 0)              // W, by pull
	for _, p := range usedPulls(a.Pulls) {
		if p.Configuration != configuration {
			continue
		}
		if p.Result.Compensated == nil {
			return report.Compensated{}, false
		}
		powers := make([]float64, len(a.SpeedRPM))
		j := 0
		for i, rpm := range a.SpeedRPM {
			for p.Corrected.SpeedRPM[j] < rpm {
				j++
			}
			wheel[i] += p.Corrected.Power(j)
			// The factor multiplies the wheel figure; the loss is the rig's and is
			// added as it was measured.
			loss := p.Result.Compensated[j] - p.Result.Curve.Torque[j]
			powers[i] = p.Corrected.Power(j) + loss*p.Corrected.Power(j)/p.Corrected.Torque[j]
		}
		with = append(with, powers)
	}
	if len(with) == 0 {
		return report.Compensated{}, false
	}
	best := 0
	for i := range wheel {
		wheel[i] /= float64(len(with))
		if wheel[i] > wheel[best] {
			best = i
		}
	}
	values := make([]float64, len(with))
	for i, powers := range with {
		values[i] = powers[best]
	}
	return report.Compensated{
		Configuration: configuration, AtRPM: a.SpeedRPM[best],
		WheelW: wheel[best], CompensatedW: meanOf(values),
		HalfWidthW: halfWidthOfMean(values, a.Campaign.Objective.Confidence),
	}, true
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
