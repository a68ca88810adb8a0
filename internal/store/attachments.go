package store

import (
	"context"
	"errors"
	"fmt"
	"mime"
	"strings"

	"fairpull/campaign"
	"fairpull/evidence"
)

// Attachment is a photograph or document that belongs to a setup or to a
// configuration of a campaign.
type Attachment struct {
	ID       string // given by the workspace
	Campaign string
	Kind     string // "setup" or "configuration"
	Subject  string // the setup's name or the configuration's id
	Name     string // of the file
	Media    string // its type, as in image/jpeg
	Note     string
	Size     int64           // bytes; given by the workspace
	Digest   evidence.Digest // given by the workspace
}

// Check returns nil where the attachment can be kept as far as that can be told
// without the workspace; else it is [ErrRefused].
func (a Attachment) Check() error {
	if err := campaign.CheckName(a.Name); err != nil {
		return refused("the attachment's name %.80q %v", a.Name, err)
	}
	if _, _, err := mime.ParseMediaType(a.Media); err != nil || !strings.Contains(a.Media, "/") || len(a.Media) > campaign.MaxID {
		return refused("attachment %s: %.80q is not a media type, as in image/jpeg", a.Name, a.Media)
	}
	if err := campaign.CheckText(a.Note); err != nil {
		return refused("attachment %s: its note %v", a.Name, err)
	}
	if a.Kind != "setup" && a.Kind != "configuration" {
		return refused("attachment %s: it belongs to a %.40q; write setup or configuration", a.Name, a.Kind)
	}
	return nil
}

// Attach keeps a document with a setup or configuration that is there. The same
// content under the same name there changes nothing. Get the bytes back with
// [Store.Blob].
func (s *Store) Attach(ctx context.Context, a Attachment, data []byte, by Author) (Change, error) {
	if err := a.Check(); err != nil {
		return Change{}, err
	}
	if err := by.check(false); err != nil {
		return Change{}, err
	}
	id, err := newID()
	if err != nil {
		return Change{}, err
	}
	digest := evidence.OfBytes(data)
	old, err := putAll(ctx, s.blobs, [][]byte{data})
	if err != nil {
		return Change{}, fmt.Errorf("attachment %s: %w", a.Name, err)
	}
	return s.change(ctx, by, false, func(w writing) error {
		c := w.change
		c.Action, c.Kind, c.Subject = Attached, "campaign", a.Campaign
		c.Differences = []Difference{{Path: a.Kind + " " + a.Subject + " attachment " + a.Name, To: digest.String()}}
		var state State
		if err := w.campaign(ctx, a.Campaign, &state); err != nil {
			return err
		}
		if err := errors.Join(w.attachable(ctx, a), s.still(ctx, old)); err != nil {
			return err
		}
		done, err := w.ExecContext(ctx, `INSERT INTO attachments (id, campaign, kind, subject, name, media, size, note, digest, change)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) ON CONFLICT (campaign, kind, subject, name, digest) DO NOTHING`,
			id, a.Campaign, a.Kind, a.Subject, a.Name, a.Media, len(data), a.Note, digest.String(), c.Seq)
		if err != nil {
			return err
		}
		n, err := done.RowsAffected()
		if err == nil && n == 0 {
			err = errUnchanged
		}
		return err
	})
}

func (w writing) attachable(ctx context.Context, a Attachment) error {
	query := `SELECT count(*) FROM setups WHERE campaign = $1 AND name = $2`
	if a.Kind == "configuration" {
		query = `SELECT count(*) FROM configurations WHERE campaign = $1 AND name = $2 AND until IS NULL`
	}
	var n int
	if err := w.QueryRowContext(ctx, query, a.Campaign, a.Subject).Scan(&n); err != nil {
		return err
	}
	if n == 0 {
		return fmt.Errorf("%s %.80q of campaign %s %w", a.Kind, a.Subject, a.Campaign, ErrNotFound)
	}
	return nil
}

// Attachments returns the attachments of a campaign, in the order in which they
// came.
func (s *Store) Attachments(ctx context.Context, id string) (list []Attachment, err error) {
	rows, err := s.db.QueryContext(ctx, `SELECT id, campaign, kind, subject, name, media, size, note, digest
		FROM attachments WHERE campaign = $1 ORDER BY change`, id)
	if err != nil {
		return nil, explain(err)
	}
	defer func() { err = explain(errors.Join(err, rows.Close())) }()
	for rows.Next() {
		var a Attachment
		var digest string
		if err := rows.Scan(&a.ID, &a.Campaign, &a.Kind, &a.Subject, &a.Name, &a.Media, &a.Size, &a.Note, &digest); err != nil {
			return nil, err
		}
		if a.Digest, err = digestOf(digest); err != nil {
			return nil, err
		}
		list = append(list, a)
	}
	return list, rows.Err()
}
