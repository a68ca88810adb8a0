package store

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"fairpull/campaign"
	"fairpull/evidence"
)

// table is the rows that one campaign should have in one table.
type table struct {
	name     string // of the table
	print    string // SQL: what a row says, as one text
	campaign string
	version  int64
	rows     []wanted
}

type wanted struct {
	key, print string
	insert     func() error
}

func (t *table) add(key, print string, insert func() error) {
	t.rows = append(t.rows, wanted{key, print, insert})
}

// sync ends the current rows that are not wanted as they are, inserts what is
// wanted and not there, and reports whether it did either.
func (t *table) sync(ctx context.Context, w writing) (bool, error) {
	current, err := t.current(ctx, w)
	if err != nil {
		return false, err
	}
	keep := map[string]bool{}
	for _, row := range t.rows {
		keep[row.key] = current[row.key] == row.print
	}
	changed := false
	for key := range current {
		if keep[key] {
			continue
		}
		changed = true
		if _, err := w.ExecContext(ctx, `UPDATE `+t.name+` SET until = $1 WHERE campaign = $2 AND name = $3 AND until IS NULL`,
			t.version, t.campaign, key); err != nil {
			return false, err
		}
	}
	for _, row := range t.rows {
		if keep[row.key] {
			continue
		}
		changed = true
		if err := row.insert(); err != nil {
			return false, err
		}
	}
	return changed, nil
}

func (t *table) current(ctx context.Context, w writing) (prints map[string]string, err error) {
	rows, err := w.QueryContext(ctx, `SELECT name, `+t.print+` FROM `+t.name+` WHERE campaign = $1 AND until IS NULL`, t.campaign)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	prints = map[string]string{}
	for rows.Next() {
		var key, print string
		if err := rows.Scan(&key, &print); err != nil {
			return nil, err
		}
		prints[key] = print
	}
	return prints, rows.Err()
}

// finish brings the row that lists read up to the version that the change made,
// and notes the digest of the campaign's data in the change.
func (w writing) finish(ctx context.Context, id string) error {
	c := w.change
	digest, err := dataDigest(ctx, w, id, c.Version)
	if err != nil {
		return err
	}
	c.To = digest.String()
	_, err = w.ExecContext(ctx, `UPDATE campaigns SET version = $2, digest = $3,
		started = (SELECT coalesce(min(started), 0) FROM pulls WHERE campaign = $1 AND until IS NULL),
		ended = (SELECT coalesce(max(started), 0) FROM pulls WHERE campaign = $1 AND until IS NULL),
		pulls = (SELECT count(*) FROM pulls WHERE campaign = $1 AND until IS NULL)
		WHERE id = $1`, id, c.Version, c.To)
	return err
}

// dataDigest returns the digest of what one version of a campaign says: that of
// a text with one line for each row, the row's digest and, for a pull, its
// log's. The rows are kept as they were written, so it does not change with the
// program.
func dataDigest(ctx context.Context, q querier, id string, version int64) (evidence.Digest, error) {
	const alive = `campaign = $1 AND since <= $2 AND (until IS NULL OR until > $2)`
	var list strings.Builder
	list.WriteString("fairpull.data/1\n")
	for _, query := range []string{
		`SELECT 'head ' || digest FROM heads WHERE ` + alive,
		`SELECT 'vehicle ' || d.digest FROM heads h JOIN definitions d ON d.id = h.vehicle WHERE ` + alive,
		`SELECT 'dyno ' || d.digest FROM heads h JOIN definitions d ON d.id = h.dyno WHERE ` + alive,
		`SELECT 'configuration ' || digest FROM configurations WHERE ` + alive + ` ORDER BY position`,
		`SELECT 'pull ' || digest || ' ' || log FROM pulls WHERE ` + alive + ` ORDER BY position`,
	} {
		lines, err := texts(ctx, q, query, id, version)
		if err != nil {
			return evidence.Digest{}, err
		}
		for _, line := range lines {
			fmt.Fprintln(&list, line)
		}
	}
	return evidence.OfBytes([]byte(list.String())), nil
}

// texts returns the first column of a query.
func texts(ctx context.Context, q querier, query string, args ...any) (list []string, err error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return nil, err
		}
		list = append(list, text)
	}
	return list, rows.Err()
}

// syncWords makes a campaign findable by the words of its texts, and brings the
// texts that lists show up to date.
func (w writing) syncWords(ctx context.Context, c *campaign.Campaign) error {
	_, err := w.ExecContext(ctx, `UPDATE campaigns SET title = $2, vehicle = $3, dyno = $4 WHERE id = $1`,
		c.ID, c.Title, c.Vehicle.ID, c.Dyno.ID)
	if err != nil {
		return err
	}
	if _, err := w.ExecContext(ctx, `DELETE FROM words WHERE campaign = $1`, c.ID); err != nil {
		return err
	}
	for _, word := range wordsOf(c) {
		if _, err := w.ExecContext(ctx, `INSERT INTO words (word, campaign) VALUES ($1, $2)`, word, c.ID); err != nil {
			return err
		}
	}
	return nil
}
