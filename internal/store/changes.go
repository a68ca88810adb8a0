package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"fairpull/campaign"
)

// Author is who writes, and why. Who may not be empty; neither may Why where
// something stored is superseded or its state changes.
type Author struct {
	Who, Why string
}

func (a Author) check(reason bool) error {
	for _, text := range []string{a.Who, a.Why} {
		if err := campaign.CheckText(text); err != nil {
			return refused("the author %.80q %v", text, err)
		}
	}
	if a.Who == "" {
		return refused("nobody is named as the author")
	}
	if reason && a.Why == "" {
		return refused("no reason is given, and this change needs one")
	}
	return nil
}

// Action is what a change did.
type Action string

// The actions.
const (
	Imported     Action = "import"       // a campaign, new to the workspace
	Superseded   Action = "supersede"    // a campaign or calibration, by a new version
	PullAdded    Action = "add pull"     // to a campaign
	PullExcluded Action = "exclude pull" // from a campaign's analysis, or put back into it
	SetupAdded   Action = "add setup"    // to a campaign
	StateSet     Action = "set state"    // of a campaign
	Attached     Action = "attach"       // a document, to a setup or a configuration
	ResultKept   Action = "result"       // of a campaign
	Calibrated   Action = "calibrate"    // a dyno
	Defined      Action = "define"       // a procedure
	Swept        Action = "sweep"        // files of the workspace that no row named
	AccountSet   Action = "set account"  // who may sign in, and as what
	LeftOut      Action = "leave out"    // a campaign, of the lab's history
	TakenBack    Action = "take back"    // a campaign that was left out
)

// Change is one row of the audit trail. The zero Change says that nothing was
// written, because it was there already.
type Change struct {
	Seq int64 // counts from 1 without a gap
	At  time.Time
	Author
	Action Action
	// Kind and Subject are what was changed: "campaign", "dyno" or "procedure",
	// and its id.
	Kind, Subject string
	Version       int64  // of the subject after the change
	From, To      string // the digest before and after; empty: none
	Differences   []Difference
}

// Changed reports whether anything was written.
func (c Change) Changed() bool { return c.Seq > 0 }

// writing is a transaction that is going on, and the change that it makes.
type writing struct {
	*sql.Tx
	change *Change
}

// errUnchanged ends a write that found everything there already.
var errUnchanged = errors.New("nothing to write")

// change runs fn within one transaction and writes its row of the audit trail.
// fn fills in the change; where it returns errUnchanged nothing is written and
// the zero Change comes back. The number of the change is taken first, which
// has every other writer wait: fn sees what all earlier writes left.
func (s *Store) change(ctx context.Context, by Author, reason bool, fn func(w writing) error) (Change, error) {
	if err := by.check(reason); err != nil {
		return Change{}, err
	}
	s.writing.Lock()
	defer s.writing.Unlock()
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return Change{}, explain(err)
	}
	c := Change{Author: by, At: time.UnixMicro(s.now().UnixMicro()).UTC()}
	err = tx.QueryRowContext(ctx, `UPDATE workspace SET last_change = last_change + 1 RETURNING last_change`).Scan(&c.Seq)
	if err == nil {
		err = fn(writing{tx, &c})
	}
	if err == nil {
		err = insertChange(ctx, tx, c)
	}
	if err != nil {
		rollback := tx.Rollback()
		if errors.Is(err, errUnchanged) {
			return Change{}, explain(rollback)
		}
		if errors.Is(rollback, sql.ErrTxDone) { // the context ended it
			rollback = nil
		}
		return Change{}, explain(errors.Join(err, rollback))
	}
	if err := tx.Commit(); err != nil {
		return Change{}, explain(err)
	}
	return c, nil
}

func insertChange(ctx context.Context, tx *sql.Tx, c Change) error {
	differences, err := json.Marshal(c.Differences)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO changes
		(seq, at, who, why, action, kind, subject, version, digest_from, digest_to, differences)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`,
		c.Seq, c.At.UnixMicro(), c.Who, c.Why, string(c.Action), c.Kind, c.Subject, c.Version, c.From, c.To, string(differences))
	return err
}

// Changes returns the audit trail of one subject, oldest first, at most limit
// changes after the change of the given number. An empty kind means everything.
func (s *Store) Changes(ctx context.Context, kind, subject string, after int64, limit int) ([]Change, error) {
	query, args := `seq > $1 ORDER BY seq LIMIT $2`, []any{after, limit}
	if kind != "" {
		query, args = `kind = $3 AND subject = $4 AND `+query, append(args, kind, subject)
	}
	return s.changes(ctx, query, args...)
}

// changes reads the rows of the audit trail that a condition names, in its order.
func (s *Store) changes(ctx context.Context, where string, args ...any) (changes []Change, err error) {
	rows, err := s.db.QueryContext(ctx, `SELECT seq, at, who, why, action, kind, subject, version, digest_from, digest_to, differences
		FROM changes WHERE `+where, args...)
	if err != nil {
		return nil, explain(err)
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var c Change
		var at int64
		var differences string
		if err := rows.Scan(&c.Seq, &at, &c.Who, &c.Why, &c.Action, &c.Kind, &c.Subject, &c.Version, &c.From, &c.To, &differences); err != nil {
			return nil, err
		}
		c.At = time.UnixMicro(at).UTC()
		if err := json.Unmarshal([]byte(differences), &c.Differences); err != nil {
			return nil, fmt.Errorf("change %d: %w", c.Seq, err)
		}
		changes = append(changes, c)
	}
	return changes, rows.Err()
}
