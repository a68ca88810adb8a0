package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"

	"fairpull/campaign"
	"fairpull/evidence"
)

// AddPull appends one pull with its raw log to an open campaign. When it returns
// without an error, the log and the pull are on the disk.
//
// The same pull again changes nothing, so a caller that did not hear the answer
// asks again. Another pull of that name is a [*DifferentError]. The pull's
// configuration is one that the campaign declares; its columns join the
// campaign's. The original pulls.csv stays with the version that it belongs to.
func (s *Store) AddPull(ctx context.Context, id string, pull campaign.Pull, log []byte, by Author) (Change, error) {
	if err := checkPull(pull, map[string]bool{pull.Configuration: true}); err != nil {
		return Change{}, err
	}
	if err := settle(&pull); err != nil {
		return Change{}, err
	}
	row, err := writePull(pull)
	if err != nil {
		return Change{}, err
	}
	if err := by.check(false); err != nil {
		return Change{}, err
	}
	old, err := putAll(ctx, s.blobs, [][]byte{log})
	if err != nil {
		return Change{}, fmt.Errorf("campaign %s: pull %s: %w", id, pull.Name, err)
	}
	return s.change(ctx, by, false, func(w writing) error {
		w.change.Action, w.change.Kind, w.change.Subject = PullAdded, "campaign", id
		if err := s.still(ctx, old); err != nil {
			return err
		}
		return w.addPull(ctx, id, pull, evidence.OfBytes(log), row)
	})
}

func (w writing) addPull(ctx context.Context, id string, pull campaign.Pull, log evidence.Digest, row sheet) error {
	var state State
	if err := w.campaign(ctx, id, &state); err != nil {
		return err
	}
	if err := w.samePull(ctx, id, pull, log); err != nil {
		return err
	}
	if state != StateOpen {
		return fmt.Errorf("campaign %s %w", id, ErrNotOpen)
	}
	if err := w.sameLog(ctx, id, pull.Log, log); err != nil {
		return err
	}
	var declared, position int
	err := w.QueryRowContext(ctx, `SELECT
		(SELECT count(*) FROM configurations WHERE campaign = $1 AND name = $2 AND until IS NULL),
		(SELECT coalesce(max(position) + 1, 0) FROM pulls WHERE campaign = $1 AND until IS NULL)`, id, pull.Configuration).
		Scan(&declared, &position)
	switch {
	case err != nil:
		return err
	case declared == 0:
		return refused("pull %s: configuration %.80q is not declared", pull.Name, pull.Configuration)
	case position >= maxPulls:
		return refused("campaign %s has %d pulls, and no more are kept", id, position)
	}
	w.change.Version++
	w.change.Differences = []Difference{{Path: "pull " + pull.Name, To: log.String()}}
	if err := w.insertPull(ctx, id, w.change.Version, position, pull, log, row); err != nil {
		return err
	}
	if err := w.addColumns(ctx, id, pull); err != nil {
		return err
	}
	_, err = w.ExecContext(ctx, `UPDATE originals SET until = $1 WHERE campaign = $2 AND name = $3 AND until IS NULL`,
		w.change.Version, id, pullsFile)
	if err != nil {
		return err
	}
	return w.finish(ctx, id)
}

// samePull ends a write whose pull is there already, and refuses one whose name
// is another pull's.
func (w writing) samePull(ctx context.Context, id string, pull campaign.Pull, log evidence.Digest) error {
	var was, body string
	err := w.QueryRowContext(ctx, `SELECT log, body FROM pulls WHERE campaign = $1 AND name = $2 AND until IS NULL`, id, pull.Name).
		Scan(&was, &body)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	before, err := read[campaign.Pull]("pull "+pull.Name, body)
	if err != nil {
		return err
	}
	pull.Line = 0
	list := compare(nil, "pull "+pull.Name, before, pull)
	if was != log.String() {
		list = append(list, Difference{"pull " + pull.Name + " log", was, log.String()})
	}
	if len(list) > 0 {
		return &DifferentError{id, list}
	}
	return errUnchanged
}

// sameLog refuses a log whose path is that of another log of the campaign.
func (w writing) sameLog(ctx context.Context, id, path string, log evidence.Digest) (err error) {
	rows, err := w.QueryContext(ctx, `SELECT name, log, body FROM pulls WHERE campaign = $1 AND until IS NULL`, id)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var name, digest, body string
		if err := rows.Scan(&name, &digest, &body); err != nil {
			return err
		}
		other, err := read[campaign.Pull]("pull "+name, body)
		if err != nil {
			return err
		}
		if other.Log == path && digest != log.String() {
			return refused("%.200q is the path of pull %s, whose log is another", path, name)
		}
	}
	return rows.Err()
}

// addColumns has the campaign's list of extra columns name those of a pull that
// are not there.
func (w writing) addColumns(ctx context.Context, id string, pull campaign.Pull) error {
	if len(pull.Values) == 0 {
		return nil
	}
	var vehicle, dyno, body string
	err := w.QueryRowContext(ctx, `SELECT vehicle, dyno, body FROM heads WHERE campaign = $1 AND until IS NULL`, id).Scan(&vehicle, &dyno, &body)
	if err != nil {
		return err
	}
	said, err := read[headBody]("campaign "+id, body)
	if err != nil {
		return err
	}
	columns := len(said.ExtraColumns)
	for _, name := range slices.Sorted(maps.Keys(pull.Values)) {
		if !slices.Contains(said.ExtraColumns, name) {
			said.ExtraColumns = append(said.ExtraColumns, name)
		}
	}
	if len(said.ExtraColumns) == columns {
		return nil
	}
	row, err := write("campaign "+id, said)
	if err != nil {
		return err
	}
	return w.replaceHead(ctx, id, w.change.Version, vehicle, dyno, row)
}
