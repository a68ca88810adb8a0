package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"fairpull/campaign"
	"fairpull/evidence"
)

// ErrMoved says that a campaign is no longer at the version that a change was
// decided on.
var ErrMoved = errors.New("was changed meanwhile: nothing was written")

// SetExcluded gives one pull of an open campaign another reason not to be used,
// empty to use it again, and that is the campaign's next version. It needs a
// reason of its author's too. seen is the version that was looked at, 0 for
// whichever is the latest: where it is not the latest the error is [ErrMoved].
// What the pull says already changes nothing.
func (s *Store) SetExcluded(ctx context.Context, id, pull, cause string, seen int64, by Author) (Change, error) {
	if err := campaign.CheckText(cause); err != nil {
		return Change{}, refused("pull %.80q: the cause %v", pull, err)
	}
	return s.change(ctx, by, true, func(w writing) error {
		w.change.Action, w.change.Kind, w.change.Subject = PullExcluded, "campaign", id
		if err := w.openCampaign(ctx, id); err != nil {
			return err
		}
		if seen != 0 && seen != w.change.Version {
			return fmt.Errorf("campaign %s %w", id, ErrMoved)
		}
		return w.setExcluded(ctx, id, pull, cause)
	})
}

func (w writing) setExcluded(ctx context.Context, id, name, cause string) error {
	var position, line int
	var log, body string
	err := w.QueryRowContext(ctx, `SELECT position, line, log, body FROM pulls WHERE campaign = $1 AND name = $2 AND until IS NULL`, id, name).
		Scan(&position, &line, &log, &body)
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("pull %.80q of campaign %s %w", name, id, ErrNotFound)
	}
	if err != nil {
		return err
	}
	pull, err := read[campaign.Pull]("pull "+name, body)
	if err != nil {
		return err
	}
	if pull.Excluded == cause {
		return errUnchanged
	}
	before := pull
	pull.Excluded = cause
	row, err := writePull(pull)
	if err != nil {
		return err
	}
	digest, err := evidence.Parse(log)
	if err != nil {
		return err
	}
	w.change.Version++
	w.change.Differences = compare(nil, "pull "+name, before, pull)
	for _, end := range []struct{ table, name string }{{"pulls", name}, {"originals", pullsFile}} {
		_, err := w.ExecContext(ctx, `UPDATE `+end.table+` SET until = $1 WHERE campaign = $2 AND name = $3 AND until IS NULL`, w.change.Version, id, end.name)
		if err != nil {
			return err
		}
	}
	pull.Line = line
	if err := w.insertPull(ctx, id, w.change.Version, position, pull, digest, row); err != nil {
		return err
	}
	return w.finish(ctx, id)
}
