package lab

import (
	"fmt"
	"math"

	"fairpull/air"
	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/correction"
	"fairpull/quantity"
)

// checkCorrectionRange asks whether every factor lies in the range that the
// standard accepts.
func (a *Analysis) checkCorrectionRange() []campaign.Check {
	k := campaign.Check{
		ID: "correction-range", Status: campaign.Pass, Unit: "1",
		Touches: []string{"band", "peak_torque", "peak_power"},
	}
	if !a.Standard.Corrects() {
		k.Status = campaign.Warn
		k.Message = "No correction for the air was applied: the gain also contains the change of the weather between the sides."
		k.LimitSource = "the campaign's choice of standard"
		return []campaign.Check{k}
	}
	low, high, source := a.Standard.FactorLimit.Min, a.Standard.FactorLimit.Max, a.Standard.FactorLimit.Source
	worst, excess := math.NaN(), math.Inf(-1)
	for _, p := range usedPulls(a.Pulls) {
		over := math.Max(p.Factor-high, low-p.Factor)
		if over > excess {
			excess, worst = over, p.Factor
		}
		if over > 0 {
			k.Pulls = append(k.Pulls, p.Name)
		}
	}
	k.Measured, k.LimitSource = number(worst), source
	k.Limit = number(high)
	if worst < (low+high)/2 {
		k.Limit = number(low)
	}
	if excess <= 0 {
		k.Message = fmt.Sprintf("Every correction factor lies within %.2f to %.2f.", low, high)
		return []campaign.Check{k}
	}
	k.Status = campaign.Warn
	k.Message = fmt.Sprintf("The correction factor reached %.3f, outside %.2f to %.2f, in %s: the corrected figures are shown, and they are not figures by %s. Measure in other weather, or compare with absolute figures from elsewhere with care.",
		worst, low, high, pullList(k.Pulls), a.Standard.Name)
	return []campaign.Check{k}
}

// checkTemperatureRange asks whether the intake air was in the range that the
// standard names, where it names one.
func (a *Analysis) checkTemperatureRange() []campaign.Check {
	r := a.Standard.TemperatureLimit
	if r == (correction.Limit{}) {
		return nil
	}
	unit := a.units.Unit(quantity.Temperature)
	k := campaign.Check{
		ID: "temperature-range", Status: campaign.Pass, Unit: unit.Name, LimitSource: r.Source,
		Touches: []string{"band", "peak_torque", "peak_power"},
	}
	worst, excess, limit := math.NaN(), math.Inf(-1), r.Max
	for _, p := range usedPulls(a.Pulls) {
		if p.Air == nil {
			continue
		}
		t := float64(p.Air.Temperature)
		over := math.Max(t-r.Max, r.Min-t)
		if over > excess {
			excess, worst, limit = over, t, r.Max
			if r.Min-t > t-r.Max {
				limit = r.Min
			}
		}
		if over > 0 {
			k.Pulls = append(k.Pulls, p.Name)
		}
	}
	if math.IsNaN(worst) {
		return nil // no pull says how warm it was
	}
	k.Measured, k.Limit = number(unit.From(worst)), number(unit.From(limit))
	k.Message = fmt.Sprintf("The intake air stayed within %.0f to %.0f %s.", unit.From(r.Min), unit.From(r.Max), unit.Name)
	if excess > 0 {
		k.Status = campaign.Warn
		k.Message = fmt.Sprintf("The intake air was at %.1f %s, outside %.0f to %.0f %s, in %s: %s does not accept the corrected figures.",
			unit.From(worst), unit.Name, unit.From(r.Min), unit.From(r.Max), unit.Name, pullList(k.Pulls), a.Standard.Name)
	}
	return []campaign.Check{k}
}

// checkWeatherChange asks, for each comparison, how far the air differs between
// the sides: what a correction gets wrong enters the gain by that much, and
// without a correction all of it.
func (a *Analysis) checkWeatherChange() []campaign.Check {
	if !a.weatherKnown() {
		return a.unknownAir()
	}
	var checks []campaign.Check
	for i := range a.Comparisons {
		c := &a.Comparisons[i]
		change, ok := a.factorChange(c)
		if !ok {
			return nil
		}
		k := campaign.Check{
			ID: "weather-change", Status: campaign.Pass, Comparison: c.Candidate, Unit: "%",
			Measured: number(100 * math.Expm1(change)), Limit: number(100 * a.Limits.WeatherChange),
			LimitSource: labLimit, Touches: []string{"band", "peak_torque", "peak_power"},
		}
		if !a.Standard.Corrects() {
			checks = append(checks, a.uncorrected(k, c, change)...)
			continue
		}
		k.Message = fmt.Sprintf("The air changed the correction by %.2f %% between the sides; its doubt is in the interval.", *k.Measured)
		if math.Abs(*k.Measured) > *k.Limit {
			k.Status = campaign.Warn
			k.Message = fmt.Sprintf("The air differed between the sides: the correction moves the gain by %.2f %%, and no correction is exact. Its doubt is in the interval; measure both sides in like air for a narrower one.", *k.Measured)
		}
		checks = append(checks, k)
	}
	return checks
}

// unknownAir warns where nothing says how the air differed: no correction was
// applied, or curves came with their correction and nothing but its factor.
func (a *Analysis) unknownAir() []campaign.Check {
	if a.Standard.Corrects() {
		return []campaign.Check{{
			ID: "weather-change", Status: campaign.Warn, LimitSource: labLimit, Touches: []string{"band", "peak_torque", "peak_power"},
			Message: "The air of some pulls is not written down: their curves came corrected, and the factors stated with them are taken as they are. Nobody can look whether they fit the weather.",
		}}
	}
	return []campaign.Check{{
		ID: "weather-change", Status: campaign.Warn, LimitSource: labLimit, Touches: []string{"band", "peak_torque", "peak_power"},
		Message: "No correction was applied and the air of the pulls is not written down: what the weather did between the sides is part of the gain, and nobody can say how much. Write down pressure, temperature and humidity for every pull.",
	}}
}

// uncorrected fills k for figures that were not corrected: the measured value is
// what the air alone accounts for. Where that is large, or a quarter of the gain,
// a fail of its own withholds the verdict.
func (a *Analysis) uncorrected(k campaign.Check, c *compare.Comparison, change float64) []campaign.Check {
	air := math.Expm1(-change)
	k.Measured, k.Status = number(100*air), campaign.Warn
	k.Message = fmt.Sprintf("No correction was applied: by the form of SAE J1349 the air alone accounts for %+.2f %% between the sides. Choose a standard under [correction].", 100*air)
	figure := c.Figure(c.Primary)
	large := math.Abs(air) > a.Limits.WeatherChange ||
		math.Abs(air) > a.Limits.CoastShare && figure.Missing == "" && math.Abs(air) > a.Limits.CoastShareOfGain*math.Abs(math.Expm1(figure.Gain))
	if !large {
		return []campaign.Check{k}
	}
	fail := k
	fail.ID, fail.Status, fail.Pulls = "uncorrected-air", campaign.Fail, a.pullsOf(c.Candidate)
	return []campaign.Check{k, a.withAnswers(fail)}
}

// factorChange returns how far ln of the correction factor differs between the
// sides, with the weights of the gain; by the 1990 form of SAE J1349 where the
// campaign corrects nothing.
func (a *Analysis) factorChange(c *compare.Comparison) (float64, bool) {
	reference := a.Standard
	if !reference.Corrects() {
		reference, _ = correction.ByName("SAE J1349")
	}
	change := 0.0
	for _, b := range c.Blocks {
		for _, name := range b.Pulls {
			factor, err := reference.Factor(*a.pull(name).Air)
			if err != nil {
				return 0, false
			}
			change += b.Weight * math.Log(factor) / float64(len(b.Pulls))
		}
	}
	return change, true
}

// statedSlack is how far a stated factor may be off the one that the standard
// gives for the air written beside it.
const statedSlack = 0.01

// checkCorrectionStated holds the factors that came with curve logs against the
// air written beside them.
func (a *Analysis) checkCorrectionStated() []campaign.Check {
	k := campaign.Check{
		ID: "correction-stated", Status: campaign.Pass, Unit: "%", Limit: number(100 * statedSlack),
		LimitSource: labLimit, Touches: []string{"band", "peak_torque", "peak_power"},
	}
	worst, asked := 0.0, false
	for _, p := range usedPulls(a.Pulls) {
		applied, err := correction.ByName(p.CorrectionApplied)
		if err != nil || !applied.Corrects() || p.Air == nil || !(p.CorrectionFactor > 0) {
			continue
		}
		own, err := applied.Factor(*p.Air)
		if err != nil {
			continue
		}
		asked = true
		off := p.CorrectionFactor/own - 1
		if math.Abs(off) > math.Abs(worst) {
			worst = off
		}
		if math.Abs(off) > statedSlack {
			k.Pulls = append(k.Pulls, p.Name)
		}
	}
	if !asked {
		return nil
	}
	k.Measured = number(100 * worst)
	k.Message = fmt.Sprintf("The correction factors that came with the curves fit the air written beside them within %.2f %%.", math.Abs(100*worst))
	if len(k.Pulls) > 0 {
		k.Status = campaign.Fail
		k.Message = fmt.Sprintf("The correction factor stated for %s does not fit the air written beside it (off by up to %+.1f %%): the factor, the standard or the weather is wrong, and the gain moves with it.", pullList(k.Pulls), 100*worst)
	}
	return []campaign.Check{a.withAnswers(k)}
}

func (a *Analysis) weatherKnown() bool {
	for _, p := range usedPulls(a.Pulls) {
		if p.Air == nil {
			return false
		}
	}
	return true
}

// checkPressurePlausible catches a pressure reduced to sea level that was
// written down as station pressure.
func (a *Analysis) checkPressurePlausible() []campaign.Check {
	elevation := a.Campaign.Dyno.SiteElevation
	if elevation == nil {
		return nil
	}
	standard, err := air.StandardPressure(*elevation)
	if err != nil {
		return nil // a site outside the standard atmosphere's table cannot be asked
	}
	unit := a.units.Unit(quantity.Pressure)
	site := a.write(float64(*elevation), quantity.Length, 0)
	k := campaign.Check{
		ID: "pressure-plausible", Status: campaign.Pass, Unit: unit.Name,
		Limit: number(unit.From(a.Limits.PressureExcess)), LimitSource: labLimit,
		Touches: []string{"peak_torque", "peak_power"},
	}
	worst := math.Inf(-1)
	for _, p := range usedPulls(a.Pulls) {
		if p.Air == nil {
			continue
		}
		excess := float64(p.Air.Pressure) - float64(standard)
		worst = math.Max(worst, excess)
		if excess > a.Limits.PressureExcess {
			k.Pulls = append(k.Pulls, p.Name)
		}
	}
	if math.IsInf(worst, -1) {
		return nil
	}
	k.Measured = number(unit.From(worst))
	k.Message = fmt.Sprintf("Station pressures fit the site at %s.", site)
	if len(k.Pulls) > 0 {
		if len(k.Pulls) < len(usedPulls(a.Pulls)) { // wrong in part, it passes for a gain
			k.Touches = append(k.Touches, "band", "curve")
		}
		k.Status = campaign.Fail
		k.Message = fmt.Sprintf("The pressure of %s is %s above the standard atmosphere at %s: it looks reduced to sea level. Write down the station pressure, as the barometer at the rig reads it; the absolute figures are off by as much.",
			pullList(k.Pulls), a.write(worst, quantity.Pressure, 1), site)
	}
	return []campaign.Check{a.withAnswers(k)}
}
