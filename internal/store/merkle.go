package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math/bits"
	"strconv"
	"strings"

	"fairpull/evidence"
)

// RecordGrown is what a change of the record did: a leaf came to its end.
const RecordGrown Action = "append to record"

// merkle is the workspace's record as package evidence wants it.
type merkle struct {
	s  *Store
	q  querier // reads
	by Author
}

// Record returns the leaves and hashes of the workspace's record; by stands in the
// audit trail for what is appended. Leaves are UTF-8, and no leaf is in it twice.
func (s *Store) Record(by Author) evidence.RecordStore { return merkle{s, s.db, by} }

// Size returns the number of leaves.
func (m merkle) Size(ctx context.Context) (int64, error) { return recordSize(ctx, m.q) }

func recordSize(ctx context.Context, q querier) (n int64, err error) {
	err = q.QueryRowContext(ctx, `SELECT count(*) FROM record_leaves`).Scan(&n)
	return n, explain(err)
}

// Append writes leaf n and its hashes in one transaction.
func (m merkle) Append(ctx context.Context, n int64, leaf []byte, first int64, hashes []evidence.Digest) error {
	_, err := m.s.change(ctx, m.by, false, func(w writing) error {
		size, err := recordSize(ctx, w)
		if err != nil {
			return err
		}
		if size != n {
			return evidence.ErrMoved
		}
		c := w.change
		c.Action, c.Kind, c.Subject, c.Version, c.To = RecordGrown, "record", "record", n+1, evidence.OfBytes(leaf).String()
		if _, err = w.ExecContext(ctx, `INSERT INTO record_leaves (n, digest, body, change) VALUES ($1, $2, $3, $4)`, n, c.To, string(leaf), c.Seq); err != nil {
			return err
		}
		for i, hash := range hashes {
			if _, err := w.ExecContext(ctx, `INSERT INTO record_hashes (number, hash) VALUES ($1, $2)`, first+int64(i), hash.String()); err != nil {
				return err
			}
		}
		return nil
	})
	return err
}

// Leaf returns leaf n.
func (m merkle) Leaf(ctx context.Context, n int64) ([]byte, error) {
	var body string
	err := m.q.QueryRowContext(ctx, `SELECT body FROM record_leaves WHERE n = $1`, n).Scan(&body)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, fmt.Errorf("leaf %d of the record %w", n, ErrNotFound)
	}
	return []byte(body), explain(err)
}

// Hashes returns the hashes with the given numbers, in their order.
func (m merkle) Hashes(ctx context.Context, numbers []int64) (hashes []evidence.Digest, err error) {
	if len(numbers) == 0 {
		return nil, nil
	}
	places, args := make([]string, len(numbers)), make([]any, len(numbers))
	for i, n := range numbers {
		places[i], args[i] = "$"+strconv.Itoa(i+1), n
	}
	rows, err := m.q.QueryContext(ctx, `SELECT number, hash FROM record_hashes WHERE number IN (`+strings.Join(places, ", ")+`)`, args...)
	if err != nil {
		return nil, explain(err)
	}
	defer func() { err = explain(errors.Join(err, rows.Close())) }()
	found := make(map[int64]evidence.Digest, len(numbers))
	for rows.Next() {
		var number int64
		var text string
		if err := rows.Scan(&number, &text); err != nil {
			return nil, err
		}
		if found[number], err = digestOf(text); err != nil {
			return nil, err
		}
	}
	if err := rows.Err(); err != nil {
		return nil, err
	}
	for _, n := range numbers {
		hash, there := found[n]
		if !there {
			return nil, fmt.Errorf("hash %d of the record %w", n, ErrNotFound)
		}
		hashes = append(hashes, hash)
	}
	return hashes, nil
}

// RecordLeaf returns the place of a leaf in the record, -1 where it is not in it.
func (s *Store) RecordLeaf(ctx context.Context, leaf []byte) (int64, error) {
	var n int64
	err := s.db.QueryRowContext(ctx, `SELECT n FROM record_leaves WHERE digest = $1`, evidence.OfBytes(leaf).String()).Scan(&n)
	if errors.Is(err, sql.ErrNoRows) {
		return -1, nil
	}
	return n, explain(err)
}

// record compares the hashes of the record with its leaves, and asks whether the
// leaves have no gap.
func (d *doctor) record(ctx context.Context) error {
	size, err := recordSize(ctx, d.q)
	if err != nil {
		return err
	}
	var last, appended, hashes int64
	err = d.q.QueryRowContext(ctx, `SELECT (SELECT coalesce(max(n), -1) FROM record_leaves), (SELECT count(*) FROM changes WHERE kind = 'record'),
		(SELECT count(*) FROM record_hashes)`).Scan(&last, &appended, &hashes)
	if err != nil {
		return err
	}
	// A tree of n leaves has a hash for each of them and one for each whole pair.
	if want := 2*size - int64(bits.OnesCount64(uint64(size))); last != size-1 || appended != size || hashes != want {
		d.broken("record", "it has %d leaves, the last of number %d, and %d hashes; %d leaves were appended", size, last, hashes, appended)
		return nil
	}
	record, err := evidence.OpenRecord("record", merkle{d.s, d.q, Author{}})
	if err != nil {
		return err
	}
	if err := record.Verify(ctx); err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		d.broken("record", "%v", err)
	}
	return nil
}
