package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"fairpull/campaign"
)

// State of a campaign.
type State string

// The states. A campaign comes in open; it can be changed only then.
const (
	StateOpen      State = "open"
	StateClosed    State = "closed"    // measured to the end
	StateWithdrawn State = "withdrawn" // kept, and left out of the lab's history
)

// SetState sets the state of a campaign. It needs a reason, which stays in the
// audit trail. The state that it has already changes nothing.
func (s *Store) SetState(ctx context.Context, id string, state State, by Author) (Change, error) {
	switch state {
	case StateOpen, StateClosed, StateWithdrawn:
	default:
		return Change{}, refused("%.40q is not a state", string(state))
	}
	return s.change(ctx, by, true, func(w writing) error {
		c := w.change
		c.Action, c.Kind, c.Subject = StateSet, "campaign", id
		var was State
		if err := w.campaign(ctx, id, &was); err != nil {
			return err
		}
		if was == state {
			return errUnchanged
		}
		c.Differences = []Difference{{"state", text(was), text(state)}}
		_, err := w.ExecContext(ctx, `UPDATE campaigns SET state = $2 WHERE id = $1`, id, string(state))
		return err
	})
}

// campaign reads where a campaign stands and has the change start from there:
// its version and its data stay as they are until the change says otherwise.
func (w writing) campaign(ctx context.Context, id string, state *State) error {
	c := w.change
	err := w.QueryRowContext(ctx, `SELECT version, digest, state FROM campaigns WHERE id = $1`, id).Scan(&c.Version, &c.From, state)
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("campaign %.80q %w", id, ErrNotFound)
	}
	c.To = c.From
	return err
}

// openCampaign is campaign for a change that only an open campaign takes.
func (w writing) openCampaign(ctx context.Context, id string) error {
	var state State
	if err := w.campaign(ctx, id, &state); err != nil {
		return err
	}
	if state != StateOpen {
		return fmt.Errorf("campaign %s %w", id, ErrNotOpen)
	}
	return nil
}

// AddSetup notes a setup before its first pull, so that photographs can be
// attached to it. A setup that is there changes nothing.
func (s *Store) AddSetup(ctx context.Context, id, setup string, by Author) (Change, error) {
	if err := campaign.CheckName(setup); err != nil {
		return Change{}, refused("the setup %.80q %v", setup, err)
	}
	return s.change(ctx, by, false, func(w writing) error {
		c := w.change
		c.Action, c.Kind, c.Subject, c.Differences = SetupAdded, "campaign", id, []Difference{{Path: "setup " + setup, To: text(setup)}}
		if err := w.openCampaign(ctx, id); err != nil {
			return err
		}
		fresh, err := w.insertSetup(ctx, id, setup)
		if err == nil && !fresh {
			err = errUnchanged
		}
		return err
	})
}

// Setups returns the setups of a campaign, in the order in which they came.
func (s *Store) Setups(ctx context.Context, id string) ([]string, error) {
	setups, err := texts(ctx, s.db, `SELECT name FROM setups WHERE campaign = $1 ORDER BY change, name`, id)
	return setups, explain(err)
}
