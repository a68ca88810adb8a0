package report

import (
	"math"
	"strconv"
	"time"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/curve"
)

// sample is an invented campaign: a gain of about 6 % over the riding band, a
// small dip low down, one pull excluded, one procedure check that did not pass.
func sample() *Gain {
	day := time.Date(2031, 5, 14, 9, 0, 0, 0, time.FixedZone("", 2*3600))
	g := &Gain{
		Campaign: campaign.Campaign{
			ID: "twin650-intake-cam", Title: "Intake and cam kit on the 650 twin",
			Purpose: "Does the kit give more torque where people ride?",
			Objective: campaign.Objective{
				BandRPM: [2]float64{2500, 6000}, SmallestGain: 0.02, Confidence: 0.95, Primary: campaign.PrimaryBand,
			},
			Vehicle: campaign.Vehicle{
				ID: "twin650-03", Description: "650 cc parallel twin, 6-speed", MassWithRider: 285, TestGear: 4,
				EngineRevsPerDrumRev: 3.71, WheelInertia: 0.62, WheelRadius: 0.31, TyreSpeedSymbol: "H",
			},
			Dyno: campaign.Dyno{ID: "cell-1", DrumInertia: 41.8, DrumInertiaU: 0.42, DrumRadius: 0.2286, PulsesPerRev: 60},
			Configurations: []campaign.Configuration{
				{ID: "A", Role: campaign.Baseline, Name: "as delivered", Components: []campaign.Component{
					{Function: "camshaft", Part: "OEM 650-14"}, {Function: "exhaust", Part: "OEM 650-90"}, {Function: "air filter", Part: "OEM 650-21"}},
					Settings: []campaign.Setting{{Key: "ignition_map", Value: "stock"}}},
				{ID: "B", Role: campaign.Candidate, Name: "kit", Components: []campaign.Component{
					{Function: "camshaft", Part: "K-218", Serial: "0417", Batch: "31-06"}, {Function: "exhaust", Part: "OEM 650-90"}, {Function: "intake trumpet", Part: "K-77"}},
					Settings: []campaign.Setting{{Key: "ignition_map", Value: "K-218 r3"}}},
			},
			Procedure:  []campaign.SetPoint{{Key: "tyre_pressure_kpa", Target: 250, Tolerance: 7}, {Key: "oil_temp_degc", Target: 90, Tolerance: 8}},
			History:    &campaign.History{SetupSD: 0.007, SetupDF: 12, PullSD: 0.004, PullDF: 60},
			Correction: "SAE J1349",
		},
		Standard: Standard{Name: "SAE J1349", Form: "SAE J1349, form of June 1990 (spark ignition, naturally aspirated)",
			Note: "Figures of the later form differ by a fraction of a per cent."},
		CoastShares: map[string]CoastShare{"B": {Value: 0.0005, Lo: -0.0008, Hi: 0.0018}},
		Version:     "0.1.0",
	}
	g.Comparisons = []compare.Comparison{sampleComparison("A", "B", 0)}
	f := &g.Comparisons[0].PeakPower
	g.Compensated = []Compensated{
		{Configuration: "A", AtRPM: f.BaselineRPM, WheelW: f.BaselineLevel, WheelHalfW: 440, CompensatedW: 41250, HalfWidthW: 240},
		{Configuration: "B", AtRPM: f.CandidateRPM, WheelW: f.CandidateLevel, WheelHalfW: 550, CompensatedW: 44180, HalfWidthW: 260},
	}
	names := []string{"A", "A", "A", "B", "B", "B", "A", "A", "A"}
	for i, id := range names {
		g.Pulls = append(g.Pulls, samplePull(i, id, day.Add(time.Duration(i*14)*time.Minute)))
	}
	g.Pulls[4].Notes = []string{"oil at 99 °C"}
	g.Pulls = append(g.Pulls, PullRow{
		Pull: "10", Configuration: "A", Setup: "s3", Reason: "wrong gear: third", Started: day.Add(140 * time.Minute),
		CorrectionFactor: math.NaN(), PeakTorqueNm: math.NaN(), PeakPowerW: math.NaN(), CoastLossNm: math.NaN(), CoastSpeedMPS: math.NaN(), Ratio: math.NaN(),
	})
	g.Checks = sampleChecks()
	return g
}

func sampleChecks() []campaign.Check {
	n := func(v float64) *float64 { return &v }
	return []campaign.Check{
		{ID: "correction-range", Status: campaign.Pass, Measured: n(1.021), Limit: n(1.07), Unit: "1",
			Message: "Every correction factor lies within 0.93 to 1.07.", LimitSource: "the lab's limit (default)", Touches: []string{"band", "peak_torque", "peak_power"}},
		{ID: "procedure", Status: campaign.Warn, Pulls: []string{"5"}, Measured: n(9), Limit: n(8), Unit: "°C",
			Message: "Pull 5 has oil temp outside 90 ± 8 °C (off by up to +9 °C).", LimitSource: "the campaign's set point oil_temp_degc", Touches: []string{"pulls"}},
		{ID: "coast-down-agreement", Status: campaign.Pass, Comparison: "B", Pulls: []string{"4", "5", "6"}, Measured: n(0.05), Limit: n(0.2), Unit: "%",
			Message: "The coast-downs of both sides agree: the rig's share of the gain is 0.05 % of wheel power (95 % interval -0.08 to 0.18 %).", LimitSource: "the lab's limit (default)", Touches: []string{"band"}},
		{ID: "bracketing", Status: campaign.Pass, Comparison: "B", Message: "Every candidate block stands between two baseline blocks.", Touches: []string{"band"}},
		{ID: "repeatability", Status: campaign.Pass, Measured: n(0.46), Limit: n(1.2), Unit: "%", Message: "Pulls of one block scatter by at most 0.46 %.", LimitSource: "the lab's limit (default)", Touches: []string{"band"}},
		{ID: "setups", Status: campaign.Warn, Measured: n(3), Limit: n(3), Message: "Three setups: the history carries most of the interval.", Touches: []string{"band", "drift"}},
	}
}

// sampleTorque is an invented torque curve in N·m, shaped like a touring twin's.
func sampleTorque(rpm float64) float64 {
	x := (rpm - 4400) / 2600
	return 61.2 - 7.4*x*x - 1.6*x*x*x + 0.9*math.Sin(rpm/420)
}

// sampleGain is an invented gain, a fraction.
func sampleGain(rpm float64) float64 {
	return 0.078*math.Exp(-math.Pow((rpm-5600)/1900, 2)) + 0.012 - 0.035*math.Exp(-math.Pow((rpm-2450)/420, 2))
}

// sampleComparison has hand-made numbers of a plausible size; shift moves the
// whole gain.
func sampleComparison(baseline, candidate string, shift float64) compare.Comparison {
	c := compare.Comparison{
		Baseline: baseline, Candidate: candidate, BandRPM: [2]float64{2500, 6000}, Confidence: 0.95, SmallestGain: 0.02,
		Primary: compare.Band, WholeBandFactor: 2.91, WholeBandDF: 12.4, AtLeastEverywhere: 0.0021 + shift,
		Band:       sampleFigure(math.Log(1.0671)+shift, 0.0057, 58.1),
		PeakTorque: sampleFigure(math.Log(1.0722)+shift, 0.0056, 61.2),
		PeakPower:  sampleFigure(math.Log(1.0741)+shift, 0.0060, 38010),
		Drift: compare.Drift{Known: true, PerHour: 0.004, Lo: -0.001, Hi: 0.009, Change: 0.007, ChangeLo: -0.0017, ChangeHi: 0.0157,
			P: 0.11, MaxWeightSum: 0.5, NoLargerThan: 0.014, Answer: compare.DriftUnclear},
		Bracketed: true, DriftBounded: true, TippingSD: math.NaN(),
		Scatter: compare.Scatter{PullSD: 0.0041, PullDF: 66, SetupSD: 0.007, SetupDF: 12, BlockSD: math.NaN(),
			Source: compare.FromHistory, SetupKnown: true, BlockKnown: true, HistoryP: math.NaN()},
		Parts:   map[string]float64{"setup": 2.2e-5, "pull": 4.1e-6, "drift": 4e-6, "weather": 1e-7},
		Verdict: compare.GainShown,
	}
	for rpm := 2000.0; rpm <= 7500; rpm += 50 {
		gain, se := math.Log1p(sampleGain(rpm))+shift, 0.0058+0.0022*math.Abs(math.Sin(rpm/900))
		n := compare.Node{RPM: rpm, Baseline: sampleTorque(rpm), Gain: gain, SE: se, DF: 12, Interval: true,
			Lo: gain - 2.18*se, Hi: gain + 2.18*se, AtLeast: gain - 1.78*se, BandLo: math.NaN(), BandHi: math.NaN(), BandAtLeast: math.NaN(),
			BaselineHalf: 0.009 + se/3, CandidateHalf: 0.011 + se/3}
		n.Candidate = n.Baseline * math.Exp(gain)
		if rpm >= 2500 && rpm <= 6000 {
			n.BandLo, n.BandHi, n.BandAtLeast = gain-2.91*se, gain+2.91*se, gain-2.6*se
		}
		c.Curve = append(c.Curve, n)
	}
	samplePeaks(&c)
	for i, id := range []string{baseline, candidate, baseline} {
		c.Blocks = append(c.Blocks, compare.Block{Configuration: id, Setup: "s" + strconv.Itoa(i+1),
			Pulls: []string{strconv.Itoa(3*i + 1), strconv.Itoa(3*i + 2), strconv.Itoa(3*i + 3)},
			Hours: 0.23 + 0.7*float64(i), Weight: []float64{-0.5, 1, -0.5}[i], BandMean: 4.06 + 0.065*float64(i%2), PullSD: 0.0035 + 0.0004*float64(i)})
	}
	return c
}

func sampleFigure(gain, se, level float64) compare.Figure {
	return compare.Figure{Interval: true, BaselineLevel: level, CandidateLevel: level * math.Exp(gain), Gain: gain, SE: se, DF: 12.4,
		Lo: gain - 2.17*se, Hi: gain + 2.17*se, AtLeast: gain - 1.78*se, AtMost: gain + 1.78*se}
}

func samplePull(i int, id string, started time.Time) PullRow {
	c := curve.Curve{}
	for rpm := 2000.0; rpm <= 7500; rpm += 50 {
		torque := sampleTorque(rpm) * (1 + 0.003*math.Sin(float64(7*i)+rpm/700))
		if id != "A" {
			torque *= 1 + sampleGain(rpm)
		}
		c.SpeedRPM, c.Torque, c.StandardError = append(c.SpeedRPM, rpm), append(c.Torque, torque), append(c.StandardError, 0.2)
	}
	row := PullRow{Pull: strconv.Itoa(i + 1), Configuration: id, Setup: "s" + strconv.Itoa(i/3+1), Used: true, Block: i/3 + 1, Started: started,
		CorrectionFactor: 1.021 + 0.0006*float64(i), PeakTorqueNm: 61 + 0.1*float64(i), PeakPowerW: 37900 + 60*float64(i), Curve: c,
		CoastLossNm: 12.1 + 0.05*float64(i%3), CoastSpeedMPS: 22, Ratio: 3.71 + 0.001*float64(i%2)}
	return row
}

// samplePeaks reads the peaks off the curve.
func samplePeaks(c *compare.Comparison) {
	t, p := &c.PeakTorque, &c.PeakPower
	t.BaselineLevel, t.CandidateLevel, p.BaselineLevel, p.CandidateLevel = 0, 0, 0, 0
	for _, n := range c.Curve {
		omega := n.RPM * curve.RadPerSecondPerRPM
		if n.Baseline > t.BaselineLevel {
			t.BaselineLevel, t.BaselineRPM = n.Baseline, n.RPM
		}
		if n.Candidate > t.CandidateLevel {
			t.CandidateLevel, t.CandidateRPM = n.Candidate, n.RPM
		}
		if n.Baseline*omega > p.BaselineLevel {
			p.BaselineLevel, p.BaselineRPM = n.Baseline*omega, n.RPM
		}
		if n.Candidate*omega > p.CandidateLevel {
			p.CandidateLevel, p.CandidateRPM = n.Candidate*omega, n.RPM
		}
	}
}
