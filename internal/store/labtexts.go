package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"unicode/utf8"

	"fairpull/evidence"
)

// LabText is a kind of text that a lab has one of, every version of it kept.
type LabText string

// The kinds.
const (
	PolicyText  LabText = "policy"  // what may be claimed
	KeysText    LabText = "keys"    // the list of keys
	NeutralText LabText = "neutral" // components that do not break cover
)

// LabTextSet is what a change of such a text did.
const LabTextSet Action = "set lab text"

// maxLabText bounds such a text, in bytes.
const maxLabText = 4 << 20

// SetLabText keeps a text as the one that holds from now on; the earlier ones stay.
// was is the text that the new one was made from, empty for none: where another is
// the latest the error is [ErrMoved]. The same text again changes nothing. A list of
// keys must hold and begin with the one before it.
func (s *Store) SetLabText(ctx context.Context, kind LabText, was, now []byte, by Author) (Change, error) {
	if len(now) == 0 || len(now) > maxLabText || !utf8.Valid(now) {
		return Change{}, refused("the %s: it is not text of 1 to %d bytes", kind, maxLabText)
	}
	if found := evidence.SecretIn(now); found != "" {
		return Change{}, refused("the %s holds a private key (%s)", kind, found)
	}
	if kind == KeysText {
		if err := follows(was, now); err != nil {
			return Change{}, err
		}
	}
	return s.change(ctx, by, kind != KeysText, func(w writing) error {
		last, err := labText(ctx, w, kind)
		switch {
		case err != nil && !errors.Is(err, ErrNotFound):
			return err
		case string(last) == string(now):
			return errUnchanged
		case string(last) != string(was):
			return fmt.Errorf("the %s %w", kind, ErrMoved)
		}
		c := w.change
		c.Action, c.Kind, c.Subject, c.To = LabTextSet, "lab", string(kind), evidence.OfBytes(now).String()
		if len(last) > 0 {
			c.From = evidence.OfBytes(last).String()
		}
		_, err = w.ExecContext(ctx, `INSERT INTO lab_texts (kind, change, digest, body) VALUES ($1, $2, $3, $4)`, string(kind), c.Seq, c.To, string(now))
		return err
	})
}

// follows refuses a list of keys that does not begin with the one before it.
func follows(was, now []byte) error {
	next, err := evidence.ParseKeyring(now)
	if err != nil {
		return refused("%v", err)
	}
	if len(was) == 0 {
		return nil
	}
	before, err := evidence.ParseKeyring(was)
	if err != nil {
		return refused("%v", err)
	}
	if !before.Begins(next) {
		return refused("the list of keys does not begin with the one that the workspace has")
	}
	return nil
}

// LabText returns the text of a kind that holds. Where there is none the error is
// [ErrNotFound].
func (s *Store) LabText(ctx context.Context, kind LabText) ([]byte, error) {
	text, err := labText(ctx, s.db, kind)
	return text, explain(err)
}

func labText(ctx context.Context, q querier, kind LabText) ([]byte, error) {
	var body string
	err := q.QueryRowContext(ctx, `SELECT body FROM lab_texts WHERE kind = $1 ORDER BY change DESC LIMIT 1`, string(kind)).Scan(&body)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, fmt.Errorf("a text of kind %.40q %w", string(kind), ErrNotFound)
	}
	return []byte(body), err
}
