package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"os"
	"path/filepath"

	"golang.org/x/sync/errgroup"

	"fairpull/evidence"
)

// MaxBlob is the longest content that is kept, in bytes.
const MaxBlob = 256 << 20

// blobs keeps contents by their digest.
type blobs interface {
	// Put keeps data and returns its digest. When it returns, data is on the
	// disk under its digest, or nothing is. Putting it again changes nothing.
	Put(ctx context.Context, data []byte) (evidence.Digest, error)
	// Get returns the content of a digest, verified. Where it is not there the
	// error wraps fs.ErrNotExist; where it is another, it is a *DamagedError.
	Get(ctx context.Context, d evidence.Digest) ([]byte, error)
	// All gives every digest kept, in no order.
	All(ctx context.Context) iter.Seq2[evidence.Digest, error]
}

// folder keeps blobs as files of a folder, ab/abcd… for the digest abcd…
type folder struct {
	root string
}

const (
	ownerFile = "WORKSPACE" // holds the id of the workspace that the folder belongs to
	tempDir   = "unfinished"
)

// initFolder makes a folder of blobs for a workspace. A folder that holds
// something is [ErrExists].
func initFolder(root, workspace string) (*folder, error) {
	if err := os.MkdirAll(filepath.Join(root, tempDir), 0o755); err != nil {
		return nil, explain(err)
	}
	f := &folder{root: root}
	owner := filepath.Join(root, ownerFile)
	if _, err := os.Lstat(owner); err == nil {
		return nil, fmt.Errorf("folder of logs %s: %w", root, ErrExists)
	}
	for first := range 256 {
		if err := os.Mkdir(filepath.Join(root, fmt.Sprintf("%02x", first)), 0o755); err != nil && !errors.Is(err, fs.ErrExist) {
			return nil, explain(err)
		}
	}
	if err := f.write(owner, []byte(workspace+"\n")); err != nil {
		return nil, explain(err)
	}
	return f, syncDir(filepath.Dir(root))
}

// openFolder opens the folder of blobs of a workspace. A folder that does not
// carry the workspace's id, such as a share that is not mounted, is [ErrBlobs].
func openFolder(root, workspace string) (*folder, error) {
	owner, err := os.ReadFile(filepath.Join(root, ownerFile))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrBlobs, err)
	}
	if string(bytes.TrimSpace(owner)) != workspace {
		return nil, fmt.Errorf("%w: %s belongs to workspace %.40q, not to %s", ErrBlobs, root, bytes.TrimSpace(owner), workspace)
	}
	return &folder{root: root}, nil
}

func (f *folder) path(d evidence.Digest) string {
	name := d.Hex()
	return filepath.Join(f.root, name[:2], name)
}

// Put writes to a file of its own, synchronises, renames and synchronises the
// folder, so that a name never stands for half a content.
func (f *folder) Put(ctx context.Context, data []byte) (evidence.Digest, error) {
	if err := ctx.Err(); err != nil {
		return evidence.Digest{}, err
	}
	if len(data) > MaxBlob {
		return evidence.Digest{}, refused("it is longer than %d bytes", MaxBlob)
	}
	d := evidence.OfBytes(data)
	path := f.path(d)
	switch _, err := f.Get(ctx, d); {
	case err == nil:
		// Whoever put it may have died before its name was on the disk.
		return d, explain(syncDir(filepath.Dir(path)))
	case !errors.Is(err, fs.ErrNotExist):
		return evidence.Digest{}, err
	}
	if err := f.write(path, data); err != nil {
		return evidence.Digest{}, explain(fmt.Errorf("keep %s: %w", d, err))
	}
	return d, nil
}

// write puts a whole file in its place or leaves nothing.
func (f *folder) write(path string, data []byte) error {
	temp, err := os.CreateTemp(filepath.Join(f.root, tempDir), "*")
	if err != nil {
		return err
	}
	_, err = temp.Write(data)
	if err == nil {
		err = temp.Chmod(0o444)
	}
	if err == nil {
		err = temp.Sync()
	}
	err = errors.Join(err, temp.Close())
	if err == nil {
		err = os.Rename(temp.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(temp.Name()))
	}
	return syncDir(filepath.Dir(path))
}

// puts is how many files are put at once: synchronising is waiting, and disks
// take several at a time.
const puts = 8

// putAll keeps several contents. Where one cannot be kept the error is the
// first, and what was kept stays.
func putAll(ctx context.Context, into blobs, files [][]byte) error {
	var group errgroup.Group
	group.SetLimit(puts)
	for _, data := range files {
		group.Go(func() error {
			_, err := into.Put(ctx, data)
			return err
		})
	}
	return group.Wait()
}

func (f *folder) Get(ctx context.Context, d evidence.Digest) ([]byte, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	path := f.path(d)
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if info.Size() > MaxBlob {
		return nil, refused("%s is longer than %d bytes", path, MaxBlob)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	if found := evidence.OfBytes(data); found != d {
		return nil, &DamagedError{Name: path, Recorded: d, Found: found}
	}
	return data, nil
}

func (f *folder) All(ctx context.Context) iter.Seq2[evidence.Digest, error] {
	return func(yield func(evidence.Digest, error) bool) {
		err := filepath.WalkDir(f.root, func(path string, entry fs.DirEntry, err error) error {
			if err == nil {
				err = ctx.Err()
			}
			switch {
			case err != nil:
				return err
			case entry.IsDir() || path == filepath.Join(f.root, ownerFile):
				return nil
			}
			d, err := evidence.ParseHex(entry.Name())
			if err != nil || path != f.path(d) {
				err = fmt.Errorf("%s is not a file of the workspace", path)
			}
			if !yield(d, err) {
				return fs.SkipAll
			}
			return nil
		})
		if err != nil {
			yield(evidence.Digest{}, err)
		}
	}
}

func syncDir(dir string) error { return syncFile(dir) }

// syncFile has the disk hold what was written to a file, or the names within a
// directory.
func syncFile(path string) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(file.Sync(), file.Close())
}
