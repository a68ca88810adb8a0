package store

import (
	"context"
	"errors"
)

// FirstPulls returns, for each configuration of a campaign that ever had a pull, the
// version in which the first came. A campaign that is not there has none.
func (s *Store) FirstPulls(ctx context.Context, id string) (versions map[string]int64, err error) {
	rows, err := s.db.QueryContext(ctx, `SELECT configuration, min(since) FROM pulls WHERE campaign = $1 GROUP BY configuration`, id)
	if err != nil {
		return nil, explain(err)
	}
	defer func() { err = explain(errors.Join(err, rows.Close())) }()
	versions = map[string]int64{}
	for rows.Next() {
		var configuration string
		var version int64
		if err := rows.Scan(&configuration, &version); err != nil {
			return nil, err
		}
		versions[configuration] = version
	}
	return versions, rows.Err()
}
