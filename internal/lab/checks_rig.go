package lab

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/drum"
	"fairpull/quantity"
	"fairpull/signal"
)

// checkTyreSpeed asks whether any pull ran the tyre past its speed rating.
func (a *Analysis) checkTyreSpeed() []campaign.Check {
	symbol := a.Campaign.Vehicle.TyreSpeedSymbol
	if symbol == "" {
		return nil
	}
	limit, err := drum.TyreSpeedLimit(symbol)
	if err != nil {
		return []campaign.Check{{
			ID: "tyre-speed", Status: campaign.Warn, LimitSource: "the tyre's speed symbol",
			Message: fmt.Sprintf("The tyre's speed symbol %q is not known, so its speed was not checked: %v.", symbol, err),
		}}
	}
	unit := a.units.Unit(quantity.Speed)
	k := campaign.Check{
		ID: "tyre-speed", Status: campaign.Pass, Unit: unit.Name, Limit: number(unit.From(limit)),
		LimitSource: "the tyre's speed symbol " + symbol,
	}
	fastest := 0.0
	for i := range a.Pulls {
		p := &a.Pulls[i]
		if p.Result == nil || math.IsNaN(p.Result.MaxSurfaceSpeed) {
			continue
		}
		fastest = max(fastest, p.Result.MaxSurfaceSpeed)
		if p.Result.MaxSurfaceSpeed > limit {
			k.Pulls = append(k.Pulls, p.Name)
		}
	}
	if fastest == 0 {
		k.Status = campaign.Warn
		k.Message = "The logs do not hold the speed of the drum: whether the tyre was run past its rating was not checked."
		return []campaign.Check{k}
	}
	k.Measured = number(unit.From(fastest))
	k.Message = fmt.Sprintf("The drum surface reached %s; the tyre may run %s.", a.write(fastest, quantity.Speed, 0), a.write(limit, quantity.Speed, 0))
	if len(k.Pulls) > 0 {
		k.Status = campaign.Fail
		k.Message = fmt.Sprintf("The drum surface reached %s in %s, and the tyre may run %s: stop, have the tyre inspected by a qualified person, and choose a lower gear or a tyre with a higher rating.",
			a.write(fastest, quantity.Speed, 0), pullList(k.Pulls), a.write(limit, quantity.Speed, 0))
	}
	return []campaign.Check{k}
}

// checkGear asks whether all pulls were made in the same gear.
func (a *Analysis) checkGear() []campaign.Check {
	var used []*Pull
	var unasked []string
	for _, p := range usedPulls(a.Pulls) {
		switch {
		case p.Kind == signal.Reduced: // no drum speed to hold the engine's against
		case math.IsNaN(p.Result.SlipMax): // no engine speed: the stated ratio was used
			unasked = append(unasked, p.Name)
		case p.Result.Ratio > 0:
			used = append(used, p)
		}
	}
	if len(unasked) > 0 {
		return []campaign.Check{a.withAnswers(a.gearUnasked(unasked))}
	}
	if len(used) == 0 {
		return nil
	}
	ratios := make([]float64, len(used))
	for i, p := range used {
		ratios[i] = p.Result.Ratio
	}
	middle := median(ratios)
	k := campaign.Check{
		ID: "gear", Status: campaign.Pass, Unit: "%", Limit: number(100 * a.Limits.GearRatio),
		LimitSource: labLimit, Touches: []string{"band", "peak_torque", "peak_power", "curve"},
	}
	worst := 0.0
	for i, p := range used {
		departure := ratios[i]/middle - 1
		if math.Abs(departure) > math.Abs(worst) {
			worst = departure
		}
		if math.Abs(departure) > a.Limits.GearRatio {
			k.Pulls = append(k.Pulls, p.Name)
		}
	}
	k.Measured = number(100 * worst)
	k.Message = fmt.Sprintf("All pulls ran at %.3f engine turns a drum turn, within %.2f %%.", middle, 100*math.Abs(worst))
	if len(k.Pulls) > 0 {
		k.Status = campaign.Fail
		k.Message = fmt.Sprintf("%s ran in another gear than the rest (%.1f %% off %.3f engine turns a drum turn). In another gear the engine's own inertia takes another share: repeat the pull or exclude it, with the reason. Logs in other units look the same.",
			capital(pullList(k.Pulls)), 100*worst, middle)
	}
	return []campaign.Check{a.withAnswers(k)}
}

// gearUnasked is the gear check of pulls without engine speed, for which the
// stated ratio was taken. One witness is left: pulls end near the limiter, so in
// another gear they end at another drum speed.
func (a *Analysis) gearUnasked(unasked []string) campaign.Check {
	k := campaign.Check{
		ID: "gear", Status: campaign.Warn, Pulls: unasked, Unit: "%", Limit: number(100 * a.Limits.GearRatio),
		LimitSource: labLimit, Touches: []string{"band", "peak_torque", "peak_power", "curve"},
	}
	k.Message = fmt.Sprintf("The gear was not measured in %s: the log has no engine speed, so the stated engine turns a drum turn were taken. A pull in another gear would pass for a gain or a loss; log the engine speed.", pullList(unasked))
	var ends []float64
	for _, name := range unasked {
		ends = append(ends, a.pull(name).Result.Phases.HighRPM)
	}
	middle, worst := median(ends), 0.0
	var off []string
	for i, name := range unasked {
		departure := ends[i]/middle - 1
		if math.Abs(departure) > math.Abs(worst) {
			worst = departure
		}
		if math.Abs(departure) > a.Limits.GearRatio {
			off = append(off, name)
		}
	}
	k.Measured = number(100 * worst)
	if len(off) > 0 {
		k.Status, k.Pulls = campaign.Fail, off
		k.Message = fmt.Sprintf("The logs have no engine speed, and %s ended at another drum speed than the rest (%+.1f %%): another gear, or a throttle closed early. Find out which; log the engine speed, and repeat or exclude what does not belong, with the reason.", pullList(off), 100*worst)
	}
	return k
}

func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	n := len(sorted)
	if n%2 == 1 {
		return sorted[n/2]
	}
	return (sorted[n/2-1] + sorted[n/2]) / 2
}

// checkSlip asks whether engine and drum kept in step within each pull.
func (a *Analysis) checkSlip() []campaign.Check {
	k := campaign.Check{
		ID: "slip", Status: campaign.Pass, Unit: "%", Limit: number(100 * a.Limits.Slip),
		LimitSource: labLimit, Touches: []string{"band", "peak_torque", "peak_power", "curve"},
	}
	worst, at, asked := 0.0, 0.0, false
	for _, p := range usedPulls(a.Pulls) {
		if math.IsNaN(p.Result.SlipMax) || p.Kind == signal.Reduced {
			continue
		}
		asked = true
		if p.Result.SlipMax > worst {
			worst, at = p.Result.SlipMax, p.Result.SlipAt
		}
		if p.Result.SlipMax > a.Limits.Slip {
			k.Pulls = append(k.Pulls, p.Name)
		}
	}
	if !asked {
		return nil
	}
	k.Measured = number(100 * worst)
	k.Message = fmt.Sprintf("Engine and drum kept in step within %.2f %%.", 100*worst)
	if len(k.Pulls) > 0 {
		k.Status = campaign.Fail
		k.Message = fmt.Sprintf("Tyre or clutch slipped in %s: the speed ratio left its smooth course by up to %.2f %% (%.2f s into the log). Check straps, tyre pressure and clutch, then repeat the pull or exclude it, with the reason.",
			pullList(k.Pulls), 100*worst, at)
	}
	return []campaign.Check{a.withAnswers(k)}
}

// checkOilTemperature asks whether the engine was as warm on both sides, where
// the logs have oil temperature and the procedure sets no window for it.
func (a *Analysis) checkOilTemperature() []campaign.Check {
	for _, s := range a.Campaign.Procedure {
		if strings.HasPrefix(s.Key, signal.OilTemperature) {
			return nil
		}
	}
	unit := a.units.Unit(quantity.Temperature)
	return a.compareMeans(func(p *Pull) float64 { return meanOrNaN(p, signal.OilTemperature) },
		func(k *campaign.Check, difference float64) {
			k.ID, k.Unit = "engine-temperature", unit.Name
			k.Measured, k.Limit = number(unit.FromDifference(difference)), number(unit.FromDifference(a.Limits.OilTemperature))
			k.Message = fmt.Sprintf("Mean oil temperature agreed between the sides within %.1f %s.", math.Abs(*k.Measured), unit.Name)
			if math.Abs(difference) > a.Limits.OilTemperature {
				k.Status = campaign.Warn
				k.Message = fmt.Sprintf("The engine was not as warm on both sides: mean oil temperature differed by %.1f %s. Set a window under [procedure] and hold it.", *k.Measured, unit.Name)
			}
		})
}

// checkMixture asks whether both sides were fuelled alike.
func (a *Analysis) checkMixture() []campaign.Check {
	checks := a.compareMeans(func(p *Pull) float64 { return p.Result.Lambda },
		func(k *campaign.Check, difference float64) {
			k.ID, k.Unit, k.Limit = "mixture-difference", "1", number(a.Limits.Lambda)
			k.Measured = number(difference)
			k.Message = fmt.Sprintf("Mean lambda at full throttle agreed within %.3f.", math.Abs(difference))
			if math.Abs(difference) > a.Limits.Lambda {
				k.Status = campaign.Fail
				k.Message = fmt.Sprintf("The sides were not fuelled alike: mean lambda at full throttle differed by %.3f, so the part is compared with a tune. Bring the mixture of both sides together, by a qualified tuner, and repeat.%s", difference, a.mixtureShare(k.Comparison))
			}
		})
	for i := range checks {
		checks[i] = a.withAnswers(checks[i])
	}
	return checks
}

// compareMeans makes one check for each comparison from a per-pull value: fill
// sees candidate minus baseline. No check where a side has no value.
func (a *Analysis) compareMeans(value func(*Pull) float64, fill func(*campaign.Check, float64)) []campaign.Check {
	var checks []campaign.Check
	for i := range a.Comparisons {
		c := &a.Comparisons[i]
		baseline, okA := a.sideMean(c.Baseline, value)
		candidate, okB := a.sideMean(c.Candidate, value)
		if !okA || !okB {
			continue
		}
		k := campaign.Check{
			Status: campaign.Pass, Comparison: c.Candidate, LimitSource: labLimit,
			Touches: []string{"band", "peak_torque", "peak_power", "curve"},
		}
		fill(&k, candidate-baseline)
		if k.Status != campaign.Pass {
			k.Pulls = a.pullsOf(c.Candidate)
		}
		checks = append(checks, k)
	}
	return checks
}

func (a *Analysis) sideMean(configuration string, value func(*Pull) float64) (float64, bool) {
	var values []float64
	for _, p := range usedPulls(a.Pulls) {
		if v := value(p); p.Configuration == configuration && !math.IsNaN(v) {
			values = append(values, v)
		}
	}
	return meanOf(values), len(values) > 0
}

func (a *Analysis) pullsOf(configuration string) []string {
	var names []string
	for _, p := range usedPulls(a.Pulls) {
		if p.Configuration == configuration {
			names = append(names, p.Name)
		}
	}
	return names
}

func meanOrNaN(p *Pull, channel string) float64 {
	if v, ok := p.Result.Means[channel]; ok {
		return v
	}
	return math.NaN()
}

// checkCoastDown asks whether tyre and driveline took the same on both sides,
// and how much of the gain is the rig's if not.
func (a *Analysis) checkCoastDown() []campaign.Check {
	var checks []campaign.Check
	for i := range a.Comparisons {
		c := &a.Comparisons[i]
		k := campaign.Check{
			ID: "coast-down-agreement", Status: campaign.Pass, Comparison: c.Candidate, Unit: "%",
			Limit: number(100 * a.Limits.CoastShare), LimitSource: labLimit,
			Touches: []string{"band", "peak_torque", "peak_power", "curve"},
		}
		s, ok := a.coastShare(c)
		if !ok {
			k.Status = campaign.Warn
			k.Message = "There are no coast-downs on both sides: nothing tells the engine's change from a change of tyre, straps or driveline. Pull the clutch lever at the end of every pull and log the drum until it is slow."
			checks = append(checks, k)
			continue
		}
		a.wordCoastDown(&k, c, s)
		checks = append(checks, k)
	}
	return checks
}

func (a *Analysis) wordCoastDown(k *campaign.Check, c *compare.Comparison, s share) {
	k.Measured = number(100 * s.Value)
	interval := fmt.Sprintf("%.2f %% of wheel torque (%s interval %.2f to %.2f %%)", 100*s.Value, confidence(c), 100*s.Lo, 100*s.Hi)
	wheel := ""
	if s.WithoutWheel {
		wheel = " The wheel's inertia is not given; the drum's alone was used."
	}
	if !s.flagged(a.Limits) {
		k.Message = "The coast-downs of both sides agree: the rig's share of the gain is " + interval + "." + wheel
		return
	}
	k.Status = campaign.Warn
	k.Pulls = a.pullsOf(c.Candidate)
	figure := c.Figure(c.Primary)
	if figure.Missing != "" || math.Abs(s.Value) > a.Limits.CoastShareOfGain*math.Abs(math.Expm1(figure.Gain)) {
		k.Status = campaign.Fail
	}
	direction := "lost less"
	if s.Value < 0 {
		direction = "lost more"
	}
	k.Message = fmt.Sprintf("On the candidate's side tyre and driveline %s: %s comes from the rig, not from the engine. Check tyre pressure and temperature, straps and wheel alignment, and repeat.%s", direction, interval, wheel)
}

// rollingParts are the functions of components that change what the drum sees
// without a change of the engine.
var rollingParts = []string{"wheel", "tyre", "tire", "rim", "sprocket", "chain", "brake disc", "brake rotor", "hub", "final drive"}

// checkWheelChanged asks whether a rolling part differs between the sides and
// what share of wheel power that is.
func (a *Analysis) checkWheelChanged() []campaign.Check {
	var checks []campaign.Check
	baseline, _ := a.Campaign.Baseline()
	for i := range a.Comparisons {
		c := &a.Comparisons[i]
		candidate, _ := a.Campaign.Configuration(c.Candidate)
		sideA, sideB := settings(a.Campaign, c.Baseline), settings(a.Campaign, c.Candidate)
		changed := changedParts(&baseline, &candidate)
		if changed == "" && sideA.WheelInertia == sideB.WheelInertia && sideA.WheelRadius == sideB.WheelRadius {
			continue
		}
		k := campaign.Check{
			ID: "wheel-changed", Status: campaign.Warn, Comparison: c.Candidate, Unit: "%",
			LimitSource: "physics: share = (Iw,A − Iw,B)/(I + Iw,B), engine inertia left out",
			Touches:     []string{"band", "peak_torque", "peak_power", "curve"},
		}
		if a.allSteady {
			k.Status, k.LimitSource, k.Touches = campaign.Pass, "physics: nothing accelerates at a held speed", nil
			k.Message = "A rolling part differs between the sides. The speed was held, so what its inertia takes while it gains speed is no part of this figure."
			checks = append(checks, k)
			continue
		}
		what := "The driven wheel"
		if changed != "" {
			what = "A rolling part (" + changed + ")"
		}
		wheelA := drum.ReferWheelInertia(sideA.WheelInertia, sideA.WheelRadius, sideA.Radius)
		wheelB := drum.ReferWheelInertia(sideB.WheelInertia, sideB.WheelRadius, sideB.Radius)
		stated := candidate.WheelInertia > 0 || candidate.WheelRadius > 0
		if stated && wheelA > 0 && wheelB > 0 {
			share := drum.WheelShare(wheelA, wheelB, sideA.Inertia)
			k.Measured = number(100 * share)
			k.Message = fmt.Sprintf("%s differs between the sides: %.2f %% of wheel power on this drum comes from the wheel's inertia and would not be there at a steady speed.", what, 100*share)
		} else {
			k.Message = fmt.Sprintf("%s differs between the sides and its inertia is not given for both: every %s at a wheel as large as the drum is %.2f %% of wheel power on this drum. Give driven_wheel_inertia_kgm2 and driven_wheel_radius_m for both configurations.", what, a.write(0.1, quantity.Inertia, 1), 100*0.1/sideA.Inertia)
		}
		checks = append(checks, k)
	}
	return checks
}

// changedParts names the functions of rolling parts that differ.
func changedParts(a, b *campaign.Configuration) string {
	var changed []string
	for _, one := range [][2]*campaign.Configuration{{a, b}, {b, a}} {
		for _, part := range one[0].Components {
			if rolling(part.Function) && !slices.ContainsFunc(one[1].Components, func(other campaign.Component) bool {
				return other.Function == part.Function && other.Part == part.Part
			}) && !slices.Contains(changed, part.Function) {
				changed = append(changed, part.Function)
			}
		}
	}
	return strings.Join(changed, ", ")
}

func rolling(function string) bool {
	f := strings.ToLower(strings.ReplaceAll(function, "_", " "))
	if strings.Contains(f, "front") {
		return false
	}
	return slices.ContainsFunc(rollingParts, func(word string) bool { return strings.Contains(f, word) })
}
