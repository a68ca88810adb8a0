package report

import (
	"math"
	"slices"
	"strings"

	"fairpull/compare"
	"fairpull/quantity"
)

// Sentence returns the verdict of c in one plain sentence that a customer can
// read: what was compared with what, at full throttle and over which engine
// speeds, the gain with its interval, and the at-least figure where a gain is
// shown, rounded down to 0.1. Where a verdict is withheld it names the reasons.
// No figure stands in it without its interval.
func (g *Gain) Sentence(c *compare.Comparison) string {
	f := c.Figure(c.Primary)
	var s string
	switch c.Verdict {
	case compare.GainShown:
		s = g.shownSentence(c, f, "more", f.AtLeast)
	case compare.LossShown:
		s = g.shownSentence(c, f, "less", -f.AtMost)
	case compare.NoDifference:
		s = g.noDifferenceSentence(c, f)
	default:
		s = g.withheldSentence(c, f)
	}
	if answered := g.answeredSentence(c); answered != "" {
		s += "; " + answered
	}
	if h := g.Campaign.History; h != nil && h.Assumed {
		s += "; the scatter from earlier work is assumed by judgement, not measured"
	}
	return s + "."
}

// Verdict returns the verdict of c as a heading: "Gain shown".
func Verdict(c *compare.Comparison) string {
	s := string(c.Verdict)
	if s == "" {
		s = string(compare.NotEnoughEvidence)
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// quantityName is what the primary figure is a gain of.
func (g *Gain) quantityName(m compare.Metric) string {
	name := "torque"
	switch m {
	case compare.PeakTorque:
		name = "peak torque"
	case compare.PeakPower:
		name = "peak power"
	}
	if g.AtCrank {
		name += " at the crank"
	}
	return name
}

// scope returns where a figure was taken, to follow what was compared.
func (g *Gain) scope(c *compare.Comparison, m compare.Metric, f *compare.Figure) string {
	if m != compare.Band {
		return ", each at its own peak, " + plain(f.CandidateRPM) + " against " + plain(f.BaselineRPM) + " rpm"
	}
	if g.Steady {
		return ", held on the brake, averaged over the speeds held from " + span(c.BandRPM)
	}
	if g.Campaign.Objective.BandRPM == [2]float64{} {
		return ", averaged over the range that all pulls share, " + span(c.BandRPM)
	}
	return ", averaged over the riding band of " + span(c.BandRPM)
}

// withInterval returns "(95 % interval: 5.5 % to 7.9 %)". With a negative end it
// says that the interval is the gain's, so that its sign can be read.
func withInterval(c *compare.Comparison, t gainText) string {
	if t.AtLeast == "" {
		return "(no interval)"
	}
	whose := ""
	if strings.HasPrefix(t.Lo, minus) {
		whose = " of the gain"
	}
	return "(" + confidence(c.Confidence) + " interval" + whose + ": " + t.Interval + ")"
}

// shownSentence words a gain or a loss. bound is the one-sided bound of its
// size on the log scale of the gain, positive.
func (g *Gain) shownSentence(c *compare.Comparison, f *compare.Figure, direction string, bound float64) string {
	t := gainTextOf(f)
	noun := "gain"
	least := percent(bound)
	if c.Verdict == compare.LossShown {
		noun, least = "loss", -percent(-bound)
	}
	s := "At full throttle " + g.side(c.Candidate) + " gives " + t.Size + " % " + direction + " " +
		g.quantityName(c.Primary) + " than " + g.side(c.Baseline) + g.scope(c, c.Primary, f) + " " + withInterval(c, t)
	oneSided := "(" + confidence(c.Confidence) + " one-sided confidence)"
	if text := roundedDown(least); strings.Trim(text, "0.") == "" {
		s += "; a " + noun + " is shown " + oneSided + ", but less than 0.1 % of it can be promised"
	} else {
		s += "; a " + noun + " of at least " + text + " % is shown " + oneSided
	}
	if c.SmallerThanInterest {
		s += "; it is also shown to be smaller than " + plain(100*c.SmallestGain) + " %, the smallest gain of interest"
	}
	return s + g.qualified(c)
}

func (g *Gain) noDifferenceSentence(c *compare.Comparison, f *compare.Figure) string {
	t := gainTextOf(f)
	return "At full throttle " + g.side(c.Candidate) + " and " + g.side(c.Baseline) +
		" show no difference of interest in " + g.quantityName(c.Primary) + g.scope(c, c.Primary, f) +
		": the gain is " + t.Value + " % " + withInterval(c, t) + ", and a difference of " + plain(100*c.SmallestGain) +
		" % or more, the smallest of interest, is ruled out either way (" + confidence(c.Confidence) + " one-sided confidence)" + g.qualified(c)
}

func (g *Gain) withheldSentence(c *compare.Comparison, f *compare.Figure) string {
	s := "There is not enough evidence of a difference in full-throttle " + g.quantityName(c.Primary) + " between " +
		g.side(c.Candidate) + " and " + g.side(c.Baseline)
	if f.Missing != "" {
		s += ": the figure that the verdict stands on is missing, because " + because(f.Missing)
	} else {
		t := gainTextOf(f)
		s += g.scope(c, c.Primary, f) + ": the measured gain is " + t.Value + " % " + withInterval(c, t)
	}
	for _, r := range c.Reasons {
		if text := g.reason(c, r); text != "" {
			s += "; " + text
		}
	}
	if tip := tippingText(c); tip != "" {
		s += "; " + tip
	}
	if len(c.Reasons) == 0 && c.SetupsToSettle > 0 && c.SmallestGain > 0 {
		s += "; about " + plural(c.SetupsToSettle, "block") + " in the same alternating order would have an 80 % chance to show a gain of " +
			plain(100*c.SmallestGain) + " %"
	}
	return s
}

// because brings a reason into the middle of a sentence.
func because(s string) string {
	s = strings.TrimRight(cleanTo(s, 300), ". ")
	if s == "" {
		return "no reason was recorded"
	}
	return s
}

// tippingText says from which scatter on a gain or loss would no longer be shown;
// empty where more than that scatter withholds the verdict.
func tippingText(c *compare.Comparison) string {
	more := slices.ContainsFunc(c.Reasons, func(r compare.Reason) bool {
		return r != compare.SetupScatterUnknown && r != compare.BlockScatterUnknown
	})
	if more || !(c.TippingSD > 0) || math.IsInf(c.TippingSD, 0) {
		return ""
	}
	what := "setup to setup"
	if c.Scatter.Source == compare.Cancelled {
		what = "from one change-over to the next"
	}
	noun := "gain"
	if c.Figure(c.Primary).Gain < 0 {
		noun = "loss"
	}
	sd, _ := quantity.RoundDown(100*c.TippingSD, 2)
	return "if results scatter " + what + " with a standard deviation above " + sd +
		" % (at 5 degrees of freedom), this would not show a " + noun
}

// reason words why a verdict was withheld; empty where another part of the
// sentence says it.
func (g *Gain) reason(c *compare.Comparison, r compare.Reason) string {
	switch r {
	case compare.SetupScatterUnknown:
		if c.Scatter.Source == compare.FromCampaign {
			return "the scatter from one setup to the next rests on too few setups of this campaign and on no earlier work"
		}
		return "the interval covers pull-to-pull scatter only, because the scatter from one setup to the next is not known"
	case compare.BlockScatterUnknown:
		if c.Scatter.Source != compare.Cancelled {
			return "some blocks share a setup and the scatter from one change-over of parts to the next is not known"
		}
		return "the interval covers pull-to-pull scatter only, because all pulls share one setup and the scatter from one change-over of parts to the next is not known"
	case compare.PullScatterUnknown:
		return "no interval can be given, because no block repeats a pull"
	case compare.DriftNotBounded:
		return "drift of the rig is not bounded by this campaign, because the candidate was not measured between two baseline blocks"
	case compare.DriftGate:
		return "the rig drifted by " + driftChange(c) + " over the session, too much beside the gain"
	case compare.OpenCheck:
		return "a failed check is open" + g.openChecks(c)
	case compare.CoastDown:
		if share := g.coastSentence(c); share != "" {
			return share
		}
		return "the coast-downs of the two sides differ, and the gain is not shown beyond that difference"
	case compare.UnusualOpen:
		return "an unusual pull is neither explained nor excluded" + unusualPulls(c)
	case compare.NoPrimary:
		return "" // the missing figure has its own words
	case compare.PlanChanged:
		if len(g.Exploratory) > 0 {
			return "the settings of this view were chosen when the effect could be seen, so this is exploratory"
		}
		return "the plan was changed after the first candidate pull, so this is exploratory"
	case compare.PlanUnfinished:
		return "the plan is not measured to its end, and a verdict before it would be stopping early"
	}
	return clean(string(r))
}

// driftChange returns the change over the session with its interval.
func driftChange(c *compare.Comparison) string {
	d := &c.Drift
	t := gainWords(d.Change, d.ChangeLo, d.ChangeHi, d.ChangeLo, true)
	return t.Value + " % (" + confidence(c.Confidence) + " interval: " + t.Interval + ")"
}

// openChecks names the failed checks that withhold a verdict: " (gear: pull 7)".
func (g *Gain) openChecks(c *compare.Comparison) string {
	var names []string
	for _, k := range g.checksFor(c.Candidate) {
		if !slices.Contains(k.Withholds, c.Candidate) {
			continue
		}
		name := clean(k.ID)
		if len(k.Pulls) > 0 {
			name += ", " + pullNames(k.Pulls)
		}
		names = append(names, name)
	}
	if len(names) == 0 {
		return ""
	}
	return " (" + strings.Join(names, "; ") + ")"
}

func unusualPulls(c *compare.Comparison) string {
	var names []string
	for _, u := range c.Unusual {
		if u.Pull != "" && !slices.Contains(names, u.Pull) {
			names = append(names, u.Pull)
		}
	}
	if len(names) == 0 {
		return ""
	}
	return " (" + pullNames(names) + ")"
}
