package store

import (
	"context"
	"strconv"
	"strings"
	"time"
)

// TrailQuery asks for the latest changes.
type TrailQuery struct {
	// Campaign is the id of a campaign: only its changes and those of its claims;
	// empty: every change.
	Campaign string
	Since    time.Time // only changes from this moment on; zero: all
	Before   int64     // only changes before the one of this number; 0: all
	Limit    int       // changes, 1 to 1000
}

// Trail returns the audit trail, the latest change first.
func (s *Store) Trail(ctx context.Context, q TrailQuery) ([]Change, error) {
	if q.Limit < 1 || q.Limit > maxPageRows {
		return nil, refused("a page of the trail has 1 to %d changes", maxPageRows)
	}
	where, args := []string{"1 = 1"}, []any{q.Limit}
	if q.Before > 0 {
		args = append(args, q.Before)
		where = append(where, "seq < $"+strconv.Itoa(len(args)))
	}
	if !q.Since.IsZero() {
		args = append(args, q.Since.UnixMicro())
		where = append(where, "at >= $"+strconv.Itoa(len(args)))
	}
	if q.Campaign != "" {
		args = append(args, q.Campaign)
		id := "$" + strconv.Itoa(len(args))
		where = append(where, `seq IN (SELECT seq FROM changes WHERE kind = 'campaign' AND subject = `+id+`
			UNION SELECT h.seq FROM claims k JOIN changes h ON h.kind = 'claim' AND h.subject = k.number WHERE k.campaign = `+id+`)`)
	}
	return s.changes(ctx, strings.Join(where, " AND ")+` ORDER BY seq DESC LIMIT $1`, args...)
}
