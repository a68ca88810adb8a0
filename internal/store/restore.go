package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// Restore makes a workspace of a backup in a directory that has none, and looks
// it through. Every entry is verified before the workspace is there: a restore
// that ends early leaves none, and can be done again.
//
// A file that is not a whole backup is [ErrNoBackup] or a [*DamagedError]; a
// directory with a workspace is left alone ([ErrExists]).
func Restore(ctx context.Context, file, where string) error {
	at, err := locate(where)
	if err != nil {
		return err
	}
	if at.dir == "" {
		return fmt.Errorf("restore: %w", ErrServerBackup)
	}
	if err := free("workspace "+at.dir, at.database); err != nil {
		return err
	}
	// Read once without writing: a damaged backup makes no directory.
	head, err := readBackup(ctx, file, func(string, int64, io.Reader) error { return nil })
	if err != nil {
		return err
	}
	if err := os.MkdirAll(at.dir, 0o777); err != nil {
		return explain(err)
	}
	if err := unpack(ctx, file, at, head.Workspace); err != nil {
		return fmt.Errorf("restore: %w", explain(err))
	}
	return verify(ctx, where)
}

// unpack writes the files of a backup, and the database last.
func unpack(ctx context.Context, file string, at place, workspace string) error {
	blobs, err := openFolder(at.blobs, workspace)
	if errors.Is(err, fs.ErrNotExist) {
		blobs, err = initFolder(at.blobs, workspace)
	}
	if err != nil {
		return err
	}
	unfinished := at.database + ".unfinished"
	_, err = readBackup(ctx, file, func(name string, size int64, from io.Reader) error {
		if name == databaseFile {
			return writeNew(unfinished, from)
		}
		data, err := io.ReadAll(from)
		if err != nil {
			return err
		}
		d, _, err := blobs.Put(ctx, data)
		if err == nil && name != blobPrefix+d.Hex() {
			err = fmt.Errorf("%s: %w", name, ErrNoBackup)
		}
		return err
	})
	if err != nil {
		return err
	}
	if err := os.Rename(unfinished, at.database); err != nil {
		return err
	}
	return errors.Join(syncDir(at.dir), syncDir(filepath.Dir(at.dir)))
}

// writeNew writes a file anew and has the disk hold it.
func writeNew(path string, from io.Reader) error {
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	_, err = io.Copy(file, from)
	if err == nil {
		err = file.Sync()
	}
	return errors.Join(err, file.Close())
}

// verify opens a workspace and has the doctor look at it.
func verify(ctx context.Context, where string) error {
	s, err := Open(ctx, where)
	if err != nil {
		return err
	}
	report, err := s.Check(ctx)
	if err == nil && !report.Clean() {
		var list []string
		for _, p := range report.Problems {
			list = append(list, p.String())
		}
		err = fmt.Errorf("the restored workspace is not whole: %s", strings.Join(list, "; "))
	}
	return errors.Join(err, s.Close())
}
