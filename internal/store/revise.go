package store

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"fairpull/campaign"
	"fairpull/evidence"
)

// Revised is a change of a campaign within the workspace.
const Revised Action = "revise"

// Revise makes the next version of an open campaign: edit is given a copy of the
// latest one and changes what it has to, within the transaction that writes it, so
// that no pull that somebody adds meanwhile is lost. It needs a reason.
//
// edit may change what the campaign says and what is said of its pulls. It may not
// add or drop a pull, or say of one that another log is its own: that is
// [ErrRefused]. An edit that changes nothing writes nothing, and an error of it is
// returned as it is. The original campaign.toml or pulls.csv stays with the
// version before where it no longer says the same.
func (s *Store) Revise(ctx context.Context, id string, by Author, edit func(*campaign.Campaign) error) (Change, error) {
	return s.change(ctx, by, true, func(w writing) error {
		c := w.change
		c.Action, c.Kind, c.Subject = Revised, "campaign", id
		old, err := s.load(ctx, w, id, 0)
		if err != nil {
			return err
		}
		c.From, c.To, c.Version = old.digest, old.digest, old.version
		if old.state != StateOpen {
			return fmt.Errorf("campaign %s %w", id, ErrNotOpen)
		}
		revised, err := revise(old.contents, edit)
		if err != nil {
			return err
		}
		if c.Differences = differences(old.contents, revised.contents); len(c.Differences) == 0 {
			return errUnchanged
		}
		c.Version++
		if _, err := w.syncCampaign(ctx, revised, c.Version); err != nil {
			return err
		}
		if err := w.syncWords(ctx, &revised.campaign); err != nil {
			return err
		}
		return w.finish(ctx, id)
	})
}

// revise applies an edit to what a campaign says and renders its rows.
func revise(old contents, edit func(*campaign.Campaign) error) (*prepared, error) {
	copied, err := copyOf(old.campaign)
	if err != nil {
		return nil, err
	}
	if err := edit(&copied); err != nil {
		return nil, err
	}
	if err := samePulls(old.campaign, copied); err != nil {
		return nil, err
	}
	p := &prepared{contents: contents{campaign: copied, logs: old.logs, originals: maps.Clone(old.originals)}}
	record := Record{Campaign: copied, Logs: map[string][]byte{}}
	for path := range old.logs {
		record.Logs[path] = nil // it is there: what is checked is who names it
	}
	if err := record.check(); err != nil {
		return nil, err
	}
	if err := p.render(); err != nil {
		return nil, err
	}
	// An original is kept while it says what the version says.
	before := contents{campaign: old.campaign, logs: old.logs}
	after := contents{campaign: copied, logs: old.logs}
	pulls := !slices.EqualFunc(old.campaign.Pulls, copied.Pulls, func(a, b campaign.Pull) bool {
		return len(compare(nil, "", a, b)) == 0
	})
	before.campaign.Pulls, after.campaign.Pulls = nil, nil
	rest := len(differences(before, after)) > 0
	drop := func(name string, changed bool) {
		if changed {
			p.originals[name] = evidence.Digest{}
		}
	}
	drop(pullsFile, pulls)
	drop(campaignFile, rest)
	return p, nil
}

// copyOf returns a copy of what a campaign says that shares no memory with it.
func copyOf(c campaign.Campaign) (campaign.Campaign, error) {
	data, err := json.Marshal(c)
	if err != nil {
		return c, err
	}
	return read[campaign.Campaign]("campaign "+c.ID, string(data))
}

// samePulls refuses an edit that adds, drops or reorders pulls, or gives one
// another log.
func samePulls(old, now campaign.Campaign) error {
	same := old.ID == now.ID && slices.EqualFunc(old.Pulls, now.Pulls, func(a, b campaign.Pull) bool {
		return a.Name == b.Name && a.Log == b.Log
	})
	if !same {
		return refused("campaign %s: a revision neither adds nor drops pulls, and leaves each its log", old.ID)
	}
	return nil
}
