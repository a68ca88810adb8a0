package lab

import (
	"context"
	"fmt"

	"fairpull/campaign"
	"fairpull/internal/store"
	"fairpull/report"
)

// ClaimStanding is how far a claim of a campaign has come.
type ClaimStanding = store.ClaimStanding

// ClaimPage returns a claim with the analysis behind it, which is kept for a while for
// whoever looks at it next. Where it cannot be derived again the claim comes without it,
// and the problem says why.
func (d *Desk) ClaimPage(ctx context.Context, number, program string) (view *report.Claim, problem, err error) {
	kept, err := d.store.Claim(ctx, number)
	if err != nil {
		return nil, nil, unknownClaim(err)
	}
	if view, err = d.claimView(ctx, kept); err != nil {
		return nil, nil, err
	}
	a, problem := d.claimed(ctx, kept.Result)
	if ctx.Err() != nil {
		return nil, nil, ctx.Err()
	}
	if problem == nil {
		a.fill(view, program)
	}
	return view, problem, nil
}

// claimed returns the analysis that a kept result came from. A result never changes, so
// that neither does its analysis.
func (d *Desk) claimed(ctx context.Context, result string) (*Analysis, error) {
	if a, found := d.claims.get(result); found {
		return a, nil
	}
	r, err := d.store.ResultOf(ctx, result)
	if err != nil {
		return nil, err
	}
	a, err := d.claimAnalysis(ctx, r, nil)
	if err == nil {
		d.claims.put(result, a)
	}
	return a, err
}

// DossierZip returns the dossier of a signed claim as one zip file, and its name. The
// same claim in the same state gives the same bytes.
func (w *Workspace) DossierZip(ctx context.Context, number string) (data []byte, name string, err error) {
	bag, _, err := w.dossier(ctx, number)
	if err != nil {
		return nil, "", err
	}
	data, err = bag.Zip()
	return data, bag.Name() + ".zip", err
}

// Steps reads a campaign of the workspace as a ladder, from the analysis that is looked
// at with its own settings; order names another ladder than that of the parts.
func (d *Desk) Steps(ctx context.Context, id string, order []string, program string) (*report.Steps, error) {
	look, err := d.Look(ctx, id, LookSettings{})
	if err != nil {
		return nil, err
	}
	if look.Analysis == nil {
		return nil, declined("campaign %s cannot be analysed as it stands: %w", id, look.Problem)
	}
	return stepsOf(look.Analysis, StepsQuery{Campaign: id, Order: order, Version: program})
}

// CampaignWords are what a form says of a campaign.
type CampaignWords struct {
	Title      string
	Candidates []campaign.Configuration
}

// CampaignWords returns the title of a campaign and its candidates.
func (w *Workspace) CampaignWords(ctx context.Context, id string) (CampaignWords, error) {
	entry, err := w.store.Entry(ctx, id, 0)
	if err != nil {
		return CampaignWords{}, unknownCampaign(err)
	}
	out := CampaignWords{Title: entry.Campaign.Title}
	for _, c := range entry.Campaign.Configurations {
		if c.Role == campaign.Candidate {
			out.Candidates = append(out.Candidates, c)
		}
	}
	return out, nil
}

// claimsOf puts their claims to the rows of an overview: a campaign with a claim on its
// latest data that is signed or published is signed.
func (d *Desk) claimsOf(ctx context.Context, rows []OverviewRow) error {
	ids, at := make([]string, len(rows)), map[string]*OverviewRow{}
	for i := range rows {
		ids[i], at[rows[i].ID] = rows[i].ID, &rows[i]
	}
	claims, err := d.store.ClaimStandings(ctx, ids)
	if err != nil {
		return err
	}
	for _, c := range claims {
		row, known := at[c.Campaign]
		if !known {
			return fmt.Errorf("claim %s is of campaign %s, which was not asked for", c.Number, c.Campaign)
		}
		row.Claims = append(row.Claims, c)
		signed := c.State == campaign.ClaimSigned || c.State == campaign.ClaimPublished
		if signed && c.Current && row.Stage == StageJudged {
			row.Stage = StageSigned
		}
	}
	return nil
}
