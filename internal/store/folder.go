package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"time"

	"fairpull/evidence"
)

// folder keeps blobs as files of a folder, ab/abcd… for the digest abcd…
type folder struct {
	root string
}

// tempDir is where files are written before they get their names.
const tempDir = "unfinished"

// initFolder makes a folder of blobs for a workspace. A folder that holds
// something is [ErrExists].
func initFolder(root, workspace string) (*folder, error) {
	if err := os.MkdirAll(filepath.Join(root, tempDir), 0o777); err != nil {
		return nil, explain(err)
	}
	f := &folder{root: root}
	for first := range 256 {
		if err := os.Mkdir(filepath.Join(root, fmt.Sprintf("%02x", first)), 0o777); err != nil && !errors.Is(err, fs.ErrExist) {
			return nil, explain(err)
		}
	}
	// Of two programs that make it one gets the name.
	owner, err := os.OpenFile(filepath.Join(root, ownerFile), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o444)
	if errors.Is(err, fs.ErrExist) {
		return nil, fmt.Errorf("%w: %s belongs to one already: %w", ErrBlobs, root, ErrExists)
	}
	if err != nil {
		return nil, explain(err)
	}
	_, err = owner.WriteString(workspace + "\n")
	if err = errors.Join(err, owner.Sync(), owner.Close()); err != nil {
		return nil, explain(err)
	}
	return f, errors.Join(syncDir(root), syncDir(filepath.Dir(root)))
}

// openFolder opens the folder of blobs of a workspace. A folder that does not
// carry the workspace's id, such as a share that is not mounted, is [ErrBlobs].
func openFolder(root, workspace string) (*folder, error) {
	owner, err := os.ReadFile(filepath.Join(root, ownerFile))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrBlobs, err)
	}
	return &folder{root: root}, owned(root, string(owner), workspace)
}

func (f *folder) path(d evidence.Digest) string {
	name := d.Hex()
	return filepath.Join(f.root, name[:2], name)
}

// Put writes to a file of its own, synchronises, renames and synchronises the
// folder, so that a name never stands for half a content.
func (f *folder) Put(ctx context.Context, data []byte) (d evidence.Digest, old bool, err error) {
	if err := ctx.Err(); err != nil {
		return d, false, err
	}
	if len(data) > MaxBlob {
		return d, false, refused("it is longer than %d bytes", MaxBlob)
	}
	d = evidence.OfBytes(data)
	path := f.path(d)
	switch _, err := f.Get(ctx, d); {
	case err == nil:
		// Whoever put it may have died before its name was on the disk.
		return d, true, explain(syncDir(filepath.Dir(path)))
	case !errors.Is(err, fs.ErrNotExist):
		return evidence.Digest{}, false, err
	}
	if err := f.write(path, data); err != nil {
		return evidence.Digest{}, false, explain(fmt.Errorf("keep %s: %w", d, err))
	}
	return d, false, nil
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

// Get reads a file and compares its digest.
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

// Written returns a file's time.
func (f *folder) Written(ctx context.Context, d evidence.Digest) (time.Time, error) {
	if err := ctx.Err(); err != nil {
		return time.Time{}, err
	}
	info, err := os.Stat(f.path(d))
	if err != nil {
		return time.Time{}, err
	}
	return info.ModTime(), nil
}

// All walks the folder.
func (f *folder) All(ctx context.Context) iter.Seq2[blobFile, error] {
	return func(yield func(blobFile, error) bool) {
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
			info, err := entry.Info()
			if errors.Is(err, fs.ErrNotExist) { // an unfinished file got its name
				return nil
			}
			if err != nil {
				return err
			}
			file := blobFile{Name: path, Modified: info.ModTime(), Unfinished: filepath.Dir(path) == filepath.Join(f.root, tempDir)}
			if d, err := evidence.ParseHex(entry.Name()); err == nil && path == f.path(d) {
				file.Digest = d
			}
			if !yield(file, nil) {
				return fs.SkipAll
			}
			return nil
		})
		if err != nil {
			yield(blobFile{}, err)
		}
	}
}

// Remove removes one file of the folder.
func (f *folder) Remove(ctx context.Context, file blobFile) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := os.Remove(file.Name); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
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
