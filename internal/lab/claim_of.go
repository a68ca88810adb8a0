package lab

import (
	"slices"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/report"
)

// claimOf returns the claim of a comparison: the head, and all that follows from
// the analysis. The same analysis and head give the same claim.
func (a *Analysis) claimOf(c *compare.Comparison, head campaign.ClaimHead) campaign.Claim {
	view := a.View("", quantity.SI)
	claim := campaign.Claim{
		ClaimHead: head, Verdict: string(c.Verdict), Sentence: view.ClaimSentence(c, head.Policy), Confidence: c.Confidence,
		Beside:  []campaign.ClaimFigure{},
		Vehicle: view.ClaimVehicle(), Rig: view.ClaimRig(), Procedure: view.ClaimProcedure(c), Conditions: view.ClaimConditions(c),
		Deviations: append(view.ClaimDeviations(c), head.StatedDeviations...),
		NotCovered: append(view.ClaimLimits(c), head.StatedLimits...),
	}
	for _, m := range []compare.Metric{compare.Band, compare.PeakTorque, compare.PeakPower} {
		f, known := view.ClaimFigureOf(c, m)
		switch {
		case m == c.Primary:
			claim.Claimed = f
		case known:
			claim.Beside = append(claim.Beside, f)
		}
	}
	baseline, _ := a.Campaign.Configuration(c.Baseline)
	candidate, _ := a.Campaign.Configuration(c.Candidate)
	claim.Baseline, claim.Tested = claimSide(c, baseline, candidate), claimSide(c, candidate, baseline)
	changed := changedComponents(claim.Tested)
	specimens, batches := a.specimens(candidate, changed)
	claim.Specimens = report.SpecimenSentence(changed, specimens, batches)
	if len(changed) > 0 {
		claim.SpecimensTested = specimens
	}
	claim.Cautions = report.ClaimCautions(changedNames(claim))
	return claim
}

// claimSide returns a configuration as a claim lists it; what the other side has
// otherwise, or not, is marked.
func claimSide(c *compare.Comparison, side, other campaign.Configuration) campaign.ClaimSide {
	out := campaign.ClaimSide{
		ID: side.ID, Name: side.Name, Components: []campaign.ClaimComponent{}, Settings: []campaign.ClaimSetting{},
		Pulls: claimPulls(c, side.ID), Setups: len(claimSetups(c, side.ID)),
	}
	for _, p := range side.Components {
		out.Components = append(out.Components, campaign.ClaimComponent{
			Function: p.Function, Part: p.Part, Serial: p.Serial, Batch: p.Batch, Changed: !slices.Contains(other.Components, p),
		})
	}
	for _, s := range side.Settings {
		out.Settings = append(out.Settings, campaign.ClaimSetting{Key: s.Key, Value: s.Value, Changed: !slices.Contains(other.Settings, s)})
	}
	return out
}

func changedComponents(side campaign.ClaimSide) []campaign.ClaimComponent {
	var changed []campaign.ClaimComponent
	for _, p := range side.Components {
		if p.Changed {
			changed = append(changed, p)
		}
	}
	return changed
}

// changedNames returns the functions and settings that differ between the sides.
func changedNames(c campaign.Claim) []string {
	var names []string
	for _, side := range []campaign.ClaimSide{c.Tested, c.Baseline} {
		for _, p := range changedComponents(side) {
			names = append(names, p.Function)
		}
		for _, s := range side.Settings {
			if s.Changed {
				names = append(names, s.Key)
			}
		}
	}
	return names
}

// specimens counts how many specimens of the changed parts the campaign tested, and
// of how many batches: candidates whose parts differ in serial number or batch
// alone. Parts without a serial number count as one specimen.
func (a *Analysis) specimens(candidate campaign.Configuration, changed []campaign.ClaimComponent) (specimens, batches int) {
	seen, seenBatches := map[string]bool{}, map[string]bool{}
	for _, c := range a.Campaign.Configurations {
		if c.Role != campaign.Candidate || !sameParts(c, candidate) {
			continue
		}
		serials, batch := "", ""
		for _, p := range c.Components {
			is := func(q campaign.ClaimComponent) bool { return q.Function == p.Function && q.Part == p.Part }
			if slices.ContainsFunc(changed, is) {
				serials += p.Serial + "\x00"
				batch += p.Batch + "\x00"
			}
		}
		seen[serials], seenBatches[batch] = true, true
	}
	return len(seen), len(seenBatches)
}

// sameParts reports whether two configurations have the same parts and settings,
// serial numbers and batches apart.
func sameParts(a, b campaign.Configuration) bool {
	return slices.EqualFunc(a.Components, b.Components, func(p, q campaign.Component) bool { return p.Function == q.Function && p.Part == q.Part }) &&
		slices.Equal(a.Settings, b.Settings)
}

// comparison returns the comparison of a candidate; nil: there is none.
func (a *Analysis) comparison(candidate string) *compare.Comparison {
	for i := range a.Comparisons {
		if a.Comparisons[i].Candidate == candidate {
			return &a.Comparisons[i]
		}
	}
	return nil
}
