package lab

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"fairpull/campaign"
	"fairpull/internal/store"
)

// PlanDraft is a campaign that is to be planned like an earlier one: what differs
// from that. Set points, channels, correction and history are taken from it.
type PlanDraft struct {
	Like           string // id of the earlier campaign
	ID             string // of the new one; that of Like plans the same campaign anew
	Title, Purpose string
	Objective      campaign.Objective
	Vehicle, Dyno  string // ids; what the workspace knows of them last counts
	Configurations []campaign.Configuration
}

// DraftLike returns a draft that says of an earlier campaign all that can be changed
// of it. The id is left open.
func (w *Workspace) DraftLike(ctx context.Context, id string) (PlanDraft, error) {
	entry, err := w.store.Entry(ctx, id, 0)
	if err != nil {
		return PlanDraft{}, unknownCampaign(err)
	}
	c := entry.Campaign
	return PlanDraft{Like: id, Title: c.Title, Purpose: c.Purpose, Objective: c.Objective, Vehicle: c.Vehicle.ID, Dyno: c.Dyno.ID, Configurations: slices.Clone(c.Configurations)}, nil
}

// Draft returns the campaign of a draft, ready to be planned. What keeps it from
// being planned is returned as a [campaign.Problem], so that a form can say it beside
// the field; a vehicle or dyno that the workspace does not know is [ErrUnknown].
func (w *Workspace) Draft(ctx context.Context, d PlanDraft) (PlanSource, error) {
	entry, err := w.store.Entry(ctx, d.Like, 0)
	if err != nil {
		return PlanSource{}, unknownCampaign(err)
	}
	c := entry.Campaign
	source := PlanSource{}
	switch there, err := w.store.Entry(ctx, d.ID, 0); {
	case d.ID == "":
		return source, campaign.Problem{Key: "id", Message: "the campaign has no id", Cure: "write a short one, as in kit-2"}
	case campaign.CheckID(d.ID) != nil || errors.Is(err, store.ErrNotFound):
	case err != nil:
		return source, err
	case d.ID != d.Like:
		return source, campaign.Problem{Key: "id", Message: "campaign " + d.ID + " is there already", Cure: "choose another id"}
	default:
		_, source.Measured = there.Campaign.FirstCandidatePull()
	}
	known := c.Vehicle
	if d.Vehicle != c.Vehicle.ID {
		vehicle, err := w.store.Vehicle(ctx, d.Vehicle, 0)
		if err != nil {
			return source, err
		}
		known = vehicle.Value
	}
	if d.Dyno != c.Dyno.ID {
		dyno, err := w.store.Dyno(ctx, d.Dyno, 0)
		if err != nil {
			return source, err
		}
		c.Dyno, c.History = dyno.Value, nil // what was said of the scatter is another rig's
		c.Channels = nil                    // and so are its logs
	}
	c.ID, c.Title, c.Purpose, c.Objective, c.Vehicle = d.ID, d.Title, d.Purpose, d.Objective, known
	c.Configurations = slices.Clone(d.Configurations)
	c.Plan, c.Pulls, c.ExtraColumns = nil, nil, nil
	source.Campaign = c
	if problems := c.DraftProblems(); len(problems) > 0 {
		return source, problems[0]
	}
	if c.Objective.SmallestGain == 0 {
		return source, campaign.Problem{Key: "objective.smallest_gain_of_interest_pct", Message: "the smallest gain of interest is not stated", Cure: "a plan is made to show it: write it in per cent"}
	}
	return source, nil
}

// PlannedCampaign returns a campaign that has a plan. One without is [ErrUnknown].
func (w *Workspace) PlannedCampaign(ctx context.Context, id string) (campaign.Campaign, error) {
	entry, err := w.store.Entry(ctx, id, 0)
	if err != nil {
		return campaign.Campaign{}, unknownCampaign(err)
	}
	if entry.Campaign.Plan == nil {
		return campaign.Campaign{}, fmt.Errorf("a plan of campaign %s %w", id, ErrUnknown)
	}
	return entry.Campaign, nil
}
