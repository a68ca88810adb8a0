package store

import (
	"context"
	"errors"
	"io/fs"
	"strconv"
	"strings"
	"time"

	"fairpull/evidence"
)

// sweepAfter is how long a file without a row is left alone: whoever put it may
// still be about to write its row.
const sweepAfter = 24 * time.Hour

// sweepBatch is how many files are removed within one write, which keeps other
// writers waiting.
const sweepBatch = 100

// Sweep removes the files that no row names and that are older than a day, as
// programs that were killed leave them behind, and returns what it removed, named
// as the doctor names it. What is not a file of the workspace stays. Each batch is
// a change of the audit trail, with the digests.
//
// It does not look whether the workspace is whole: see [Store.Check].
func (s *Store) Sweep(ctx context.Context, by Author) (removed []string, err error) {
	var batch []blobFile
	flush := func() error {
		gone, err := s.sweep(ctx, batch, by)
		removed, batch = append(removed, gone...), nil
		return err
	}
	oldest := s.now().Add(-sweepAfter)
	for file, err := range s.blobs.All(ctx) {
		if err != nil {
			return removed, explain(err)
		}
		if file.Modified.After(oldest) || file.Digest.IsZero() && !file.Unfinished {
			continue
		}
		if batch = append(batch, file); len(batch) == sweepBatch {
			if err := flush(); err != nil {
				return removed, err
			}
		}
	}
	return removed, flush()
}

// sweep removes those files of a batch that no row names. It holds the lock that
// every writer needs, so no row can come to name them meanwhile.
func (s *Store) sweep(ctx context.Context, batch []blobFile, by Author) (removed []string, err error) {
	if len(batch) == 0 {
		return nil, nil
	}
	_, err = s.change(ctx, by, false, func(w writing) error {
		w.change.Action, w.change.Kind, w.change.Subject = Swept, "workspace", s.id
		named, err := w.named(ctx, batch)
		if err != nil {
			return err
		}
		for _, file := range batch {
			if named[file.Digest] {
				continue
			}
			fresh, err := s.fresh(ctx, file)
			if err != nil {
				return err
			}
			if fresh {
				continue
			}
			if err := s.blobs.Remove(ctx, file); err != nil {
				return err
			}
			removed = append(removed, file.Name)
			if !file.Digest.IsZero() {
				w.change.Differences = append(w.change.Differences, Difference{Path: "file without a row", From: file.Digest.String()})
			}
		}
		if len(removed) == 0 {
			return errUnchanged
		}
		return nil
	})
	return removed, err
}

// fresh reports whether a file was written anew since it was listed, or is gone.
func (s *Store) fresh(ctx context.Context, file blobFile) (bool, error) {
	if file.Digest.IsZero() {
		return false, nil
	}
	written, err := s.blobs.Written(ctx, file.Digest)
	if errors.Is(err, fs.ErrNotExist) {
		return true, nil
	}
	return err == nil && written.After(s.now().Add(-sweepAfter)), err
}

// named returns which files of a batch a row names.
func (w writing) named(ctx context.Context, batch []blobFile) (map[evidence.Digest]bool, error) {
	var places []string
	var args []any
	for _, file := range batch {
		if !file.Digest.IsZero() {
			args = append(args, file.Digest.String())
			places = append(places, "$"+strconv.Itoa(len(args)))
		}
	}
	named := map[evidence.Digest]bool{}
	if len(args) == 0 {
		return named, nil
	}
	in := ` IN (` + strings.Join(places, ", ") + `)`
	list, err := texts(ctx, w, `SELECT log FROM pulls WHERE log`+in+` UNION SELECT digest FROM originals WHERE digest`+in+
		` UNION SELECT digest FROM attachments WHERE digest`+in+` UNION SELECT digest FROM claim_files WHERE digest`+in, args...)
	if err != nil {
		return nil, err
	}
	for _, text := range list {
		d, err := evidence.Parse(text)
		if err != nil {
			return nil, err
		}
		named[d] = true
	}
	return named, nil
}
