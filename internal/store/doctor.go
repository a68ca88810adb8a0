package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"time"

	"fairpull/evidence"
)

// Problem is one thing that the doctor found.
type Problem struct {
	// Leftover says that nothing is lost: a file that no row names, as a
	// program that was killed leaves behind. Else something is broken.
	Leftover bool
	What     string // what it is, or where
	Message  string
}

func (p Problem) String() string { return p.What + ": " + p.Message }

// Report is what the doctor saw.
type Report struct {
	Schema    int64 // version of the tables
	Campaigns int   // looked at
	Blobs     int   // read, and their digests compared
	Changes   int64 // of the audit trail
	Problems  []Problem
}

// Clean reports whether nothing is broken.
func (r Report) Clean() bool {
	for _, p := range r.Problems {
		if !p.Leftover {
			return false
		}
	}
	return true
}

// Check looks the whole workspace through: the tables' version, the engine's own
// test, every reference, every row's digest, the data that each campaign and
// each result rests on, the audit trail, and every file. It changes nothing. An
// error means that it could not look.
func (s *Store) Check(ctx context.Context) (Report, error) {
	d := &doctor{s: s, named: map[evidence.Digest]string{}, campaigns: map[string]string{}}
	// Files first: what is put while the doctor looks at the rows is not counted
	// as left over.
	present, err := d.files(ctx)
	if err != nil {
		return d.report, err
	}
	if err := d.schema(ctx); err != nil {
		return d.report, err
	}
	err = s.view(ctx, func(q querier) error {
		d.q = q
		for _, look := range []func(context.Context) error{
			d.engine, d.references, d.sheets, d.data, d.results, d.lists, d.trail, d.names, d.record,
		} {
			if err := look(ctx); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return d.report, err
	}
	for digest, where := range d.named {
		if _, there := present[digest]; !there {
			// It may have been put after the files were looked at.
			if _, err := s.blobs.Get(ctx, digest); errors.Is(err, fs.ErrNotExist) {
				d.broken(where, "its file %s is missing", digest)
			} else if err != nil && !errors.As(err, new(*DamagedError)) {
				return d.report, err
			}
		}
	}
	for digest, file := range present {
		if d.named[digest] == "" {
			d.left("file "+file.Name, "no row names it")
		}
	}
	return d.report, nil
}

type doctor struct {
	s         *Store
	q         querier
	report    Report
	named     map[evidence.Digest]string // what names a file
	campaigns map[string]string          // the data digest by id
}

// maxProblems bounds a report; a workspace with so many is broken as a whole.
const maxProblems = 10_000

func (d *doctor) broken(what, format string, args ...any) { d.add(false, what, format, args...) }
func (d *doctor) left(what, format string, args ...any)   { d.add(true, what, format, args...) }

func (d *doctor) add(leftover bool, what, format string, args ...any) {
	if len(d.report.Problems) < maxProblems {
		d.report.Problems = append(d.report.Problems, Problem{leftover, what, fmt.Sprintf(format, args...)})
	}
}

// files reads every file of the folder and compares its digest.
func (d *doctor) files(ctx context.Context) (map[evidence.Digest]blobFile, error) {
	present := map[evidence.Digest]blobFile{}
	for file, err := range d.s.blobs.All(ctx) {
		switch {
		case ctx.Err() != nil:
			return nil, ctx.Err()
		case err != nil:
			d.broken("place of the files", "it cannot be listed: %v", err)
			continue
		case file.Unfinished:
			d.left("file "+file.Name, "a program began it and did not finish")
			continue
		case file.Digest.IsZero():
			d.left("file "+file.Name, "it is not a file of the workspace")
			continue
		}
		digest := file.Digest
		d.report.Blobs++
		present[digest] = file
		_, err := d.s.blobs.Get(ctx, digest)
		var damaged *DamagedError
		switch {
		case errors.As(err, &damaged):
			d.broken(damaged.Name, "its content has the digest %s", damaged.Found)
		case err != nil:
			d.broken("file "+digest.String(), "it cannot be read: %v", err)
		}
	}
	return present, nil
}

// schema compares the version of the tables with the program's.
func (d *doctor) schema(ctx context.Context) error {
	migrator, err := d.s.place.engine.provider(d.s.db)
	if err != nil {
		return err
	}
	have, want, err := migrator.GetVersions(ctx)
	if err != nil {
		return err
	}
	d.report.Schema = have
	if have != want {
		d.broken("tables", "they are of version %d, the program knows %d", have, want)
	}
	return nil
}

// engine asks a SQLite database to test itself.
func (d *doctor) engine(ctx context.Context) error {
	if d.s.place.dir == "" {
		return nil
	}
	for _, pragma := range []string{"PRAGMA integrity_check(100)", "PRAGMA foreign_key_check"} {
		lines, err := d.lines(ctx, pragma)
		if err != nil {
			return err
		}
		for _, line := range lines {
			if line != "ok" {
				d.broken("database", "%s: %s", pragma, line)
			}
		}
	}
	return nil
}

// lines returns the rows of a query, each as a text.
func (d *doctor) lines(ctx context.Context, query string, args ...any) (list []string, err error) {
	rows, err := d.q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	columns, err := rows.Columns()
	if err != nil {
		return nil, err
	}
	for rows.Next() {
		cells := make([]any, len(columns))
		into := make([]any, len(columns))
		for i := range cells {
			into[i] = &cells[i]
		}
		if err := rows.Scan(into...); err != nil {
			return nil, err
		}
		if len(cells) == 1 {
			list = append(list, fmt.Sprint(cells[0]))
		} else {
			list = append(list, fmt.Sprint(cells...))
		}
	}
	return list, rows.Err()
}

// questions find rows that refer to what is not there. The engine's foreign
// keys hold the rest.
var questions = []struct{ what, query string }{
	{"a campaign without a head", `SELECT id FROM campaigns c WHERE NOT EXISTS
		(SELECT 1 FROM heads h WHERE h.campaign = c.id AND h.until IS NULL)`},
	{"a campaign without its words", `SELECT id FROM campaigns c WHERE NOT EXISTS (SELECT 1 FROM words w WHERE w.campaign = c.id)`},
	{"a campaign whose latest result is missing", `SELECT id FROM campaigns c WHERE result IS NOT NULL AND NOT EXISTS
		(SELECT 1 FROM results r WHERE r.id = c.result AND r.campaign = c.id)`},
	{"a pull of a configuration that its version does not declare", `SELECT campaign || ' pull ' || name FROM pulls p WHERE NOT EXISTS
		(SELECT 1 FROM configurations c WHERE c.campaign = p.campaign AND c.name = p.configuration
		AND c.since <= p.since AND (c.until IS NULL OR c.until > p.since))`},
	{"an attachment to a setup that is not there", `SELECT campaign || ' ' || name FROM attachments a WHERE kind = 'setup' AND NOT EXISTS
		(SELECT 1 FROM setups s WHERE s.campaign = a.campaign AND s.name = a.subject)`},
	{"an attachment to a configuration that was never there", `SELECT campaign || ' ' || name FROM attachments a WHERE kind = 'configuration'
		AND NOT EXISTS (SELECT 1 FROM configurations c WHERE c.campaign = a.campaign AND c.name = a.subject)`},
	{"a row of a version that is not there", `SELECT id FROM campaigns c WHERE
		EXISTS (SELECT 1 FROM heads r WHERE r.campaign = c.id AND r.since > c.version) OR
		EXISTS (SELECT 1 FROM configurations r WHERE r.campaign = c.id AND r.since > c.version) OR
		EXISTS (SELECT 1 FROM pulls r WHERE r.campaign = c.id AND r.since > c.version) OR
		EXISTS (SELECT 1 FROM originals r WHERE r.campaign = c.id AND r.since > c.version)`},
}

func (d *doctor) references(ctx context.Context) error {
	for _, question := range questions {
		found, err := texts(ctx, d.q, question.query)
		if err != nil {
			return err
		}
		for _, id := range found {
			d.broken("campaign "+id, "%s", question.what)
		}
	}
	return nil
}

// sheets compares the digest of every text that is stored with one.
func (d *doctor) sheets(ctx context.Context) error {
	for _, table := range []struct{ what, query string }{
		{"definition", `SELECT kind || ' ' || name, digest, body FROM definitions`},
		{"calibration", `SELECT dyno, digest, body FROM calibrations`},
		{"recipe of dyno", `SELECT dyno || ' ' || name, digest, body FROM recipes`},
		{"head of campaign", `SELECT campaign, digest, body FROM heads`},
		{"configuration of campaign", `SELECT campaign || ' ' || name, digest, body FROM configurations`},
		{"pull of campaign", `SELECT campaign || ' ' || name, digest, body FROM pulls`},
		{"result of campaign", `SELECT campaign, digest, body FROM results`},
		{"settings of the result of campaign", `SELECT campaign, settings_digest, settings FROM results`},
		{"check standard of dyno", `SELECT dyno, digest, body FROM standards`},
		{"reading of campaign", `SELECT campaign || ' ' || kind, digest, body FROM readings`},
		{"claim", `SELECT number, digest, body FROM claims`},
		{"seal of claim", `SELECT claim || ' ' || state, seal_digest, seal FROM claim_states WHERE seal <> ''`},
		{"lab text", `SELECT kind, digest, body FROM lab_texts`},
		{"details of", `SELECT CASE claim WHEN '' THEN 'the lab' ELSE claim END, digest, body FROM details`},
		{"leaf of the record", `SELECT CAST(n AS TEXT), digest, body FROM record_leaves`},
		{"scatter of the result of campaign", `SELECT campaign, scatter_digest, scatter FROM results WHERE scatter <> ''`},
	} {
		if err := d.sheet(ctx, table.what, table.query); err != nil {
			return err
		}
	}
	return nil
}

func (d *doctor) sheet(ctx context.Context, what, query string) (err error) {
	rows, err := d.q.QueryContext(ctx, query)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var name, recorded, body string
		if err := rows.Scan(&name, &recorded, &body); err != nil {
			return err
		}
		if found := evidence.OfBytes([]byte(body)).String(); found != recorded {
			d.broken(what+" "+name, "its text has the digest %s, recorded is %s", found, recorded)
		}
	}
	return rows.Err()
}

// data compares each campaign's digest with its rows and with the audit trail.
func (d *doctor) data(ctx context.Context) error {
	ids, err := texts(ctx, d.q, `SELECT id FROM campaigns ORDER BY id`)
	if err != nil {
		return err
	}
	d.report.Campaigns = len(ids)
	for _, id := range ids {
		var version int64
		var digest, trail string
		err := d.q.QueryRowContext(ctx, `SELECT version, digest, coalesce((SELECT digest_to FROM changes
			WHERE kind = 'campaign' AND subject = $1 ORDER BY seq DESC LIMIT 1), '') FROM campaigns WHERE id = $1`, id).
			Scan(&version, &digest, &trail)
		if err != nil {
			return err
		}
		found, err := dataDigest(ctx, d.q, id, version)
		if err != nil {
			return err
		}
		if found.String() != digest || trail != digest {
			d.broken("campaign "+id, "its rows have the digest %s, recorded are %s and, in the audit trail, %s", found, digest, trail)
		}
		d.campaigns[id] = digest
	}
	return nil
}

// results compares what each result rests on with the rows of that version.
func (d *doctor) results(ctx context.Context) (err error) {
	type rests struct {
		id, campaign, digest string
		version              int64
	}
	var list []rests
	rows, err := d.q.QueryContext(ctx, `SELECT id, campaign, data_digest, version FROM results`)
	if err != nil {
		return err
	}
	for rows.Next() {
		var r rests
		if err := rows.Scan(&r.id, &r.campaign, &r.digest, &r.version); err != nil {
			return errors.Join(err, rows.Close())
		}
		list = append(list, r)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return err
	}
	for _, r := range list {
		found, err := dataDigest(ctx, d.q, r.campaign, r.version)
		if err != nil {
			return err
		}
		if found.String() != r.digest {
			d.broken("result "+r.id+" of campaign "+r.campaign, "version %d of the data has the digest %s, the result rests on %s", r.version, found, r.digest)
		}
	}
	return nil
}

// lists compares what lists show with the rows that it comes from, and that
// every text can be read.
func (d *doctor) lists(ctx context.Context) error {
	for id := range d.campaigns {
		found, err := d.s.load(ctx, d.q, id, 0)
		if err != nil {
			d.broken("campaign "+id, "it cannot be read: %v", err)
			continue
		}
		var title, vehicle, dyno string
		var started, ended int64
		var pulls int
		err = d.q.QueryRowContext(ctx, `SELECT title, vehicle, dyno, started, ended, pulls FROM campaigns WHERE id = $1`, id).
			Scan(&title, &vehicle, &dyno, &started, &ended, &pulls)
		if err != nil {
			return err
		}
		c := &found.campaign
		first, last := span(found)
		if title != c.Title || vehicle != c.Vehicle.ID || dyno != c.Dyno.ID || pulls != len(c.Pulls) || started != first || ended != last {
			d.broken("campaign "+id, "the list shows something else than the campaign says")
		}
	}
	return nil
}

// span returns the first and the last start of a pull, in microseconds; 0 where
// there is no pull.
func span(found *stored) (first, last int64) {
	for i, p := range found.campaign.Pulls {
		at := p.Started.UnixMicro()
		if i == 0 {
			first, last = at, at
		}
		first, last = min(first, at), max(last, at)
	}
	return first, last
}

// trail looks for gaps in the audit trail and for changes from the future.
func (d *doctor) trail(ctx context.Context) error {
	var n, last, recorded, latest int64
	err := d.q.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM changes), (SELECT coalesce(max(seq), 0) FROM changes),
		(SELECT last_change FROM workspace), (SELECT coalesce(max(at), 0) FROM changes)`).Scan(&n, &last, &recorded, &latest)
	if err != nil {
		return err
	}
	d.report.Changes = n
	if n != last || last != recorded {
		d.broken("audit trail", "it has %d changes, the last of number %d, and %d were made", n, last, recorded)
	}
	if ahead := time.UnixMicro(latest).Sub(d.s.now()); ahead > time.Hour {
		d.left("audit trail", "its latest change lies %s in the future: look at this computer's clock", ahead.Round(time.Minute))
	}
	return nil
}

// names notes what names each file.
func (d *doctor) names(ctx context.Context) (err error) {
	rows, err := d.q.QueryContext(ctx, `SELECT 'pull ' || campaign || ' ' || name, log FROM pulls UNION ALL
		SELECT name || ' of campaign ' || campaign, digest FROM originals UNION ALL
		SELECT 'attachment ' || name || ' of campaign ' || campaign, digest FROM attachments UNION ALL
		SELECT 'file ' || name || ' of claim ' || claim, digest FROM claim_files`)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		var what, text string
		if err := rows.Scan(&what, &text); err != nil {
			return err
		}
		digest, err := evidence.Parse(text)
		if err != nil {
			d.broken(what, "%v", err)
			continue
		}
		d.named[digest] = what
	}
	return rows.Err()
}
