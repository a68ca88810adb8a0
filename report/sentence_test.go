package report

import (
	"math"
	"strings"
	"testing"

	"fairpull/campaign"
	"fairpull/compare"
)

// effect sets a figure's gain and interval, in per cent.
func effectPct(f *compare.Figure, gain, lo, hi, atLeast, atMost float64) {
	ln := func(pct float64) float64 { return math.Log1p(pct / 100) }
	f.Gain, f.Lo, f.Hi, f.AtLeast, f.AtMost = ln(gain), ln(lo), ln(hi), ln(atLeast), ln(atMost)
}

// sentences are the wordings of every verdict: what is put in by hand, and what
// a person reads.
var sentences = []struct {
	name   string
	change func(g *Gain, c *compare.Comparison)
	want   string
}{
	{"gain", func(_ *Gain, c *compare.Comparison) { effectPct(&c.Band, 6.71, 5.46, 7.94, 5.68, 7.7) },
		"At full throttle “kit” (B) gives 6.7 % more torque than “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm (95 % interval: 5.5 % to 7.9 %); a gain of at least 5.6 % is shown (95 % one-sided confidence)."},
	{"gain, interval narrow", func(_ *Gain, c *compare.Comparison) { effectPct(&c.Band, 6.714, 6.21, 7.22, 6.29, 7.1) },
		"At full throttle “kit” (B) gives 6.71 % more torque than “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm (95 % interval: 6.21 % to 7.22 %); a gain of at least 6.2 % is shown (95 % one-sided confidence)."},
	{"gain, two-sided interval over zero", func(_ *Gain, c *compare.Comparison) { effectPct(&c.Band, 1.4, -0.1, 2.9, 0.15, 2.6) },
		"At full throttle “kit” (B) gives 1.4 % more torque than “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm (95 % interval of the gain: −0.1 % to +2.9 %); a gain of at least 0.1 % is shown (95 % one-sided confidence)."},
	{"gain, hardly", func(_ *Gain, c *compare.Comparison) { effectPct(&c.Band, 1.4, -0.2, 3.0, 0.04, 2.8) },
		"At full throttle “kit” (B) gives 1.4 % more torque than “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm (95 % interval of the gain: −0.2 % to +3.0 %); a gain is shown (95 % one-sided confidence), but less than 0.1 % of it can be promised."},
	{"gain of no interest", func(_ *Gain, c *compare.Comparison) {
		effectPct(&c.Band, 0.9, 0.4, 1.4, 0.48, 1.3)
		c.SmallerThanInterest = true
	}, "At full throttle “kit” (B) gives 0.90 % more torque than “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm (95 % interval: 0.40 % to 1.40 %); a gain of at least 0.4 % is shown (95 % one-sided confidence); it is also shown to be smaller than 2 %, the smallest gain of interest."},
	{"gain with a share of the rig's", func(g *Gain, c *compare.Comparison) {
		effectPct(&c.Band, 6.71, 5.46, 7.94, 5.68, 7.7)
		g.CoastShares["B"] = CoastShare{Value: 0.0062, Lo: 0.0021, Hi: 0.0103}
		g.Checks[2].Status = campaign.Warn
	}, "At full throttle “kit” (B) gives 6.7 % more torque than “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm (95 % interval: 5.5 % to 7.9 %); a gain of at least 5.6 % is shown (95 % one-sided confidence); by the coast-downs, tyre and driveline account for +0.62 % of wheel torque (95 % interval: +0.21 % to +1.03 %, the loss difference taken as the same torque at every speed), which is the rig's and not the engine's, so that at least 4.6 % is shown beyond it."},
	{"gain with a lighter wheel of unknown inertia", func(g *Gain, c *compare.Comparison) {
		effectPct(&c.Band, 6.71, 5.46, 7.94, 5.68, 7.7)
		g.Checks = append(g.Checks, campaign.Check{ID: "wheel-changed", Status: campaign.Warn, Comparison: "B"})
	}, "At full throttle “kit” (B) gives 6.7 % more torque than “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm (95 % interval: 5.5 % to 7.9 %); a gain of at least 5.6 % is shown (95 % one-sided confidence); a rolling part differs between the sides, so what its inertia takes while it gains speed is part of this figure and would not be felt at a steady speed (how much is not known: its inertia is not given)."},
	{"gain on assumed history", func(g *Gain, c *compare.Comparison) {
		effectPct(&c.Band, 6.71, 5.46, 7.94, 5.68, 7.7)
		g.Campaign.History.Assumed = true
	}, "At full throttle “kit” (B) gives 6.7 % more torque than “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm (95 % interval: 5.5 % to 7.9 %); a gain of at least 5.6 % is shown (95 % one-sided confidence); the scatter from earlier work is assumed by judgement, not measured."},
	{"gain in peak power", func(_ *Gain, c *compare.Comparison) {
		c.Primary = compare.PeakPower
		effectPct(&c.PeakPower, 7.6, 6.3, 8.9, 6.51, 8.6)
		c.PeakPower.BaselineRPM, c.PeakPower.CandidateRPM = 7100, 7300
	}, "At full throttle “kit” (B) gives 7.6 % more peak power than “as delivered” (A), each at its own peak, 7300 against 7100 rpm (95 % interval: 6.3 % to 8.9 %); a gain of at least 6.5 % is shown (95 % one-sided confidence)."},
	{"gain without a stated band, at 97.5 %", func(g *Gain, c *compare.Comparison) {
		g.Campaign.Objective.BandRPM = [2]float64{}
		c.BandRPM, c.Confidence = [2]float64{2000, 7500}, 0.975
		effectPct(&c.Band, 12.3, 1.3, 23.3, 3.19, 20)
	}, "At full throttle “kit” (B) gives 12 % more torque than “as delivered” (A), averaged over the range that all pulls share, 2000 to 7500 rpm (97.5 % interval: 1 % to 23 %); a gain of at least 3.1 % is shown (97.5 % one-sided confidence)."},
	{"loss", func(_ *Gain, c *compare.Comparison) {
		c.Verdict = compare.LossShown
		effectPct(&c.Band, -3.12, -4.2, -2.0, -4.0, -2.29)
	}, "At full throttle “kit” (B) gives 3.1 % less torque than “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm (95 % interval of the gain: −4.2 % to −2.0 %); a loss of at least 2.2 % is shown (95 % one-sided confidence)."},
	{"no difference", func(_ *Gain, c *compare.Comparison) {
		c.Verdict = compare.NoDifference
		effectPct(&c.Band, 0.32, -0.9, 1.54, -0.7, 1.3)
	}, "At full throttle “kit” (B) and “as delivered” (A) show no difference of interest in torque, averaged over the riding band of 2500 to 6000 rpm: the gain is +0.3 % (95 % interval of the gain: −0.9 % to +1.5 %), and a difference of 2 % or more, the smallest of interest, is ruled out either way (95 % one-sided confidence)."},
	{"not enough, with advice", func(_ *Gain, c *compare.Comparison) {
		c.Verdict, c.SetupsToSettle = compare.NotEnoughEvidence, 8
		effectPct(&c.Band, 1.2, -0.9, 3.3, -0.5, 2.9)
	}, "There is not enough evidence of a difference in full-throttle torque between “kit” (B) and “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm: the measured gain is +1.2 % (95 % interval of the gain: −0.9 % to +3.3 %); about 8 blocks in the same alternating order would have an 80 % chance to show a gain of 2 %."},
	{"setup scatter unknown", func(_ *Gain, c *compare.Comparison) {
		withhold(c, compare.SetupScatterUnknown)
		c.Scatter.Source, c.TippingSD = compare.FromNone, 0.00819
	}, withheld + "; the interval covers pull-to-pull scatter only, because the scatter from one setup to the next is not known; if results scatter setup to setup with a standard deviation above 0.81 % (at 5 degrees of freedom), this would not show a gain."},
	{"change-over scatter unknown", func(_ *Gain, c *compare.Comparison) {
		withhold(c, compare.BlockScatterUnknown)
		c.Scatter.Source, c.TippingSD = compare.Cancelled, 0.0042
	}, withheld + "; the interval covers pull-to-pull scatter only, because all pulls share one setup and the scatter from one change-over of parts to the next is not known; if results scatter from one change-over to the next with a standard deviation above 0.42 % (at 5 degrees of freedom), this would not show a gain."},
	{"setup scatter of its own on one degree of freedom", func(_ *Gain, c *compare.Comparison) {
		withhold(c, compare.SetupScatterUnknown)
		c.Scatter.Source, c.TippingSD = compare.FromCampaign, math.NaN()
	}, withheld + "; the scatter from one setup to the next rests on too few setups of this campaign and on no earlier work."},
	{"mixed setups, change-over scatter unknown", func(_ *Gain, c *compare.Comparison) {
		withhold(c, compare.BlockScatterUnknown)
		c.Scatter.Source, c.TippingSD = compare.FromBoth, math.NaN()
	}, withheld + "; some blocks share a setup and the scatter from one change-over of parts to the next is not known."},
	{"no replicates", func(_ *Gain, c *compare.Comparison) {
		withhold(c, compare.PullScatterUnknown)
		c.Band.Interval = false
	}, "There is not enough evidence of a difference in full-throttle torque between “kit” (B) and “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm: the measured gain is +6.7 % (no interval); no interval can be given, because no block repeats a pull."},
	{"drift not bounded", func(_ *Gain, c *compare.Comparison) { withhold(c, compare.DriftNotBounded) },
		withheld + "; drift of the rig is not bounded by this campaign, because the candidate was not measured between two baseline blocks."},
	{"drift gate", func(_ *Gain, c *compare.Comparison) {
		withhold(c, compare.DriftGate)
		c.Drift.Change, c.Drift.ChangeLo, c.Drift.ChangeHi = math.Log(1.081), math.Log(1.061), math.Log(1.101)
	}, withheld + "; the rig drifted by +8.1 % (95 % interval: 6.1 % to 10.1 %) over the session, too much beside the gain."},
	{"open checks", func(g *Gain, c *compare.Comparison) {
		withhold(c, compare.OpenCheck)
		g.Checks = append(g.Checks, campaign.Check{ID: "gear", Status: campaign.Fail, Pulls: []string{"4"}, Withholds: []string{"B"}},
			campaign.Check{ID: "slip", Status: campaign.Fail, Pulls: []string{"5", "6"}, Withholds: []string{"B", "C"}},
			campaign.Check{ID: "slip", Status: campaign.Fail, Comparison: "C", Pulls: []string{"9"}, Withholds: []string{"C"}},
			campaign.Check{ID: "procedure", Status: campaign.Fail, Pulls: []string{"1"}})
	}, withheld + "; a failed check is open (gear, pull 4; slip, pulls 5 and 6)."},
	{"coast-down", func(g *Gain, c *compare.Comparison) {
		withhold(c, compare.CoastDown)
		g.CoastShares["B"] = CoastShare{Value: 0.071, Lo: 0.052, Hi: 0.090}
		g.Checks[2].Status = campaign.Fail
	}, withheld + "; by the coast-downs, tyre and driveline account for +7.1 % of wheel torque (95 % interval: +5.2 % to +9.0 %, the loss difference taken as the same torque at every speed), which is the rig's and not the engine's."},
	{"unusual pull", func(_ *Gain, c *compare.Comparison) {
		withhold(c, compare.UnusualOpen)
		c.Unusual = []compare.Unusual{{Pull: "5", Level: true}, {Pull: "5"}, {Block: 2}}
	}, withheld + "; an unusual pull is neither explained nor excluded (pull 5)."},
	{"primary missing", func(_ *Gain, c *compare.Comparison) {
		withhold(c, compare.NoPrimary)
		c.Band.Missing = "pull 3 does not cover the riding band."
	}, "There is not enough evidence of a difference in full-throttle torque between “kit” (B) and “as delivered” (A): the figure that the verdict stands on is missing, because pull 3 does not cover the riding band."},
	{"plan changed", func(_ *Gain, c *compare.Comparison) { withhold(c, compare.PlanChanged) },
		withheld + "; the plan was changed after the first candidate pull, so this is exploratory."},
	{"plan unfinished", func(_ *Gain, c *compare.Comparison) { withhold(c, compare.PlanUnfinished) },
		withheld + "; the plan is not measured to its end, and a verdict before it would be stopping early."},
	{"gain on an answered check", func(g *Gain, c *compare.Comparison) {
		effectPct(&c.Band, 6.71, 5.46, 7.94, 5.68, 7.7)
		g.Checks = append(g.Checks, campaign.Check{ID: "mixture-difference", Status: campaign.Fail, Pulls: []string{"4", "5", "6"}, Answered: []string{"B"}},
			campaign.Check{ID: "slip", Status: campaign.Fail, Comparison: "C", Pulls: []string{"9"}, Answered: []string{"C"}})
	}, "At full throttle “kit” (B) gives 6.7 % more torque than “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm (95 % interval: 5.5 % to 7.9 %); a gain of at least 5.6 % is shown (95 % one-sided confidence); the failed check mixture-difference (pulls 4, 5 and 6) was answered in writing."},
	{"no difference on two answered checks", func(g *Gain, c *compare.Comparison) {
		c.Verdict = compare.NoDifference
		effectPct(&c.Band, 0.32, -0.9, 1.54, -0.7, 1.3)
		g.Checks = append(g.Checks, campaign.Check{ID: "gear", Status: campaign.Fail, Pulls: []string{"7"}, Answered: []string{"B"}},
			campaign.Check{ID: "log-integrity", Status: campaign.Fail, Comparison: "B", Answered: []string{"B"}})
	}, "At full throttle “kit” (B) and “as delivered” (A) show no difference of interest in torque, averaged over the riding band of 2500 to 6000 rpm: the gain is +0.3 % (95 % interval of the gain: −0.9 % to +1.5 %), and a difference of 2 % or more, the smallest of interest, is ruled out either way (95 % one-sided confidence); the failed checks gear (pull 7) and log-integrity were answered in writing."},
	{"open check beside an answered one", func(g *Gain, c *compare.Comparison) {
		withhold(c, compare.OpenCheck)
		g.Checks = append(g.Checks, campaign.Check{ID: "gear", Status: campaign.Fail, Pulls: []string{"4"}, Withholds: []string{"B"}},
			campaign.Check{ID: "slip", Status: campaign.Fail, Pulls: []string{"5"}, Answered: []string{"B"}})
	}, withheld + "; a failed check is open (gear, pull 4); the failed check slip (pull 5) was answered in writing."},
	{"gain without coast-downs", func(g *Gain, c *compare.Comparison) {
		effectPct(&c.Band, 6.71, 5.46, 7.94, 5.68, 7.7)
		g.CoastShares = nil
		g.Checks[2].Status, g.Checks[2].Measured = campaign.Warn, nil
	}, "At full throttle “kit” (B) gives 6.7 % more torque than “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm (95 % interval: 5.5 % to 7.9 %); a gain of at least 5.6 % is shown (95 % one-sided confidence); without usable coast-downs on both sides nothing tells the engine's change from a change of tyre, straps or driveline."},
	{"gain, not corrected", func(g *Gain, c *compare.Comparison) {
		effectPct(&c.Band, 6.71, 5.46, 7.94, 5.68, 7.7)
		g.Standard = Standard{Name: "none"}
		air := 4.87
		g.Checks = append(g.Checks, campaign.Check{ID: "weather-change", Status: campaign.Warn, Comparison: "B", Measured: &air, Unit: "%"})
	}, "At full throttle “kit” (B) gives 6.7 % more torque than “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm (95 % interval: 5.5 % to 7.9 %); a gain of at least 5.6 % is shown (95 % one-sided confidence); not corrected for the air, and the air alone accounts for about +4.9 % between the sides."},
	{"no difference, not corrected, the air not known", func(g *Gain, c *compare.Comparison) {
		c.Verdict = compare.NoDifference
		effectPct(&c.Band, 0.32, -0.9, 1.54, -0.7, 1.3)
		g.Standard = Standard{Name: "none"}
		g.Checks = append(g.Checks, campaign.Check{ID: "weather-change", Status: campaign.Warn})
	}, "At full throttle “kit” (B) and “as delivered” (A) show no difference of interest in torque, averaged over the riding band of 2500 to 6000 rpm: the gain is +0.3 % (95 % interval of the gain: −0.9 % to +1.5 %), and a difference of 2 % or more, the smallest of interest, is ruled out either way (95 % one-sided confidence); not corrected for the air."},
	{"weather apart, corrected", func(g *Gain, c *compare.Comparison) {
		effectPct(&c.Band, 6.71, 5.46, 7.94, 5.68, 7.7)
		air := 4.87
		g.Checks = append(g.Checks, campaign.Check{ID: "weather-change", Status: campaign.Warn, Comparison: "B", Measured: &air, Unit: "%"})
	}, "At full throttle “kit” (B) gives 6.7 % more torque than “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm (95 % interval: 5.5 % to 7.9 %); a gain of at least 5.6 % is shown (95 % one-sided confidence)."},
	{"gain at the crank", func(g *Gain, c *compare.Comparison) {
		effectPct(&c.Band, 6.71, 5.46, 7.94, 5.68, 7.7)
		g.AtCrank = true
	}, "At full throttle “kit” (B) gives 6.7 % more torque at the crank than “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm (95 % interval: 5.5 % to 7.9 %); a gain of at least 5.6 % is shown (95 % one-sided confidence)."},
	{"loss, setup scatter unknown", func(_ *Gain, c *compare.Comparison) {
		c.Verdict, c.Reasons = compare.NotEnoughEvidence, []compare.Reason{compare.SetupScatterUnknown}
		effectPct(&c.Band, -3.12, -4.2, -2.0, -4.0, -2.29)
		c.Scatter.Source, c.TippingSD = compare.FromNone, 0.00819
	}, "There is not enough evidence of a difference in full-throttle torque between “kit” (B) and “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm: the measured gain is −3.1 % (95 % interval of the gain: −4.2 % to −2.0 %); the interval covers pull-to-pull scatter only, because the scatter from one setup to the next is not known; if results scatter setup to setup with a standard deviation above 0.81 % (at 5 degrees of freedom), this would not show a loss."},
	{"setup scatter unknown and a check open", func(_ *Gain, c *compare.Comparison) {
		withhold(c, compare.SetupScatterUnknown, compare.OpenCheck)
		c.Scatter.Source, c.TippingSD = compare.FromNone, 0.00819
	}, withheld + "; the interval covers pull-to-pull scatter only, because the scatter from one setup to the next is not known; a failed check is open."},
}

const withheld = "There is not enough evidence of a difference in full-throttle torque between “kit” (B) and “as delivered” (A), averaged over the riding band of 2500 to 6000 rpm: the measured gain is +6.7 % (95 % interval: 5.5 % to 7.9 %)"

func withhold(c *compare.Comparison, reasons ...compare.Reason) {
	c.Verdict, c.Reasons = compare.NotEnoughEvidence, reasons
	effectPct(&c.Band, 6.71, 5.46, 7.94, 5.68, 7.7)
}

func TestSentences(t *testing.T) {
	for _, row := range sentences {
		g := sample()
		row.change(g, &g.Comparisons[0])
		got := g.Sentence(&g.Comparisons[0])
		if got != row.want {
			t.Errorf("%s:\n%s\nwant\n%s", row.name, got, row.want)
		}
		if strings.Count(got, ". ") != 0 || !strings.HasSuffix(got, ".") || strings.HasSuffix(got, "..") {
			t.Errorf("%s: not one sentence: %s", row.name, got)
		}
		if strings.Contains(got, "%") && !strings.Contains(got, "interval") {
			t.Errorf("%s: a figure without its interval: %s", row.name, got)
		}
	}
}

// A verdict that nobody set is never a claim.
func TestSentenceOfAZeroComparison(t *testing.T) {
	g := &Gain{}
	c := &compare.Comparison{Band: compare.Figure{Missing: "nothing was measured"}}
	if got := g.Sentence(c); !strings.HasPrefix(got, "There is not enough evidence") {
		t.Errorf("the zero comparison says %q", got)
	}
	if got := Verdict(c); got != "Not enough evidence" {
		t.Errorf("the verdict of the zero comparison is %q", got)
	}
}

func TestSentenceNamesAreCleanAndBounded(t *testing.T) {
	g := sample()
	g.Campaign.Configurations[1].Name = "kit\x1b[2J\u202e" + strings.Repeat("long ", 400)
	got := g.Sentence(&g.Comparisons[0])
	if strings.ContainsAny(got, "\x1b\u202e") {
		t.Errorf("a control character came through: %q", got)
	}
	if n := len([]rune(got)); n > 600 {
		t.Errorf("the sentence is %d characters long", n)
	}
}
