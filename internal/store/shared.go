package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
)

// SharedLogs returns which of the campaigns, at most 1,001 of them, have logs of the
// same content: the campaigns of each such log, in order of their ids. Logs that only
// one of them has are not in it, nor are those of earlier versions.
func (s *Store) SharedLogs(ctx context.Context, campaigns []string) (groups [][]string, err error) {
	if len(campaigns) > maxPageRows+1 {
		return nil, refused("%d campaigns; at most %d", len(campaigns), maxPageRows+1)
	}
	if len(campaigns) == 0 {
		return nil, nil
	}
	asked, places, args := map[string]bool{}, make([]string, len(campaigns)), make([]any, len(campaigns))
	for i, id := range campaigns {
		asked[id], places[i], args[i] = true, fmt.Sprintf("$%d", i+1), id
	}
	rows, err := s.db.QueryContext(ctx, `SELECT DISTINCT p.log, p.campaign, o.campaign FROM pulls p
		JOIN pulls o ON o.log = p.log AND o.campaign > p.campaign AND o.until IS NULL
		WHERE p.until IS NULL AND p.campaign IN (`+strings.Join(places, ", ")+`) ORDER BY 1, 2, 3`, args...)
	if err != nil {
		return nil, explain(err)
	}
	defer func() { err = explain(errors.Join(err, rows.Close())) }()
	var last string
	for rows.Next() {
		var log, one, other string
		if err := rows.Scan(&log, &one, &other); err != nil {
			return nil, err
		}
		if !asked[other] {
			continue
		}
		if log != last {
			last, groups = log, append(groups, []string{one})
		}
		if at := &groups[len(groups)-1]; (*at)[0] == one {
			*at = append(*at, other)
		}
	}
	return groups, rows.Err()
}
