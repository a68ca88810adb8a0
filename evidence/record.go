package evidence

import (
	"context"
	"errors"
	"fmt"
	"math/bits"
	"strings"
	"unicode"

	"golang.org/x/mod/sumdb/tlog"
)

// The record is an append-only Merkle log [RFC6962]: its root is one digest that
// stands for every leaf and their order. Whoever kept a root can later have proven
// that a leaf is in it, and that a longer record begins with it.

// LongestLeaf bounds a leaf, in bytes.
const LongestLeaf = 64 << 10

// Errors of the record.
var (
	// ErrLeaf says that a leaf is empty or longer than [LongestLeaf].
	ErrLeaf = fmt.Errorf("a leaf of the record has between 1 and %d bytes", LongestLeaf)
	// ErrProof says that a proof does not prove what it is held against.
	ErrProof = errors.New("the proof does not hold")
	// ErrMoved says that somebody else appended in between: try again.
	ErrMoved = errors.New("the record has grown in between")
)

// RecordStore keeps the leaves of a record and the hashes over them. Hashes are
// numbered as [Record.Append] hands them out, from 0, without a gap.
type RecordStore interface {
	// Size returns the number of leaves.
	Size(ctx context.Context) (int64, error)
	// Append writes leaf n and the hashes from number first on, all or nothing, and
	// returns when they are durable. Where n is not the size it writes nothing and
	// returns an error that is [ErrMoved].
	Append(ctx context.Context, n int64, leaf []byte, first int64, hashes []Digest) error
	// Leaf returns leaf n, 0 ≤ n < size.
	Leaf(ctx context.Context, n int64) ([]byte, error)
	// Hashes returns the hashes with the given numbers, in their order.
	Hashes(ctx context.Context, numbers []int64) ([]Digest, error)
}

// Record is a lab's record on some store. Make one with [OpenRecord].
type Record struct {
	origin string
	store  RecordStore
}

// OpenRecord returns the record with the given origin on a store. The origin names
// the record among all others, as in "lab.example/record": it stands in every
// checkpoint and must not change. It has no blanks, no "+" and no control
// characters.
func OpenRecord(origin string, store RecordStore) (*Record, error) {
	if err := checkOrigin(origin); err != nil {
		return nil, err
	}
	return &Record{origin: origin, store: store}, nil
}

// Origin returns the record's name.
func (r *Record) Origin() string { return r.origin }

// Append puts a leaf at the end and returns its index. Of two at once one gets
// [ErrMoved], and nothing of it is written.
func (r *Record) Append(ctx context.Context, leaf []byte) (int64, error) {
	if len(leaf) == 0 || len(leaf) > LongestLeaf {
		return 0, ErrLeaf
	}
	return r.append(ctx, leaf)
}

// append puts any leaf at the end.
func (r *Record) append(ctx context.Context, leaf []byte) (int64, error) {
	n, err := r.store.Size(ctx)
	if err != nil {
		return 0, err
	}
	stored, err := tlog.StoredHashes(n, leaf, r.reader(ctx))
	if err != nil {
		return 0, fmt.Errorf("append to the record: %w", err)
	}
	if err := r.store.Append(ctx, n, leaf, tlog.StoredHashIndex(0, n), digests(stored)); err != nil {
		return 0, err
	}
	return n, nil
}

// Leaf returns the leaf at index n.
func (r *Record) Leaf(ctx context.Context, n int64) ([]byte, error) { return r.store.Leaf(ctx, n) }

// Head returns size and root of the record as it stands.
func (r *Record) Head(ctx context.Context) (Head, error) {
	n, err := r.store.Size(ctx)
	if err != nil {
		return Head{}, err
	}
	return r.HeadAt(ctx, n)
}

// HeadAt returns the root that the record had when it had size leaves.
func (r *Record) HeadAt(ctx context.Context, size int64) (Head, error) {
	if err := r.within(ctx, size); err != nil {
		return Head{}, err
	}
	root, err := tlog.TreeHash(size, r.reader(ctx))
	if err != nil {
		return Head{}, fmt.Errorf("read the record: %w", err)
	}
	return Head{Origin: r.origin, Size: size, Root: Digest(root)}, nil
}

// within refuses a size that the record does not have.
func (r *Record) within(ctx context.Context, size int64) error {
	n, err := r.store.Size(ctx)
	if err != nil {
		return err
	}
	if size < 0 || size > n {
		return fmt.Errorf("the record has %d leaves, not %d", n, size)
	}
	return nil
}

// Checkpoint returns the head as it stands as a signed note; see [Head.Sign].
func (r *Record) Checkpoint(ctx context.Context, key *PrivateKey) ([]byte, error) {
	head, err := r.Head(ctx)
	if err != nil {
		return nil, err
	}
	return head.Sign(key)
}

// ProveInclusion returns the proof that leaf index is among the first size leaves:
// the audit path of [RFC6962] section 2.1.1. Verify it with [Head.Includes].
func (r *Record) ProveInclusion(ctx context.Context, size, index int64) ([]Digest, error) {
	if err := r.within(ctx, size); err != nil {
		return nil, err
	}
	if index < 0 || index >= size {
		return nil, fmt.Errorf("leaf %d is not among the first %d", index, size)
	}
	proof, err := tlog.ProveRecord(size, index, r.reader(ctx))
	if err != nil {
		return nil, fmt.Errorf("prove a leaf: %w", err)
	}
	return digests(proof), nil
}

// ProveConsistency returns the proof that the record of size leaves begins with the
// record of earlier leaves, 1 ≤ earlier ≤ size: [RFC6962] section 2.1.2. Verify it
// with [Head.Continues].
func (r *Record) ProveConsistency(ctx context.Context, size, earlier int64) ([]Digest, error) {
	if err := r.within(ctx, size); err != nil {
		return nil, err
	}
	if earlier < 1 || earlier > size {
		return nil, fmt.Errorf("a record of %d leaves does not begin with %d", size, earlier)
	}
	proof, err := tlog.ProveTree(size, earlier, r.reader(ctx))
	if err != nil {
		return nil, fmt.Errorf("prove that the record only grew: %w", err)
	}
	return digests(proof), nil
}

// reader returns the store as the library asks for it.
func (r *Record) reader(ctx context.Context) tlog.HashReader {
	return tlog.HashReaderFunc(func(numbers []int64) ([]tlog.Hash, error) {
		found, err := r.store.Hashes(ctx, numbers)
		if err == nil && len(found) != len(numbers) {
			err = fmt.Errorf("the store returned %d hashes for %d", len(found), len(numbers))
		}
		return hashes(found), err
	})
}

// digests and hashes change the type alone.
func digests[S ~[]tlog.Hash](from S) []Digest {
	to := make([]Digest, len(from))
	for i, h := range from {
		to[i] = Digest(h)
	}
	return to
}

func hashes(from []Digest) []tlog.Hash {
	to := make([]tlog.Hash, len(from))
	for i, d := range from {
		to[i] = tlog.Hash(d)
	}
	return to
}

// Verify reads every leaf and reports whether the hashes of the store are theirs,
// so that the record can be trusted to prove something.
func (r *Record) Verify(ctx context.Context) error {
	n, err := r.store.Size(ctx)
	if err != nil {
		return err
	}
	again := NewMemoryRecord()
	for i := range n {
		leaf, err := r.store.Leaf(ctx, i)
		if err != nil {
			return err
		}
		sum, err := tlog.StoredHashes(i, leaf, tlog.HashReaderFunc(func(numbers []int64) ([]tlog.Hash, error) {
			found, err := again.Hashes(ctx, numbers)
			return hashes(found), err
		}))
		if err != nil {
			return fmt.Errorf("read the record: %w", err)
		}
		numbers := make([]int64, len(sum))
		for j := range numbers {
			numbers[j] = tlog.StoredHashIndex(0, i) + int64(j)
		}
		kept, err := r.store.Hashes(ctx, numbers)
		if err != nil {
			return err
		}
		for j := range sum {
			if j >= len(kept) || kept[j] != Digest(sum[j]) {
				return fmt.Errorf("leaf %d of the record is not the one that was appended", i)
			}
		}
		if err := again.Append(ctx, i, nil, numbers[0], digests(sum)); err != nil {
			return err
		}
	}
	return nil
}

// longestProof returns the most hashes that a proof in a record of size leaves has.
func longestProof(size int64) int { return bits.Len64(uint64(size)) + 1 }

// checkOrigin refuses a name that cannot stand in a signed note.
func checkOrigin(origin string) error {
	if err := oneLine("name of the record", origin, 200); err != nil {
		return err
	}
	if origin == "" || strings.ContainsFunc(origin, unicode.IsSpace) || strings.Contains(origin, "+") {
		return fmt.Errorf("%.80q cannot name a record: no blanks and no plus sign", origin)
	}
	return nil
}
