package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"
	"unicode/utf8"

	"fairpull/campaign"
	"fairpull/evidence"
)

// Result is what an analysis found, with what is needed to derive it again.
type Result struct {
	ID       string // given by the workspace
	Campaign string
	Version  int64           // of the campaign that was analysed
	Data     evidence.Digest // of that version's data, as Entry.Digest
	Program  string          // the program's version
	Settings []byte          // of the analysis, JSON
	Body     []byte          // the gain result, JSON
	Scatter  []byte          // what the campaign adds to the lab's history, JSON; may be nil
	Verdict  string          // for lists: the verdicts, with "; " between them; may be empty
	Checks   []campaign.Check
	At       time.Time // when it was kept, UTC
	Seq      int64     // of the change that kept it
}

const maxResult = 16 << 20 // bytes of a result's body

// SaveResult keeps a result beside the earlier ones, which stay. The result that
// is the latest already changes nothing. A result whose data digest is not that
// of the version it names is [ErrRefused].
func (s *Store) SaveResult(ctx context.Context, r Result, by Author) (Change, error) {
	return s.saveResult(ctx, r, "", by)
}

// SaveResultAfter keeps a result as [Store.SaveResult] does, if the result of the
// given id is still the campaign's latest; else it is [ErrNotLatest].
func (s *Store) SaveResultAfter(ctx context.Context, r Result, latest string, by Author) (Change, error) {
	return s.saveResult(ctx, r, latest, by)
}

func (s *Store) saveResult(ctx context.Context, r Result, latest string, by Author) (Change, error) {
	if err := r.check(); err != nil {
		return Change{}, err
	}
	var checks []sheet
	for _, c := range r.Checks {
		row, err := write("check "+c.ID, c)
		if err != nil {
			return Change{}, err
		}
		checks = append(checks, row)
	}
	id, err := newID()
	if err != nil {
		return Change{}, err
	}
	return s.change(ctx, by, false, func(w writing) error {
		c := w.change
		c.Action, c.Kind, c.Subject = ResultKept, "campaign", r.Campaign
		if err := w.resultRests(ctx, r, latest); err != nil {
			return err
		}
		c.Differences = []Difference{{Path: "result " + id, To: evidence.OfBytes(r.Body).String()}}
		if err := w.insertResult(ctx, id, r); err != nil {
			return err
		}
		for i, check := range r.Checks {
			_, err := w.ExecContext(ctx, `INSERT INTO checks (result, position, name, status, body) VALUES ($1, $2, $3, $4, $5)`,
				id, i, check.ID, string(check.Status), checks[i].body)
			if err != nil {
				return err
			}
		}
		_, err := w.ExecContext(ctx, `UPDATE campaigns SET result = $2 WHERE id = $1`, r.Campaign, id)
		return err
	})
}

func (r Result) check() error {
	if r.Program == "" || campaign.CheckText(r.Program) != nil {
		return refused("result of %.80q: the program's version %.40q cannot be kept", r.Campaign, r.Program)
	}
	if campaign.CheckText(r.Verdict) != nil {
		return refused("result of %.80q: the verdict %.40q cannot be kept", r.Campaign, r.Verdict)
	}
	for _, part := range []struct {
		what     string
		text     []byte
		optional bool
	}{{"settings", r.Settings, false}, {"result", r.Body, false}, {"scatter", r.Scatter, true}} {
		if len(part.text) == 0 && part.optional {
			continue
		}
		if len(part.text) > maxResult || !json.Valid(part.text) || !utf8.Valid(part.text) {
			return refused("result of %s: the %s are not JSON of at most %d bytes", r.Campaign, part.what, maxResult)
		}
	}
	return nil
}

// resultRests refuses a result that does not rest on the data that it names, and
// ends the write of one that is the latest already. Where the id of the latest is
// given, another latest is refused.
func (w writing) resultRests(ctx context.Context, r Result, latest string) error {
	var state State
	if err := w.campaign(ctx, r.Campaign, &state); err != nil {
		return err
	}
	if r.Version < 1 || r.Version > w.change.Version {
		return refused("result of %s: the campaign has no version %d", r.Campaign, r.Version)
	}
	data, err := dataDigest(ctx, w, r.Campaign, r.Version)
	if err != nil {
		return err
	}
	if data != r.Data {
		return refused("result of %s: its data are %s, version %d has %s", r.Campaign, r.Data, r.Version, data)
	}
	last, err := latestResult(ctx, w, r.Campaign)
	if errors.Is(err, ErrNotFound) {
		return nil
	}
	switch {
	case err != nil:
		return err
	case latest != "" && last.ID != latest:
		return fmt.Errorf("result of %s: %w", r.Campaign, ErrNotLatest)
	case last.same(r):
		return errUnchanged
	}
	return nil
}

func (r Result) same(other Result) bool {
	return r.Version == other.Version && r.Data == other.Data && r.Program == other.Program &&
		string(r.Settings) == string(other.Settings) && string(r.Body) == string(other.Body) && string(r.Scatter) == string(other.Scatter) &&
		r.Verdict == other.Verdict
}

func (w writing) insertResult(ctx context.Context, id string, r Result) error {
	scatter := ""
	if len(r.Scatter) > 0 {
		scatter = evidence.OfBytes(r.Scatter).String()
	}
	_, err := w.ExecContext(ctx, `INSERT INTO results
		(id, campaign, version, data_digest, program, settings_digest, settings, digest, body, scatter_digest, scatter, change)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`,
		id, r.Campaign, r.Version, r.Data.String(), r.Program, evidence.OfBytes(r.Settings).String(), string(r.Settings),
		evidence.OfBytes(r.Body).String(), string(r.Body), scatter, string(r.Scatter), w.change.Seq)
	if err != nil || r.Verdict == "" {
		return err
	}
	_, err = w.ExecContext(ctx, `INSERT INTO verdicts (result, verdict) VALUES ($1, $2)`, id, r.Verdict)
	return err
}

const resultColumns = `SELECT r.id, r.campaign, r.version, r.data_digest, r.program, r.settings, r.body, r.scatter, coalesce(v.verdict, ''), r.change, c.at
	FROM results r JOIN changes c ON c.seq = r.change LEFT JOIN verdicts v ON v.result = r.id `

// LatestResult returns the latest result of a campaign with its checks. Where
// there is none the error is [ErrNotFound]. It rests on today's data where its
// Data is the campaign's digest.
func (s *Store) LatestResult(ctx context.Context, id string) (Result, error) {
	return latestResult(ctx, s.db, id)
}

func latestResult(ctx context.Context, q querier, id string) (Result, error) {
	list, err := results(ctx, q, resultColumns+`WHERE r.campaign = $1 ORDER BY r.change DESC LIMIT 1`, id)
	if err != nil {
		return Result{}, err
	}
	if len(list) == 0 {
		return Result{}, fmt.Errorf("a result of campaign %.80q %w", id, ErrNotFound)
	}
	return list[0], nil
}

// Results returns the results of a campaign, latest first, at most limit.
func (s *Store) Results(ctx context.Context, id string, limit int) ([]Result, error) {
	return results(ctx, s.db, resultColumns+`WHERE r.campaign = $1 ORDER BY r.change DESC LIMIT $2`, id, limit)
}

func results(ctx context.Context, q querier, query string, args ...any) ([]Result, error) {
	list, err := resultRows(ctx, q, query, args...)
	if err != nil {
		return nil, explain(err)
	}
	for i := range list {
		bodies, err := texts(ctx, q, `SELECT body FROM checks WHERE result = $1 ORDER BY position`, list[i].ID)
		if err != nil {
			return nil, explain(err)
		}
		for _, body := range bodies {
			c, err := read[campaign.Check]("check", body)
			if err != nil {
				return nil, err
			}
			list[i].Checks = append(list[i].Checks, c)
		}
	}
	return list, nil
}

func resultRows(ctx context.Context, q querier, query string, args ...any) (list []Result, err error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var r Result
		var data, settings, body, scatter string
		var at int64
		if err := rows.Scan(&r.ID, &r.Campaign, &r.Version, &data, &r.Program, &settings, &body, &scatter, &r.Verdict, &r.Seq, &at); err != nil {
			return nil, err
		}
		if r.Data, err = digestOf(data); err != nil {
			return nil, err
		}
		r.Settings, r.Body, r.At = []byte(settings), []byte(body), time.UnixMicro(at).UTC()
		if scatter != "" {
			r.Scatter = []byte(scatter)
		}
		list = append(list, r)
	}
	return list, rows.Err()
}
