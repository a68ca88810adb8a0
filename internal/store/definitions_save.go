package store

import (
	"context"
	"errors"

	"fairpull/campaign"
)

// SaveVehicle keeps a statement about a vehicle, as its next version. What is stated
// already changes nothing. Where another statement is there a reason is needed;
// campaigns keep the statement that they came with.
func (s *Store) SaveVehicle(ctx context.Context, v campaign.Vehicle, by Author) (Change, error) {
	return saveStatement(ctx, s, "vehicle", v.ID, v, by)
}

// SaveDyno keeps a statement about a dyno, as [Store.SaveVehicle] does.
func (s *Store) SaveDyno(ctx context.Context, d campaign.Dyno, by Author) (Change, error) {
	return saveStatement(ctx, s, "dyno", d.ID, d, by)
}

func saveStatement[T any](ctx context.Context, s *Store, kind, name string, value T, by Author) (Change, error) {
	if err := campaign.CheckID(name); err != nil {
		return Change{}, refused("the id of the %s, %.80q, %v", kind, name, err)
	}
	row, err := write(kind+" "+name, value)
	if err != nil {
		return Change{}, err
	}
	return s.change(ctx, by, false, func(w writing) error {
		c := w.change
		c.Action, c.Kind, c.Subject, c.To = Defined, kind, name, row.digest.String()
		before, err := definition[T](ctx, w, kind, name, 0)
		if err != nil && !errors.Is(err, ErrNotFound) {
			return err
		}
		there := err == nil
		d, err := w.define(ctx, kind, name, row)
		switch {
		case err != nil:
			return err
		case !d.fresh && d.version == before.Version:
			return errUnchanged
		case !d.fresh:
			return refused("%s %s was stated so in version %d already, and versions only go on: change something of it", kind, name, d.version)
		case there && by.Why == "":
			return by.check(true)
		case there:
			c.From = before.Digest.String()
			c.Differences = compare(nil, kind, before.Value, value)
		}
		c.Version = d.version
		return nil
	})
}
