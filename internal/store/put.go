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

// Put takes a whole campaign in. When it returns, the campaign and its files are
// on the disk.
//
// A campaign that is there already and says the same changes nothing: the zero
// Change comes back. One that says something else is a [*DifferentError], and
// nothing is written: see [Store.Supersede]. A record that could not be given
// back as it is, or whose parts do not refer to each other, is [ErrRefused].
func (s *Store) Put(ctx context.Context, r Record, by Author) (Change, error) {
	return s.put(ctx, r, by, false)
}

// Supersede takes a campaign in as [Store.Put] does; where it is there and says
// something else, a new version takes the place of the old one, which stays.
// That needs a reason. A campaign that is not open is [ErrNotOpen].
func (s *Store) Supersede(ctx context.Context, r Record, by Author) (Change, error) {
	return s.put(ctx, r, by, true)
}

func (s *Store) put(ctx context.Context, r Record, by Author, supersede bool) (Change, error) {
	p, err := prepare(r)
	if err != nil {
		return Change{}, err
	}
	// Told before the files are written, so that a record that is not taken
	// leaves nothing behind; asked again within the transaction.
	old, err := s.load(ctx, s.db, p.campaign.ID, 0)
	known := err == nil
	if err != nil && !errors.Is(err, ErrNotFound) {
		return Change{}, err
	}
	if known {
		list := differences(old.contents, p.contents)
		switch {
		case !supersede && len(list) > 0:
			return Change{}, &DifferentError{p.campaign.ID, list}
		case !supersede:
			return Change{}, by.check(false)
		case len(list) > 0 && old.state != StateOpen:
			return Change{}, fmt.Errorf("campaign %s %w", p.campaign.ID, ErrNotOpen)
		}
	}
	if err := by.check(known); err != nil {
		return Change{}, err
	}
	there, err := putAll(ctx, s.blobs, p.files)
	if err != nil {
		return Change{}, fmt.Errorf("campaign %s: %w", p.campaign.ID, err)
	}
	return s.change(ctx, by, known, func(w writing) error {
		if err := s.still(ctx, there); err != nil {
			return err
		}
		return s.putRows(ctx, w, p, supersede)
	})
}

// prepared is a record that can be written: its rows and the digests of its files.
type prepared struct {
	contents
	files                 [][]byte
	head, vehicle, dyno   sheet
	configurations, pulls []sheet
}

// prepare checks a record and renders its rows. The record is not modified.
func prepare(r Record) (*prepared, error) {
	if err := r.check(); err != nil {
		return nil, err
	}
	p := &prepared{contents: contents{campaign: r.Campaign, logs: map[string]evidence.Digest{}, originals: map[string]evidence.Digest{}}}
	p.campaign.Pulls = slices.Clone(r.Campaign.Pulls)
	for _, path := range slices.Sorted(maps.Keys(r.Logs)) {
		p.logs[path] = evidence.OfBytes(r.Logs[path])
		p.files = append(p.files, r.Logs[path])
	}
	for name, data := range map[string][]byte{campaignFile: r.CampaignFile, pullsFile: r.PullsFile} {
		if data != nil {
			p.originals[name] = evidence.OfBytes(data)
			p.files = append(p.files, data)
		}
	}
	if err := p.render(); err != nil {
		return nil, err
	}
	return p, nil
}

// render writes the rows of what the campaign says.
func (p *prepared) render() (err error) {
	if p.head, err = write("campaign "+p.campaign.ID, head(&p.campaign)); err != nil {
		return err
	}
	if p.vehicle, err = write("vehicle "+p.campaign.Vehicle.ID, p.campaign.Vehicle); err != nil {
		return err
	}
	if p.dyno, err = write("dyno "+p.campaign.Dyno.ID, p.campaign.Dyno); err != nil {
		return err
	}
	for _, c := range p.campaign.Configurations {
		row, err := write("configuration "+c.ID, c)
		if err != nil {
			return err
		}
		p.configurations = append(p.configurations, row)
	}
	for i := range p.campaign.Pulls {
		if err := settle(&p.campaign.Pulls[i]); err != nil {
			return err
		}
		row, err := writePull(p.campaign.Pulls[i])
		if err != nil {
			return err
		}
		p.pulls = append(p.pulls, row)
	}
	return nil
}

// putRows writes a record within a transaction, as a new campaign or as the next
// version of one.
func (s *Store) putRows(ctx context.Context, w writing, p *prepared, supersede bool) error {
	c := w.change
	c.Action, c.Kind, c.Subject = Imported, "campaign", p.campaign.ID
	old, err := s.load(ctx, w, p.campaign.ID, 0)
	switch {
	case errors.Is(err, ErrNotFound):
		c.Version = 1
		_, err = w.ExecContext(ctx, `INSERT INTO campaigns (id, version, digest, state, title, vehicle, dyno, started, ended, pulls)
			VALUES ($1, 1, '', $2, '', '', '', 0, 0, 0)`, p.campaign.ID, string(StateOpen))
		if err != nil {
			return err
		}
	case err != nil:
		return err
	default:
		c.Action, c.From, c.Version = Superseded, old.digest, old.version+1
		c.Differences = differences(old.contents, p.contents)
		if !supersede && len(c.Differences) > 0 {
			return &DifferentError{p.campaign.ID, c.Differences}
		}
		if !supersede {
			return errUnchanged
		}
	}
	changed, err := w.syncCampaign(ctx, p, c.Version)
	if err != nil {
		return err
	}
	if !changed {
		return errUnchanged
	}
	if old != nil && old.state != StateOpen {
		return fmt.Errorf("campaign %s %w", p.campaign.ID, ErrNotOpen)
	}
	if err := w.syncWords(ctx, &p.campaign); err != nil {
		return err
	}
	return w.finish(ctx, p.campaign.ID)
}

// syncCampaign makes the rows of a campaign those of p, as of the given version,
// and reports whether any row changed.
func (w writing) syncCampaign(ctx context.Context, p *prepared, version int64) (bool, error) {
	id := p.campaign.ID
	headed, err := w.syncHead(ctx, p, version)
	if err != nil {
		return false, err
	}
	configurations := table{name: "configurations", print: "digest || ' ' || position", campaign: id, version: version}
	for i, c := range p.campaign.Configurations {
		configurations.add(c.ID, fmt.Sprintf("%s %d", p.configurations[i].digest, i), func() error {
			return w.insertConfiguration(ctx, id, version, i, c.ID, p.configurations[i])
		})
	}
	originals := table{name: "originals", print: "digest", campaign: id, version: version}
	for _, name := range []string{campaignFile, pullsFile} {
		if d := p.originals[name]; !d.IsZero() {
			originals.add(name, d.String(), func() error { return w.insertOriginal(ctx, id, version, name, d) })
		}
	}
	pulls := table{name: "pulls", print: "digest || ' ' || log || ' ' || position || ' ' || line", campaign: id, version: version}
	for i, pull := range p.campaign.Pulls {
		log := p.logs[pull.Log]
		pulls.add(pull.Name, fmt.Sprintf("%s %s %d %d", p.pulls[i].digest, log, i, pull.Line), func() error {
			return w.insertPull(ctx, id, version, i, pull, log, p.pulls[i])
		})
	}
	changed := headed
	for _, t := range []*table{&configurations, &originals, &pulls} {
		synced, err := t.sync(ctx, w)
		if err != nil {
			return false, err
		}
		changed = changed || synced
	}
	return changed, nil
}

func (w writing) syncHead(ctx context.Context, p *prepared, version int64) (bool, error) {
	vehicle, err := w.define(ctx, "vehicle", p.campaign.Vehicle.ID, p.vehicle)
	if err != nil {
		return false, err
	}
	dyno, err := w.define(ctx, "dyno", p.campaign.Dyno.ID, p.dyno)
	if err != nil {
		return false, err
	}
	var was [3]string
	err = w.QueryRowContext(ctx, `SELECT vehicle, dyno, digest FROM heads WHERE campaign = $1 AND until IS NULL`, p.campaign.ID).
		Scan(&was[0], &was[1], &was[2])
	if err == nil && was == [3]string{vehicle.id, dyno.id, p.head.digest.String()} {
		return false, nil
	}
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return false, err
	}
	return true, w.replaceHead(ctx, p.campaign.ID, version, vehicle.id, dyno.id, p.head)
}

// replaceHead ends the head of a campaign, if it has one, and inserts another.
func (w writing) replaceHead(ctx context.Context, id string, version int64, vehicle, dyno string, row sheet) error {
	if _, err := w.ExecContext(ctx, `UPDATE heads SET until = $1 WHERE campaign = $2 AND until IS NULL`, version, id); err != nil {
		return err
	}
	_, err := w.ExecContext(ctx, `INSERT INTO heads (campaign, since, vehicle, dyno, digest, body) VALUES ($1, $2, $3, $4, $5, $6)`,
		id, version, vehicle, dyno, row.digest.String(), row.body)
	return err
}

func (w writing) insertConfiguration(ctx context.Context, id string, version int64, position int, name string, row sheet) error {
	key, err := newID()
	if err != nil {
		return err
	}
	_, err = w.ExecContext(ctx, `INSERT INTO configurations (id, campaign, name, since, position, digest, body)
		VALUES ($1, $2, $3, $4, $5, $6, $7)`, key, id, name, version, position, row.digest.String(), row.body)
	return err
}

func (w writing) insertOriginal(ctx context.Context, id string, version int64, name string, d evidence.Digest) error {
	_, err := w.ExecContext(ctx, `INSERT INTO originals (campaign, name, since, digest) VALUES ($1, $2, $3, $4)`,
		id, name, version, d.String())
	return err
}

// insertPull inserts a pull, and its setup where it is the first of it.
func (w writing) insertPull(ctx context.Context, id string, version int64, position int, p campaign.Pull, log evidence.Digest, row sheet) error {
	if _, err := w.insertSetup(ctx, id, p.Setup); err != nil {
		return err
	}
	key, err := newID()
	if err != nil {
		return err
	}
	_, err = w.ExecContext(ctx, `INSERT INTO pulls
		(id, campaign, name, since, position, line, started, configuration, setup, log, digest, body)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`,
		key, id, p.Name, version, position, p.Line, p.Started.UnixMicro(), p.Configuration, p.Setup, log.String(), row.digest.String(), row.body)
	return err
}

// insertSetup inserts a setup and reports whether it was not there.
func (w writing) insertSetup(ctx context.Context, id, name string) (bool, error) {
	done, err := w.ExecContext(ctx, `INSERT INTO setups (campaign, name, change) VALUES ($1, $2, $3)
		ON CONFLICT (campaign, name) DO NOTHING`, id, name, w.change.Seq)
	if err != nil {
		return false, err
	}
	n, err := done.RowsAffected()
	return n > 0, err
}
