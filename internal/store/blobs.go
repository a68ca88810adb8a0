package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"fairpull/evidence"
)

// MaxBlob is the longest content that is kept, in bytes.
const MaxBlob = 256 << 20

// blobs keeps contents by their digest.
type blobs interface {
	// Put keeps data and returns its digest. When it returns, data is on the
	// disk under its digest, or nothing is. Putting it again changes nothing,
	// and old is then true.
	Put(ctx context.Context, data []byte) (d evidence.Digest, old bool, err error)
	// Get returns the content of a digest, verified. Where it is not there the
	// error wraps fs.ErrNotExist; where it is another, it is a *DamagedError.
	Get(ctx context.Context, d evidence.Digest) ([]byte, error)
	// Written returns when the content of a digest was written, without reading
	// it. Where it is not there the error wraps fs.ErrNotExist.
	Written(ctx context.Context, d evidence.Digest) (time.Time, error)
	// All gives every file that is there, in no order.
	All(ctx context.Context) iter.Seq2[blobFile, error]
	// Remove removes a file that All gave. One that is gone already is no error.
	Remove(ctx context.Context, f blobFile) error
}

// blobFile is a file as it lies where the blobs are.
type blobFile struct {
	Digest     evidence.Digest // zero: its name is no digest
	Name       string          // where it is
	Modified   time.Time       // when it was written
	Unfinished bool            // a program began it, and may have been killed since
}

// initBlobs makes the place of the blobs of a workspace. One that belongs to a
// workspace already is [ErrExists].
func initBlobs(ctx context.Context, where, workspace string) (blobs, error) {
	if isBucket(where) {
		return initBucket(ctx, where, workspace)
	}
	return initFolder(where, workspace)
}

// openBlobs opens the place of the blobs of a workspace. One that does not carry
// the workspace's id, such as a share that is not mounted, is [ErrBlobs].
func openBlobs(ctx context.Context, where, workspace string) (blobs, error) {
	if isBucket(where) {
		return openBucket(ctx, where, workspace)
	}
	return openFolder(where, workspace)
}

// owned refuses a place of blobs whose owner file says another workspace's id.
func owned(where, owner, workspace string) error {
	if owner = strings.TrimSpace(owner); owner != workspace {
		return fmt.Errorf("%w: %s belongs to workspace %.40q, not to %s", ErrBlobs, where, owner, workspace)
	}
	return nil
}

// ownerFile holds the id of the workspace that the place of blobs belongs to.
const ownerFile = "WORKSPACE"

// puts is how many files are put at once: synchronising is waiting, and disks
// take several at a time.
const puts = 8

// putAll keeps several contents and returns the digests of those that were there
// already, for [writing.still]. Where one cannot be kept the error is the first,
// and what was kept stays.
func putAll(ctx context.Context, into blobs, files [][]byte) (old []evidence.Digest, err error) {
	for _, data := range files {
		if kind := evidence.SecretIn(data); kind != "" {
			return nil, refused("a file holds a private key (%s), which belongs to its owner's own place alone", kind)
		}
	}
	var lock sync.Mutex
	var group errgroup.Group
	group.SetLimit(puts)
	for _, data := range files {
		group.Go(func() error {
			d, was, err := into.Put(ctx, data)
			if err == nil && was {
				lock.Lock()
				defer lock.Unlock()
				old = append(old, d)
			}
			return err
		})
	}
	return old, group.Wait()
}

// still reports as [ErrBusy] a file that was there when it was put and has been
// swept since. Sweeping and writing rows exclude each other, so within a writing
// the answer holds until its end.
func (s *Store) still(ctx context.Context, old []evidence.Digest) error {
	var group errgroup.Group
	group.SetLimit(puts)
	for _, d := range old {
		group.Go(func() error {
			_, err := s.blobs.Written(ctx, d)
			if errors.Is(err, fs.ErrNotExist) {
				return fmt.Errorf("%w (%s was swept as left over)", ErrBusy, d)
			}
			return err
		})
	}
	return group.Wait()
}
