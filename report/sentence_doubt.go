package report

import (
	"slices"
	"strings"

	"fairpull/campaign"
	"fairpull/compare"
)

// qualified returns what has to be said along with a verdict that is shown, each
// part behind a semicolon: what of the figure may be the rig's, a changed wheel's
// or the air's. It is empty where there is nothing to say.
func (g *Gain) qualified(c *compare.Comparison) string {
	s := ""
	if share := g.coastSentence(c); share != "" {
		s += "; " + share
	}
	if g.coastUnknown(c) {
		s += "; without usable coast-downs on both sides nothing tells the engine's change from a change of tyre, straps or driveline"
	}
	return s + g.wheelSentence(c) + g.airSentence(c)
}

// coastUnknown says whether the coast-downs of the sides could not be compared.
func (g *Gain) coastUnknown(c *compare.Comparison) bool {
	return slices.ContainsFunc(g.checksFor(c.Candidate), func(k campaign.Check) bool {
		return k.ID == "coast-down-agreement" && k.Status != campaign.Pass && k.Measured == nil
	})
}

// uncorrected says whether the campaign applies no correction for the air.
func (g *Gain) uncorrected() bool { return g.Standard.Name == "none" }

// airSentence says that figures are not corrected for the air, and what the air
// alone accounts for where that was measured; empty where they are corrected.
func (g *Gain) airSentence(c *compare.Comparison) string {
	if !g.uncorrected() {
		return ""
	}
	s := "; not corrected for the air"
	for _, k := range g.checksFor(c.Candidate) {
		if k.ID == "weather-change" && k.Status != campaign.Pass && k.Measured != nil && k.Unit == "%" {
			return s + ", and the air alone accounts for about " + signed(*k.Measured, 1) + " % between the sides"
		}
	}
	return s
}

// answeredSentence names the failed checks that would withhold the verdict of c,
// had they not been answered; empty without any.
func (g *Gain) answeredSentence(c *compare.Comparison) string {
	var names []string
	for _, k := range g.checksFor(c.Candidate) {
		if !slices.Contains(k.Answered, c.Candidate) {
			continue
		}
		name := clean(k.ID)
		if len(k.Pulls) > 0 {
			name += " (" + pullNames(k.Pulls) + ")"
		}
		names = append(names, name)
	}
	switch len(names) {
	case 0:
		return ""
	case 1:
		return "the failed check " + names[0] + " was answered in writing"
	}
	return "the failed checks " + list(few(names)) + " were answered in writing"
}

// reasonNames lists why the verdict of c is withheld, in the words of the gain
// result: "open check, drift too large"; empty where it is not withheld.
func reasonNames(c *compare.Comparison) string {
	names := make([]string, len(c.Reasons))
	for i, r := range c.Reasons {
		names[i] = clean(string(r))
	}
	return strings.Join(names, ", ")
}

// wheelSentence qualifies a figure that a changed wheel is part of; empty where
// no rolling part changed.
func (g *Gain) wheelSentence(c *compare.Comparison) string {
	for _, k := range g.checksFor(c.Candidate) {
		if k.ID != "wheel-changed" || k.Status == campaign.Pass {
			continue
		}
		s := "; a rolling part differs between the sides, so what its inertia takes while it gains speed is part of this figure and would not be felt at a steady speed"
		if k.Measured != nil {
			return s + " (" + signed(*k.Measured, 2) + " % of wheel power by the inertias given)"
		}
		return s + " (how much is not known: its inertia is not given)"
	}
	return ""
}

// coastSentence words the part of the gain that may be the rig's, where the
// check of the coast-downs did not pass and its share is known.
func (g *Gain) coastSentence(c *compare.Comparison) string {
	share, ok := g.CoastShares[c.Candidate]
	flagged := slices.ContainsFunc(g.checksFor(c.Candidate), func(k campaign.Check) bool {
		return k.ID == "coast-down-agreement" && k.Status != campaign.Pass
	})
	if !ok || !flagged {
		return ""
	}
	lo, hi := 100*share.Lo, 100*share.Hi
	n := places((hi-lo)/2, gainPlaces)
	return "by the coast-downs, tyre and driveline account for " + signed(100*share.Value, n) + " % of wheel torque (" +
		confidence(c.Confidence) + " interval: " + signed(lo, n) + " % to " + signed(hi, n) + " %, the loss difference taken as the same torque at every speed), which is the rig's and not the engine's" + beyondShare(c, share)
}

// beyondShare says what of an at-least figure is left beyond the rig's share;
// empty where no gain is shown.
func beyondShare(c *compare.Comparison, share CoastShare) string {
	if c.Verdict != compare.GainShown || !(share.Hi > 0) {
		return ""
	}
	return ", so that at least " + roundedDown(percent(c.Figure(c.Primary).AtLeast)-100*share.Hi) + " % is shown beyond it"
}
