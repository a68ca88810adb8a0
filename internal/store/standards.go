package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"time"

	"fairpull/campaign"
	"fairpull/evidence"
)

// What a change of a dyno's check standard did, besides [Superseded].
const (
	StandardSet     Action = "set check standard"    // of a dyno
	StandardRetired Action = "retire check standard" // of a dyno; it stays in the trail
)

// Standard says which vehicle is a dyno's check standard, and what of it is
// watched: the same figure of the same parts, however its campaigns differ.
type Standard struct {
	Dyno, Vehicle string
	From          time.Time  // pulls from this moment on count; zero: all
	BandRPM       [2]float64 // engine speeds whose mean torque is watched, 1/min
	Correction    string     // the standard that every check is corrected to
	TestGear      int        // 0: not stated
	Components    []campaign.Component
	Like          string // the campaign that band, correction, gear and components come from
}

// KeptStandard is a check standard as the workspace has it.
type KeptStandard struct {
	Standard
	Author
	At time.Time // UTC
}

func (c Standard) check() error {
	for _, named := range []struct{ what, id string }{{"dyno", c.Dyno}, {"vehicle", c.Vehicle}, {"campaign", c.Like}} {
		if err := campaign.CheckID(named.id); err != nil {
			return refused("check standard: the id of the %s %.80q %v", named.what, named.id, err)
		}
	}
	lo, hi := c.BandRPM[0], c.BandRPM[1]
	if !(lo > 0 && hi > lo) || math.IsInf(hi, 0) {
		return refused("check standard of %s: %g to %g rpm is no range of engine speeds", c.Dyno, lo, hi)
	}
	if c.Correction == "" || campaign.CheckText(c.Correction) != nil {
		return refused("check standard of %s: the correction %.40q cannot be kept", c.Dyno, c.Correction)
	}
	return nil
}

// SetStandard names a vehicle as a dyno's check standard. The same again changes
// nothing; another supersedes it, which needs a reason. Times are kept to the
// microsecond, in UTC.
func (s *Store) SetStandard(ctx context.Context, c Standard, by Author) (Change, error) {
	if err := c.check(); err != nil {
		return Change{}, err
	}
	if !c.From.IsZero() {
		c.From = time.UnixMicro(c.From.UnixMicro()).UTC()
	}
	row, err := write("check standard of "+c.Dyno, c)
	if err != nil {
		return Change{}, err
	}
	return s.change(ctx, by, false, func(w writing) error {
		d := w.change
		d.Action, d.Kind, d.Subject, d.To = StandardSet, "dyno", c.Dyno, row.digest.String()
		d.Differences = []Difference{{Path: "check standard", To: text(c.Vehicle)}}
		was, before, err := w.stopStandard(ctx, c.Dyno)
		switch {
		case errors.Is(err, ErrNotFound):
		case err != nil:
			return err
		case was == d.To:
			return errUnchanged
		case by.Why == "":
			return by.check(true)
		default:
			d.Action, d.From, d.Differences = Superseded, was, compare(nil, "check standard", before, c)
		}
		_, err = w.ExecContext(ctx, `INSERT INTO standards (dyno, since, digest, body) VALUES ($1, $2, $3, $4)`,
			c.Dyno, d.Seq, d.To, row.body)
		return err
	})
}

// stopStandard ends the check standard of a dyno and returns its digest and what it
// said.
func (w writing) stopStandard(ctx context.Context, dyno string) (digest string, c Standard, err error) {
	var body string
	err = w.QueryRowContext(ctx, `UPDATE standards SET until = $1 WHERE dyno = $2 AND until IS NULL RETURNING digest, body`,
		w.change.Seq, dyno).Scan(&digest, &body)
	if errors.Is(err, sql.ErrNoRows) {
		return "", c, fmt.Errorf("a check standard of dyno %.80q %w", dyno, ErrNotFound)
	}
	if err != nil {
		return "", c, err
	}
	c, err = read[Standard]("check standard of "+dyno, body)
	return digest, c, err
}

// RetireStandard ends a dyno's check standard, which needs a reason. Where there is
// none it is [ErrNotFound].
func (s *Store) RetireStandard(ctx context.Context, dyno string, by Author) (Change, error) {
	return s.change(ctx, by, true, func(w writing) error {
		d := w.change
		d.Action, d.Kind, d.Subject = StandardRetired, "dyno", dyno
		digest, c, err := w.stopStandard(ctx, dyno)
		d.From, d.Differences = digest, []Difference{{Path: "check standard", From: text(c.Vehicle)}}
		return err
	})
}

// StandardOf returns a dyno's check standard with who named it, when and why. Where
// there is none it is [ErrNotFound].
func (s *Store) StandardOf(ctx context.Context, dyno string) (KeptStandard, error) {
	var k KeptStandard
	var body string
	var at int64
	err := s.db.QueryRowContext(ctx, `SELECT s.body, c.who, c.why, c.at FROM standards s JOIN changes c ON c.seq = s.since
		WHERE s.dyno = $1 AND s.until IS NULL`, dyno).Scan(&body, &k.Who, &k.Why, &at)
	if errors.Is(err, sql.ErrNoRows) {
		return k, fmt.Errorf("a check standard of dyno %.80q %w", dyno, ErrNotFound)
	}
	if err != nil {
		return k, explain(err)
	}
	k.At = time.UnixMicro(at).UTC()
	k.Standard, err = read[Standard]("check standard of "+dyno, body)
	return k, err
}

// Reading is what was read from a campaign once and is kept, so that it is not read
// again. Key names all that it depends on: a reading under another key is out of date.
type Reading struct {
	Campaign, Kind, Key string
	Body                []byte // JSON
}

// maxReading bounds a reading, in bytes.
const maxReading = 1 << 20

// KeepReading keeps a reading in the place of the one of its kind before. It can be
// had again from the campaign, so it is no change and stands in no audit trail.
func (s *Store) KeepReading(ctx context.Context, r Reading) error {
	if len(r.Body) > maxReading {
		return refused("a reading of campaign %.80q: it is longer than %d bytes", r.Campaign, maxReading)
	}
	s.writing.Lock()
	defer s.writing.Unlock()
	_, err := s.db.ExecContext(ctx, `INSERT INTO readings (campaign, kind, key, digest, body) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (campaign, kind) DO UPDATE SET key = excluded.key, digest = excluded.digest, body = excluded.body`,
		r.Campaign, r.Kind, r.Key, evidence.OfBytes(r.Body).String(), string(r.Body))
	return explain(err)
}

// Readings returns the readings of one kind of the campaigns of a vehicle on a dyno,
// by campaign.
func (s *Store) Readings(ctx context.Context, kind, dyno, vehicle string) (readings map[string]Reading, err error) {
	rows, err := s.db.QueryContext(ctx, `SELECT r.campaign, r.key, r.body FROM readings r JOIN campaigns c ON c.id = r.campaign
		WHERE r.kind = $1 AND c.dyno = $2 AND c.vehicle = $3`, kind, dyno, vehicle)
	if err != nil {
		return nil, explain(err)
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	readings = map[string]Reading{}
	for rows.Next() {
		r := Reading{Kind: kind}
		var body string
		if err := rows.Scan(&r.Campaign, &r.Key, &body); err != nil {
			return nil, err
		}
		r.Body = []byte(body)
		readings[r.Campaign] = r
	}
	return readings, rows.Err()
}
