package lab

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"fairpull/campaign"
	"fairpull/compare"
)

// checkRepeatability asks how far pulls scattered within a block.
func (a *Analysis) checkRepeatability() []campaign.Check {
	k := campaign.Check{
		ID: "repeatability", Status: campaign.Pass, Unit: "%", Limit: number(100 * a.Limits.Repeatability),
		LimitSource: labLimit, Touches: []string{"band"},
	}
	worst := math.NaN()
	for _, b := range a.blocks() {
		sd := a.blockSD(b)
		if math.IsNaN(sd) {
			continue
		}
		if !(sd <= worst) {
			worst = sd
		}
		if sd > a.Limits.Repeatability {
			k.Pulls = append(k.Pulls, b.Pulls...)
		}
	}
	if math.IsNaN(worst) {
		k.Status = campaign.Warn
		k.Message = "No block has two pulls: pull-to-pull scatter was not measured in this campaign. Make at least three pulls a block."
		return []campaign.Check{k}
	}
	k.Measured = number(100 * worst)
	k.Message = fmt.Sprintf("Within a block the mean torque over the band repeated within %.2f %% (largest standard deviation).", 100*worst)
	if len(k.Pulls) > 0 {
		k.Status = campaign.Warn
		k.Message = fmt.Sprintf("Pulls scattered too far within a block (standard deviation up to %.2f %%, %s). Look for slip, heat soak, or a pull begun before the engine had settled.", 100*worst, pullList(k.Pulls))
	}
	return []campaign.Check{k}
}

// blocks returns the blocks of all comparisons, each once.
func (a *Analysis) blocks() []compare.Block {
	var blocks []compare.Block
	seen := map[string]bool{}
	for _, c := range a.Comparisons {
		for _, b := range c.Blocks {
			if !seen[b.Pulls[0]] {
				seen[b.Pulls[0]] = true
				blocks = append(blocks, b)
			}
		}
	}
	slices.SortFunc(blocks, func(x, y compare.Block) int {
		if x.Hours < y.Hours {
			return -1
		}
		return 1
	})
	return blocks
}

// blockMeans returns, for the pulls of b, ln of the mean corrected torque over
// the band (over the shared range without a band figure).
func (a *Analysis) blockMeans(b compare.Block) []float64 {
	band := a.Campaign.Objective.BandRPM
	if !a.BandCovered {
		band = [2]float64{}
	}
	values := make([]float64, len(b.Pulls))
	for i, name := range b.Pulls {
		p := a.pull(name)
		sum, n := 0.0, 0
		for _, rpm := range a.SpeedRPM {
			if !inBand(rpm, band) {
				continue
			}
			at, _ := slices.BinarySearch(p.Corrected.SpeedRPM, rpm)
			sum += p.Corrected.Torque[at]
			n++
		}
		values[i] = math.Log(sum / float64(n))
	}
	return values
}

func (a *Analysis) blockSD(b compare.Block) float64 {
	values := a.blockMeans(b)
	if len(values) < 2 {
		return math.NaN()
	}
	m, ss := meanOf(values), 0.0
	for _, v := range values {
		ss += (v - m) * (v - m)
	}
	return math.Sqrt(ss / float64(len(values)-1))
}

// checkTrendInBlock asks whether pulls climb or fall within their blocks, as an
// engine or tyre does that was not warm: one slope over the order of pulls is
// fitted to all blocks together, and one to the block that moved most.
func (a *Analysis) checkTrendInBlock() []campaign.Check {
	trend, ok := a.trendWithinBlocks()
	if !ok {
		return nil
	}
	k := campaign.Check{
		ID: "trend-in-block", Status: campaign.Pass, Unit: "%", Limit: number(100 * a.Limits.BlockTrend),
		Measured: number(100 * trend.change), LimitSource: fmt.Sprintf("%s, with p < %g", labLimit, a.Limits.BlockTrendP),
		Touches: []string{"band", "drift"},
	}
	k.Message = fmt.Sprintf("No trend within blocks was found (%+.2f %% from first to last pull).", 100*trend.change)
	if trend.p < a.Limits.BlockTrendP && math.Abs(trend.change) > a.Limits.BlockTrend {
		k.Status, k.Pulls = campaign.Warn, trend.pulls
		k.Message = fmt.Sprintf("Pulls moved by %+.2f %% from the first to the last of a block (p = %.2g): engine or tyre was not settled. Lengthen the warm-up and make settling pulls after every change.", 100*trend.change, trend.p)
	}
	return []campaign.Check{k}
}

type blockTrend struct {
	change float64 // first to last pull, ln
	p      float64
	pulls  []string // of the block concerned; empty: all blocks
}

// trendWithinBlocks returns the more significant of the common trend and the
// strongest single block's, the latter's p multiplied by the number of blocks.
func (a *Analysis) trendWithinBlocks() (blockTrend, bool) {
	type fit struct{ sxx, sxy, syy float64 }
	var all fit
	var fits []fit
	var blocks []compare.Block
	df, longest := -1.0, 0
	for _, b := range a.blocks() {
		values := a.blockMeans(b)
		if len(values) < 3 {
			continue
		}
		var f fit
		m, middle := meanOf(values), float64(len(values)-1)/2
		for i, v := range values {
			x, y := float64(i)-middle, v-m
			f.sxx, f.sxy, f.syy = f.sxx+x*x, f.sxy+x*y, f.syy+y*y
		}
		all.sxx, all.sxy, all.syy = all.sxx+f.sxx, all.sxy+f.sxy, all.syy+f.syy
		df += float64(len(values) - 1)
		longest = max(longest, len(values))
		fits, blocks = append(fits, f), append(blocks, b)
	}
	if df < 2 {
		return blockTrend{}, false
	}
	test := func(f fit, length int) (change, p float64) {
		slope := f.sxy / f.sxx
		rest := max(all.syy-slope*f.sxy, 0) / df
		if rest == 0 {
			return slope * float64(length-1), 1
		}
		t := math.Abs(slope) / math.Sqrt(rest/f.sxx)
		return slope * float64(length-1), 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Survival(t)
	}
	var best blockTrend
	best.change, best.p = test(all, longest)
	for i, f := range fits {
		change, p := test(f, len(blocks[i].Pulls))
		if p = min(p*float64(len(fits)), 1); p < best.p {
			best = blockTrend{change: change, p: p, pulls: blocks[i].Pulls}
		}
	}
	return best, true
}

// checkUnusual names pulls and blocks that stand out from their neighbours.
func (a *Analysis) checkUnusual() []campaign.Check {
	k := campaign.Check{
		ID: "unusual-pull", Status: campaign.Pass, Unit: "%",
		LimitSource: "p times the number of pulls below 0.01 (docs/method.md, outlier pulls)",
		Touches:     []string{"band", "peak_torque", "peak_power", "curve", "pulls"},
		Message:     "No pull stands out from the others of its block.",
	}
	worst, where := 0.0, ""
	for _, c := range a.Comparisons {
		for _, u := range c.Unusual {
			names := []string{u.Pull}
			if u.Pull == "" {
				names = c.Blocks[u.Block].Pulls
			}
			for _, name := range names {
				if !slices.Contains(k.Pulls, name) {
					k.Pulls = append(k.Pulls, name)
				}
			}
			if math.Abs(u.Deviation) > math.Abs(worst) {
				worst, where = u.Deviation, ""
				if u.Pull != "" && !u.Level {
					where = fmt.Sprintf(" at %.0f rpm", u.AtRPM)
				}
			}
		}
	}
	if len(k.Pulls) > 0 {
		k.Status, k.Measured = campaign.Warn, number(100*math.Expm1(worst))
		k.Message = fmt.Sprintf("%s %s out from the rest of the block (%+.2f %%%s). Nothing is left out for that: look for the cause, and exclude a pull only with a reason that is not the figure itself; the result with and without is then shown.",
			capital(pullList(k.Pulls)), stands(k.Pulls), 100*math.Expm1(worst), where)
	}
	return []campaign.Check{a.withAnswers(k)}
}

func stands(names []string) string {
	if len(names) == 1 {
		return "stands"
	}
	return "stand"
}

// checkDrift says whether the baseline moved over the session.
func (a *Analysis) checkDrift() []campaign.Check {
	var checks []campaign.Check
	for _, c := range a.Comparisons {
		d := c.Drift
		if !d.Known {
			checks = append(checks, campaign.Check{
				ID: "drift", Status: campaign.Warn, Comparison: c.Candidate, Unit: "%",
				LimitSource: "docs/method.md, drift", Touches: []string{"drift", "band", "peak_torque", "peak_power"},
				Message: "The drift of the level over the session could not be found: that takes three blocks, baseline before and after the candidate, with repeated pulls.",
			})
			continue
		}
		k := campaign.Check{
			ID: "drift", Status: campaign.Pass, Comparison: c.Candidate, Unit: "%",
			Measured:    number(100 * math.Expm1(d.Change)),
			LimitSource: "p < 0.10 for the change over the session (docs/method.md, drift)",
			Touches:     []string{"drift", "band", "peak_torque", "peak_power"},
		}
		interval := fmt.Sprintf("%+.2f %% over the session (%s interval %+.2f to %+.2f %%)", *k.Measured, confidence(&c), 100*math.Expm1(d.ChangeLo), 100*math.Expm1(d.ChangeHi))
		switch {
		case d.Gate:
			k.Status = campaign.Fail
			k.Message = "The rig drifted by " + interval + ", which could make up more than half of the gain. Warm up longer, then repeat with more changes between the sides (A-B-A-B-A-B)."
		case d.Detected:
			k.Status = campaign.Warn
			k.Message = "The level drifted by " + interval + "; the order of blocks takes a steady drift out, and an allowance for an unsteady one is in the interval."
			if a.Campaign.Objective.DriftLinear {
				k.Message = "The level drifted by " + interval + "; it was declared steady beforehand, the order of blocks takes it out, and there is no allowance for an unsteady one."
			}
		default:
			k.Message = "No drift was found: " + interval + "."
		}
		checks = append(checks, k)
	}
	return checks
}

// checkBracketing asks whether baseline was measured before and after.
func (a *Analysis) checkBracketing() []campaign.Check {
	var checks []campaign.Check
	for _, c := range a.Comparisons {
		k := campaign.Check{
			ID: "bracketing", Status: campaign.Pass, Comparison: c.Candidate,
			LimitSource: "docs/method.md, estimator", Touches: []string{"band", "peak_torque", "peak_power"},
			Message: "The sides were measured in turn, in an order in which a steady drift cannot pass for a gain.",
		}
		switch {
		case c.Bracketed:
		case c.DriftBounded:
			k.Status = campaign.Warn
			k.Message = "The candidate does not stand between baseline blocks; the drift is bounded by what was declared beforehand or by earlier work, and rests on that."
		default:
			k.Status = campaign.Fail
			k.Message = "The candidate does not stand between baseline blocks: warm-up or drift can pass for a gain. Measure the baseline again at the end (A-B-A)."
		}
		checks = append(checks, k)
	}
	return checks
}

// checkTimeBetweenSides asks how long lies between blocks of different sides.
func (a *Analysis) checkTimeBetweenSides() []campaign.Check {
	var checks []campaign.Check
	for _, c := range a.Comparisons {
		longest := 0.0
		for i := 1; i < len(c.Blocks); i++ {
			if c.Blocks[i].Configuration != c.Blocks[i-1].Configuration {
				longest = max(longest, c.Blocks[i].Hours-c.Blocks[i-1].Hours)
			}
		}
		k := campaign.Check{
			ID: "time-between-sides", Status: campaign.Pass, Comparison: c.Candidate, Unit: "h",
			Measured: number(longest), Limit: number(a.Limits.HoursBetweenSides), LimitSource: labLimit,
			Touches: []string{"band", "peak_torque", "peak_power"},
			Message: fmt.Sprintf("Blocks of different sides followed each other within %.1f h.", longest),
		}
		if longest > a.Limits.HoursBetweenSides {
			k.Status = campaign.Warn
			k.Message = fmt.Sprintf("Up to %.1f h lie between a baseline and a candidate block: weather, tyre and fuel had time to change. Measure both sides in one session.", longest)
		}
		checks = append(checks, k)
	}
	return checks
}

// checkSetups asks whether there were enough strappings-down to know their
// scatter.
func (a *Analysis) checkSetups() []campaign.Check {
	var checks []campaign.Check
	for _, c := range a.Comparisons {
		var setups []string
		for _, b := range c.Blocks {
			if !slices.Contains(setups, b.Setup) {
				setups = append(setups, b.Setup)
			}
		}
		k := campaign.Check{
			ID: "setups", Status: campaign.Pass, Comparison: c.Candidate, Unit: "1",
			Measured: number(float64(len(setups))), Limit: number(float64(a.Limits.MinimumSetups)), LimitSource: labLimit,
			Touches: []string{"band", "peak_torque", "peak_power"},
			Message: fmt.Sprintf("The comparison rests on %d setups.", len(setups)),
		}
		unknown := !c.Scatter.SetupKnown || !c.Scatter.BlockKnown
		switch {
		case unknown:
			k.Status = campaign.Fail
			k.Message = fmt.Sprintf("The comparison rests on %s and too little is known of how far setups and change-overs scatter. Re-strap between blocks and repeat both sides, or make a repeatability study of six setups of the baseline once: it serves every later campaign.", setupCount(len(setups)))
		case c.Scatter.Source == compare.Cancelled:
			k.Message = "All blocks share one setup, whose offset drops out of the gain; another strapping-down was not tested."
		case len(setups) < a.Limits.MinimumSetups:
			k.Status = campaign.Warn
			k.Message = fmt.Sprintf("The comparison rests on %s only; more setups narrow the interval more than more pulls do.", setupCount(len(setups)))
		}
		checks = append(checks, k)
	}
	return checks
}

func setupCount(n int) string {
	if n == 1 {
		return "one setup"
	}
	return fmt.Sprintf("%d setups", n)
}

// checkHistory asks whether the campaign's setups scattered as the lab's history
// says they do.
func (a *Analysis) checkHistory() []campaign.Check {
	var checks []campaign.Check
	for _, c := range a.Comparisons {
		p := c.Scatter.HistoryP
		if math.IsNaN(p) {
			continue
		}
		k := campaign.Check{
			ID: "history-consistent", Status: campaign.Pass, Comparison: c.Candidate, Unit: "p",
			Measured: number(p), Limit: number(a.Limits.HistoryP), LimitSource: "F test at 5 % (docs/method.md, variance)",
			Touches: []string{"band", "peak_torque", "peak_power"},
			Message: "The setups scattered as the lab's history leads one to expect.",
		}
		if p < a.Limits.HistoryP {
			k.Status = campaign.Warn
			k.Message = "The setups scattered more than this lab's history: the interval was widened, and history does not overrule a bad day. Look for what was different."
		}
		checks = append(checks, k)
	}
	return checks
}

// checkPeaks says why a peak has no gain.
func (a *Analysis) checkPeaks() []campaign.Check {
	var checks []campaign.Check
	for _, c := range a.Comparisons {
		for _, peak := range []struct {
			touches, words string
			figure         compare.Figure
		}{{"peak_torque", "peak torque", c.PeakTorque}, {"peak_power", "peak power", c.PeakPower}} {
			if peak.figure.Missing == "" {
				continue
			}
			checks = append(checks, campaign.Check{
				ID: "peak-not-bracketed", Status: campaign.Warn, Comparison: c.Candidate,
				LimitSource: "docs/method.md, scalars", Touches: []string{peak.touches},
				Message: fmt.Sprintf("There is no gain in %s: %s. %s", peak.words, peak.figure.Missing, a.peakCure()),
			})
		}
	}
	return checks
}

// peakCure says how a peak is had.
func (a *Analysis) peakCure() string {
	if a.allSteady {
		return "Hold more speeds about the peak, or make pulls."
	}
	return "Pull from lower or to higher engine speeds, so that the peak lies within."
}

// checkFigureKind says that figures are crank figures where they are.
func (a *Analysis) checkFigureKind() []campaign.Check {
	if !usedPulls(a.Pulls)[0].AtCrank {
		return nil
	}
	return []campaign.Check{{
		ID: "crank-figures", Status: campaign.Warn, LimitSource: "the logs' own headers",
		Touches: []string{"band", "peak_torque", "peak_power", "curve"},
		Message: "The curves give crank figures, worked out elsewhere from losses that cannot be checked here; they are no wheel figures.",
	}}
}
