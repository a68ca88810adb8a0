package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// HistoryQuery asks what earlier work says of a rig's scatter.
type HistoryQuery struct {
	Dyno    string
	Vehicle string // empty: any
	// Vehicles, where there are some, are the only ones that count; at most
	// MaxHistoryVehicles of them.
	Vehicles []string
	Before   time.Time // campaigns begun before; zero: any
	Without  string    // a campaign that is not to be in it; empty: none
	Limit    int       // campaigns, the latest first; 1 to 1000
}

// MaxHistoryVehicles is how many vehicles one history can be asked of.
const MaxHistoryVehicles = 20_000

// Past is what one campaign adds to the lab's history.
type Past struct {
	Campaign, Vehicle string
	Started           time.Time
	Result            string // id of the result that says so
	Scatter           []byte // as Result.Scatter
}

// History returns what earlier campaigns add to the lab's scatter, the latest
// first: the latest result of each, where it rests on the campaign's latest data
// and has a scatter. Withdrawn campaigns, and those that [Store.LeaveOut] named,
// are not in it.
func (s *Store) History(ctx context.Context, h HistoryQuery) (past []Past, err error) {
	if h.Limit < 1 || h.Limit > maxPageRows {
		return nil, refused("a history has 1 to %d campaigns", maxPageRows)
	}
	if len(h.Vehicles) > MaxHistoryVehicles {
		return nil, refused("a history is that of at most %d vehicles", MaxHistoryVehicles)
	}
	before := int64(1<<63 - 1)
	if !h.Before.IsZero() {
		before = h.Before.UnixMicro()
	}
	args, among := []any{h.Dyno, h.Vehicle, before, h.Limit, h.Without}, ""
	if len(h.Vehicles) > 0 {
		places := make([]string, len(h.Vehicles))
		for i, id := range h.Vehicles {
			args = append(args, id)
			places[i] = "$" + strconv.Itoa(len(args))
		}
		among = " AND c.vehicle IN (" + strings.Join(places, ", ") + ")"
	}
	return s.past(ctx, `SELECT c.id, c.vehicle, c.started, r.id, r.scatter FROM campaigns c JOIN results r ON r.id = c.result
		WHERE c.dyno = $1 AND ($2 = '' OR c.vehicle = $2) AND c.started < $3 AND c.id <> $5 AND c.pulls > 0 AND c.state <> 'withdrawn'
		AND r.scatter_digest <> '' AND r.data_digest = c.digest
		AND NOT EXISTS (SELECT 1 FROM left_out l WHERE l.campaign = c.id AND l.until IS NULL)`+among+`
		ORDER BY c.started DESC, c.id DESC LIMIT $4`, args...)
}

// PastOf returns what the results of the given ids add to a history, in the order
// of the ids. One that is not there, or has no scatter, is [ErrNotFound].
func (s *Store) PastOf(ctx context.Context, results []string) ([]Past, error) {
	if len(results) > maxPageRows {
		return nil, refused("a history has at most %d campaigns", maxPageRows)
	}
	if len(results) == 0 {
		return nil, nil
	}
	places, args := make([]string, len(results)), make([]any, len(results))
	for i, id := range results {
		places[i], args[i] = "$"+strconv.Itoa(i+1), id
	}
	found, err := s.past(ctx, `SELECT c.id, c.vehicle, c.started, r.id, r.scatter FROM results r JOIN campaigns c ON c.id = r.campaign
		WHERE r.scatter_digest <> '' AND r.id IN (`+strings.Join(places, ", ")+`)`, args...)
	if err != nil {
		return nil, err
	}
	byID := make(map[string]Past, len(found))
	for _, p := range found {
		byID[p.Result] = p
	}
	past := make([]Past, len(results))
	for i, id := range results {
		p, there := byID[id]
		if !there {
			return nil, fmt.Errorf("the scatter of result %.80q %w", id, ErrNotFound)
		}
		past[i] = p
	}
	return past, nil
}

func (s *Store) past(ctx context.Context, query string, args ...any) (past []Past, err error) {
	rows, err := s.db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, explain(err)
	}
	defer func() { err = explain(errors.Join(err, rows.Close())) }()
	for rows.Next() {
		var p Past
		var started int64
		var scatter sql.RawBytes
		if err := rows.Scan(&p.Campaign, &p.Vehicle, &started, &p.Result, &scatter); err != nil {
			return nil, err
		}
		p.Started, p.Scatter = time.UnixMicro(started).UTC(), append([]byte(nil), scatter...)
		past = append(past, p)
	}
	return past, rows.Err()
}

// LeaveOut keeps a campaign out of the lab's history from now on. It needs a
// reason, which stays; a campaign that is left out already changes nothing.
func (s *Store) LeaveOut(ctx context.Context, id string, by Author) (Change, error) {
	return s.change(ctx, by, true, func(w writing) error {
		w.change.Action, w.change.Kind, w.change.Subject = LeftOut, "campaign", id
		w.change.Differences = []Difference{{"history", text("in it"), text("left out")}}
		var state State
		if err := w.campaign(ctx, id, &state); err != nil {
			return err
		}
		done, err := w.ExecContext(ctx, `INSERT INTO left_out (campaign, since) SELECT $1, $2
			WHERE NOT EXISTS (SELECT 1 FROM left_out WHERE campaign = $1 AND until IS NULL)`, id, w.change.Seq)
		return unlessNone(done, err)
	})
}

// TakeBack puts a campaign that was left out into the lab's history again. It
// needs a reason, which stays; a campaign that is not left out changes nothing.
func (s *Store) TakeBack(ctx context.Context, id string, by Author) (Change, error) {
	return s.change(ctx, by, true, func(w writing) error {
		w.change.Action, w.change.Kind, w.change.Subject = TakenBack, "campaign", id
		w.change.Differences = []Difference{{"history", text("left out"), text("in it")}}
		var state State
		if err := w.campaign(ctx, id, &state); err != nil {
			return err
		}
		done, err := w.ExecContext(ctx, `UPDATE left_out SET until = $2 WHERE campaign = $1 AND until IS NULL`, id, w.change.Seq)
		return unlessNone(done, err)
	})
}

// unlessNone is errUnchanged for a statement that changed no row.
func unlessNone(done sql.Result, err error) error {
	if err != nil {
		return err
	}
	n, err := done.RowsAffected()
	if err == nil && n == 0 {
		err = errUnchanged
	}
	return err
}

// Left is a campaign that the lab's history leaves out, and why.
type Left struct {
	Campaign, Vehicle string
	Started           time.Time // of its first pull; zero: none
	At                time.Time // when it was left out
	Author
}

// LeftOuts returns the campaigns of a dyno that the history leaves out now, the
// latest first.
func (s *Store) LeftOuts(ctx context.Context, dyno string) (list []Left, err error) {
	rows, err := s.db.QueryContext(ctx, `SELECT c.id, c.vehicle, c.started, c.pulls, h.at, h.who, h.why FROM left_out l
		JOIN campaigns c ON c.id = l.campaign JOIN changes h ON h.seq = l.since
		WHERE l.until IS NULL AND c.dyno = $1 ORDER BY c.started DESC, c.id DESC`, dyno)
	if err != nil {
		return nil, explain(err)
	}
	defer func() { err = explain(errors.Join(err, rows.Close())) }()
	for rows.Next() {
		var l Left
		var started, at int64
		var pulls int
		if err := rows.Scan(&l.Campaign, &l.Vehicle, &started, &pulls, &at, &l.Who, &l.Why); err != nil {
			return nil, err
		}
		if pulls > 0 {
			l.Started = time.UnixMicro(started).UTC()
		}
		l.At = time.UnixMicro(at).UTC()
		list = append(list, l)
	}
	return list, rows.Err()
}

// LatestSettings returns the settings of the latest result of every campaign on a
// dyno, by campaign; withdrawn campaigns apart.
func (s *Store) LatestSettings(ctx context.Context, dyno string) (settings map[string][]byte, err error) {
	rows, err := s.db.QueryContext(ctx, `SELECT c.id, r.settings FROM campaigns c JOIN results r ON r.id = c.result
		WHERE c.dyno = $1 AND c.state <> 'withdrawn'`, dyno)
	if err != nil {
		return nil, explain(err)
	}
	defer func() { err = explain(errors.Join(err, rows.Close())) }()
	settings = map[string][]byte{}
	for rows.Next() {
		var id, text string
		if err := rows.Scan(&id, &text); err != nil {
			return nil, err
		}
		settings[id] = []byte(text)
	}
	return settings, rows.Err()
}
