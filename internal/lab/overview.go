package lab

import (
	"context"
	"fmt"

	"fairpull/internal/store"
	"fairpull/report"
)

// Stage is how far a campaign has come.
type Stage string

// The stages, in order.
const (
	StagePlanned   Stage = "planned"   // no pull yet
	StageMeasuring Stage = "measuring" // there are pulls, and no result rests on all of them
	StageJudged    Stage = "judged"    // a kept result rests on its data
	StageSigned    Stage = "signed"    // a claim on its latest data is signed or published
	StageWithdrawn Stage = "withdrawn" // kept out of the lab's history
)

// StageOf returns how far a campaign has come, its claims apart.
func StageOf(c CampaignSummary) Stage {
	switch {
	case c.State == store.StateWithdrawn:
		return StageWithdrawn
	case c.Pulls == 0:
		return StagePlanned
	case !c.Current:
		return StageMeasuring
	}
	return StageJudged
}

// OverviewRow is one campaign of an overview.
type OverviewRow struct {
	CampaignSummary
	Stage  Stage
	Card   *report.Card    // of the latest kept result; nil: none
	Claims []ClaimStanding // the latest first
}

// Overview is a page of campaigns, the latest first.
type Overview struct {
	Rows    []OverviewRow
	Next    string // for CampaignQuery.After; empty: this was the last page
	Changed int64  // number of the workspace's latest change
}

// Overview returns a page of campaigns with their verdicts as they were kept.
func (d *Desk) Overview(ctx context.Context, q CampaignQuery) (Overview, error) {
	changed, err := d.LastChange(ctx)
	if err != nil {
		return Overview{}, err
	}
	page, err := d.Campaigns(ctx, q)
	if err != nil {
		return Overview{}, err
	}
	o := Overview{Next: page.Next, Changed: changed}
	for _, c := range page.Campaigns {
		row := OverviewRow{CampaignSummary: c, Stage: StageOf(c)}
		if c.Result != "" {
			if row.Card, err = d.card(ctx, c); err != nil {
				return Overview{}, err
			}
		}
		o.Rows = append(o.Rows, row)
	}
	return o, d.claimsOf(ctx, o.Rows)
}

// card returns what a list shows of a campaign's latest result.
func (d *Desk) card(ctx context.Context, c CampaignSummary) (*report.Card, error) {
	if card, found := d.cards.get(c.Result); found {
		return card, nil
	}
	r, err := d.store.LatestResult(ctx, c.ID)
	if err != nil {
		return nil, err
	}
	card, err := report.ReadCard(r.Body)
	if err != nil {
		return nil, fmt.Errorf("campaign %s: %w", c.ID, err)
	}
	d.cards.put(r.ID, &card)
	return &card, nil
}
