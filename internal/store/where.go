package store

import (
	"fmt"
	"net/url"
	"path/filepath"
	"strings"
)

// databaseFile is the name of the SQLite database within a workspace directory.
const databaseFile = "workspace.db"

// place is where a workspace lies.
type place struct {
	engine   engine
	dir      string // the directory; empty with PostgreSQL
	database string // the SQLite file, or the URL of the PostgreSQL database
	blobs    string // the folder of the blobs, or the URL of a bucket
}

// locate reads where: a directory, or the URL of a PostgreSQL database with the
// parameter blobs, which names the folder of the blobs or, as an URL of the
// scheme s3, the bucket.
func locate(where string) (place, error) {
	if where == "" {
		return place{}, fmt.Errorf("%w: no place is named", ErrPlace)
	}
	if strings.HasPrefix(where, "postgres://") || strings.HasPrefix(where, "postgresql://") {
		return locatePostgres(where)
	}
	if scheme, _, found := strings.Cut(where, "://"); found {
		return place{}, fmt.Errorf("%w: %.20q is not a scheme it knows; write a directory or postgres://…", ErrPlace, scheme)
	}
	dir, err := filepath.Abs(where)
	if err != nil {
		return place{}, fmt.Errorf("%w: %w", ErrPlace, err)
	}
	return place{
		engine:   sqliteEngine,
		dir:      dir,
		database: filepath.Join(dir, databaseFile),
		blobs:    filepath.Join(dir, "blobs"),
	}, nil
}

func locatePostgres(where string) (place, error) {
	u, err := url.Parse(where)
	if err != nil {
		// The error of url.Parse repeats the text, which may hold a password.
		return place{}, fmt.Errorf("%w: the database's URL cannot be read", ErrPlace)
	}
	parameters := u.Query()
	blobs := parameters.Get("blobs")
	switch {
	case isBucket(blobs):
	case filepath.IsAbs(blobs):
		blobs = filepath.Clean(blobs)
	default:
		return place{}, fmt.Errorf("%w: name the place of the logs, as in postgres://host/database?blobs=/srv/fairpull/blobs or ?blobs=s3://host/bucket", ErrPlace)
	}
	parameters.Del("blobs")
	u.RawQuery = parameters.Encode()
	return place{engine: postgresEngine, database: u.String(), blobs: blobs}, nil
}

// sqliteSource returns the driver's name of a SQLite file. Commits reach the
// disk before they return (write-ahead log, full synchronisation), foreign keys
// hold, and a writer waits for another rather than giving up at once.
func sqliteSource(file string) string {
	parameters := url.Values{
		"_txlock": {"immediate"},
		"_pragma": {
			"busy_timeout(15000)", "journal_mode(WAL)", "synchronous(FULL)", "fullfsync(1)",
			"foreign_keys(1)", "trusted_schema(0)", "cell_size_check(1)",
		},
	}
	return sqliteURI(file) + "?" + parameters.Encode()
}

func sqliteURI(file string) string {
	return "file:" + (&url.URL{Path: filepath.ToSlash(file)}).EscapedPath()
}
