package lab

import (
	"fmt"
	"math"
	"strings"

	"fairpull/campaign"
	"fairpull/quantity"
)

// checkProcedure holds every used pull to the set points, one check for each.
func (a *Analysis) checkProcedure() []campaign.Check {
	var checks []campaign.Check
	for _, s := range a.Campaign.Procedure {
		checks = append(checks, a.withAnswers(a.checkSetPoint(s)))
	}
	return checks
}

func (a *Analysis) checkSetPoint(s campaign.SetPoint) campaign.Check {
	name, unit := s.Channel(), setPointUnit(s)
	shown := a.shownUnit(name, unit)
	target := shown.From(unit.SI(s.Target))
	tolerance := shown.FromDifference(unit.SIDifference(s.Tolerance))
	k := campaign.Check{
		ID: "procedure", Status: campaign.Pass, Unit: shown.Name, Limit: number(tolerance),
		LimitSource: "the campaign's set point " + s.Key, Touches: []string{"pulls"},
	}
	worst := 0.0
	slack := 1e-9 * (math.Abs(s.Target) + s.Tolerance) // a value at the limit is inside it, whatever its last bit
	var outside, missing []string
	for _, p := range usedPulls(a.Pulls) {
		value := setPointValue(p, s.Key, name, unit)
		if math.IsNaN(value) {
			missing = append(missing, p.Name)
			continue
		}
		departure := value - s.Target
		if math.Abs(departure) > math.Abs(worst) {
			worst = departure
		}
		if math.Abs(departure) > s.Tolerance+slack {
			outside = append(outside, p.Name)
		}
	}
	unitName := ""
	if shown.Name != "" {
		unitName = " " + shown.Name
	}
	words := strings.ReplaceAll(name, "_", " ")
	worst = shown.FromDifference(unit.SIDifference(worst))
	k.Measured = number(worst)
	var says []string
	if len(outside) > 0 {
		k.Status = campaign.Fail
		says = append(says, fmt.Sprintf("%s %s %s outside %.4g ± %.3g%s (off by up to %+.3g%s).", capital(pullList(outside)), have(outside), words, target, tolerance, unitName, worst, unitName))
	}
	if n := len(missing); n > 0 {
		if k.Status == campaign.Pass {
			k.Status = campaign.Warn
		}
		says = append(says, fmt.Sprintf("No %s for %s: write it down for every pull, as column %s of pulls.csv or as a log channel.", words, pullList(missing), s.Key))
		if n == len(usedPulls(a.Pulls)) {
			k.Measured = nil
		}
	}
	k.Pulls = append(outside, missing...)
	if len(says) == 0 {
		says = append(says, fmt.Sprintf("%s held at %.4g ± %.3g%s (largest departure %+.3g%s).", capital(words), target, tolerance, unitName, worst, unitName))
	}
	k.Message = strings.Join(says, " ")
	return k
}

// setPointValue returns a pull's value in the set point's unit: from the column
// of that name, else from the log channel of the same name, with or without the
// unit ending. NaN means that neither is there.
func setPointValue(p *Pull, key, name string, unit quantity.Unit) float64 {
	if v, ok := p.Measured[key]; ok {
		return v
	}
	if v, ok := p.Measured[name]; ok {
		return v
	}
	for _, channel := range []string{name, key} {
		mean, ok := p.Result.Means[channel]
		switch {
		case !ok:
		case p.inSI[channel]:
			return unit.From(mean)
		default: // the log does not say its unit: as written, in the key's
			return mean
		}
	}
	return math.NaN()
}

// setPointUnit returns the unit of a set point; a bare number where its key
// names none.
func setPointUnit(s campaign.SetPoint) quantity.Unit {
	if unit, err := quantity.Lookup(s.Unit()); err == nil {
		return unit
	}
	return quantity.Unit{Scale: 1}
}

// shownUnit returns the unit in which a set point is worded: that of its key in
// SI, the person's unit of the same kind elsewhere.
func (a *Analysis) shownUnit(name string, unit quantity.Unit) quantity.Unit {
	switch shown := a.units.Unit(unit.Dimension); {
	case a.units != quantity.USCustomary || shown == quantity.Unit{}:
		return unit
	case unit.Dimension == quantity.Pressure && (strings.HasPrefix(name, "tyre") || strings.HasPrefix(name, "tire")):
		return a.units.TyrePressure()
	default:
		return shown
	}
}
