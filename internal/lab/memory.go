package lab

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"time"

	"fairpull/ingest"
	"fairpull/internal/store"
)

// folder returns a version of a campaign of the workspace, 0 for the latest, as
// a folder that can be analysed, with the digest of its data.
func (w *Workspace) folder(ctx context.Context, id string, version int64) (*ingest.Folder, store.Entry, error) {
	entry, err := w.store.Entry(ctx, id, version)
	if err != nil {
		return nil, entry, unknownCampaign(err)
	}
	record, err := w.store.GetVersion(ctx, id, entry.Version)
	if err != nil {
		return nil, entry, err
	}
	folder, err := ingest.FromCampaign(record.Campaign, memory(record.Logs))
	if err != nil {
		return nil, entry, fmt.Errorf("campaign %s: %w", id, err)
	}
	return folder, entry, nil
}

// unknownCampaign adds to an error of a campaign that is not there what helps.
func unknownCampaign(err error) error {
	if errors.Is(err, store.ErrNotFound) {
		return fmt.Errorf("%w.\n  What is there: fairpull campaigns", err)
	}
	return err
}

// memory is files by their slash-separated paths. It holds no folders.
type memory map[string][]byte

// Open returns the file, or the system's error of one that is not there.
func (m memory) Open(name string) (fs.File, error) {
	data, found := m[name]
	if !found || !fs.ValidPath(name) {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	return &memoryFile{Reader: bytes.NewReader(data), name: path.Base(name)}, nil
}

// memoryFile is one open file of a memory, and what is known of it.
type memoryFile struct {
	*bytes.Reader
	name string
}

func (f *memoryFile) Stat() (fs.FileInfo, error) { return f, nil }
func (f *memoryFile) Close() error               { return nil }
func (f *memoryFile) Name() string               { return f.name }
func (f *memoryFile) Size() int64                { return f.Reader.Size() }
func (f *memoryFile) Mode() fs.FileMode          { return 0o444 }
func (f *memoryFile) ModTime() time.Time         { return time.Time{} }
func (f *memoryFile) IsDir() bool                { return false }
func (f *memoryFile) Sys() any                   { return nil }
