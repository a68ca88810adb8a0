package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// Init makes a new workspace and opens it. where is a directory, made if need
// be, or postgres://…?blobs=PLACE, an existing database. What is there already
// is left alone: the error is then [ErrExists], of a folder of logs alone
// [ErrNoDatabase] as well. Of several programs that make
// the same workspace at once one does, and the others are told that it exists.
func Init(ctx context.Context, where string) (*Store, error) {
	at, err := locate(where)
	if err != nil {
		return nil, err
	}
	if at.dir != "" {
		if err := initDirectory(ctx, at); err != nil {
			return nil, err
		}
		return Open(ctx, where)
	}
	s, err := connect(ctx, at)
	if err != nil {
		return nil, err
	}
	if err := s.found(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// initDirectory makes a SQLite workspace. It is made in a folder of its own
// within the directory and then moved, the blobs first: a folder that has
// something in it is not replaced, so one program gets that far, and the database
// appears whole.
func initDirectory(ctx context.Context, at place) error {
	if err := free("workspace "+at.dir, at.database); err != nil {
		return err
	}
	if err := os.MkdirAll(at.dir, 0o777); err != nil {
		return explain(err)
	}
	making, err := os.MkdirTemp(at.dir, ".making-*")
	if err != nil {
		return explain(err)
	}
	defer os.RemoveAll(making) // empty by then, or what was not finished
	apart, err := locate(making)
	if err != nil {
		return err
	}
	s, err := connect(ctx, apart)
	if err != nil {
		return err
	}
	if err := errors.Join(s.found(ctx), s.Close()); err != nil {
		return err
	}
	if err := os.Rename(apart.blobs, at.blobs); err != nil {
		if errors.Is(err, fs.ErrExist) {
			return at.taken()
		}
		return explain(err)
	}
	if err := free("workspace "+at.dir, at.database); err != nil {
		return errors.Join(err, os.Rename(at.blobs, apart.blobs))
	}
	if err := os.Rename(apart.database, at.database); err != nil {
		return errors.Join(explain(err), os.Rename(at.blobs, apart.blobs))
	}
	return errors.Join(syncFile(at.database), syncDir(at.blobs), syncDir(at.dir), syncDir(filepath.Dir(at.dir)))
}

// taken says what a directory is that has a folder of logs already: a workspace, which
// another program may be about to finish, or what is left of one.
func (at place) taken() error {
	for range 20 {
		if err := free("workspace "+at.dir, at.database); err != nil {
			return err
		}
		time.Sleep(50 * time.Millisecond)
	}
	return fmt.Errorf("%s %w: %w", at.blobs, ErrNoDatabase, ErrExists)
}

// free returns [ErrExists] of what is named where something is at path, and the
// system's error where that cannot be told.
func free(what, path string) error {
	switch _, err := os.Lstat(path); {
	case err == nil:
		return fmt.Errorf("%s: %w", what, ErrExists)
	case !errors.Is(err, fs.ErrNotExist):
		return err
	}
	return nil
}

// found makes the tables, the place of the blobs and the row that ties them. The
// row comes first and is committed last: who finds it there, or being written,
// makes nothing.
func (s *Store) found(ctx context.Context) error {
	if s.readID(ctx) == nil { // before the tables are touched
		return ErrExists
	}
	if err := s.migrate(ctx); err != nil {
		return err
	}
	id, err := newID()
	if err != nil {
		return err
	}
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return explain(err)
	}
	defer tx.Rollback() // nothing to undo once it is committed
	done, err := tx.ExecContext(ctx, `INSERT INTO workspace (one, id, created, last_change) VALUES (1, $1, $2, 0)
		ON CONFLICT (one) DO NOTHING`, id, s.now().UnixMicro())
	if err = unlessNone(done, err); errors.Is(err, errUnchanged) {
		return ErrExists
	}
	if err != nil {
		return explain(err)
	}
	at, err := initBlobs(ctx, s.place.blobs, id)
	if err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return explain(err)
	}
	s.id, s.blobs = id, at
	return nil
}
