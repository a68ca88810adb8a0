package lab

import (
	"context"
	"time"

	"fairpull/internal/store"
	"fairpull/report"
)

// MaxTrailRows is the longest page of the audit trail.
const MaxTrailRows = 500

// TrailQuery asks for a page of the audit trail.
type TrailQuery struct {
	Campaign string    // only its changes and those of its claims; empty: every change
	Since    time.Time // only changes from this moment on; zero: all
	Before   int64     // only changes before the one of this number; 0: from the latest on
	Limit    int       // changes, 1 to MaxTrailRows
}

// Trail returns a page of the audit trail, the latest change first. A campaign that is
// not there is [ErrUnknown].
func (w *Workspace) Trail(ctx context.Context, q TrailQuery) (*report.Trail, error) {
	if q.Limit < 1 || q.Limit > MaxTrailRows {
		return nil, refused("a page of the trail has 1 to %d changes", MaxTrailRows)
	}
	if q.Campaign != "" {
		if _, err := w.store.Entry(ctx, q.Campaign, 0); err != nil {
			return nil, unknownCampaign(err)
		}
	}
	changes, err := w.store.Trail(ctx, store.TrailQuery{Campaign: q.Campaign, Since: q.Since, Before: q.Before, Limit: q.Limit + 1})
	if err != nil {
		return nil, err
	}
	page := &report.Trail{Campaign: q.Campaign}
	if len(changes) > q.Limit {
		changes = changes[:q.Limit]
		page.Next = changes[q.Limit-1].Seq
	}
	for _, c := range changes {
		page.Changes = append(page.Changes, trailChange(c))
	}
	return page, nil
}

// trailChange is a change as a trail has it.
func trailChange(c store.Change) report.TrailChange {
	row := report.TrailChange{
		Seq: c.Seq, At: c.At, Who: c.Who, Why: c.Why, Action: string(c.Action), Kind: c.Kind, Subject: c.Subject,
		Version: c.Version, From: c.From, To: c.To,
	}
	for _, d := range c.Differences {
		row.Differences = append(row.Differences, report.TrailDifference(d))
	}
	return row
}
