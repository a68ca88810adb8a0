package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"
	"unicode/utf8"

	"fairpull/campaign"
	"fairpull/evidence"
)

// What changes of claims do.
const (
	ClaimDrafted Action = "draft claim"     // of a campaign's result
	ClaimMoved   Action = "set claim state" // reviewed, signed, published, withdrawn
)

// Claim is a claim as the workspace has it.
type Claim struct {
	Number    string
	Campaign  string
	Candidate string
	Result    string // id of the result that it rests on
	Amends    string // number of the claim whose place it takes; empty: none
	Body      []byte // what it states, JSON; fixed when it is drafted
	// Seal is its seal as it stands, JSON; empty before it is signed.
	Seal   []byte
	Events []campaign.ClaimEvent // each state it came into, oldest first
}

// State returns the state that the claim is in.
func (c Claim) State() campaign.ClaimState { return c.Events[len(c.Events)-1].State }

// ClaimFile is one file of a claim's dossier.
type ClaimFile struct {
	Name string
	Data []byte
}

// ClaimDraft is a claim that is to be drafted.
type ClaimDraft struct {
	Campaign, Candidate, Result, Amends string
	// Body returns what the claim states once its number and the moment are known.
	Body func(number string, at time.Time) ([]byte, error)
}

// claimNumber is the number of the claim that is drafted as the n-th.
func claimNumber(n int64) string { return fmt.Sprintf("C-%04d", n) }

// AddClaim drafts a claim of the latest result of a campaign and returns its
// number. Another result is [ErrNotLatest], and so is one that does not rest on the
// campaign's latest data.
func (s *Store) AddClaim(ctx context.Context, d ClaimDraft, by Author) (number string, err error) {
	_, err = s.change(ctx, by, d.Amends != "", func(w writing) error {
		var latest, state string
		err := w.QueryRowContext(ctx, `SELECT coalesce(r.id, ''), c.state FROM campaigns c LEFT JOIN results r ON r.id = c.result AND r.data_digest = c.digest
			WHERE c.id = $1`, d.Campaign).Scan(&latest, &state)
		if errors.Is(err, sql.ErrNoRows) {
			return fmt.Errorf("campaign %.80q %w", d.Campaign, ErrNotFound)
		}
		if err != nil {
			return err
		}
		if latest != d.Result {
			return fmt.Errorf("claim of campaign %s: %w", d.Campaign, ErrNotLatest)
		}
		if State(state) == StateWithdrawn {
			return refused("campaign %s is withdrawn", d.Campaign)
		}
		var n int64
		if err := w.QueryRowContext(ctx, `SELECT coalesce(max(position), 0) + 1 FROM claims`).Scan(&n); err != nil {
			return err
		}
		number = claimNumber(n)
		body, err := d.Body(number, w.change.At)
		if err != nil {
			return err
		}
		if len(body) > maxResult || !json.Valid(body) || !utf8.Valid(body) {
			return refused("claim %s is not JSON of at most %d bytes", number, maxResult)
		}
		var amends any
		if d.Amends != "" {
			amends = d.Amends
		}
		c := w.change
		c.Action, c.Kind, c.Subject, c.Version, c.To = ClaimDrafted, "claim", number, 1, evidence.OfBytes(body).String()
		c.Differences = []Difference{{Path: "campaign", To: text(d.Campaign)}, {Path: "candidate", To: text(d.Candidate)}, {Path: "result", To: text(d.Result)}}
		_, err = w.ExecContext(ctx, `INSERT INTO claims (number, position, campaign, candidate, result, amends, digest, body, change)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`, number, n, d.Campaign, d.Candidate, d.Result, amends, c.To, string(body), c.Seq)
		if err != nil {
			return err
		}
		return w.claimState(ctx, number, campaign.ClaimDraft, by, nil)
	})
	return number, err
}

// claimState notes a state of a claim.
func (w writing) claimState(ctx context.Context, number string, state campaign.ClaimState, by Author, seal []byte) error {
	digest := ""
	if len(seal) > 0 {
		digest = evidence.OfBytes(seal).String()
	}
	_, err := w.ExecContext(ctx, `INSERT INTO claim_states (claim, change, state, who, why, seal_digest, seal) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		number, w.change.Seq, string(state), by.Who, by.Why, digest, string(seal))
	return err
}

// ClaimMove is a claim's way into its next state.
type ClaimMove struct {
	Number string
	From   campaign.ClaimState // what it was decided on
	To     campaign.ClaimState
	Seal   []byte      // as it is from then on; empty: none yet
	Files  []ClaimFile // of the dossier; only with the first signature
}

// MoveClaim takes a claim into its next state. One that is no longer in the state
// that the move was decided on is [ErrMoved], and a state that cannot follow it
// [ErrRefused]. Withdrawing needs a reason. Publishing a claim that amends another
// takes that one into its last state with it.
func (s *Store) MoveClaim(ctx context.Context, m ClaimMove, by Author) (Change, error) {
	if len(m.Seal) > maxResult || len(m.Seal) > 0 && (!json.Valid(m.Seal) || !utf8.Valid(m.Seal)) {
		return Change{}, refused("claim %s: its seal is not JSON of at most %d bytes", m.Number, maxResult)
	}
	contents := make([][]byte, len(m.Files))
	for i, f := range m.Files {
		if kind := evidence.SecretIn(f.Data); kind != "" {
			return Change{}, refused("claim %s: file %s holds a private key (%s)", m.Number, f.Name, kind)
		}
		contents[i] = f.Data
	}
	old, err := putAll(ctx, s.blobs, contents)
	if err != nil {
		return Change{}, fmt.Errorf("claim %s: %w", m.Number, err)
	}
	return s.change(ctx, by, m.To == campaign.ClaimWithdrawn, func(w writing) error {
		was, amends, err := w.claim(ctx, m.Number)
		switch {
		case err != nil:
			return err
		case was != m.From:
			return fmt.Errorf("claim %s %w", m.Number, ErrMoved)
		case !was.May(m.To):
			return refused("claim %s is %s, and cannot become %s", m.Number, was, m.To)
		}
		c := w.change
		c.Action, c.Kind, c.Subject, c.Version = ClaimMoved, "claim", m.Number, 1
		c.Differences = []Difference{{Path: "state", From: text(was), To: text(m.To)}}
		if err := errors.Join(w.claimState(ctx, m.Number, m.To, by, m.Seal), s.still(ctx, old)); err != nil {
			return err
		}
		if err := w.claimFiles(ctx, m); err != nil {
			return err
		}
		if m.To == campaign.ClaimPublished && amends != "" {
			return w.amended(ctx, m.Number, amends)
		}
		return nil
	})
}

// claimFiles notes the files of a claim's dossier.
func (w writing) claimFiles(ctx context.Context, m ClaimMove) error {
	for _, f := range m.Files {
		_, err := w.ExecContext(ctx, `INSERT INTO claim_files (claim, name, size, digest, change) VALUES ($1, $2, $3, $4, $5)`,
			m.Number, f.Name, len(f.Data), evidence.OfBytes(f.Data).String(), w.change.Seq)
		if err != nil {
			return err
		}
	}
	return nil
}

// amended ends the claim whose place another takes, for the reason for which that
// one was drafted.
func (w writing) amended(ctx context.Context, number, amends string) error {
	was, _, err := w.claim(ctx, amends)
	if err != nil {
		return err
	}
	if !was.May(campaign.ClaimAmended) {
		return refused("claim %s amends %s, which is %s", number, amends, was)
	}
	var by Author
	err = w.QueryRowContext(ctx, `SELECT c.who, c.why FROM claims l JOIN changes c ON c.seq = l.change WHERE l.number = $1`, number).Scan(&by.Who, &by.Why)
	if err != nil {
		return err
	}
	seal, err := latestSeal(ctx, w, amends)
	if err != nil {
		return err
	}
	w.change.Differences = append(w.change.Differences, Difference{Path: "claim " + amends, From: text(was), To: text(campaign.ClaimAmended)})
	return w.claimState(ctx, amends, campaign.ClaimAmended, by, seal)
}

// claim returns the state of a claim and the number of the one that it amends.
func (w writing) claim(ctx context.Context, number string) (state campaign.ClaimState, amends string, err error) {
	err = w.QueryRowContext(ctx, `SELECT s.state, coalesce(l.amends, '') FROM claims l JOIN claim_states s ON s.claim = l.number
		WHERE l.number = $1 ORDER BY s.change DESC LIMIT 1`, number).Scan(&state, &amends)
	if errors.Is(err, sql.ErrNoRows) {
		err = fmt.Errorf("claim %.80q %w", number, ErrNotFound)
	}
	return state, amends, err
}

func latestSeal(ctx context.Context, q querier, number string) ([]byte, error) {
	var seal string
	err := q.QueryRowContext(ctx, `SELECT seal FROM claim_states WHERE claim = $1 ORDER BY change DESC LIMIT 1`, number).Scan(&seal)
	return []byte(seal), err
}

// Claim returns a claim with its states and its seal. One that is not there is
// [ErrNotFound].
func (s *Store) Claim(ctx context.Context, number string) (Claim, error) {
	list, err := s.claims(ctx, `WHERE l.number = $1`, number)
	if err != nil {
		return Claim{}, err
	}
	if len(list) == 0 {
		return Claim{}, fmt.Errorf("claim %.80q %w", number, ErrNotFound)
	}
	seal, err := latestSeal(ctx, s.db, number)
	list[0].Seal = seal
	return list[0], explain(err)
}

// Claims returns all claims, the latest first, without their seals.
func (s *Store) Claims(ctx context.Context) ([]Claim, error) { return s.claims(ctx, "") }

func (s *Store) claims(ctx context.Context, where string, args ...any) (list []Claim, err error) {
	rows, err := s.db.QueryContext(ctx, `SELECT l.number, l.campaign, l.candidate, l.result, coalesce(l.amends, ''), l.body, s.state, s.who, s.why, c.at
		FROM claims l JOIN claim_states s ON s.claim = l.number JOIN changes c ON c.seq = s.change `+where+`
		ORDER BY l.position DESC, s.change`, args...)
	if err != nil {
		return nil, explain(err)
	}
	defer func() { err = explain(errors.Join(err, rows.Close())) }()
	for rows.Next() {
		var c Claim
		var e campaign.ClaimEvent
		var body string
		var at int64
		if err := rows.Scan(&c.Number, &c.Campaign, &c.Candidate, &c.Result, &c.Amends, &body, &e.State, &e.Who, &e.Why, &at); err != nil {
			return nil, err
		}
		e.At = time.UnixMicro(at).UTC()
		if n := len(list); n == 0 || list[n-1].Number != c.Number {
			c.Body = []byte(body)
			list = append(list, c)
		}
		last := &list[len(list)-1]
		last.Events = append(last.Events, e)
	}
	return list, rows.Err()
}

// ClaimFiles returns the files of a claim's dossier, sorted by name; none before
// it is signed.
func (s *Store) ClaimFiles(ctx context.Context, number string) (files []ClaimFile, err error) {
	rows, err := s.db.QueryContext(ctx, `SELECT name, digest FROM claim_files WHERE claim = $1 ORDER BY name`, number)
	if err != nil {
		return nil, explain(err)
	}
	var digests []evidence.Digest
	for rows.Next() {
		var name, text string
		if err := rows.Scan(&name, &text); err != nil {
			return nil, errors.Join(err, rows.Close())
		}
		digest, err := digestOf(text)
		if err != nil {
			return nil, errors.Join(err, rows.Close())
		}
		files, digests = append(files, ClaimFile{Name: name}), append(digests, digest)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return nil, explain(err)
	}
	for i := range files {
		if files[i].Data, err = s.blobs.Get(ctx, digests[i]); err != nil {
			return nil, fmt.Errorf("claim %s: file %s: %w", number, files[i].Name, err)
		}
	}
	return files, nil
}

// ResultOf returns a kept result by its id. One that is not there is [ErrNotFound].
func (s *Store) ResultOf(ctx context.Context, id string) (Result, error) {
	list, err := results(ctx, s.db, resultColumns+`WHERE r.id = $1`, id)
	if err != nil {
		return Result{}, err
	}
	if len(list) == 0 {
		return Result{}, fmt.Errorf("result %.80q %w", id, ErrNotFound)
	}
	return list[0], nil
}
