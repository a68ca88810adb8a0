// Package store is the workspace: a lab's memory of vehicles, dynos, campaigns,
// pulls and results, in SQLite or PostgreSQL, with the raw logs as files named
// by their content.
//
// Nothing that a result rests on is overwritten or deleted. What is written is
// on the disk when the call returns. One writer at a time, on both engines; the
// change numbers have no gap and no two writes share one.
package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/google/uuid"
	_ "github.com/jackc/pgx/v5/stdlib" // the driver "pgx"
	_ "modernc.org/sqlite"             // the driver "sqlite"
)

// Store is an open workspace. It may be used by many goroutines at once, and
// many processes may have one workspace open.
type Store struct {
	db    *sql.DB
	blobs blobs
	place place
	id    string
	// writing lets this process's writers queue up here rather than at the
	// database, where they would wait by asking again and again.
	writing sync.Mutex
	now     func() time.Time
}

// connections bounds what one process asks of a database at once.
const connections = 8

// Init makes a new workspace and opens it. where is a directory, made if need
// be, or postgres://…?blobs=/FOLDER, an existing database. What is there already
// is left alone: the error is then [ErrExists].
func Init(ctx context.Context, where string) (*Store, error) {
	at, err := locate(where)
	if err != nil {
		return nil, err
	}
	if at.dir != "" {
		if _, err := os.Lstat(at.database); !errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("workspace %s: %w", at.dir, ErrExists)
		}
		if err := os.MkdirAll(at.dir, 0o755); err != nil {
			return nil, explain(err)
		}
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

// found makes the tables, the folder of the blobs and the row that ties them.
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
	folder, err := initFolder(s.place.blobs, id)
	if err != nil {
		return err
	}
	_, err = s.db.ExecContext(ctx, `INSERT INTO workspace (one, id, created, last_change) VALUES (1, $1, $2, 0)`, id, s.now().UnixMicro())
	if err != nil {
		return explain(err)
	}
	s.id, s.blobs = id, folder
	if s.place.dir == "" {
		return nil
	}
	return errors.Join(syncDir(s.place.dir), syncDir(filepath.Dir(s.place.dir)))
}

// Open opens a workspace and brings its tables to the program's version; with
// SQLite a copy of the database is kept beside it first.
//
// Errors: [ErrPlace], [ErrNoWorkspace], [ErrNewer], [ErrBlobs].
func Open(ctx context.Context, where string) (*Store, error) {
	at, err := locate(where)
	if err != nil {
		return nil, err
	}
	if at.dir != "" {
		if _, err := os.Stat(at.database); errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("%s: %w", at.dir, ErrNoWorkspace)
		}
	}
	s, err := connect(ctx, at)
	if err != nil {
		return nil, err
	}
	if err := s.resume(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

func (s *Store) resume(ctx context.Context) error {
	if s.place.dir == "" {
		var tables int
		const query = `SELECT count(*) FROM information_schema.tables WHERE table_name = 'workspace' AND table_schema = current_schema()`
		if err := s.db.QueryRowContext(ctx, query).Scan(&tables); err != nil {
			return err
		}
		if tables == 0 {
			return ErrNoWorkspace
		}
	}
	if err := s.migrate(ctx); err != nil {
		return err
	}
	if err := s.readID(ctx); err != nil {
		return err
	}
	folder, err := openFolder(s.place.blobs, s.id)
	if err != nil {
		return err
	}
	s.blobs = folder
	return nil
}

func connect(ctx context.Context, at place) (*Store, error) {
	source := at.database
	if at.dir != "" {
		source = sqliteSource(at.database)
	}
	db, err := sql.Open(at.engine.driver, source)
	if err != nil {
		return nil, fmt.Errorf("%w: the database cannot be reached", ErrPlace) // the cause may hold a password
	}
	db.SetMaxOpenConns(connections)
	db.SetMaxIdleConns(connections)
	if err := db.PingContext(ctx); err != nil {
		return nil, errors.Join(fmt.Errorf("open the database: %w", explain(err)), db.Close())
	}
	return &Store{db: db, place: at, now: time.Now}, nil
}

func (s *Store) readID(ctx context.Context) error {
	err := s.db.QueryRowContext(ctx, `SELECT id FROM workspace`).Scan(&s.id)
	if errors.Is(err, sql.ErrNoRows) {
		return ErrNoWorkspace
	}
	return err
}

// Close closes the workspace. What was acknowledged is on the disk already.
func (s *Store) Close() error { return s.db.Close() }

// ID returns the workspace's own id, which its folder of blobs carries too.
func (s *Store) ID() string { return s.id }

// newID returns an id that no other row has, sorted by the time it was made.
func newID() (string, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return "", err
	}
	return id.String(), nil
}
