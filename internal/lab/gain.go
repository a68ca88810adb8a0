package lab

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"fairpull/ingest"
	"fairpull/internal/demo"
)

// Gain analyses the campaign folder at path. Progress is called now and then and
// may be nil.
func Gain(ctx context.Context, path string, progress func(done, total int)) (*Analysis, error) {
	folder, err := ingest.OpenDir(path)
	if err != nil {
		return nil, err
	}
	defer folder.Close()
	return Analyse(ctx, folder, Options{Progress: progress})
}

// Demo analyses the built-in campaign.
func Demo(ctx context.Context) (*Analysis, error) {
	folder, err := ingest.Open(demo.Campaign())
	if err != nil {
		return nil, err
	}
	defer folder.Close()
	return Analyse(ctx, folder, Options{})
}

// WriteDemo writes the built-in campaign folder to dir, which must not exist or
// be empty.
func WriteDemo(dir string) error {
	return writeFolder(dir, func(staging string) error {
		return os.CopyFS(staging, demo.Campaign())
	})
}

// writeFolder fills a new folder beside dir and renames it into place, so that
// dir is never half-written. It refuses a dir that has something in it.
func writeFolder(dir string, fill func(staging string) error) error {
	entries, err := os.ReadDir(dir)
	switch {
	case err == nil && len(entries) > 0:
		return fmt.Errorf("%s is not empty: nothing was written. Name a new folder", dir)
	case err != nil && !os.IsNotExist(err):
		return err
	}
	parent := filepath.Dir(filepath.Clean(dir))
	if err := os.MkdirAll(parent, 0o777); err != nil {
		return err
	}
	staging, err := os.MkdirTemp(parent, ".fairpull-*")
	if err != nil {
		return cannotWrite(dir, err)
	}
	defer os.RemoveAll(staging)
	// The staging folder is the user's alone; the one inside has the mode that the
	// user's mask leaves.
	whole := filepath.Join(staging, "whole")
	err = os.Mkdir(whole, 0o777)
	if err == nil {
		err = fill(whole)
	}
	if err == nil {
		err = syncAll(whole)
	}
	if err == nil {
		err = os.Rename(whole, dir)
	}
	if err != nil {
		return cannotWrite(dir, err)
	}
	return syncDir(parent)
}

// syncAll puts a folder, and all that is in it, on disk.
func syncAll(dir string) error {
	return filepath.WalkDir(dir, func(path string, _ fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return syncDir(path)
	})
}

// syncDir puts a folder's entries, or a file's bytes, on disk.
func syncDir(path string) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	return file.Sync()
}
