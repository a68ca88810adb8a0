package evidence

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"sync"

	"golang.org/x/mod/sumdb/tlog"
)

// MemoryRecord is a [RecordStore] in memory. Make one with [NewMemoryRecord].
type MemoryRecord struct {
	mu     sync.RWMutex
	leaves [][]byte
	hashes []Digest
}

// NewMemoryRecord returns an empty store.
func NewMemoryRecord() *MemoryRecord { return new(MemoryRecord) }

// Size returns the number of leaves.
func (m *MemoryRecord) Size(context.Context) (int64, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	return int64(len(m.leaves)), nil
}

// Append keeps a copy of the leaf and its hashes.
func (m *MemoryRecord) Append(_ context.Context, n int64, leaf []byte, first int64, hashes []Digest) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if n != int64(len(m.leaves)) || first != int64(len(m.hashes)) {
		return ErrMoved
	}
	m.leaves = append(m.leaves, slices.Clone(leaf))
	m.hashes = append(m.hashes, hashes...)
	return nil
}

// Leaf returns a copy of leaf n.
func (m *MemoryRecord) Leaf(_ context.Context, n int64) ([]byte, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	if n < 0 || n >= int64(len(m.leaves)) {
		return nil, fmt.Errorf("the record has no leaf %d", n)
	}
	return slices.Clone(m.leaves[n]), nil
}

// Hashes returns the hashes with the given numbers.
func (m *MemoryRecord) Hashes(_ context.Context, numbers []int64) ([]Digest, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	found := make([]Digest, len(numbers))
	for i, n := range numbers {
		if n < 0 || n >= int64(len(m.hashes)) {
			return nil, fmt.Errorf("the record has no hash %d", n)
		}
		found[i] = m.hashes[n]
	}
	return found, nil
}

// FileRecord is a [RecordStore] in one file that only grows. Each leaf stands there
// as its length (four bytes, big-endian), the same with every bit turned, so that a
// damaged length is not taken for an interrupted append, its bytes and its leaf hash.
// The hashes above are computed when the file is opened and kept in memory, 64 bytes a
// leaf.
//
// One process may write to it. Make one with [OpenFileRecord].
type FileRecord struct {
	memory MemoryRecord
	mu     sync.Mutex // one append at a time
	file   *os.File
	end    int64
	broken error // after a write that failed half-way
}

// OpenFileRecord opens the record in a file, which is made where it is not there. It
// reads all of it and verifies every leaf. What an interrupted append left at the end
// is cut off: nobody was told that it was written. Damage anywhere else is an error.
func OpenFileRecord(path string) (*FileRecord, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fmt.Errorf("open the record: %w", err)
	}
	r := &FileRecord{file: f}
	if err := r.load(); err != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", path, err), f.Close())
	}
	return r, nil
}

// load reads the file from its beginning.
func (r *FileRecord) load() error {
	data, err := io.ReadAll(r.file)
	if err != nil {
		return fmt.Errorf("read the record: %w", err)
	}
	ctx := context.Background()
	record := Record{store: &r.memory}
	for len(data) > 0 {
		leaf, size, whole := frame(data)
		if size < 0 {
			return fmt.Errorf("the record is damaged: leaf %d has no length that can be", len(r.memory.leaves))
		}
		if !whole && size < len(data) {
			return fmt.Errorf("the record is damaged: leaf %d is not the one that was appended", len(r.memory.leaves))
		}
		if !whole {
			break // the last append was interrupted
		}
		if _, err := record.Append(ctx, leaf); err != nil {
			return err
		}
		r.end += int64(size)
		data = data[size:]
	}
	if err := r.file.Truncate(r.end); err != nil {
		return fmt.Errorf("cut off an interrupted append: %w", err)
	}
	return nil
}

// frameHead is the size of what stands before a leaf.
const frameHead = 8

// frame returns the first leaf of data, the bytes that it takes up, and whether all
// of them are there and agree. A size of -1 is a length that no leaf has.
func frame(data []byte) (leaf []byte, size int, whole bool) {
	const head, sum = frameHead, len(Digest{})
	if len(data) < head {
		return nil, head, false
	}
	length := binary.BigEndian.Uint32(data)
	n := int(length)
	size = head + n + sum
	switch {
	case n == 0 && len(data) <= head+LongestLeaf+sum && allZero(data):
		return nil, len(data), false // room that an interrupted write reserved
	case n < 1 || n > LongestLeaf || binary.BigEndian.Uint32(data[4:]) != ^length:
		return nil, -1, false
	case len(data) < size:
		return nil, size, false
	}
	leaf = data[head : head+n]
	return leaf, size, Digest(tlog.RecordHash(leaf)) == Digest(data[head+n:size])
}

func allZero(data []byte) bool {
	return !slices.ContainsFunc(data, func(b byte) bool { return b != 0 })
}

// Size returns the number of leaves.
func (r *FileRecord) Size(ctx context.Context) (int64, error) { return r.memory.Size(ctx) }

// Append writes the leaf and returns when it is on the disk.
func (r *FileRecord) Append(ctx context.Context, n int64, leaf []byte, first int64, hashes []Digest) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.broken != nil {
		return r.broken
	}
	if size, _ := r.memory.Size(ctx); size != n {
		return ErrMoved
	}
	hash := tlog.RecordHash(leaf)
	data := binary.BigEndian.AppendUint32(nil, uint32(len(leaf)))
	data = binary.BigEndian.AppendUint32(data, ^uint32(len(leaf)))
	data = append(append(data, leaf...), hash[:]...)
	if _, err := r.file.WriteAt(data, r.end); err != nil {
		return r.undo(err)
	}
	if err := r.file.Sync(); err != nil {
		return r.undo(err)
	}
	r.end += int64(len(data))
	return r.memory.Append(ctx, n, leaf, first, hashes)
}

// undo takes back a write that failed. Where that fails too, no more is written.
func (r *FileRecord) undo(err error) error {
	err = fmt.Errorf("append to the record: %w", err)
	if again := r.file.Truncate(r.end); again != nil {
		r.broken = errors.Join(err, again)
		return r.broken
	}
	return err
}

// Leaf returns leaf n.
func (r *FileRecord) Leaf(ctx context.Context, n int64) ([]byte, error) {
	return r.memory.Leaf(ctx, n)
}

// Hashes returns the hashes with the given numbers.
func (r *FileRecord) Hashes(ctx context.Context, numbers []int64) ([]Digest, error) {
	return r.memory.Hashes(ctx, numbers)
}

// Close closes the file.
func (r *FileRecord) Close() error { return r.file.Close() }
