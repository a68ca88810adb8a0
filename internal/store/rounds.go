package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/evidence"
)

// Round is one recomputation: the campaigns whose latest result is derived again,
// and how far that has come. It survives the programs that work on it.
type Round struct {
	ID       string
	Begun    time.Time // UTC
	Ended    time.Time // zero: it goes on
	Program  string    // the version of the program that derives
	Keep     bool      // results that moved are kept
	Selected string    // digest of the campaigns that were named; empty: all
	Author
	Tasks, Done int
}

// BeginRound begins a recomputation of the named campaigns, or of all where none
// is named, that have a result. A campaign that is not there, or has no result,
// is [ErrNotFound]. Neither ID nor times nor counts of r are read.
func (s *Store) BeginRound(ctx context.Context, r Round, campaigns []string) (Round, error) {
	if err := r.check(false); err != nil {
		return Round{}, err
	}
	if r.Program == "" || campaign.CheckText(r.Program) != nil {
		return Round{}, refused("the program's version %.40q cannot be kept", r.Program)
	}
	id, err := newID()
	if err != nil {
		return Round{}, err
	}
	r.ID, r.Begun, r.Ended, r.Selected, r.Done = id, time.UnixMicro(s.now().UnixMicro()).UTC(), time.Time{}, selection(campaigns), 0
	err = s.note(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO rounds (id, begun, program, keep, selected, who, why) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
			r.ID, r.Begun.UnixMicro(), r.Program, oneIf(r.Keep), r.Selected, r.Who, r.Why)
		if err != nil {
			return err
		}
		r.Tasks, err = insertTasks(ctx, tx, id, campaigns)
		return err
	})
	return r, err
}

// selection returns what stands for the campaigns that were named.
func selection(campaigns []string) string {
	if len(campaigns) == 0 {
		return ""
	}
	return evidence.OfBytes([]byte(strings.Join(eachOnce(campaigns), "\n"))).String()
}

// eachOnce returns ids in order, each once.
func eachOnce(ids []string) []string {
	sorted := slices.Clone(ids)
	slices.Sort(sorted)
	return slices.Compact(sorted)
}

func insertTasks(ctx context.Context, tx *sql.Tx, round string, campaigns []string) (int, error) {
	const task = `INSERT INTO tasks (round, campaign, outcome) SELECT $1, id, '' FROM campaigns WHERE result IS NOT NULL`
	if len(campaigns) == 0 {
		done, err := tx.ExecContext(ctx, task, round)
		if err != nil {
			return 0, err
		}
		n, err := done.RowsAffected()
		return int(n), err
	}
	total := 0
	for _, id := range eachOnce(campaigns) {
		done, err := tx.ExecContext(ctx, task+` AND id = $2`, round, id)
		if err != nil {
			return 0, err
		}
		n, err := done.RowsAffected()
		if err != nil {
			return 0, err
		}
		if n == 0 {
			return 0, hasNoResult(ctx, tx, id)
		}
		total++
	}
	return total, nil
}

// hasNoResult says what is missing of a campaign that has no result.
func hasNoResult(ctx context.Context, tx *sql.Tx, id string) error {
	var n int
	if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM campaigns WHERE id = $1`, id).Scan(&n); err != nil {
		return err
	}
	what := "a result of campaign"
	if n == 0 {
		what = "campaign"
	}
	return fmt.Errorf("%s %.80q %w", what, id, ErrNotFound)
}

// OpenRound returns the latest recomputation that has not ended. Where there is
// none the error is [ErrNotFound].
func (s *Store) OpenRound(ctx context.Context) (Round, error) {
	var id string
	err := s.db.QueryRowContext(ctx, `SELECT id FROM rounds WHERE ended IS NULL ORDER BY begun DESC, id DESC LIMIT 1`).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return Round{}, fmt.Errorf("a recomputation that goes on %w", ErrNotFound)
	}
	if err != nil {
		return Round{}, explain(err)
	}
	return s.Round(ctx, id)
}

// Round returns a recomputation as it stands.
func (s *Store) Round(ctx context.Context, id string) (Round, error) {
	r := Round{ID: id}
	var begun, keep int64
	var ended sql.NullInt64
	err := s.db.QueryRowContext(ctx, `SELECT begun, ended, program, keep, selected, who, why,
		(SELECT count(*) FROM tasks WHERE round = $1), (SELECT count(*) FROM tasks WHERE round = $1 AND done IS NULL)
		FROM rounds WHERE id = $1`, id).Scan(&begun, &ended, &r.Program, &keep, &r.Selected, &r.Who, &r.Why, &r.Tasks, &r.Done)
	if errors.Is(err, sql.ErrNoRows) {
		return Round{}, fmt.Errorf("recomputation %.80q %w", id, ErrNotFound)
	}
	if err != nil {
		return Round{}, explain(err)
	}
	r.Begun, r.Keep, r.Done = time.UnixMicro(begun).UTC(), keep == 1, r.Tasks-r.Done
	if ended.Valid {
		r.Ended = time.UnixMicro(ended.Int64).UTC()
	}
	return r, nil
}

// SameWork reports whether r would do what other does, for the named campaigns.
func (r Round) SameWork(other Round, campaigns []string) bool {
	return r.Program == other.Program && r.Keep == other.Keep && r.Selected == selection(campaigns)
}

// EndRound ends a recomputation, done or given up.
func (s *Store) EndRound(ctx context.Context, id string) error {
	return s.note(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE rounds SET ended = $2 WHERE id = $1 AND ended IS NULL`, id, s.now().UnixMicro())
		return err
	})
}

const maxOutcome = 1 << 20 // bytes of what came of one campaign

// finishTask notes what came of one campaign. The first answer stays.
func (s *Store) finishTask(ctx context.Context, round, id string, outcome []byte) error {
	if len(outcome) > maxOutcome || !json.Valid(outcome) {
		return refused("what came of campaign %.80q is not JSON of at most %d bytes", id, maxOutcome)
	}
	return s.note(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE tasks SET done = $3, outcome = $4 WHERE round = $1 AND campaign = $2 AND done IS NULL`,
			round, id, s.now().UnixMicro(), string(outcome))
		return err
	})
}

// openTasks returns the campaigns of a round that nothing has come of yet, in
// order, at most limit after the given one.
func (s *Store) openTasks(ctx context.Context, round, after string, limit int) ([]string, error) {
	ids, err := texts(ctx, s.db, `SELECT campaign FROM tasks WHERE round = $1 AND done IS NULL AND campaign > $2
		ORDER BY campaign LIMIT $3`, round, after, limit)
	return ids, explain(err)
}

// taskOpen reports whether nothing has come of a campaign of a round yet.
func (s *Store) taskOpen(ctx context.Context, round, id string) (bool, error) {
	var n int
	err := s.db.QueryRowContext(ctx, `SELECT count(*) FROM tasks t JOIN rounds r ON r.id = t.round
		WHERE t.round = $1 AND t.campaign = $2 AND t.done IS NULL AND r.ended IS NULL`, round, id).Scan(&n)
	return n > 0, explain(err)
}

// Outcome is what came of one campaign of a recomputation.
type Outcome struct {
	Campaign string
	Body     []byte // JSON
}

// Outcomes returns what came of the campaigns of a round, in order of their ids,
// at most limit after the given one.
func (s *Store) Outcomes(ctx context.Context, round, after string, limit int) (list []Outcome, err error) {
	rows, err := s.db.QueryContext(ctx, `SELECT campaign, outcome FROM tasks WHERE round = $1 AND done IS NOT NULL AND campaign > $2
		ORDER BY campaign LIMIT $3`, round, after, limit)
	if err != nil {
		return nil, explain(err)
	}
	defer func() { err = explain(errors.Join(err, rows.Close())) }()
	for rows.Next() {
		var o Outcome
		var body string
		if err := rows.Scan(&o.Campaign, &body); err != nil {
			return nil, err
		}
		o.Body = []byte(body)
		list = append(list, o)
	}
	return list, rows.Err()
}

// note runs fn within one transaction that is no part of the audit trail.
func (s *Store) note(ctx context.Context, fn func(tx *sql.Tx) error) error {
	s.writing.Lock()
	defer s.writing.Unlock()
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return explain(err)
	}
	if err := fn(tx); err != nil {
		rollback := tx.Rollback()
		if errors.Is(rollback, sql.ErrTxDone) { // the context ended it
			rollback = nil
		}
		return explain(errors.Join(err, rollback))
	}
	return explain(tx.Commit())
}

func oneIf(yes bool) int {
	if yes {
		return 1
	}
	return 0
}
