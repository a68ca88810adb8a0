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
	err := s.readID(ctx)
	if err != nil {
		return err
	}
	s.blobs, err = openBlobs(ctx, s.place.blobs, s.id)
	return err
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
		what := "the database"
		if at.dir != "" {
			what = at.database
		}
		return nil, errors.Join(fmt.Errorf("open %s: %w", what, explain(err)), db.Close())
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
