package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"unicode/utf8"

	"fairpull/campaign"
	"fairpull/evidence"
)

// DetailsSet is a change of what test reports say beside what was measured.
const DetailsSet Action = "set details"

// LabDetails is the subject of a lab's own details in the audit trail.
const LabDetails = "details"

// maxDetails bounds such a text, in bytes.
const maxDetails = 64 << 10

// SetDetails keeps what the test report of a claim says beside what was measured, or
// where claim is empty those of the lab, from now on; the earlier ones stay. was is the
// text that the new one was made from, empty for none: where another is the latest the
// error is [ErrMoved]. The same text again changes nothing. A claim that was signed has
// a dossier that is fixed, and is [ErrRefused].
func (s *Store) SetDetails(ctx context.Context, claim string, was, now []byte, by Author) (Change, error) {
	if len(now) == 0 || len(now) > maxDetails || !utf8.Valid(now) {
		return Change{}, refused("the details are not text of 1 to %d bytes", maxDetails)
	}
	if found := evidence.SecretIn(now); found != "" {
		return Change{}, refused("the details hold a private key (%s)", found)
	}
	return s.change(ctx, by, false, func(w writing) error {
		c := w.change
		c.Action, c.Kind, c.Subject, c.To = DetailsSet, "lab", LabDetails, evidence.OfBytes(now).String()
		if claim != "" {
			c.Kind, c.Subject = "claim", claim
			var state campaign.ClaimState
			err := w.QueryRowContext(ctx, `SELECT state FROM claim_states WHERE claim = $1 ORDER BY change DESC LIMIT 1`, claim).Scan(&state)
			switch {
			case errors.Is(err, sql.ErrNoRows):
				return fmt.Errorf("claim %.40q %w", claim, ErrNotFound)
			case err != nil:
				return err
			case state != campaign.ClaimDraft && state != campaign.ClaimReviewed:
				return refused("claim %s is %s: what its report says was fixed with its first signature", claim, state)
			}
		}
		last, err := details(ctx, w, claim)
		switch {
		case err != nil && !errors.Is(err, ErrNotFound):
			return err
		case string(last) == string(now):
			return errUnchanged
		case string(last) != string(was):
			return fmt.Errorf("what the report says %w", ErrMoved)
		}
		if len(last) > 0 {
			c.From = evidence.OfBytes(last).String()
		}
		_, err = w.ExecContext(ctx, `INSERT INTO details (claim, change, digest, body) VALUES ($1, $2, $3, $4)`, claim, c.Seq, c.To, string(now))
		return err
	})
}

// Details returns the details of a claim, or where claim is empty those of the lab.
// Where there are none the error is [ErrNotFound].
func (s *Store) Details(ctx context.Context, claim string) ([]byte, error) {
	text, err := details(ctx, s.db, claim)
	return text, explain(err)
}

func details(ctx context.Context, q querier, claim string) ([]byte, error) {
	var body string
	err := q.QueryRowContext(ctx, `SELECT body FROM details WHERE claim = $1 ORDER BY change DESC LIMIT 1`, claim).Scan(&body)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, fmt.Errorf("details of %.40q %w", claim, ErrNotFound)
	}
	return []byte(body), err
}
