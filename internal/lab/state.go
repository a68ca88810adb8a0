package lab

import (
	"context"

	"fairpull/internal/store"
)

// SetState closes, withdraws or reopens a campaign; by.Why is the reason, which stays.
// Only an open campaign takes pulls and new versions; one that is withdrawn is kept,
// and is no history any more. It returns whether anything was changed.
func (w *Workspace) SetState(ctx context.Context, id string, state CampaignState, by Author) (bool, error) {
	c, err := w.store.SetState(ctx, id, state, by)
	return c.Changed(), unknownCampaign(err)
}

// The states of a campaign, one for each of CampaignStates.
const (
	StateOpen      = store.StateOpen
	StateClosed    = store.StateClosed
	StateWithdrawn = store.StateWithdrawn
)
