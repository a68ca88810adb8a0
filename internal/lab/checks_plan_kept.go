package lab

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"fairpull/campaign"
)

// keptPlanCheck holds the plan of a campaign of the workspace against the one that it
// had when the first pull of a candidate came in: a plan that is changed afterwards,
// with the moment that it names, is no plan. said is false where there is nothing to say.
func (w *Workspace) keptPlanCheck(ctx context.Context, c *campaign.Campaign) (check campaign.Check, said bool, err error) {
	first, err := w.store.FirstPulls(ctx, c.ID)
	if err != nil {
		return check, false, err
	}
	var version int64
	for _, k := range c.Candidates() {
		if v := first[k.ID]; v > 0 && (version == 0 || v < version) {
			version = v
		}
	}
	if version == 0 {
		return check, false, nil
	}
	then, err := w.store.Entry(ctx, c.ID, version)
	if err != nil {
		return check, false, err
	}
	departures := planEdits(c, &then.Campaign)
	if len(departures) == 0 {
		return check, false, nil
	}
	return campaign.Check{
		ID: planCheck, Status: campaign.Fail, Unit: "1", Measured: number(float64(len(departures))), Limit: number(0),
		LimitSource: "the plan in version " + strconv.FormatInt(version, 10) + " of the campaign",
		Touches:     []string{"band", "peak_torque", "peak_power", "curve"},
		Message: fmt.Sprintf("The plan was changed after the first pull of a candidate came into the workspace (version %d): %s. What follows is exploratory and carries no claim: put back what was planned, or plan a new campaign for it.",
			version, strings.Join(departures, "; ")),
	}, true, nil
}

// planEdits says where the plan of a campaign, with its question, is not what it was.
func planEdits(now, then *campaign.Campaign) []string {
	switch {
	case now.Plan == nil && then.Plan == nil:
		return nil
	case then.Plan == nil:
		return []string{"there was no plan then"}
	case now.Plan == nil:
		return []string{"the plan was taken out"}
	}
	var out []string
	if a, b := blockWords(now.Plan), blockWords(then.Plan); a != b {
		out = append(out, "the blocks are "+a+" and were "+b)
	}
	if was := then.Plan.Frozen; !was.IsZero() && !was.Equal(now.Plan.Frozen) {
		out = append(out, "it was frozen on "+moment(was)+", and now says otherwise")
	}
	objective, correction := plannedQuestion(now)
	objectiveThen, correctionThen := plannedQuestion(then)
	return append(out, objectiveDepartures(objective, objectiveThen, correction, correctionThen)...)
}

// plannedQuestion returns the question of a plan: the frozen one, else the campaign's.
func plannedQuestion(c *campaign.Campaign) (campaign.Objective, string) {
	if c.Plan.Frozen.IsZero() {
		return c.Objective, c.Correction
	}
	return c.Plan.Objective, c.Plan.Correction
}

// blockWords writes the blocks of a plan, those of one strapping-down in brackets:
// "(A 3, B 3), A 3".
func blockWords(p *campaign.Plan) string {
	var setups []string
	for i := range p.Blocks {
		words := fmt.Sprintf("%s %d", p.Blocks[i].Configuration, p.Blocks[i].Pulls)
		if p.SameSetup(i) {
			setups[len(setups)-1] += ", " + words
		} else {
			setups = append(setups, words)
		}
	}
	for i, s := range setups {
		if strings.Contains(s, ", ") {
			setups[i] = "(" + s + ")"
		}
	}
	return strings.Join(setups, ", ")
}
