package lab

import (
	"context"
	"errors"
	"fmt"
	"io/fs"

	"fairpull/campaign"
	"fairpull/ingest"
	"fairpull/internal/store"
)

// PlanSource is a campaign that is to be planned.
type PlanSource struct {
	Campaign campaign.Campaign // without pulls
	Measured bool              // pulls are there already: of a candidate, or in the folder
	Draft    []byte            // the text that it came from; nil: from the workspace
}

// PlanSource returns the campaign that a name stands for: a draft of campaign.toml, a
// campaign folder, or else a campaign of the workspace by its id.
func (w *Workspace) PlanSource(ctx context.Context, name string) (PlanSource, error) {
	draft, err := ingest.OpenDraft(name)
	if err == nil {
		return PlanSource{Campaign: draft.Campaign, Measured: draft.Pulls, Draft: draft.Text}, nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return PlanSource{}, err
	}
	record, err := w.store.Get(ctx, name)
	if errors.Is(err, store.ErrNotFound) {
		return PlanSource{}, fmt.Errorf("%s is neither a file, nor a folder, nor a campaign of %s.\n  What is there: fairpull campaigns", name, w.place)
	}
	if err != nil {
		return PlanSource{}, err
	}
	c := record.Campaign
	_, measured := c.FirstCandidatePull()
	c.Pulls, c.ExtraColumns = nil, nil
	for _, problem := range c.DraftProblems() {
		return PlanSource{}, fmt.Errorf("campaign %s: %w", c.ID, problem)
	}
	return PlanSource{Campaign: c, Measured: measured}, nil
}

// Named returns the source as a campaign of another id, which has no pulls. An empty
// id leaves it as it is.
func (s PlanSource) Named(id string) (PlanSource, error) {
	if id == "" || id == s.Campaign.ID {
		return s, nil
	}
	if err := campaign.CheckID(id); err != nil {
		return s, fmt.Errorf("the id %.80q %w", id, err)
	}
	s.Campaign.ID, s.Campaign.Plan, s.Measured, s.Draft = id, nil, false, nil
	return s, nil
}
