package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"fairpull/campaign"
	"fairpull/evidence"
)

// Definition is one statement about a vehicle, a dyno or a procedure, by name.
type Definition[T any] struct {
	Name    string
	Version int64 // counts from 1, in the order in which statements came first
	Digest  evidence.Digest
	Value   T
}

// defined is where a statement is kept.
type defined struct {
	id      string
	version int64
	fresh   bool // it was not there before
}

// define keeps a statement, once: the same statement again is the row that is
// there already.
func (w writing) define(ctx context.Context, kind, name string, row sheet) (defined, error) {
	var d defined
	err := w.QueryRowContext(ctx, `SELECT id, version FROM definitions WHERE kind = $1 AND name = $2 AND digest = $3`,
		kind, name, row.digest.String()).Scan(&d.id, &d.version)
	if !errors.Is(err, sql.ErrNoRows) {
		return d, err
	}
	if d.id, err = newID(); err != nil {
		return d, err
	}
	d.fresh = true
	err = w.QueryRowContext(ctx, `INSERT INTO definitions (id, kind, name, version, digest, body, change)
		SELECT $1, $2, $3, coalesce(max(version), 0) + 1, $4, $5, $6 FROM definitions WHERE kind = $2 AND name = $3
		RETURNING version`, d.id, kind, name, row.digest.String(), row.body, w.change.Seq).Scan(&d.version)
	return d, err
}

// definition reads a statement; version 0 is the latest.
func definition[T any](ctx context.Context, q querier, kind, name string, version int64) (Definition[T], error) {
	d := Definition[T]{Name: name}
	var digest, body string
	err := q.QueryRowContext(ctx, `SELECT version, digest, body FROM definitions
		WHERE kind = $1 AND name = $2 AND ($3 = 0 OR version = $3) ORDER BY version DESC LIMIT 1`, kind, name, version).
		Scan(&d.Version, &digest, &body)
	if errors.Is(err, sql.ErrNoRows) {
		return d, fmt.Errorf("%s %.80q %w", kind, name, ErrNotFound)
	}
	if err != nil {
		return d, explain(err)
	}
	if d.Digest, err = evidence.Parse(digest); err != nil {
		return d, err
	}
	d.Value, err = read[T](kind+" "+name, body)
	return d, err
}

// Vehicle returns what was stated of a vehicle; version 0 is the latest
// statement. A campaign keeps the statement that it came with.
func (s *Store) Vehicle(ctx context.Context, id string, version int64) (Definition[campaign.Vehicle], error) {
	return definition[campaign.Vehicle](ctx, s.db, "vehicle", id, version)
}

// Dyno returns what was stated of a dyno; version 0 is the latest statement.
// The calibrations of a dyno are kept apart: see [Store.Calibrations].
func (s *Store) Dyno(ctx context.Context, id string, version int64) (Definition[campaign.Dyno], error) {
	return definition[campaign.Dyno](ctx, s.db, "dyno", id, version)
}

// Vehicles returns the ids of the vehicles that campaigns name, in order.
func (s *Store) Vehicles(ctx context.Context) ([]string, error) { return s.names(ctx, "vehicle") }

// Dynos returns the ids of the dynos that campaigns name, in order.
func (s *Store) Dynos(ctx context.Context) ([]string, error) { return s.names(ctx, "dyno") }

// Procedures returns the names of the lab's procedures, in order.
func (s *Store) Procedures(ctx context.Context) ([]string, error) { return s.names(ctx, "procedure") }

func (s *Store) names(ctx context.Context, kind string) ([]string, error) {
	names, err := texts(ctx, s.db, `SELECT DISTINCT name FROM definitions WHERE kind = $1 AND name <> '' ORDER BY name`, kind)
	return names, explain(err)
}

// Procedure returns a version of a procedure of the lab, its set points with
// their tolerances; version 0 is the latest.
func (s *Store) Procedure(ctx context.Context, name string, version int64) (Definition[[]campaign.SetPoint], error) {
	return definition[[]campaign.SetPoint](ctx, s.db, "procedure", name, version)
}

// SaveProcedure keeps a procedure of the lab under a name, as its next version.
// What is there already changes nothing. A new version of a procedure needs a
// reason; campaigns keep the set points that they were measured with.
func (s *Store) SaveProcedure(ctx context.Context, name string, points []campaign.SetPoint, by Author) (Change, error) {
	if err := campaign.CheckID(name); err != nil {
		return Change{}, refused("the procedure's name %.80q %v", name, err)
	}
	keys := map[string]bool{}
	for _, p := range points {
		if p.Key == "" || keys[p.Key] || p.Tolerance < 0 {
			return Change{}, refused("procedure %s: set point %.80q has no name of its own or a tolerance below 0", name, p.Key)
		}
		keys[p.Key] = true
	}
	row, err := write("procedure "+name, points)
	if err != nil {
		return Change{}, err
	}
	return s.change(ctx, by, false, func(w writing) error {
		c := w.change
		c.Action, c.Kind, c.Subject, c.To = Defined, "procedure", name, row.digest.String()
		before, err := definition[[]campaign.SetPoint](ctx, w, "procedure", name, 0)
		if err != nil && !errors.Is(err, ErrNotFound) {
			return err
		}
		d, errDefine := w.define(ctx, "procedure", name, row)
		switch {
		case errDefine != nil:
			return errDefine
		case !d.fresh && d.version == before.Version:
			return errUnchanged
		case !d.fresh:
			return refused("procedure %s said this in version %d already, and versions only go on: use that version", name, d.version)
		case err == nil && by.Why == "":
			return by.check(true)
		case err == nil:
			c.From = before.Digest.String()
			c.Differences = compare(nil, "set points", before.Value, points)
		}
		c.Version = d.version
		return nil
	})
}
