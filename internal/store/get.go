package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"fairpull/campaign"
	"fairpull/evidence"
)

// querier is a database or a transaction.
type querier interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// Entry is one version of a campaign as the workspace knows it, without files.
type Entry struct {
	Campaign campaign.Campaign
	Version  int64
	Latest   int64           // the latest version
	Digest   evidence.Digest // of the version's data, logs included
	State    State           // of the campaign now
	// Logs are the digests of the raw logs by path, Originals those of
	// campaign.toml and pulls.csv by name, where the version has them.
	Logs, Originals map[string]evidence.Digest
}

// stored is one version of a campaign as it is read.
type stored struct {
	contents
	version, latest int64
	digest          string
	state           State
}

// Get returns a campaign's latest version with all its files, each verified
// against its digest. An id that is not there is [ErrNotFound]; a file that is
// not what was stored is a [*DamagedError].
func (s *Store) Get(ctx context.Context, id string) (Record, error) { return s.GetVersion(ctx, id, 0) }

// GetVersion returns one version of a campaign as [Store.Get] does; version 0 is
// the latest, and the first is 1.
func (s *Store) GetVersion(ctx context.Context, id string, version int64) (Record, error) {
	found, err := s.read(ctx, id, version)
	if err != nil {
		return Record{}, err
	}
	r := Record{Campaign: found.campaign, Logs: map[string][]byte{}}
	for path, d := range found.logs {
		if r.Logs[path], err = s.Blob(ctx, d); err != nil {
			return Record{}, fmt.Errorf("campaign %s: log %s: %w", id, path, err)
		}
	}
	for name, into := range map[string]*[]byte{campaignFile: &r.CampaignFile, pullsFile: &r.PullsFile} {
		if d := found.originals[name]; !d.IsZero() {
			if *into, err = s.Blob(ctx, d); err != nil {
				return Record{}, fmt.Errorf("campaign %s: %s: %w", id, name, err)
			}
		}
	}
	return r, nil
}

// Entry returns a version of a campaign without reading its files; version 0 is
// the latest.
func (s *Store) Entry(ctx context.Context, id string, version int64) (Entry, error) {
	found, err := s.read(ctx, id, version)
	if err != nil {
		return Entry{}, err
	}
	digest, err := evidence.Parse(found.digest)
	if err != nil {
		return Entry{}, err
	}
	return Entry{
		Campaign: found.campaign, Version: found.version, Latest: found.latest, Digest: digest,
		State: found.state, Logs: found.logs, Originals: found.originals,
	}, nil
}

// Blob returns the bytes of a log, an original or an attachment, verified.
func (s *Store) Blob(ctx context.Context, d evidence.Digest) ([]byte, error) {
	return s.blobs.Get(ctx, d)
}

// read loads a version within one read transaction, so that a write meanwhile
// is seen whole or not at all.
func (s *Store) read(ctx context.Context, id string, version int64) (found *stored, err error) {
	err = s.view(ctx, func(q querier) error {
		found, err = s.load(ctx, q, id, version)
		return err
	})
	return found, err
}

// view runs fn on one state of the database.
func (s *Store) view(ctx context.Context, fn func(q querier) error) error {
	tx, err := s.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true, Isolation: sql.LevelRepeatableRead})
	if err != nil {
		return explain(err)
	}
	err = fn(tx)
	if rollback := tx.Rollback(); !errors.Is(rollback, sql.ErrTxDone) {
		err = errors.Join(err, rollback)
	}
	return explain(err)
}

func (s *Store) load(ctx context.Context, q querier, id string, version int64) (*stored, error) {
	found := &stored{contents: contents{logs: map[string]evidence.Digest{}, originals: map[string]evidence.Digest{}}}
	found.campaign.ID = id
	err := q.QueryRowContext(ctx, `SELECT version, digest, state FROM campaigns WHERE id = $1`, id).
		Scan(&found.latest, &found.digest, &found.state)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, fmt.Errorf("campaign %.80q %w", id, ErrNotFound)
	}
	if err != nil {
		return nil, explain(err)
	}
	found.version = found.latest
	if version != 0 && version != found.latest {
		if version < 1 || version > found.latest {
			return nil, fmt.Errorf("version %d of campaign %s %w: it has versions 1 to %d", version, id, ErrNotFound, found.latest)
		}
		digest, err := dataDigest(ctx, q, id, version)
		if err != nil {
			return nil, err
		}
		found.version, found.digest = version, digest.String()
	}
	for _, part := range []func(context.Context, querier, *stored) error{loadHead, loadConfigurations, loadPulls, loadOriginals} {
		if err := part(ctx, q, found); err != nil {
			return nil, fmt.Errorf("campaign %s: %w", id, explain(err))
		}
	}
	return found, nil
}

const aliveAt = `campaign = $1 AND since <= $2 AND (until IS NULL OR until > $2)`

func loadHead(ctx context.Context, q querier, found *stored) error {
	var body, vehicle, dyno string
	err := q.QueryRowContext(ctx, `SELECT h.body, v.body, d.body FROM heads h
		JOIN definitions v ON v.id = h.vehicle JOIN definitions d ON d.id = h.dyno WHERE `+aliveAt,
		found.campaign.ID, found.version).Scan(&body, &vehicle, &dyno)
	if err != nil {
		return err
	}
	said, err := read[headBody]("head", body)
	if err != nil {
		return err
	}
	said.into(&found.campaign)
	if found.campaign.Vehicle, err = read[campaign.Vehicle]("vehicle", vehicle); err != nil {
		return err
	}
	found.campaign.Dyno, err = read[campaign.Dyno]("dyno", dyno)
	return err
}

func loadConfigurations(ctx context.Context, q querier, found *stored) error {
	bodies, err := texts(ctx, q, `SELECT body FROM configurations WHERE `+aliveAt+` ORDER BY position`, found.campaign.ID, found.version)
	if err != nil {
		return err
	}
	for _, body := range bodies {
		c, err := read[campaign.Configuration]("configuration", body)
		if err != nil {
			return err
		}
		found.campaign.Configurations = append(found.campaign.Configurations, c)
	}
	return nil
}

func loadPulls(ctx context.Context, q querier, found *stored) (err error) {
	rows, err := q.QueryContext(ctx, `SELECT line, log, body FROM pulls WHERE `+aliveAt+` ORDER BY position`, found.campaign.ID, found.version)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var line int
		var log, body string
		if err := rows.Scan(&line, &log, &body); err != nil {
			return err
		}
		pull, err := read[campaign.Pull]("pull", body)
		if err != nil {
			return err
		}
		pull.Line = line
		if found.logs[pull.Log], err = evidence.Parse(log); err != nil {
			return fmt.Errorf("pull %s: %w", pull.Name, err)
		}
		found.campaign.Pulls = append(found.campaign.Pulls, pull)
	}
	return rows.Err()
}

func loadOriginals(ctx context.Context, q querier, found *stored) (err error) {
	rows, err := q.QueryContext(ctx, `SELECT name, digest FROM originals WHERE `+aliveAt, found.campaign.ID, found.version)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var name, digest string
		if err := rows.Scan(&name, &digest); err != nil {
			return err
		}
		if found.originals[name], err = evidence.Parse(digest); err != nil {
			return err
		}
	}
	return rows.Err()
}
