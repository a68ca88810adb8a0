package store

import (
	"context"
	"errors"

	"fairpull/campaign"
)

// VehicleClasses returns the class of each vehicle that has an id and one: the class
// that was stated of it last. A later statement without a class takes none away, since
// what is empty is not stated.
func (s *Store) VehicleClasses(ctx context.Context) (classes map[string]string, err error) {
	rows, err := s.db.QueryContext(ctx, `SELECT name, body FROM definitions
		WHERE kind = 'vehicle' AND name <> '' AND body LIKE '%"Class":"%' ORDER BY name, version`)
	if err != nil {
		return nil, explain(err)
	}
	defer func() { err = explain(errors.Join(err, rows.Close())) }()
	classes = map[string]string{}
	for rows.Next() {
		var name, body string
		if err := rows.Scan(&name, &body); err != nil {
			return nil, err
		}
		v, err := read[campaign.Vehicle]("vehicle "+name, body)
		if err != nil {
			return nil, err
		}
		if v.Class != "" {
			classes[name] = v.Class
		}
	}
	return classes, rows.Err()
}
